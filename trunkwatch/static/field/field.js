// The field page: what a scout taps in the row becomes records, kept on the phone before a tick is shown.

let disk = simpleDisk();
let items = [];
let state = { language: data.language, observer: "", road: "findings", row: 0, from: "first", counting: "labels", place: false, device: pure.uuid().slice(0, 8), walk: null, screen: "start" };
let typed = "";
let bayTyped = null; // the bay, once it is typed, where bay and vine are used
let byBay = false;
let here = null; // the phone's position and when it was told, if the scout allows it
let elsewhere = []; // what other blocks, seasons or vineyards on this phone never handed over
let guarded = false; // whether the browser promised not to clear the storage
const FRESH = 30000; // a position older than this many milliseconds is not where the scout stands

// One thing at a time: what is tapped while something is being stored is not done twice.
let busy = false;
async function once(job) {
  if (busy) return;
  busy = true;
  try { await job(); } finally { busy = false; }
}

// Writes what `make` makes of the records that lie on the disk now: another window of the page may have written too.
async function write(make, message) {
  try {
    // With it goes what is half typed: a page that begins anew shows it again.
    items = inOrder(await disk.write(make, { ...state, typing: { typed, bayTyped, byBay } }));
    tellOthers();
    if (message) tick(message, false);
    return true;
  } catch (error) {
    tick(word("not_saved", { why: error && error.message ? error.message : "?" }), true);
    return false;
  }
}
const nothing = () => [];
const showAndKeep = () => { render(); write(nothing, ""); };

// ---- Other windows of this page -----------------------------------------------------------------------------
const others = window.BroadcastChannel ? new BroadcastChannel(`${NAME}\u001f${KEY}`) : null;
const tellOthers = () => { if (others) others.postMessage("written"); };
async function readAgain() {
  if (disk.kind === "none") return;
  try { items = inOrder((await disk.read()).items); } catch { return; }
  // A row that another window finished is finished.
  if (state.walk && isFinished(items, state.walk.id)) Object.assign(state, { walk: null, screen: "start" });
  const typing = document.activeElement?.matches("input, select, textarea");
  if (!busy && !typing && ["start", "settings", "rows", "records", "work", "walk", "winter", "vine", "why", "after", "buds", "cane", "pruned", "recheck"].includes(state.screen)) render();
}
const isFinished = (every, walk) => every.some((item) => item.table === "surveys" && item.walk === walk && item.state === "live");
if (others) others.onmessage = readAgain;
window.addEventListener("storage", (event) => { if (event.key === NAME + KEY) readAgain(); });

// ---- Words and marks ---------------------------------------------------------------------------------------
function word(key, values = {}) {
  const table = data.words[state.language] || data.words.en;
  let text = table[key] || data.words.en[key] || key;
  for (const [name, value] of Object.entries(values)) text = text.replaceAll(`{${name}}`, () => String(value));
  return text;
}
const code = (name) => word(`code.${name}`);
const savedWord = () => word(disk.kind === "none" ? "only_here" : "saved");

let tickTimer = 0;
function tick(text, bad) {
  const mark = document.getElementById("tick");
  mark.textContent = bad || disk.kind === "none" ? text : `\u2713 ${text}`;
  mark.className = bad ? "on bad" : "on";
  clearTimeout(tickTimer);
  tickTimer = setTimeout(() => { mark.className = ""; }, bad ? 6000 : 1400);
  if (navigator.vibrate) navigator.vibrate(bad ? [200, 80, 200] : 40);
  sound(bad);
}
let audio = null;
function sound(bad) {
  try {
    audio = audio || new (window.AudioContext || window.webkitAudioContext)();
    const tone = audio.createOscillator();
    const loud = audio.createGain();
    loud.gain.value = 0.05;
    tone.frequency.value = bad ? 180 : 880;
    tone.connect(loud).connect(audio.destination);
    tone.start();
    tone.stop(audio.currentTime + (bad ? 0.4 : 0.08));
  } catch { /* a phone without sound is no fault */ }
}

// For a moment a new screen takes no tap: the bounce of the last one is not meant for it.
let shown = "";
let settling = 0;
function settle(screen) {
  if (screen === shown) return;
  shown = screen;
  const page = document.getElementById("page");
  page.classList.add("settling");
  clearTimeout(settling);
  settling = setTimeout(() => page.classList.remove("settling"), 150);
  window.scrollTo(0, 0);
}

function show(...parts) {
  const page = document.getElementById("page");
  document.documentElement.lang = state.language;
  const had = page.contains(document.activeElement) ? document.activeElement : null;
  const name = had && (had.id || had.textContent);
  page.replaceChildren(...parts.filter(Boolean));
  // Whoever works by keyboard stays on the key just pressed.
  if (had) [...page.querySelectorAll("button, input")].find((one) => (one.id || one.textContent) === name && !one.disabled)?.focus({ preventScroll: true });
}

// ---- The strip: the row as a line with posts, vines as ticks, findings as flags -----------------------------
function strip(row, from, middle) {
  const svg = svgEl("svg", { viewBox: "0 0 360 64", class: "strip", "aria-hidden": "true" });
  const draw = (d, stroke, width) => svg.append(svgEl("path", { d, stroke, "stroke-width": width, fill: "none" }));
  const [gap, young, flag] = ["missing", "young", "finding"].map((name) => data.looks[data.marks[name]]);
  draw("M0 44H360", "currentColor", 2);
  const seen = new Set(walked().map((item) => Number(item.row.position)));
  const centre = pure.count(row, from, middle);
  for (let k = -6; k <= 6; k += 1) {
    const count = centre + k;
    if (count < 1 || count > pure.total(row)) continue;
    const position = pure.place(row, from, count);
    const x = 180 + 27 * k;
    if (row.missing.includes(position)) svg.append(...markPaths({ ...gap, solid: true, fill: data.paper }, { x, y: 44, scale: 5 / 3 }));
    else if (row.young.includes(position)) svg.append(...markPaths(young, { x, y: 45, scale: 1.8, width: 3 }));
    else draw(`M${x} 54V34`, "currentColor", k === 0 ? 6 : 3);
    if (seen.has(position)) svg.append(...markPaths(flag, { x, y: 35, scale: 1.5 }));
    if (row.bay_ends.includes(position)) draw(`M${x + (from === "last" ? -13 : 13)} 60V24`, gap.ink, 5);
    const text = k === 0 || position % 5 === 0 ? String(position) : "";
    svg.append(svgEl("text", { x, y: 14, "text-anchor": "middle", "font-size": k === 0 ? 19 : 15, fill: "currentColor" }, text));
  }
  return svg;
}

// ---- The walk ------------------------------------------------------------------------------------------------
const row = () => data.rows[state.row];
// Whoever stands at the first position counts as the row is labelled.
const counting = () => (state.from === "last" ? state.counting : "labels");
const lastId = () => walked().at(-1)?.id ?? null;
const walked = () => (state.walk ? items.filter((item) => item.walk === state.walk.id && item.table === "symptoms" && item.state === "live") : []);

const deviceName = () => (data.pairing ? data.pairing.device : state.device);

function record(table, values) {
  const now = new Date();
  return {
    id: "", key: KEY, bound: { vineyard_name: data.vineyard_name, block_root: data.block_root, block_began: data.block_began }, phone: data.pairing ? data.pairing.phone : "", table, state: "live", handed: false, walk: state.walk ? state.walk.id : "",
    row: { block: data.block, vineyard: data.vineyard_name, date: localDay(now), observer: state.observer, device: deviceName(), recorded_at: now.toISOString(), ...values },
  };
}

async function startRow() {
  state.walk = { id: pure.uuid(), began: new Date().toISOString(), row: row().label };
  state.at = state.from === "last" ? row().last : row().first;
  if (row().missing.includes(state.at)) state.at = pure.nextVine(row(), state.from, state.at) ?? state.at;
  state.screen = "walk";
  typed = "";
  bayTyped = null;
  await write(nothing, "");
  keepAwake();
  render();
}

async function finding(position, symptom, arm) {
  const made = record("symptoms", { row: row().label, position: String(position), symptom, arm: arm || "" });
  if (state.place && here && Date.now() - here.told < FRESH) Object.assign(made.row, { longitude: here.longitude, latitude: here.latitude, accuracy_m: Math.round(here.accuracy * 10) / 10 });
  made.id = pure.uuid();
  made.row.id = made.id;
  const told = `${row().label}:${position} ${code(symptom)}${arm ? `, ${armWord(arm)}` : ""}`;
  const before = { at: state.at, screen: state.screen, again: state.again };
  const digits = [typed, bayTyped];
  if (state.road === "every") {
    const next = pure.nextVine(row(), state.from, position);
    if (next === null) state.screen = "every_end";
    else state.at = next;
  }
  state.again = { symptom, arm: arm || "" };
  // Gone with the finding in one step, so that nobody who finds them there again says it twice.
  [typed, bayTyped] = ["", null];
  if (!(await write(() => [made], ""))) {
    Object.assign(state, before);
    [typed, bayTyped] = digits;
    render();
    return;
  }
  render();
  tick(`${savedWord()} ${told}`, false);
}

const told = (item) => (["surveys", "pruning"].includes(item.table) ? item.row.covered : item.table === "bud_counts" ? budTally(item) : `${item.row.row}:${item.row.position}`);

async function undo(id) {
  const item = items.find((one) => one.id === id);
  if (!item || item.state === "void") return;
  const taken = { state: "void", void_id: pure.uuid(), voided_at: new Date().toISOString() };
  // What was said with a decision on the winter's list goes with it.
  const gone = (every) => (data.recheck ? recheckTaken(every, id) : every.some((one) => one.id === id && one.state === "live")
    ? [{ ...every.find((one) => one.id === id), ...taken }, ...(item.table === "work" ? linked(every, item.root).map(takenBack) : [])] : []);
  const before = { at: state.at, screen: state.screen };
  if (state.road === "every" && state.walk && item.walk === state.walk.id && state.screen !== "records") Object.assign(state, { at: Number(item.row.position), screen: "walk" });
  if (!(await write(gone, `${word("undo")}: ${told(item)}`))) Object.assign(state, before);
  render();
}

async function finishRow(count, moved = []) {
  const minutes = Math.max(1, Math.round((Date.now() - Date.parse(state.walk.began)) / 60000));
  const made = record("surveys", { survey: `${data.look} ${data.season}`, look: data.look, covered: pure.covered(row(), state.from, count), method: "phone", minutes });
  made.id = pure.uuid();
  made.row.id = made.id;
  const before = { ...state };
  const walk = state.walk.id;
  const next = nextOwn(1) ?? state.row;
  Object.assign(state, { walk: null, screen: "start", from: pure.nextFrom(row(), data.rows[next], state.from), row: next });
  const finished = (every) => (isFinished(every, walk) ? [] : [...shiftedNow(every, moved), made]);
  await writeTyped(finished, `${savedWord()} ${made.row.covered}`, before);
}

// Findings at the positions that they are moved to, as they are now: one that was taken back meanwhile stays so.
function shiftedNow(every, moved) {
  return moved.flatMap(([id, position]) => every.filter((item) => item.id === id && item.state === "live").flatMap((item) => pure.changed(item, { position }, new Date(), pure.uuid)));
}

// A row begun by mistake: nothing is said about its vines, what was found stays.
async function leaveRow() {
  const before = { ...state };
  Object.assign(state, { walk: null, screen: "start" });
  await writeTyped(nothing, word("left_row"), before);
}

// The number that was typed goes with what it was typed for; where nothing was saved it stays.
async function writeTyped(make, message, before) {
  const digits = typed;
  typed = "";
  if (!(await write(make, message))) {
    Object.assign(state, before);
    typed = digits;
  }
  render();
}

async function change(id, values) {
  const changed = (every) => every.filter((one) => one.id === id && one.state === "live").flatMap((one) => pure.changed(one, values, new Date(), pure.uuid));
  const item = items.find((one) => one.id === id);
  const next = { ...item, row: { ...item.row, ...values } };
  const what = next.row.symptom ? ` ${code(next.row.symptom)}${next.row.arm ? `, ${armWord(next.row.arm)}` : ""}` : "";
  if (!(await write(changed, `${savedWord()} ${told(next)}${what}`))) return false;
  // A record that was sent stands under another id now: what is on the screen is about that one.
  if (state.seen === id && item.handed) state.seen = items.at(-1).id;
  render();
  return true;
}

// ---- The phone -----------------------------------------------------------------------------------------------
async function keepAwake() {
  try { if (navigator.wakeLock && document.visibilityState === "visible") await navigator.wakeLock.request("screen"); } catch { /* then the screen may go dark */ }
}
document.addEventListener("visibilitychange", async () => {
  if (document.visibilityState !== "visible") return;
  if (state.walk) keepAwake();
  // Another window may have written or handed over meanwhile, and the office may have a newer page.
  await readAgain();
  lookForNewer();
});

// A newer page is fetched beside the one that is shown; it is offered as soon as it is there, and never put in its place.
let newer = false;
let worker = null;
async function keepPage() {
  if (!data.app || !("serviceWorker" in navigator)) return;
  let first = !navigator.serviceWorker.controller; // the first is the page that is shown
  try { worker = await navigator.serviceWorker.register(`worker.js${location.search}`); } catch { return; }
  const offer = () => {
    newer = !first;
    first = false;
    if (newer && !state.walk && state.screen === "start" && !document.activeElement?.matches("input")) render();
  };
  const watch = (coming) => coming && coming.addEventListener("statechange", () => { if (coming.state === "activated") offer(); });
  watch(worker.installing);
  worker.addEventListener("updatefound", () => watch(worker.installing));
}
function lookForNewer() {
  if (worker && navigator.onLine) worker.update().catch(() => false);
}

// Digits of a real keyboard go where those of the page go.
document.addEventListener("keydown", (event) => {
  if (event.target.matches("input, select, textarea") || event.ctrlKey || event.metaKey || event.altKey || !document.querySelector(".keys")) return;
  if (/^[0-9]$/.test(event.key)) digit(event.key);
  else if (event.key === "Backspace") rubOut();
});

// Screens that need no row to be under way.
const ANYTIME = ["start", "recheck", "where", "settings", "rows", "records", "work", "buds", "cane", "pruned"];
function render() {
  // A form that is half filled in stays until it is saved or left.
  if (state.draft && items.some((item) => item.id === state.draft.id && item.state === "live")) { detailsScreen(state.draft.id); return; }
  const screens = { start: data.recheck ? recheckStart : startScreen, recheck: recheckScreen, where: whereScreen, settings: settingsScreen, rows: rowsScreen, buds: budsScreen, cane: caneScreen, pruned: prunedScreen, records: recordsScreen, work: workScreen, winter: winterScreen, vine: vineScreen, why: whyScreen, after: afterScreen, see: seeScreen, end: endScreen, walk: state.road === "every" ? everyScreen : findingsScreen, every_end: everyEnd };
  const winter = ["winter", "vine", "why", "after", "see"].includes(state.screen) && data.work.length > 0;
  const name = winter ? winterName() : (state.walk && screens[state.screen]) || ANYTIME.includes(state.screen) ? state.screen : "start";
  // A new screen, another vine, or another record: each waits for a tap of its own.
  settle(`${name} ${name === "cane" ? state.buds.cane : name === "recheck" ? state.list_at : winter ? state.vine : state.road === "every" && state.walk ? state.at : ""} ${winter || ["buds", "cane", "pruned", "recheck", "where"].includes(name) ? "" : items.filter((item) => item.state === "live").length}`);
  show(...screens[name]());
}

// The row that was being walked, wherever it stands in a newer page.
function findRow() {
  const at = state.walk ? data.rows.findIndex((one) => one.label === state.walk.row) : -1;
  if (at >= 0) state.row = at;
  else if ((state.walk && state.walk.row !== undefined) || state.row >= data.rows.length) Object.assign(state, { row: 0, walk: null, screen: "start" });
}

// The browser may ask the scout, or never answer: nothing waits for it.
async function askToKeep() {
  const storage = navigator.storage;
  guarded = Boolean(storage && storage.persist && (await storage.persist().catch(() => false)));
  if (!state.walk && state.screen === "start" && !document.activeElement?.matches("input")) render();
}

async function begin() {
  if (window.indexedDB) {
    try { disk = await databaseDisk(); } catch { disk = simpleDisk(); }
  }
  try {
    const found = await disk.read();
    items = inOrder(found.items);
    if (found.state) {
      const { typing, ...kept } = found.state;
      state = { ...state, ...kept };
      if (typing && state.walk) ({ typed, bayTyped, byBay } = typing);
    }
    if (state.screen === "where") state.screen = state.walk ? "walk" : "start"; // the phone is asked where it is only when somebody taps it
    findRow();
  } catch (error) { tick(word("not_saved", { why: error.message }), true); }
  askToKeep();
  keepPage();
  if (state.walk) keepAwake();
  watchPlace();
  render();
  document.body.dataset.ready = "yes";
}
begin();
