const pictures = (window.__ropePictures ??= new Map());

// Sizes that do not scale with the photograph: text, dots, handles.
function scale(svg) {
  const k = svg.view[2] / (svg.clientWidth || 700);
  svg.k = k;
  svg.setAttribute('viewBox', svg.view.join(' '));
  svg.style.touchAction = svg.view[2] < svg.home[2] * 0.99 ? 'none' : 'pan-y';
  for (const node of svg.querySelectorAll('[data-r]')) node.setAttribute('r', node.dataset.r * k);
  for (const node of svg.querySelectorAll('text')) {
    node.setAttribute('font-size', 13 * k);
    node.setAttribute('dy', node.dataset.dy * k);
    const right = svg.view[0] + svg.view[2] - node.getComputedTextLength() - 6 * k;
    node.setAttribute('x', Math.max(svg.view[0] + 6 * k, Math.min(node.dataset.x, right)));
  }
}

function zoomed(svg, factor, cx, cy) {
  const [x, y, w, h] = svg.view, [W, H] = svg.size;
  const wide = Math.min(Math.max(w * factor, W / 60), Math.max(W, H * w / h)), high = h * wide / w;
  moved(svg, cx - (cx - x) * wide / w, cy - (cy - y) * high / h, wide, high);
}

function moved(svg, x, y, w, h) {
  const [W, H] = svg.size;
  svg.view = [w >= W ? (W - w) / 2 : Math.min(Math.max(x, 0), W - w),
    h >= H ? (H - h) / 2 : Math.min(Math.max(y, 0), H - h), w, h];
  scale(svg);
}

function draw(svg, data) {
  const layer = svg.layer;
  layer.replaceChildren();
  for (const shape of data.shapes) {
    const look = shape.look.replace(' ', '-');
    if (look === 'outline' || look === 'spot') {
      for (const [cx, cy] of shape.points)
        make('circle', {cx, cy, class: look, 'data-r': look === 'spot' ? 26 : 2}, layer);
    } else {
      const points = shape.points.map(p => p.join(',')).join(' ');
      if (look !== 'card') make('polyline', {points, class: 'line under'}, layer);
      make('polyline', {points, class: 'line ' + look}, layer);
    }
    if (shape.label) {
      const [x, y] = shape.points[0];
      make('text', {x, y, 'data-x': x, 'data-dy': shape.below ? 18 : -8}, layer).textContent = shape.label;
    }
  }
}

function legend(caption, lines) {
  caption.replaceChildren();
  for (const [look, words] of lines) {
    const line = caption.appendChild(document.createElement('span'));
    const sample = make('svg', {viewBox: '0 0 42 12', 'aria-hidden': 'true'}, line);
    const name = look.replace(' ', '-');
    if (name === 'outline') for (const cx of [6, 16, 26, 36]) make('circle', {cx, cy: 6, r: 2, class: name}, sample);
    else make('polyline', {points: '0,6 42,6', class: 'line ' + name}, sample);
    line.append(words);
  }
}

function handles(svg, data, setStateValue) {
  const layer = svg.hands, send = () => setStateValue('edit', {seq: ++svg.seq, at: [...svg.at]});
  const put = (i, t) => {
    const h = svg.handles[i], [ax, ay] = h.begin, [bx, by] = h.end;
    t = svg.at[i] = Math.min(1, Math.max(0, t));
    const g = layer.children[i];
    g.setAttribute('transform', `translate(${ax + t * (bx - ax)} ${ay + t * (by - ay)})`);
    g.lastChild.setAttribute('aria-valuenow', Math.round(t * 1000));
  };
  svg.handles = data.handles;
  svg.at = [...data.at];
  while (layer.children.length > data.handles.length) layer.lastChild.remove();
  data.handles.forEach((h, i) => {
    let g = layer.children[i];
    if (!g) {
      g = make('g', {}, layer);
      if (h.bar) {
        const [dx, dy] = [h.end[1] - h.begin[1], h.begin[0] - h.end[0]], n = Math.hypot(dx, dy) || 1, L = data.size[0];
        make('line', {x1: -dx / n * L, y1: -dy / n * L, x2: dx / n * L, y2: dy / n * L, class: 'line by-hand'}, g);
      }
      const c = make('circle', {tabindex: 0, role: 'slider', class: 'handle', 'data-r': 20,
        'aria-valuemin': 0, 'aria-valuemax': 1000}, g);
      c.onpointerdown = e => { e.preventDefault(); e.stopPropagation(); c.focus(); c.setPointerCapture(e.pointerId); svg.held = i; };
      c.onpointermove = e => {
        if (svg.held !== i) return;
        const [px, py] = at(svg, e), o = svg.handles[i], [ax, ay] = o.begin, dx = o.end[0] - ax, dy = o.end[1] - ay;
        put(i, ((px - ax) * dx + (py - ay) * dy) / (dx * dx + dy * dy));
      };
      c.onpointerup = c.onpointercancel = () => { if (svg.held === i) { svg.held = undefined; send(); } };
      c.onkeydown = e => {
        const o = svg.handles[i];
        const sign = {ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1}[e.key];
        if (!sign) return;
        e.preventDefault(); e.stopPropagation();
        const vertical = e.key === 'ArrowUp' || e.key === 'ArrowDown';
        const way = vertical ? (o.end[1] > o.begin[1] ? -1 : 1) : (o.end[0] < o.begin[0] ? -1 : 1);
        put(i, svg.at[i] + sign * way * o.step * (e.shiftKey ? 10 : 1));
        clearTimeout(svg.timer); svg.timer = setTimeout(send, 250);
      };
    }
    g.lastChild.setAttribute('aria-label', h.label);
    put(i, data.at[i]);
  });
}

function looking(svg) {                                   // pan and zoom; set up once for each view
  const fingers = new Map();
  let gap = 0;
  svg.onpointerdown = e => { fingers.set(e.pointerId, [e.clientX, e.clientY]); gap = 0; };
  svg.onpointermove = e => {
    const before = fingers.get(e.pointerId);
    if (!before) return;
    fingers.set(e.pointerId, [e.clientX, e.clientY]);
    if (fingers.size === 2) {
      const [a, b] = [...fingers.values()], now = Math.hypot(a[0] - b[0], a[1] - b[1]);
      if (gap) zoomed(svg, gap / now, ...at(svg, {clientX: (a[0] + b[0]) / 2, clientY: (a[1] + b[1]) / 2}));
      gap = now;
    } else if (e.pointerType === 'mouse' || svg.view[2] < svg.home[2] * 0.99) {
      const [x, y, w, h] = svg.view;
      moved(svg, x - (e.clientX - before[0]) * svg.k, y - (e.clientY - before[1]) * svg.k, w, h);
    }
  };
  svg.onpointerup = svg.onpointercancel = svg.onpointerleave = e => fingers.delete(e.pointerId);
  svg.ondblclick = e => zoomed(svg, 0.5, ...at(svg, e));
  svg.onkeydown = e => {
    const [x, y, w, h] = svg.view, way = {ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1]}[e.key];
    if (way) moved(svg, x + way[0] * w / 10, y + way[1] * h / 10, w, h);
    else if (e.key === '+' || e.key === '=') zoomed(svg, 0.7, x + w / 2, y + h / 2);
    else if (e.key === '-') zoomed(svg, 1.4, x + w / 2, y + h / 2);
    else return;
    e.preventDefault();
  };
}

const SHORT = {'Zoom in': '+', 'Zoom out': '−', 'Whole photograph': 'all', 'Rope': 'rope'};

function over(header, words) {
  header.replaceChildren(...words.filter(([text]) => text).map(([text, odd]) => {
    const word = document.createElement('span');
    word.textContent = text;
    if (odd) word.className = 'odd';
    return word;
  }));
}

function buttons(svg, nav, data) {
  const middle = () => [svg.view[0] + svg.view[2] / 2, svg.view[1] + svg.view[3] / 2];
  for (const [words, act] of [
    ['Zoom in', () => zoomed(svg, 0.6, ...middle())],
    ['Zoom out', () => zoomed(svg, 1.7, ...middle())],
    ['Whole photograph', () => zoomed(svg, 1e6, ...middle())],
    ['Rope', () => { svg.view = [...svg.home]; scale(svg); }],
  ].slice(0, data.home[2] < data.size[0] ? 4 : 3)) {       // 'Rope' only if a part is shown at first
    const button = nav.appendChild(document.createElement('button'));
    button.type = 'button'; button.onclick = act;
    button.textContent = data.over.length ? SHORT[words] : words;
    if (data.over.length) { button.setAttribute('aria-label', words); button.title = words; }
  }
}

export default function ({parentElement: root, data, setStateValue}) {
  const figure = root.querySelector('figure');
  if (data instanceof Uint8Array || data instanceof ArrayBuffer) {
    figure.style.display = 'none';
    keep(pictures, data, 48, 'rope-pictures');
    return;
  }
  if (!data) return;
  const svg = figure.querySelector(':scope > svg'), nav = figure.querySelector('nav');
  if (!svg.layer) {
    svg.image = make('image', {preserveAspectRatio: 'none'}, svg);
    svg.layer = make('g', {}, svg);
    svg.hands = make('g', {}, svg);
    if (data.zoom) { looking(svg); buttons(svg, nav, data); }
  }
  const show = () => { const url = pictures.get(data.picture); if (url) svg.image.setAttribute('href', url); else svg.image.removeAttribute('href'); };
  addEventListener('rope-pictures', show);
  const watch = new ResizeObserver(() => svg.view && scale(svg));
  watch.observe(svg);
  const stop = () => { removeEventListener('rope-pictures', show); watch.disconnect(); };
  show();
  const fresh = svg.now !== data.picture + data.home.join();
  if (!fresh && (svg.held !== undefined || data.seq < (svg.seq ?? 0))) return stop;   // held, or an echo
  svg.seq = data.seq;
  svg.size = data.size;
  svg.setAttribute('role', data.handles.length ? 'group' : 'img');   // 'img' hides its children from screen readers
  svg.setAttribute('aria-label', data.words);
  nav.setAttribute('aria-label', 'Zoom: ' + data.words);
  svg.image.setAttribute('width', data.size[0]);
  svg.image.setAttribute('height', data.size[1]);
  svg.image.style.imageRendering = data.pixels ? 'pixelated' : 'auto';
  if (fresh) {
    svg.now = data.picture + data.home.join();
    svg.home = [...data.home];
    svg.view = [...data.home];
    svg.style.aspectRatio = `${data.home[2]} / ${data.home[3]}`;
  }
  draw(svg, data);
  over(figure.querySelector('header'), data.over);
  figure.classList.toggle('compact', data.over.length > 0);
  legend(figure.querySelector('figcaption'), data.legend);
  handles(svg, data, setStateValue);
  scale(svg);
  return stop;
}
