// Uploads of photographs. They belong to the window, not to the screen on which they were added: the screen
// can change while they are sent. Each is kept in the browser's own storage until the server confirms that
// it is in the record, so nothing is lost by a reload, a dropped connection or a closed window: the next of
// our pages to open resumes it.
const AGAIN_MS = 3000, LOCKED_OUT_MS = 15000, DONE_MS = 8000, LONGEST_MS = 200000, TELL_MS = 1500, KEEP_MS = 1000;
const NEVER = [411, 413, 415, 422];                        // not sent again by itself
const UNUSABLE = [413, 415];                               // this file will never be accepted
const STORE = 'rope photo check, photographs', TABLE = /\.(csv|tsv|txt|xlsx)$/i;
const ITS_DIALOG = '[data-testid=stDialog]:not(:has([data-testid=stVerticalBlock]))';

const el = (tag, inside, text, attributes = {}) => {
  const node = document.createElement(tag);
  if (text) node.textContent = text;                       // users' text is never markup
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
  inside?.append(node);
  return node;
};
const many = (count, noun = 'photograph') => `${count} ${noun}${count === 1 ? '' : 's'}`;
const newName = () => Date.now().toString(36).padStart(9, '0') + Math.random().toString(36).slice(2, 8);

function begin() {
  const hub = {owner: '', items: [], views: new Set(), notes: [], hashes: [], total: 0, arrived: 0,
    told: 0, part: 0, trouble: '', cut: false, fragile: false, working: false, timer: 0, done: 0};
  const mine = () => hub.items.filter(one => one.owner === hub.owner);
  const unsent = () => mine().filter(one => !one.error);
  const unkept = () => unsent().filter(one => !one.kept);

  const opened = new Promise((resolve, reject) => {
    const request = indexedDB.open(STORE, 1);
    request.onupgradeneeded = () => request.result.createObjectStore('items', {keyPath: 'id'});
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
  const inStore = async (mode, act) => {
    const work = (await opened).transaction('items', mode), request = act(work.objectStore('items'));
    return new Promise((resolve, reject) => {
      work.oncomplete = () => resolve(request.result);
      work.onerror = work.onabort = () => reject(work.error);
    });
  };
  const keep = item => inStore('readwrite', store => store.put(item)).then(() => true, () => false);
  const drop = item => {                                   // a browser that never answered is not waited for
    hub.items = hub.items.filter(one => one !== item);
    const gone = inStore('readwrite', store => store.delete(item.id)).catch(() => {});
    return item.kept ? gone : undefined;
  };

  hub.give = async (files, field) => {
    if (!unsent().length) Object.assign(hub, {total: 0, arrived: 0, hashes: [], told: 0});
    hub.notes = [];
    if (!field.many && files.length > 1) {
      hub.notes.push(`Only one photograph at a time here: ${files[0].name} was used. The Stations page accepts several at once.`);
      files = files.slice(0, 1);
    }
    const {owner, by, to, inspection, print_set} = field, since = Date.now();
    const items = files.map(file => ({id: newName(), owner, by, to, inspection, print_set, name: file.name, file, tries: 0, error: '', since}));
    for (const item of items) {
      const mb = item.file.size / 1048576;
      if (mb > field.most_mb) Object.assign(item, {unusable: true, error: `It has ${Math.ceil(mb)} MB; the limit is ${field.most_mb} MB. Use the camera’s original JPEG or HEIC file.`});
    }
    // all are counted before any is stored, so that the line and the question on leaving cover every one
    hub.items.push(...items);
    hub.total += items.filter(one => !one.error).length;
    work();
    setTimeout(draw, KEEP_MS + 50);
    for (const item of items) await copy(item);
    draw();
  };

  // The bytes are copied: a browser may store a mere reference to a file, which a phone can delete at any time.
  async function copy(item) {
    const bytes = item.error ? null : await item.file.arrayBuffer().catch(() => null);
    if (!bytes || !hub.items.includes(item)) return;       // unreadable: found out on sending; or sent already
    item.file = new Blob([bytes], {type: item.file.type});
    if (await keep(item)) item.kept = true;
    else hub.fragile = true;
  }

  const put = item => new Promise((resolve, reject) => {
    const request = new XMLHttpRequest(), {by, owner, inspection, print_set, name} = item;
    request.open('PUT', `/uploads/${item.to}?${new URLSearchParams({by, owner, inspection, print_set, name})}`);
    request.timeout = LONGEST_MS;
    request.upload.onprogress = event => { hub.part = event.loaded / event.total; draw(); };
    request.onerror = request.ontimeout = request.onabort = () => reject(new Error(navigator.onLine ? 'The server is not responding.' : 'There is no connection.'));
    request.onload = () => {
      let told = {error: request.responseText.slice(0, 200)};
      try { told = JSON.parse(request.responseText); } catch { /* the door's answers are plain text */ }
      resolve({status: request.status, told});
    };
    request.send(item.file);
  });

  const readable = file => file.slice(0, 1).arrayBuffer().then(() => true, () => false);

  async function refuse(item, error, unusable) {
    Object.assign(item, {error, unusable});
    hub.total -= 1;
    draw();
    if (item.kept) await keep(item);
  }

  async function sendAll() {
    for (let item; (item = unsent()[0]);) {
      if (item.kept && !await inStore('readonly', store => store.getKey(item.id)).catch(() => true)) {
        hub.items = hub.items.filter(one => one !== item);  // another window of this browser sent it
        hub.total -= 1;
        continue;
      }
      if (!await readable(item.file)) {
        await refuse(item, `${item.name} can no longer be read on this device.`, true);
        continue;
      }
      hub.part = 0;
      item.tries += 1;
      const {status, told} = await put(item);
      if (status === 200) {
        await drop(item);
        hub.arrived += 1;
        hub.trouble = '';
        if (item.to === 'photographs') hub.hashes.push(told.sha256);
        if (told.known && item.tries === 1) hub.notes.push(`${item.name} is already in this inspection.`);
        tell();
      } else if (NEVER.includes(status)) await refuse(item, told.error || 'The server does not accept it.', UNUSABLE.includes(status));
      else {
        if (status === 500) hub.items = [...hub.items.filter(one => one !== item), item];  // it must not hold up the others
        throw Object.assign(new Error(told.error || 'The server is not responding.'), {wait: status === 403 || status === 429 ? LOCKED_OUT_MS : AGAIN_MS});
      }
      draw();
    }
  }

  async function work() {
    if (hub.working || !unsent().length) return draw();
    hub.working = true;
    clearTimeout(hub.timer);
    try {
      await (navigator.locks ? navigator.locks.request(STORE, sendAll) : sendAll());
      hub.trouble = '';
      hub.done = Date.now();
      setTimeout(draw, DONE_MS + 50);
    } catch (wrong) {
      hub.trouble = wrong.message;
      hub.timer = setTimeout(work, wrong.wait ?? AGAIN_MS);
    }
    hub.working = false;
    tell();
    draw();
    if (!hub.trouble && unsent().length) work();           // added at the last moment
  }

  // The page is redrawn for the first arrival, for the last, and at intervals in between.
  function tell(since = Date.now()) {
    clearTimeout(hub.telling);
    const now = Date.now(), last = !unsent().length;
    if (hub.arrived === hub.told || (!last && hub.told && now - hub.toldAt < TELL_MS)) return;
    if (!still(since)) { hub.telling = setTimeout(tell, 300, since); return; }
    for (const view of hub.views) if (view.data.kind === 'line') {
      view.setStateValue('arrived', {at: now, hashes: hub.hashes.slice(-100)});
      Object.assign(hub, {told: hub.arrived, toldAt: now});
    }
  }

  function draw() {
    for (const view of hub.views) view.draw();
    dispatchEvent(new Event('rope-uploads'));
  }

  // If the server does not answer, Streamlit covers the page with a dialog, and nothing can be typed. A line
  // in its place lets the user go on: readings and photographs are kept in the browser. Unlike our own dialogs,
  // Streamlit's contains no block of elements.
  new MutationObserver(() => {
    const connected = document.querySelector('[data-test-connection-state=CONNECTED]');
    const dialog = connected ? null : document.querySelector(ITS_DIALOG);
    const cut = !connected && (!!dialog || hub.cut);
    dialog?.querySelector('button')?.click();              // its only button closes it
    if (cut === hub.cut) return;
    hub.cut = cut;
    draw();
    if (!cut) dispatchEvent(new Event('online'));          // everything kept is sent now
  }).observe(document.body, {subtree: true, childList: true, attributeFilter: ['data-test-connection-state']});

  hub.said = () => {
    const left = unsent().length;
    if (left) return `${hub.arrived} of ${many(hub.total)} uploaded, ${left} to go`;
    if (hub.arrived && Date.now() - hub.done < DONE_MS)
      return hub.hashes.length ? `${many(hub.arrived)} uploaded and in the record` : `${many(hub.arrived)} uploaded`;
    return '';
  };
  hub.share = () => hub.total ? (hub.arrived + (unsent().length ? hub.part : 0)) / hub.total : 0;
  hub.more = () => {
    if (!unsent().length) return '';
    const storing = unkept().length > 0;
    const where = hub.fragile ? 'Keep this window open until all are uploaded: this browser has no room to store them.'
      : !storing ? 'You can continue on any page.'
      : unkept().some(one => Date.now() - one.since > KEEP_MS) ? 'Keep this window open: they are not yet stored in this browser.' : '';
    return hub.trouble ? `${hub.trouble} ${hub.fragile || storing ? where : 'They are kept in this browser and will be sent again.'}`.trim() : where;
  };
  hub.warns = () => !!hub.trouble || unkept().length > 0;
  hub.sending = () => unsent().length > 0;
  hub.pending = to => unsent().filter(one => one.to === to).length;
  hub.field = (to, inspection) => [...hub.views].find(({data}) => data.kind === 'field' && data.to === to &&
    (inspection === undefined || data.inspection === inspection));
  hub.refused = () => mine().filter(one => one.error);
  hub.others = () => hub.items.length - mine().length;
  hub.again = item => { item.error = ''; item.tries = 0; hub.total += 1; work(); };
  hub.remove = async item => { await drop(item); draw(); };
  hub.shut = () => { hub.notes = []; draw(); };
  hub.show = view => {
    hub.views.add(view);
    hub.owner = view.data.owner;
    tell();
    draw();
    work();
  };

  addEventListener('online', () => { clearTimeout(hub.timer); work(); });
  addEventListener('beforeunload', event => { if (unsent().length) event.preventDefault(); });
  inStore('readonly', store => store.getAll()).then(found => {
    const here = new Set(hub.items.map(one => one.id));
    const old = found.filter(one => !here.has(one.id)).map(one => ({...one, kept: true, tries: 1}));
    hub.items = [...old, ...hub.items];
    hub.total += old.filter(one => one.owner === hub.owner && !one.error).length;
    work();
  }, () => {});
  return hub;
}

// The line on every page: how many were uploaded, which were refused and why.
function drawLine(main, hub) {
  const said = hub.said(), more = hub.more(), refused = hub.refused(), others = hub.others();
  const cut = hub.cut ? 'The server is not responding. Readings that you type and photographs that you add are kept in this browser.' : '';
  const fields = [...hub.views].map(view => [view.data.to, view.data.inspection]);
  const shown = JSON.stringify([said, more, cut, refused.map(one => [one.id, one.error]), fields, hub.notes, others]);
  const bar = main.querySelector('progress');
  if (bar) bar.value = hub.share();
  if (main.shown === shown) return;
  main.shown = shown;
  main.replaceChildren();
  main.hidden = !(said || cut || refused.length || hub.notes.length || others);
  const status = el('div', main, '', {role: 'status'});
  if (cut) el('p', status, cut, {class: 'trouble'});
  if (said) el('b', status, said);
  if (hub.sending()) el('progress', status, '', {'aria-label': 'Photographs uploaded'}).value = hub.share();
  if (more) el('p', status, more, hub.warns() ? {class: 'trouble'} : {});
  for (const item of refused) {
    const line = el('div', main, '', {class: 'refused', role: 'alert'});
    const words = el('p', line);
    el('b', words, item.name);
    words.append(` ${item.error.startsWith(item.name) ? item.error.slice(item.name.length + 1) : `was not accepted. ${item.error}`}`);
    const field = hub.field(item.to, item.inspection);
    if (!item.unusable) el('button', line, 'Try again', {type: 'button'}).onclick = () => hub.again(item);
    else if (field) el('button', line, 'Choose another', {type: 'button'}).onclick = () => { hub.remove(item); field.choose(); };
    el('button', line, 'Remove', {type: 'button', 'aria-label': `Remove ${item.name}`}).onclick = () => hub.remove(item);
  }
  for (const note of hub.notes) el('p', main, note);
  if (hub.notes.length) el('button', main, 'Close', {type: 'button'}).onclick = hub.shut;
  if (others) el('p', main, `Waiting in this browser for another login or record: ${many(others)}. Log in as before to send them.`);
}

// The field: a button; files can be dropped anywhere on the page.
function drawField(main, hub, view) {
  const {data} = view;
  if (!main.input) {
    main.className = data.to === 'trays/looks' ? 'field wide' : 'field';
    el('p', main, '', {class: 'label'});
    const row = main.row = el('div', main, '', {class: 'row'});
    const input = main.input = el('input', row, '', {type: 'file', class: 'unseen', tabindex: '-1', accept: data.accept});
    input.onchange = () => { const files = [...input.files]; input.value = ''; hub.give(files, view.data); };
    el('button', row, '', {type: 'button'}).onclick = () => input.click();
    el('span', row, 'or drop anywhere on this page', {class: 'desk'});
    const help = el('details', main);
    el('summary', help, 'Which photographs?');
    el('p', help);
  }
  view.choose = () => main.input.click();
  main.input.multiple = data.many;
  main.input.setAttribute('aria-label', data.label);
  main.querySelector('.label').textContent = data.label;
  main.querySelector('button').textContent = data.many ? 'Choose photographs' : 'Choose a photograph';
  main.querySelector('details p').textContent = data.help;
}

function dropping(hub, view) {
  const files = event => [...(event.dataTransfer?.types ?? [])].includes('Files');
  const veil = el('div', null, view.data.veil);
  veil.style.cssText = 'position:fixed;inset:0;z-index:1000000;display:flex;align-items:center;justify-content:center;padding:2rem;text-align:center;' +
    'font:600 1.4rem sans-serif;color:#fff;background:#0B5FA5d9;pointer-events:none';
  const over = event => { if (files(event)) { event.preventDefault(); document.body.append(veil); } };
  const out = event => { if (!event.relatedTarget) veil.remove(); };
  const drop = event => {
    if (!files(event)) return;
    veil.remove();
    if (event.target.closest?.('[data-testid=stFileUploaderDropzone]')) return;
    event.preventDefault();
    const all = [...event.dataTransfer.files], into = document.querySelector('.st-key-table-in input[type=file]');
    const tables = into ? all.filter(one => TABLE.test(one.name)) : [];
    const rest = all.filter(one => !tables.includes(one));
    if (rest.length) hub.give(rest, view.data);
    if (!tables.length) return;
    const carried = new DataTransfer();
    carried.items.add(tables[0]);
    into.files = carried.files;
    into.dispatchEvent(new Event('change', {bubbles: true}));
  };
  const heard = {dragover: over, dragleave: out, drop};
  for (const [name, act] of Object.entries(heard)) document.addEventListener(name, act);
  return () => { for (const [name, act] of Object.entries(heard)) document.removeEventListener(name, act); veil.remove(); };
}

export default function ({parentElement: root, data, setStateValue}) {
  const main = root.querySelector('section');
  const hub = (window.__ropeUploads ??= begin());
  const view = {data, setStateValue};
  view.draw = data.kind === 'line' ? () => drawLine(main, hub) : () => drawField(main, hub, view);
  if (data.kind === 'line') {                              // it overlays the page and takes no space in it
    main.className = 'line';
    const frame = root.host?.closest('[data-testid=stElementContainer]');
    if (frame) frame.style.position = 'absolute';
  }
  const stop = data.kind === 'field' ? dropping(hub, view) : () => {};
  hub.show(view);
  return () => { hub.views.delete(view); stop(); };
}
