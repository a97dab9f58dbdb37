// The station sheet. Its fields are plain inputs that are never redrawn while they exist, so no keystroke
// is lost to a redraw. What was typed and not yet processed by the server (field -> text, growing number,
// whether the field was left) is also kept in the browser's own storage: a reload, a dropped connection or
// leaving the page early loses no reading.
const thumbs = (window.__ropeThumbs ??= new Map());
const stored = name => { try { return JSON.parse(localStorage.getItem(name)) ?? {}; } catch { return {}; } };

function remember(sheet) {                                // keeps what this user's other windows have stored
  const others = Object.entries(stored(sheet.store)).filter(([, one]) => one.page !== sheet.page);
  const all = {...Object.fromEntries(others), ...sheet.pending};
  try { Object.keys(all).length ? localStorage.setItem(sheet.store, JSON.stringify(all)) : localStorage.removeItem(sheet.store); } catch { /* no storage: kept in the page only */ }
}

function pageName() {
  let name = sessionStorage.getItem('rope sheet');
  if (!name) sessionStorage.setItem('rope sheet', name = Date.now().toString(36) + Math.random().toString(36).slice(2, 8));
  return name;
}

const WORDS = {agrees: ['✓', 'agrees'], doubtful: ['?', 'doubtful'], disagrees: ['✗', 'apart'], 'cannot say': ['…', 'too uncertain']};

function el(tag, attributes, inside) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes ?? {})) node.setAttribute(name, value);
  if (inside) inside.appendChild(node);
  return node;
}

function put(node, text) { if (node.textContent !== text) node.textContent = text; node.hidden = !text; }

// Anything unconfirmed is sent again at growing intervals: a dropped connection loses it silently.
function send(sheet) {
  const fields = {};
  for (const [name, one] of Object.entries(sheet.pending)) if (one.left) fields[name] = one;
  clearTimeout(sheet.timer);
  if (!Object.keys(fields).length) return;
  sheet.setStateValue('edit', {page: sheet.page, said: Date.now(), fields});
  later(sheet);
}

const waits = sheet => Object.values(sheet.pending).some(one => one.left);

function later(sheet, since) {
  clearTimeout(sheet.timer);
  if (!waits(sheet)) return;
  sheet.timer = setTimeout(() => {
    if (!still(since ??= Date.now())) return later(sheet, since);
    sheet.wait = Math.min(2 * sheet.wait, 60000);
    send(sheet);
  }, since ? 300 : sheet.wait);
}

// Every keystroke is stored at once; a field is sent when it is left. The number is a time: of two windows the later wins.
function typed(sheet, name, text, more) {
  const seq = Math.max(Date.now(), (sheet.seqs[name] ?? 0) + 1, (sheet.pending[name]?.seq ?? 0) + 1);
  sheet.pending[name] = {page: sheet.page, seq, text, left: false, seen: !!sheet.seen[name], ...more};
  remember(sheet);
  sheet.wait = 3000;
  if (sheet.pending[name].left) send(sheet);
  mark(sheet, name);
}

function field(sheet, name, attributes, inside) {
  const input = el('input', {type: 'text', autocomplete: 'off', spellcheck: 'false', 'data-field': name, ...attributes}, inside);
  const leave = () => {
    const now = input.value.trim(), standing = sheet.texts[name] ?? '';
    if (now === standing && !sheet.pending[name]) return;
    if (sheet.pending[name]?.left && sheet.pending[name].text === now) return;
    typed(sheet, name, now, {left: true});
  };
  input.addEventListener('input', () => typed(sheet, name, input.value.trim()));
  input.addEventListener('blur', leave);
  input.addEventListener('keydown', e => {
    if (e.key === 'Enter') { e.preventDefault(); next(sheet, input, e.shiftKey ? -1 : 1); }
    if (e.key === 'Escape') { input.value = sheet.texts[name] ?? ''; delete sheet.pending[name]; remember(sheet); mark(sheet, name); }
  });
  input.addEventListener('focus', () => { window.__ropeField = sheet.store + name; });
  return input;
}

function next(sheet, input, step) {
  const all = [...sheet.root.querySelectorAll('input.reading')], at = all.indexOf(input);
  const to = all[at + step];
  if (to) { to.focus(); to.select(); } else input.blur();
}

// A field shows the server's text unless the user has typed since.
function settle(sheet, input, name) {
  input.readOnly = sheet.data.locked;                     // a closed inspection takes no entries
  const text = sheet.texts[name] ?? '', mine = sheet.pending[name];
  const want = mine ? mine.text : text;
  if (input.value.trim() !== want && (input !== sheet.root.activeElement || !mine)) input.value = want;
}

function mark(sheet, name) {                              // beside the field: agreement, or that it is being saved
  const word = sheet.marks[name], cell = sheet.cells[name];
  if (!word) return;
  const mine = sheet.pending[name], waits = mine && sheet.root.activeElement?.dataset.field !== name;
  const [sign, words] = WORDS[cell.word] ?? ['', ''];
  const apart = cell.word === 'disagrees' || cell.word === 'doubtful';
  word.className = 'word ' + cell.word.replace(' ', '-');
  put(word, mine?.left ? 'saving …' : waits ? 'not entered yet' : mine || !cell.word ? '' : apart ? `${sign} ${cell.apart.replace(/^[+-]/, '')} ${words}` : `${sign} ${words}`);
  word.title = cell.apart ? `photograph minus gauge ${cell.apart} ${sheet.data.unit}` : '';
}

function ask(sheet, box, name, state) {
  const asked = JSON.stringify([state, sheet.texts[name]]);
  if (box.asked === asked) return;
  box.asked = asked;
  box.replaceChildren();
  box.className = 'ask ' + state.asks;
  box.hidden = !state.asks;
  if (!state.asks) return;
  el('span', {}, box).textContent = state.words;
  const text = () => sheet.texts[name] ?? '';
  const button = (words, act) => { const b = el('button', {type: 'button'}, box); b.textContent = words; b.onclick = act; };
  if (state.asks === 'sure') button('Yes, it is correct', () => typed(sheet, name, text(), {left: true, sure: true}));
  if (state.asks === 'reason') {
    const why = el('input', {type: 'text', 'aria-label': 'Reason', list: 'reasons', placeholder: 'reason'}, box);
    why.value = 'mistyped';
    why.onfocus = () => why.select();
    button(text() ? 'Correct it' : 'Withdraw it', () => typed(sheet, name, text(), {left: true, sure: true, why: why.value}));
    button('Keep the old one', () => typed(sheet, name, sheet.standing[name] ?? '', {left: true}));
  }
}

function drawCell(sheet, td, cell, row, way) {
  const where = `station ${row.station}, ${way} degrees`;
  if (!td.parts) {
    const p = td.parts = {};
    p.way = el('span', {class: 'way'}, td);
    p.link = el('a', {class: 'thumb'}, td);
    p.image = el('img', {}, p.link);
    p.none = el('span', {class: 'none'}, td);
    p.figure = el('span', {class: 'figure'}, td);
    p.mm = el('b', {}, p.figure);
    p.u = el('small', {}, p.figure);
    p.input = field(sheet, cell.name, {class: 'reading', inputmode: sheet.data.unit === 'mm' ? 'decimal' : 'text', enterkeyhint: 'next'}, td);
    p.word = el('span', {class: 'word'}, td);
    p.more = el('span', {class: 'more'}, td);
    p.ask = el('div', {class: 'ask', role: 'status'}, td);
    p.link.onclick = e => {
      if (e.metaKey || e.ctrlKey || e.shiftKey) return;
      e.preventDefault();
      window.__ropePlace = p.link.dataset.place.split('/')[0];   // where to scroll on return
      sheet.setTriggerValue('open', p.link.dataset.place);
    };
  }
  const p = td.parts, picture = thumbs.get('t-' + cell.photo);
  put(p.way, `${way}°`);
  p.link.hidden = !cell.photo;
  p.link.href = '?' + new URLSearchParams({inspection: sheet.data.inspection, station: row.station, view: way});
  p.link.dataset.place = cell.name;
  p.link.setAttribute('aria-label', `Open the photograph of ${where}`);
  p.image.alt = '';
  if (picture && p.image.src !== picture) p.image.src = picture;
  put(p.none, cell.photo ? '' : 'no photograph');
  put(p.mm, cell.hidden ? 'hidden' : cell.figure || (cell.photo ? 'no diameter' : ''));
  p.mm.classList.toggle('quiet', cell.hidden || !cell.figure);
  put(p.u, cell.hidden ? 'until read' : cell.u ? '± ' + cell.u : '');
  p.figure.hidden = p.mm.hidden;
  p.input.setAttribute('aria-label', `Gauge reading, ${where}, ${sheet.data.unit}`);
  p.input.placeholder = cell.was ? 'again' : sheet.data.unit;
  p.input.classList.toggle('again', !!cell.was);
  p.input.classList.toggle('odd', !cell.state.asks && cell.word === 'disagrees');
  settle(sheet, p.input, cell.name);
  sheet.marks[cell.name] = p.word;
  sheet.seen[cell.name] = !!cell.figure && !cell.hidden;
  mark(sheet, cell.name);
  put(p.more, [cell.again && cell.again + (cell.was ? ` (previously ${cell.was})` : ''), ...cell.others.map(one => 'also ' + one), cell.note, cell.waits].filter(Boolean).join(' · '));
  ask(sheet, p.ask, cell.name, cell.state);
}

function drawRow(sheet, tr, row) {
  if (!tr.parts) {
    const p = tr.parts = {cells: new Map()};
    p.number = el('th', {scope: 'row', class: 'number'}, tr);
    p.place = el('td', {class: 'place'}, tr);
    p.position = el('span', {}, p.place);
    p.at = field(sheet, `at/${row.station}`, {class: 'at', inputmode: 'decimal', 'aria-label': `Station ${row.station}: distance along the rope, ${sheet.data.along}`, placeholder: sheet.data.along}, p.place);
    p.what = field(sheet, `what/${row.station}`, {class: 'what', 'aria-label': `Station ${row.station}: feature there`, placeholder: 'feature'}, p.place);
    p.feature = el('small', {}, p.place);
    p.ask = el('div', {class: 'ask', role: 'status'}, p.place);
    p.mean = el('td', {class: 'mean', 'data-head': 'mean'}, tr);
    p.meanText = el('b', {}, p.mean);
    p.meanMore = el('small', {}, p.mean);
    p.oval = el('td', {class: 'oval', 'data-head': 'ovality'}, tr);
    p.ovalText = el('span', {}, p.oval);
    p.last = el('td', {class: 'last', 'data-head': 'last time'}, tr);
    p.lastText = el('span', {}, p.last);
    p.lastOn = el('small', {}, p.last);
  }
  const p = tr.parts;
  tr.id = `station-${row.station}`;
  tr.classList.toggle('look', row.open);
  put(p.number, String(row.station));
  put(p.position, row.position && `${row.position} ${sheet.data.along}`);
  put(p.feature, row.feature);
  settle(sheet, p.at, `at/${row.station}`);
  settle(sheet, p.what, `what/${row.station}`);
  ask(sheet, p.ask, `at/${row.station}`, row.place_state);
  const names = row.cells.map(cell => cell.name);
  for (const [name, td] of p.cells) if (!names.includes(name)) { td.remove(); p.cells.delete(name); }
  row.cells.forEach((cell, i) => {
    let td = p.cells.get(cell.name);
    if (!td) p.cells.set(cell.name, td = el('td', {class: 'cell'}));
    drawCell(sheet, td, cell, row, sheet.data.ways[i]);
    const before = tr.children[2 + i];
    if (before !== td) tr.insertBefore(td, before);
  });
  put(p.meanText, row.mean);
  put(p.meanMore, row.mean ? `± ${row.u_mean} ${row.source}` : row.why_no_mean);
  put(p.ovalText, row.ovality);
  put(p.lastText, row.last);
  put(p.lastOn, row.last_on);
  for (const td of [p.mean, p.oval, p.last]) td.classList.toggle('empty', ![...td.childNodes].some(n => n.textContent));
}

function drawHead(sheet) {
  const key = JSON.stringify([sheet.data.ways, sheet.data.unit]);
  if (sheet.head.drawn === key) return;
  sheet.head.drawn = key;
  const tr = el('tr');
  for (const words of ['station', 'from the drum end', ...sheet.data.ways.map(way => `${way}°: photograph · gauge, ${sheet.data.unit}`), 'mean', 'ovality', 'last'])
    el('th', {scope: 'col'}, tr).textContent = words;
  sheet.head.replaceChildren(tr);
}

function drawHeadline(sheet) {
  const h = sheet.data.headline, p = sheet.top;
  const picture = thumbs.get('t-' + h.photo);
  p.box.classList.toggle('doubtful', h.doubtful);
  p.image.hidden = !picture;
  p.image.alt = '';
  if (picture && p.image.src !== picture) p.image.src = picture;
  put(p.answer, h.answer);
  put(p.detail, h.detail);
  put(p.disagree, h.disagree);
  put(p.open, h.open.join(' · '));
}

// On a phone: the last photograph's result, the next place and the button, always at the bottom edge.
function drawNext(sheet) {
  const said = sheet.data.next, hub = window.__ropeUploads, p = sheet.bar;
  p.box.hidden = sheet.data.locked || !hub?.field('photographs');
  if (p.box.hidden) return;
  const sending = hub.pending('photographs'), open = said.places[sending + said.waiting];
  const going = [sending && `${sending} being uploaded`, said.waiting && `${said.waiting} being measured`].filter(Boolean).join(', ');
  p.last.className = 'latest' + (said.good ? '' : ' bad');
  put(p.last, said.last);
  p.last.disabled = !said.last_field;
  put(p.more, said.more);
  put(p.going, going);
  const kept = Object.values(sheet.cells).filter(cell => cell.state.asks === 'gauge').length;
  put(p.gauge, !kept ? '' : `Select the gauge: ${kept} ${kept === 1 ? 'reading waits' : 'readings wait'} for it`);
  const all = said.places.length || !said.following ? 'All stations are photographed' : `Next: station ${said.following}, 0°`;
  put(p.to, open ? `Next: station ${open.station}, ${open.view_deg}°${open.why ? ', again' : ''}` : all);
  put(p.why, open?.why && open.why !== said.more.slice(0, open.why.length) ? open.why : '');
}

function build(root, sheet) {
  const main = sheet.main;
  const box = el('div', {class: 'headline'}, main);
  const image = el('img', {}, box), words = el('div', {class: 'words'}, box);
  const answer = el('h2', {}, words), detail = el('p', {}, words), side = el('div', {class: 'side'}, box);
  sheet.top = {box, image, answer, detail, disagree: el('b', {}, side), open: el('span', {}, side)};
  const table = el('table', {'aria-label': 'Stations'}, main);
  sheet.head = el('thead', {}, table);
  sheet.body = el('tbody', {}, table);
  const list = el('datalist', {id: 'reasons'}, main);
  for (const words of ['mistyped', 'read again on the rope', 'wrong station or direction']) el('option', {value: words}, list);
  const foot = el('div', {class: 'foot'}, main);
  const places = el('button', {type: 'button', 'aria-pressed': 'false'}, foot);
  places.textContent = 'Plan stations';
  const more = el('div', {class: 'plan'}, foot);
  more.hidden = true;
  places.onclick = () => {
    const on = main.classList.toggle('planning');
    places.setAttribute('aria-pressed', on); places.textContent = on ? 'Done planning' : 'Plan stations'; more.hidden = !on;
  };
  const number = el('input', {type: 'text', inputmode: 'numeric', 'aria-label': 'Number of the station to add', placeholder: 'station', class: 'few'}, more);
  const add = el('button', {type: 'button'}, more);
  add.textContent = 'Add station';
  add.onclick = () => {
    const wanted = parseInt(number.value || sheet.data.following, 10);
    if (wanted > 0 && wanted < 1000) { typed(sheet, `row/${wanted}`, 'x', {left: true}); number.value = ''; }
  };
  const way = el('input', {type: 'text', inputmode: 'numeric', 'aria-label': 'Direction to add, degrees', placeholder: 'degrees', class: 'few'}, more);
  const turn = el('button', {type: 'button'}, more);
  turn.textContent = 'Add direction';
  turn.onclick = () => {
    const wanted = parseInt(way.value, 10);
    if (wanted >= 0 && wanted < 360) { typed(sheet, `way/${wanted}`, 'x', {left: true}); way.value = ''; }
  };
  const bar = el('div', {class: 'bar'}, main), told = el('div', {role: 'status'}, bar);
  const last = el('button', {type: 'button'}, told), reason = el('p', {}, told), going = el('p', {}, told);
  last.onclick = () => [...sheet.body.querySelectorAll('input.reading')].find(one => one.dataset.field === sheet.data.next.last_field)?.focus();
  const gauge = el('button', {type: 'button', class: 'gauge'}, bar);
  gauge.onclick = () => {
    const field = document.querySelector('.st-key-gauge-in');
    if (!field) return;
    field.style.scrollMarginTop = '4.5rem';                // clear of the page's header
    field.scrollIntoView({block: 'start'});
  };
  const line = el('div', {class: 'line'}, bar), to = el('div', {}, line), take = el('button', {type: 'button', class: 'take'}, line);
  take.textContent = 'Photograph';
  take.onclick = () => window.__ropeUploads?.field('photographs')?.choose();
  sheet.bar = {box: bar, last, more: reason, going, gauge, to: el('b', {}, to), why: el('p', {}, to)};
}

// Anything drawn above a field in use must not move it, or the next one, from under a finger.
function draw(sheet) {
  const field = sheet.root.activeElement, before = field?.getBoundingClientRect().top;
  drawAll(sheet);
  const moved = field ? field.getBoundingClientRect().top - before : 0;
  if (moved) scroller(sheet.main)?.scrollBy(0, moved);
}

function scroller(node) {
  for (let at = node; at; at = at.parentElement ?? at.getRootNode().host)
    if (at.scrollHeight > at.clientHeight && /auto|scroll/.test(getComputedStyle(at).overflowY)) return at;
  return null;
}

function drawAll(sheet) {
  sheet.main.classList.toggle('nolast', !sheet.data.rows.some(row => row.last));
  drawHead(sheet);
  drawHeadline(sheet);
  drawNext(sheet);
  const rows = sheet.data.rows, names = rows.map(row => String(row.station));
  for (const tr of [...sheet.body.children]) if (!names.includes(tr.dataset.station)) tr.remove();
  rows.forEach((row, i) => {
    let tr = [...sheet.body.children].find(one => one.dataset.station === String(row.station));
    if (!tr) tr = el('tr', {'data-station': row.station});
    if (sheet.body.children[i] !== tr) sheet.body.insertBefore(tr, sheet.body.children[i] ?? null);
    drawRow(sheet, tr, row);
  });
}

function load(sheet) {                                   // the server's state of every field
  Object.assign(sheet, {texts: {}, standing: {}, cells: {}, seqs: sheet.data.done[sheet.page] ?? {}});
  for (const row of sheet.data.rows) {
    sheet.texts[`at/${row.station}`] = row.position;
    sheet.texts[`what/${row.station}`] = row.feature;
    for (const cell of row.cells) { sheet.texts[cell.name] = cell.text; sheet.standing[cell.name] = cell.standing; sheet.cells[cell.name] = cell; }
  }
}

export default function ({parentElement: root, data, setStateValue, setTriggerValue}) {
  const main = root.querySelector('section');
  if (data instanceof Uint8Array || data instanceof ArrayBuffer) {
    main.style.display = 'none';
    keep(thumbs, data, 1200, 'rope-thumbs');
    return;
  }
  if (!data) return;
  main.style.display = '';
  let sheet = main.sheet;
  if (!sheet || sheet.store !== data.store) {
    main.replaceChildren();
    sheet = main.sheet = {root, main, store: data.store, page: pageName(), pending: {}, marks: {}, seen: {}, wait: 3000, first: true};
    build(root, sheet);
  }
  Object.assign(sheet, {data, setStateValue, setTriggerValue});
  load(sheet);
  if (sheet.first)                                        // entries of a page that was reloaded or closed are sent again
    for (const [name, one] of Object.entries(stored(sheet.store)))
      if (one.page === sheet.page || Date.now() - one.seq > 5000) sheet.pending[name] = {...one, page: sheet.page};
  for (const [name, one] of Object.entries(sheet.pending))
    if (one.left && one.seq <= (sheet.seqs[name] ?? 0)) delete sheet.pending[name];
  remember(sheet);
  later(sheet);
  draw(sheet);
  if (sheet.first) {
    sheet.first = false;
    if (waits(sheet)) send(sheet);
    const held = [...main.querySelectorAll('input')].find(one => sheet.store + one.dataset.field === window.__ropeField);
    if (held && document.activeElement === document.body) held.focus();
    else if (data.go ?? window.__ropePlace) main.querySelector(`#station-${data.go ?? window.__ropePlace}`)?.scrollIntoView({block: 'nearest'});
  }
  const again = () => draw(sheet), line = () => send(sheet), open = () => waits(sheet), uploads = () => drawNext(sheet);
  way.open.add(open);
  addEventListener('rope-thumbs', again);
  addEventListener('rope-uploads', uploads);
  addEventListener('online', line);
  return () => { removeEventListener('rope-thumbs', again); removeEventListener('rope-uploads', uploads); removeEventListener('online', line); way.open.delete(open); clearTimeout(sheet.timer); };
}
