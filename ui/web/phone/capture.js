// The phone at the rope. Photographs and readings are first stored on the phone (IndexedDB), sent when
// there is a signal, and deleted only after the server has confirmed them (a photograph by its SHA-256).
"use strict";

const TOKEN = "token of the inspection", STATE = "the inspection as it stood", SEEN = "figures seen";
const LOOK_MS = 1000, REST_MS = 15000, AGAIN_MS = 3000, LONGEST_MS = 120000;
const $ = (id) => document.getElementById(id);

// A link's token follows its #; it is stored here and removed from the address.
if (location.hash.length > 1) {
  localStorage.setItem(TOKEN, location.hash.slice(1));
  history.replaceState(null, "", location.pathname);
}
const token = localStorage.getItem(TOKEN) || "";

let state = null;          // as last received from the server
let items = [];            // photographs and readings stored on the phone
let chosen = "";           // cell selected by the user
let working = false, ended = "", trouble = "", unsaved = "", soonest = 0;
const skipped = new Set(), pictures = new Map();
const seen = new Set(JSON.parse(localStorage.getItem(SEEN) || "[]"));  // figures that were shown

// ---- SHA-256 (FIPS 180-4): browsers offer it over HTTPS only -----------------------------------

function sha256(bytes) {
  const K = sha256.K ||= (() => {
    const primes = [], fraction = (x) => ((x - Math.floor(x)) * 4294967296) | 0;
    for (let n = 2; primes.length < 64; n++) if (primes.every((p) => n % p)) primes.push(n);
    return { k: primes.map((p) => fraction(Math.cbrt(p))),
             h: primes.slice(0, 8).map((p) => fraction(Math.sqrt(p))) };
  })();
  const padded = new Uint8Array(((bytes.length + 72) >> 6) << 6);
  padded.set(bytes);
  padded[bytes.length] = 0x80;
  const view = new DataView(padded.buffer), w = new Int32Array(64), h = Int32Array.from(K.h);
  view.setUint32(padded.length - 8, Math.floor(bytes.length / 536870912));
  view.setUint32(padded.length - 4, (bytes.length * 8) >>> 0);
  const turn = (x, n) => (x >>> n) | (x << (32 - n));
  for (let at = 0; at < padded.length; at += 64) {
    for (let i = 0; i < 16; i++) w[i] = view.getInt32(at + 4 * i);
    for (let i = 16; i < 64; i++) {
      const a = w[i - 15], b = w[i - 2];
      w[i] = (w[i - 16] + (turn(a, 7) ^ turn(a, 18) ^ (a >>> 3)) + w[i - 7]
        + (turn(b, 17) ^ turn(b, 19) ^ (b >>> 10))) | 0;
    }
    let [a, b, c, d, e, f, g, l] = h;
    for (let i = 0; i < 64; i++) {
      const one = (l + (turn(e, 6) ^ turn(e, 11) ^ turn(e, 25)) + ((e & f) ^ (~e & g))
        + K.k[i] + w[i]) | 0;
      const two = ((turn(a, 2) ^ turn(a, 13) ^ turn(a, 22)) + ((a & b) ^ (a & c) ^ (b & c))) | 0;
      l = g; g = f; f = e; e = (d + one) | 0; d = c; c = b; b = a; a = (one + two) | 0;
    }
    [a, b, c, d, e, f, g, l].forEach((x, i) => { h[i] = (h[i] + x) | 0; });
  }
  return Array.from(h, (x) => (x >>> 0).toString(16).padStart(8, "0")).join("");
}

async function hashOf(buffer) {
  if (!globalThis.crypto?.subtle) return sha256(new Uint8Array(buffer));
  const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", buffer));
  return Array.from(digest, (x) => x.toString(16).padStart(2, "0")).join("");
}

// ---- storage on the phone ----------------------------------------------------------------------

const database = new Promise((resolve, reject) => {
  const request = indexedDB.open("rope photo check", 1);
  request.onupgradeneeded = () => request.result.createObjectStore("items", { keyPath: "id" });
  request.onsuccess = () => resolve(request.result);
  request.onerror = () => reject(request.error);
});

async function inStore(mode, act) {
  const store = (await database).transaction("items", mode, { durability: "strict" });
  const request = act(store.objectStore("items"));
  return new Promise((resolve, reject) => {
    store.oncomplete = () => resolve(request.result);
    store.onerror = store.onabort = () => reject(store.error);
  });
}

async function keep(item) {
  await inStore("readwrite", (store) => store.put(item));
  items = items.filter((one) => one.id !== item.id).concat(item);
  items.sort((a, b) => (a.id < b.id ? -1 : 1));
  render();
}

async function forget(item) {
  await inStore("readwrite", (store) => store.delete(item.id));
  items = items.filter((one) => one.id !== item.id);
  render();
}

function newId() {
  const tail = crypto.getRandomValues(new Uint32Array(2));
  return `${String(Date.now()).padStart(15, "0")} ${tail[0].toString(36)}${tail[1].toString(36)}`;
}

function localTime() {
  const now = new Date();
  return new Date(now - now.getTimezoneOffset() * 60000).toISOString().slice(0, 19);
}

const mine = (item) => item.token === token || (state && item.inspection === state.inspection);
const DONE = ["sent", "entered"];
const unsent = () => items.filter((one) => !DONE.includes(one.kind) && !one.error && mine(one));

// ---- talking to the server ---------------------------------------------------------------------

async function ask(path, options = {}) {
  const stop = new AbortController(), timer = setTimeout(() => stop.abort(), LONGEST_MS);
  try {
    const answer = await fetch(path, {
      ...options, signal: stop.signal, cache: "no-store", credentials: "omit",
      headers: { Authorization: `Bearer ${token}`, ...options.headers },
    });
    let told = {};
    try { told = await answer.json(); } catch { /* an answer without JSON */ }
    if (answer.status === 403) ended = told.error || "This link has expired. Scan a new code.";
    return { status: answer.status, told };
  } finally {
    clearTimeout(timer);
  }
}

async function send(item) {
  const answer = item.kind === "photograph"
    ? await ask(`photographs?name=${encodeURIComponent(item.name)}`, {
      method: "PUT", body: item.bytes, headers: { "Content-Type": "application/octet-stream" } })
    : await ask("readings", { method: "PUT", body: JSON.stringify(item.reading) });
  if (answer.status === 200) {
    // kept until the next poll shows it, so that its cell is not requested again meanwhile
    if (item.kind === "reading") return keep({ ...item, kind: "entered" });
    if (answer.told.sha256 !== item.sha256) throw new Error("The photograph arrived damaged; it is sent again.");
    const { id, cell, name, inspection, sha256: hash } = item;
    return keep({ id, kind: "sent", cell, name, sha256: hash, token, inspection });
  }
  if (answer.status === 409) return keep({ ...item, error: answer.told.error, asks: true });
  if (answer.status === 422) return keep({ ...item, error: answer.told.error });
  throw new Error(answer.told.error || "The server is not responding.");
}

async function work() {
  if (working || !token) return;
  working = true;
  try {
    if (!state) await look();
    for (let item; !ended && (item = unsent()[0]);) await send(item);
    trouble = "";
    await look();
    soonest = Date.now() + (waits() ? LOOK_MS : REST_MS);
  } catch (wrong) {
    trouble = wrong instanceof TypeError || wrong.name === "AbortError" ? "" : wrong.message;
    soonest = Date.now() + AGAIN_MS;
  } finally {
    working = false;
    render();
  }
}

async function look() {
  const { status, told } = await ask(`state?figures=${$("figures").checked ? 1 : 0}`);
  if (status !== 200) { if (status !== 403) throw new Error(told.error); return; }
  state = told;
  ended = "";
  for (const cell of state.cells) if (cell.figure) seen.add(`${state.inspection} ${keyOf(cell)}`);
  localStorage.setItem(SEEN, JSON.stringify([...seen].slice(-400)));
  localStorage.setItem(STATE, JSON.stringify({ token, state }));
  for (const item of items) if (item.token === token) item.inspection = state.inspection;
  for (const item of items.filter((one) => one.kind === "entered" && mine(one))) await forget(item);
}

const waits = () => state && items.some(
  (one) => one.kind === "sent" && mine(one)
    && (state.photographs[one.sha256]?.state ?? "waiting") === "waiting");

setInterval(() => { if (Date.now() > soonest && !document.hidden) work(); }, 500);
addEventListener("online", () => { soonest = 0; work(); });
document.addEventListener("visibilitychange", () => { soonest = 0; });

// ---- display -------------------------------------------------------------------------------------

const keyOf = (cell) => `${cell.station}/${cell.view_deg}`;
const words = (key) => (key ? `Station ${key.replace("/", " · ")}°` : "A photograph");

function open(lacks, kind) {
  const cells = state.cells.filter(lacks).map(keyOf)
    .filter((key) => !items.some((one) => one.cell === key && mine(one) && under(one, kind)));
  if (chosen && state.cells.some((cell) => keyOf(cell) === chosen && lacks(cell))
    && cells.includes(chosen)) return chosen;
  return cells.find((key) => !skipped.has(`${kind} ${key}`)) || "";
}

function under(item, kind) {  // being sent or measured
  if (kind === "reading") return item.kind === "reading" || item.kind === "entered";
  return item.kind === "photograph" ? !item.error : item.kind === "sent"
    && (state.photographs[item.sha256]?.state ?? "waiting") === "waiting";
}

const nextPhoto = () => state && open((cell) => cell.photo !== "good", "photograph");
const nextReading = () => state && open((cell) => !cell.reading, "reading");

function element(name, text, more = {}) {
  return Object.assign(document.createElement(name), { textContent: text }, more);
}

function render() {
  const offline = !navigator.onLine || (soonest && !trouble && unsent().length && !working);
  const count = unsent().length, other = items.filter((one) => !mine(one)).length;
  $("pending").textContent = count
    ? `${count} waiting ${offline ? "for a signal" : "to send"}`
    : state?.waiting ? `${state.waiting} being measured` : "";
  const message = ended || unsaved || trouble || state?.problem
    || (!token ? "Scan the code that the inspection's Stations page shows under “On a phone”." : "")
    || (state?.closed ? "This inspection is closed: nothing more can be added to it." : "")
    || (other ? `Waiting on this phone for another inspection: ${other}. Scan its code to send them.` : "");
  $("message").textContent = message;
  $("message").hidden = !message;
  $("work").hidden = !state;
  if (!state) return;
  $("rope").textContent = state.rope;
  document.title = `${state.rope} · Rope Photo Check`;
  const photo = nextPhoto(), cell = state.cells.find((one) => keyOf(one) === photo);
  $("next").textContent = photo ? words(photo) : "All stations are photographed";
  $("where").textContent = cell ? `${cell.where}${cell.where ? " · " : ""}card ${cell.station}, ${
    cell.view_deg}° · ${cell.view_deg === 90 ? "from the side" : "from the front"}` : "";
  $("take").firstElementChild.textContent = photo ? "Take the photograph" : "Take another photograph";
  renderItems();
  renderReading();
  renderCells();
  $("skip").hidden = !photo;
}

function renderItems() {
  const shown = items.filter(mine).slice(-4).reverse();
  $("last").replaceChildren(...shown.map((item) => {
    const line = element("li", ""), text = line.appendChild(element("div", ""));
    const picture = pictures.get(item.sha256);
    if (picture) line.prepend(Object.assign(new Image(), { src: picture, alt: "" }));
    const say = (...told) => told.filter(Boolean).forEach((one) => text.append(element("p", one)));
    const button = (label, act) => line.append(element("button", label, { type: "button", onclick: act }));
    if (item.error) {
      line.className = "refused";
      say(item.kind === "reading" ? `${words(item.cell)}: ${item.reading.typed}` : item.name, item.error);
      if (item.asks) button("It is correct", () => sure(item));
      button(item.kind === "reading" ? "Type again" : "Remove", () => again(item));
    } else if (item.kind === "entered") {
      say(`${words(item.cell)}: ${item.reading.typed}, entered`);
    } else if (item.kind === "reading") {
      say(`${words(item.cell)}: ${item.reading.typed}, waiting to be sent`);
    } else if (item.kind === "photograph") {
      say(`${words(item.cell)}: on this phone, waiting to be sent`);
    } else {
      const answer = state.photographs[item.sha256] ?? { state: "waiting" };
      line.className = answer.state;
      if (answer.state === "waiting") say(`${words(item.cell)}: in the record, being measured`);
      else if (answer.state === "good") say(`Good: ${answer.place}`, answer.words, answer.remedy);
      else say(`No diameter${answer.place ? `: ${answer.place}` : ""}`, answer.words, answer.remedy);
    }
    return line;
  }));
}

function renderReading() {
  const typedFor = $("typed").value.trim() && $("reading").dataset.cell;
  const cell = typedFor || nextReading();  // a reading being typed keeps its cell
  $("reading").hidden = !cell || !state.gauges.length;
  $("no-gauge").hidden = state.gauges.length > 0;
  if (!cell) return;
  $("reading").dataset.cell = cell;
  $("typed-for").textContent = `Gauge reading, ${words(cell)}, ${state.inch ? "inch" : "mm"}`;
  const gauge = $("gauge"), listed = Array.from(gauge.options, (one) => one.value).join("\n");
  if (listed !== ["", ...state.gauges].join("\n")) {
    const now = gauge.value || localStorage.getItem("gauge") || state.gauge;
    gauge.replaceChildren(...["", ...state.gauges].map(
      (name) => element("option", name || "choose", { value: name })));
    gauge.value = state.gauges.includes(now) ? now : "";
  }
}

function renderCells() {
  if ($("cells").hidden) return;
  $("cells").replaceChildren(...state.cells.map((cell) => {
    const lacks = [cell.photo === "good" ? "" : "photograph", cell.reading ? "" : "reading"];
    const words_ = lacks.filter(Boolean).join(" and ") || cell.figure || "done";
    return element("button", `${cell.station} · ${cell.view_deg}° ${
      lacks.some(Boolean) ? "needs " : ""}${words_}`, { type: "button", onclick: () => choose(keyOf(cell)) });
  }));
}

// ---- user actions --------------------------------------------------------------------------------

function choose(key) {
  chosen = key;
  delete $("reading").dataset.cell;
  skipped.delete(`photograph ${key}`);
  skipped.delete(`reading ${key}`);
  show(false);
  render();
}

function show(cells) {
  $("cells").hidden = !cells;
  $("other").setAttribute("aria-expanded", String(cells));
  render();
}

async function sure(item) {
  await keep({ ...item, error: "", asks: false, reading: { ...item.reading, sure: true } });
  work();
}

async function again(item) {
  if (item.kind === "reading") {
    choose(item.cell);
    $("typed").value = item.reading.typed;
  }
  await forget(item);
  if (item.kind === "reading") $("typed").focus();
}

$("camera").addEventListener("change", async (event) => {
  const [file] = event.target.files;
  if (!file) return;
  const bytes = await file.arrayBuffer().catch(() => null);
  if (!bytes) {
    event.target.value = "";
    unsaved = "The last photograph can't be read on this phone: take it again.";
    return render();
  }
  const hash = await hashOf(bytes), cell = nextPhoto() || "";
  const kind = (file.name.match(/\.\w{2,5}$/) || [".jpg"])[0];
  const item = { id: newId(), kind: "photograph", cell, sha256: hash, bytes, token,
    inspection: state?.inspection, name: `phone ${localTime().replaceAll(":", "")}${kind}` };
  try {
    await keep(item);
  } catch {
    event.target.value = "";
    unsaved = "This phone has no room for the photograph: free some space, then take it again.";
    return render();
  }
  unsaved = "";                                            // until then the message stays
  event.target.value = "";
  pictures.set(hash, URL.createObjectURL(file));
  for (const old of Array.from(pictures.keys()).slice(0, -6)) {
    URL.revokeObjectURL(pictures.get(old));
    pictures.delete(old);
  }
  render();
  navigator.storage?.persist?.();
  work();
});

$("reading").addEventListener("submit", async (event) => {
  event.preventDefault();
  const typed = $("typed").value.trim(), gauge = $("gauge").value, cell = $("reading").dataset.cell;
  const wrong = !typed ? "" : !/\d/.test(typed) ? `“${typed}” is not a length: type what the gauge shows.`
    : !gauge ? "Choose the gauge first." : "";
  $("said").textContent = wrong;
  $("said").hidden = !wrong;
  if (!typed || wrong) return;
  const [station, view_deg] = cell.split("/").map(Number);
  await keep({ id: newId(), kind: "reading", cell, token, inspection: state.inspection,
    reading: { station, view_deg, typed, gauge, at: localTime(),
      blind: !seen.has(`${state.inspection} ${cell}`) } });
  $("typed").value = "";
  render();
  work();
});
$("gauge").addEventListener("change", () => localStorage.setItem("gauge", $("gauge").value));
$("figures").addEventListener("change", () => { soonest = 0; work(); });
$("skip").addEventListener("click", () => {
  skipped.add(`photograph ${nextPhoto()}`);
  chosen = "";
  render();
});
$("other").addEventListener("click", () => show($("cells").hidden));

// ---- start ---------------------------------------------------------------------------------------

(async () => {
  $("open-air").hidden = isSecureContext && location.protocol === "https:";
  if (location.protocol === "https:") navigator.serviceWorker?.register("offline.js");
  const kept = JSON.parse(localStorage.getItem(STATE) || "null");
  if (kept?.token === token) state = kept.state;
  items = (await inStore("readonly", (store) => store.getAll())).sort((a, b) => (a.id < b.id ? -1 : 1));
  const old = items.filter((one) => one.kind === "sent").slice(0, -12);
  for (const item of old) await forget(item);
  render();
  work();
})();
