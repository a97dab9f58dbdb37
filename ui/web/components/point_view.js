const photographs = (window.__pointPictures ??= new Map());

function scale(svg) {
  const k = Math.max(svg.view[2] / (svg.clientWidth || 700), svg.view[3] / (svg.clientHeight || 700));
  svg.k = k;
  svg.setAttribute('viewBox', svg.view.join(' '));
  svg.classList.toggle('near', svg.view[2] < svg.size[0] * 0.99);
  for (const c of svg.querySelectorAll('circle')) c.setAttribute('r', 20 * k);
  for (const l of svg.querySelectorAll('.cross')) {
    const s = 9 * k, across = l.dataset.way === 'x';
    l.setAttribute('x1', across ? -s : 0); l.setAttribute('x2', across ? s : 0);
    l.setAttribute('y1', across ? 0 : -s); l.setAttribute('y2', across ? 0 : s);
  }
  for (const t of svg.querySelectorAll('text')) {
    t.setAttribute('font-size', 13 * k); t.setAttribute('x', 24 * k); t.setAttribute('y', -10 * k);
  }
}

function look(svg, factor, cx, cy) {
  const [x, y, w, h] = svg.view, [W, H] = svg.size;
  const wide = Math.min(Math.max(w * factor, W / 60), W), high = wide * H / W;
  const fit = (v, most) => Math.min(Math.max(v, 0), Math.max(0, most));
  svg.view = [fit(cx - (cx - x) * wide / w, W - wide), fit(cy - (cy - y) * high / h, H - high), wide, high];
  scale(svg);
}

const within = (svg, [x, y]) => [x, y].map((v, i) =>
  Math.round(10 * Math.min(Math.max(v, 0), svg.size[i] - 1)) / 10);

function place(svg) {
  svg.points.forEach((point, i) => {
    const g = svg.hands.children[i];
    g.style.display = point ? '' : 'none';
    g.setAttribute('class', i === svg.next ? 'next' : '');
    if (point) g.setAttribute('transform', `translate(${point[0]} ${point[1]})`);
    g.querySelector('circle').setAttribute('aria-valuetext', point ? `${point[0]}, ${point[1]} px` : 'not set');
    g.querySelector('circle').setAttribute('aria-valuenow', point ? point[0] : 0);
  });
  svg.ties.replaceChildren();
  for (const [a, b] of svg.pairs) {
    const p = svg.points[a], q = svg.points[b];
    if (p && q) make('line', {x1: p[0], y1: p[1], x2: q[0], y2: q[1], class: 'tie'}, svg.ties);
  }
  [...svg.picks].forEach((button, i) => {
    button.setAttribute('aria-pressed', i === svg.next);
    button.textContent = (svg.points[i] ? '✓ ' : '') + svg.labels[i];
  });
}

function set(svg, i, point) {
  svg.points[i] = within(svg, point);
  place(svg);
}

function begin(svg, nav) {
  svg.image = make('image', {preserveAspectRatio: 'none'}, svg);
  svg.ties = make('g', {}, svg);
  svg.hands = make('g', {}, svg);
  const fingers = new Map();
  let moved = 0, gap = 0;
  svg.onpointerdown = e => { if (!fingers.size) moved = 0; fingers.set(e.pointerId, [e.clientX, e.clientY]); gap = 0; };
  svg.onpointermove = e => {
    const before = fingers.get(e.pointerId);
    if (!before) return;
    const [dx, dy] = [e.clientX - before[0], e.clientY - before[1]];
    moved += Math.hypot(dx, dy);
    fingers.set(e.pointerId, [e.clientX, e.clientY]);
    if (fingers.size === 2) {
      moved = 99;
      const [a, b] = [...fingers.values()], now = Math.hypot(a[0] - b[0], a[1] - b[1]);
      if (gap) look(svg, gap / now, ...at(svg, {clientX: (a[0] + b[0]) / 2, clientY: (a[1] + b[1]) / 2}));
      gap = now;
    } else if (moved > 6 && svg.classList.contains('near')) {
      const [x, y, w, h] = svg.view, [W, H] = svg.size;
      svg.view = [Math.min(Math.max(x - dx * svg.k, 0), W - w), Math.min(Math.max(y - dy * svg.k, 0), H - h), w, h];
      scale(svg);
    }
  };
  svg.onpointerup = e => {
    if (!fingers.delete(e.pointerId) || moved > 6 || fingers.size || !svg.labels.length) return;
    set(svg, svg.next, at(svg, e));                       // a click or tap sets the selected point
    const free = svg.points.findIndex(p => !p);
    if (free >= 0) svg.next = free;
    place(svg); svg.send();
  };
  svg.onpointercancel = svg.onpointerleave = e => fingers.delete(e.pointerId);
  svg.onwheel = e => { if (e.ctrlKey || e.shiftKey) { e.preventDefault(); look(svg, e.deltaY > 0 ? 1.25 : 0.8, ...at(svg, e)); } };
  svg.picks = svg.labels.map((_, i) => {
    const button = nav.appendChild(document.createElement('button'));
    button.type = 'button';
    button.onclick = () => { svg.next = i; place(svg); };
    return button;
  });
  const spot = () => svg.points[svg.next] ?? [svg.view[0] + svg.view[2] / 2, svg.view[1] + svg.view[3] / 2];
  for (const [words, act] of [['Zoom in', () => look(svg, 0.5, ...spot())],
    ['Zoom out', () => look(svg, 2, ...spot())], ['Whole photograph', () => look(svg, 1e6, 0, 0)]]) {
    const button = nav.appendChild(document.createElement('button'));
    button.type = 'button'; button.textContent = words; button.onclick = act;
  }
  svg.labels.forEach((label, i) => {
    const g = make('g', {}, svg.hands);
    const c = make('circle', {class: 'handle', tabindex: 0, role: 'slider', 'aria-label': label,
      'aria-valuemin': 0, 'aria-valuemax': svg.size[0]}, g);
    for (const way of ['x', 'y']) make('line', {class: 'cross', 'data-way': way}, g);
    make('text', {}, g).textContent = label;
    c.onpointerdown = e => { e.preventDefault(); e.stopPropagation(); c.focus(); c.setPointerCapture(e.pointerId); svg.held = i; svg.next = i; place(svg); };
    c.onpointermove = e => { if (svg.held === i) { e.stopPropagation(); set(svg, i, at(svg, e)); } };
    c.onpointerup = c.onpointercancel = e => { e.stopPropagation(); if (svg.held === i) { svg.held = undefined; svg.send(); } };
    c.onkeydown = e => {
      const way = {ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1]}[e.key];
      if (!way || !svg.points[i]) return;
      e.preventDefault();
      const by = e.shiftKey ? 10 : 1;
      set(svg, i, [svg.points[i][0] + by * way[0], svg.points[i][1] + by * way[1]]);
      clearTimeout(svg.timer); svg.timer = setTimeout(svg.send, 300);
    };
  });
}

export default function ({parentElement: root, data, setStateValue}) {
  const figure = root.querySelector('figure');
  if (data instanceof Uint8Array || data instanceof ArrayBuffer) {
    figure.style.display = 'none';
    keep(photographs, data, 6, 'point-pictures');
    return;
  }
  if (!data) return;
  const svg = figure.querySelector('svg'), nav = figure.querySelector('nav');
  if (svg.named !== data.picture + data.labels.join()) {  // another photograph, or other points
    svg.replaceChildren(); nav.replaceChildren();
    svg.named = data.picture + data.labels.join();
    svg.size = data.size; svg.labels = data.labels; svg.view = [0, 0, ...data.size];
    svg.seq = 0; svg.next = 0; svg.held = undefined; svg.points = data.points;
    begin(svg, nav);
    svg.image.setAttribute('width', data.size[0]); svg.image.setAttribute('height', data.size[1]);
    svg.setAttribute('aria-label', data.words);
  }
  svg.send = () => setStateValue('edit', {seq: ++svg.seq, picture: data.picture, points: svg.points});
  const show = () => { const url = photographs.get(data.picture); if (url) svg.image.setAttribute('href', url); };
  addEventListener('point-pictures', show);
  const watch = new ResizeObserver(() => scale(svg));
  watch.observe(svg);
  const stop = () => { removeEventListener('point-pictures', show); watch.disconnect(); };
  show();
  if (svg.held !== undefined || data.seq < svg.seq) return stop;   // being dragged, or an echo
  svg.seq = data.seq; svg.pairs = data.pairs; svg.points = data.points.map(p => p && [...p]);
  if (svg.points[svg.next]) { const free = svg.points.findIndex(p => !p); if (free >= 0) svg.next = free; }
  place(svg); scale(svg);
  return stop;
}
