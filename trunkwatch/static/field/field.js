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
    items = inOrder(await disk.write(make, state));
    tellOthers();
    if (message) tick(message, false);
    return true;
  } catch (error) {
    tick(word("not_saved", { why: error && error.message ? error.message : "?" }), true);
    return false;
  }
}
const nothing = () => [];

// ---- Other windows of this page -----------------------------------------------------------------------------
const others = window.BroadcastChannel ? new BroadcastChannel(`${NAME}\u001f${KEY}`) : null;
const tellOthers = () => { if (others) others.postMessage("written"); };
async function readAgain() {
  if (disk.kind === "none") return;
  try { items = inOrder((await disk.read()).items); } catch { return; }
  // A row that another window finished is finished.
  if (state.walk && isFinished(items, state.walk.id)) Object.assign(state, { walk: null, screen: "start" });
  const typing = document.activeElement?.matches("input, select, textarea");
  if (!busy && !typing && ["start", "records", "work", "walk", "winter"].includes(state.screen)) render();
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

function el(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name === "on") made.addEventListener("click", value);
    else if (value === true) made.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) made.setAttribute(name, value);
  }
  made.append(...children.filter((child) => child !== null && child !== undefined));
  return made;
}
const button = (text, on, attributes = {}) => el("button", { type: "button", on, ...attributes }, text);

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
  const NS = "http://www.w3.org/2000/svg";
  const svg = document.createElementNS(NS, "svg");
  svg.setAttribute("viewBox", "0 0 360 64");
  svg.setAttribute("class", "strip");
  svg.setAttribute("aria-hidden", "true");
  const draw = (d, stroke, width, fill = "none") => {
    const path = document.createElementNS(NS, "path");
    path.setAttribute("d", d);
    path.setAttribute("stroke", stroke);
    path.setAttribute("stroke-width", width);
    path.setAttribute("fill", fill);
    svg.append(path);
  };
  draw("M0 44H360", "#10181e", 2);
  const seen = new Set(walked().map((item) => Number(item.row.position)));
  const centre = pure.count(row, from, middle);
  for (let k = -6; k <= 6; k += 1) {
    const count = centre + k;
    if (count < 1 || count > pure.total(row)) continue;
    const position = pure.place(row, from, count);
    const x = 180 + 27 * k;
    if (row.missing.includes(position)) draw(`M${x - 5} 44l5 -5l5 5l-5 5Z`, "#77756e", 2, "#fffdf8");
    else if (row.young.includes(position)) draw(`M${x} 54V40m0 4l-5 -5M${x} 44l5 -5`, "#153f6b", 3);
    else draw(`M${x} 54V34`, "#10181e", k === 0 ? 6 : 3);
    if (seen.has(position)) draw(`M${x} 44V14l13 6l-13 6`, "#8f3a00", 2, "#d65f0a");
    if (row.bay_ends.includes(position)) draw(`M${x + (from === "last" ? -13 : 13)} 60V24`, "#77756e", 5);
    const text = document.createElementNS(NS, "text");
    text.setAttribute("x", x);
    text.setAttribute("y", 12);
    text.setAttribute("text-anchor", "middle");
    text.setAttribute("font-size", k === 0 ? 15 : 11);
    text.setAttribute("fill", "#10181e");
    text.textContent = k === 0 || position % 5 === 0 ? position : "";
    svg.append(text);
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
    row: { block: data.block, vineyard: data.vineyard_name, date: pure.day(now), observer: state.observer, device: deviceName(), recorded_at: now.toISOString(), ...values },
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
  const told = `${row().label}:${position} ${code(symptom)}${arm ? `, ${word(`arm.${arm}`)}` : ""}`;
  const before = { at: state.at, screen: state.screen, again: state.again };
  if (state.road === "every") {
    const next = pure.nextVine(row(), state.from, position);
    if (next === null) state.screen = "every_end";
    else state.at = next;
  }
  state.again = { symptom, arm: arm || "" };
  if (!(await write(() => [made], ""))) {
    Object.assign(state, before);
    render();
    return;
  }
  typed = "";
  bayTyped = null;
  render();
  tick(`${savedWord()} ${told}`, false);
}

const told = (item) => (item.table === "surveys" ? item.row.covered : `${item.row.row}:${item.row.position}`);

async function undo(id) {
  const item = items.find((one) => one.id === id);
  if (!item || item.state === "void") return;
  const taken = { state: "void", void_id: pure.uuid(), voided_at: new Date().toISOString() };
  const gone = (every) => every.filter((one) => one.id === id && one.state === "live").map((one) => ({ ...one, ...taken }));
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
  const next = Math.min(state.row + 1, data.rows.length - 1);
  Object.assign(state, { walk: null, screen: "start", from: pure.nextFrom(row(), data.rows[next], state.from), row: next });
  const finished = (every) => (isFinished(every, walk) ? [] : [...shiftedNow(every, moved), made]);
  if (!(await write(finished, `${savedWord()} ${made.row.covered}`))) Object.assign(state, before);
  typed = "";
  render();
}

// Findings at the positions that they are moved to, as they are now: one that was taken back meanwhile stays so.
function shiftedNow(every, moved) {
  return moved.flatMap(([id, position]) => every.filter((item) => item.id === id && item.state === "live").flatMap((item) => pure.changed(item, { position }, new Date(), pure.uuid)));
}

// A row begun by mistake: nothing is said about its vines, what was found stays.
async function leaveRow() {
  const before = { ...state };
  Object.assign(state, { walk: null, screen: "start" });
  if (!(await write(nothing, word("left_row")))) Object.assign(state, before);
  typed = "";
  render();
}

async function change(id, values) {
  const changed = (every) => every.filter((one) => one.id === id && one.state === "live").flatMap((one) => pure.changed(one, values, new Date(), pure.uuid));
  if (await write(changed, savedWord())) render();
}

// ---- Screens -------------------------------------------------------------------------------------------------
function startScreen() {
  const one = row();
  const name = el("input", { id: "observer", autocomplete: "off", value: state.observer });
  name.addEventListener("change", () => { state.observer = name.value.trim(); write(nothing, ""); });
  const pick = (change) => { state.observer = name.value.trim(); Object.assign(state, change); render(); write(nothing, ""); };
  const kept = items.filter((item) => item.state === "live");
  const today = pure.day(new Date());
  const walkedRow = kept.filter((item) => item.table === "surveys" && item.row.covered.startsWith(`${one.label}:`)).map((item) => item.row.covered);
  return [
    el("div", { class: "where" }, el("h1", {}, `${data.block} ${data.season}`), el("span", { class: "small" }, word(`look.${data.look}`))),
    newer ? button(word("newer_page"), () => location.reload(), { class: "go", id: "newer", style: "width:100%" }) : null,
    data.languages[state.language][1] ? null : el("p", { class: "small" }, word("unchecked")),
    disk.kind === "none" ? el("p", { class: "bad" }, word("no_storage")) : null,
    disk.kind === "simple" ? el("p", { class: "bad" }, word("small_store")) : null,
    today < data.season_from || today > data.season_to ? el("p", { class: "bad" }, word("other_season", { day: today, season: data.season })) : null,
    el("label", { for: "observer" }, word("your_name")), name,
    el("div", { class: "turn", role: "group", "aria-label": word("row") },
      button("\u2212", () => pick({ row: Math.max(0, state.row - 1) }), { "aria-label": `${word("row")} \u2212` }),
      el("div", { class: "where" }, el("b", {}, `${word("row")} ${one.label}`), el("span", { class: "small" }, `${one.first}\u2013${one.last}`)),
      button("+", () => pick({ row: Math.min(data.rows.length - 1, state.row + 1) }), { "aria-label": `${word("row")} +` })),
    walkedRow.length ? el("p", { class: "small" }, `\u2713 ${walkedRow.join(", ")}`) : null,
    el("div", { class: "two" },
      button(word("from_first", { first: one.first }), () => pick({ from: "first" }), { "aria-pressed": String(state.from === "first") }),
      button(word("from_last", { last: one.last }), () => pick({ from: "last" }), { "aria-pressed": String(state.from === "last") })),
    state.from === "last" && state.road === "findings" ? el("div", { class: "two" },
      button(word("as_labelled"), () => pick({ counting: "labels" }), { "aria-pressed": String(state.counting === "labels") }),
      button(word("from_me"), () => pick({ counting: "from_me" }), { "aria-pressed": String(state.counting === "from_me") })) : null,
    button(word("start_row"), () => { state.observer = name.value.trim(); once(startRow); }, { class: "go", id: "start", style: "width:100%" }),
    el("div", { class: "two" },
      button(word("findings_only"), () => pick({ road: "findings" }), { "aria-pressed": String(state.road === "findings") }),
      button(word("every_vine"), () => pick({ road: "every" }), { "aria-pressed": String(state.road === "every") })),
    el("div", { class: "one" },
      button(`${word("records")}: ${kept.length}`, () => { showRecords(); }),
      ...listButtons(() => { state.observer = name.value.trim(); }),
      data.work.length ? button(`${word("work_list")}: ${data.work.length}`, () => { state.screen = "work"; render(); }, { id: "work" }) : null,
      navigator.geolocation ? button(word("use_place"), () => { pick({ place: !state.place }); watchPlace(); }, { "aria-pressed": String(Boolean(state.place)) }) : null),
    el("div", { class: "two" }, ...Object.entries(data.languages).map(([key, told]) =>
      button(told[0], () => pick({ language: key }), { "aria-pressed": String(state.language === key), lang: key }))),
    el("p", { class: "small" }, word("safety")),
    lacks().length ? el("p", { class: "small" }, word("lacks", { what: lacks().join(", ") })) : null,
  ];
}

function lacks() {
  const out = [];
  if (!("serviceWorker" in navigator) || !data.app) out.push(word("offline_store"));
  if (!("wakeLock" in navigator)) out.push(word("wake"));
  if (!navigator.canShare) out.push(word("share"));
  if (!guarded) out.push(word("persist"));
  if (!navigator.geolocation) out.push(word("place"));
  if (!navigator.vibrate) out.push(word("vibration"));
  return out;
}

function header(position) {
  const bay = position === null ? null : pure.bay(row(), position, state.from, counting());
  const mine = position !== null && pure.backwards(state.from, counting()) ? word("my_count", { n: pure.count(row(), state.from, position) }) : null;
  const told = [mine, bay ? `${word("bay")} ${bay.bay}, ${bay.vine}` : null].filter(Boolean).join("; ");
  return el("div", { class: "where" },
    el("h1", { class: "here" }, `${word("row")} ${row().label}`),
    el("b", { class: "at", id: "at" }, position === null ? (typed || (bayTyped !== null ? `${word("bay")} ${bayTyped}` : "\u2013")) : String(position)),
    told ? el("span", { class: "small" }, told) : null);
}

// The position that is typed so far, or null.
function atTyped() {
  if (!typed) return null;
  const number = Number(typed);
  if (byBay) return bayTyped === null ? null : pure.ofBay(row(), bayTyped, number, state.from, counting());
  return pure.typed(row(), state.from, counting(), number);
}

const digit = (one) => { if (typed.length < 4) typed += one; render(); };
// The last digit, and where none is left the bay.
const rubOut = () => { if (typed) typed = typed.slice(0, -1); else bayTyped = null; render(); };

function keypad() {
  return el("div", { class: "keys" }, ...["1", "2", "3", "4", "5", "6", "7", "8", "9", "0"].map((one) => button(one, () => digit(one))));
}

// Beside the digits: the last one gone, and what the screen adds.
function besideKeys(...more) {
  return el("div", { class: "side" }, button("\u232b", rubOut, { "aria-label": word("rub_out") }), ...more);
}
const bayKey = () => (row().bay_ends.length
  ? button(byBay ? word("by_position") : word("by_bay"), () => { byBay = !byBay; bayTyped = null; typed = ""; render(); })
  : null);

function findingsScreen() {
  const position = atTyped();
  const wrong = typed && position === null && !(byBay && bayTyped === null);
  const mark = position === null ? null : pure.nextMark(row(), state.from, position);
  const see = (symptom) => button(code(symptom), () => choose(position, symptom), { class: "see", disabled: position === null });
  const bayStep = byBay && bayTyped === null && typed
    ? button(`${word("bay")} ${typed} \u2192 ${word("vine_in_bay")}`, () => { bayTyped = Number(typed); typed = ""; render(); }, { class: "go", style: "width:100%" }) : null;
  const last = items.find((item) => item.id === lastId());
  const quick = !typed && bayTyped === null && last && last.row.symptom !== "not_seen" && last.row.symptom !== "none" ? quickParts(last) : null;
  return [
    header(position), strip(row(), state.from, position ?? lastWalked()),
    wrong ? el("p", { class: "bad" }, byBay ? word("no_such_bay", { bay: bayTyped, n: typed }) : word("no_such", { n: typed, ...numbers() })) : null,
    el("p", { class: "small" }, position === null ? word(byBay ? (bayTyped === null ? "type_bay" : "type_vine") : "type_position") : known(position) + (mark ? ` ${word("next_mark", { what: word(mark.what), n: mark.n })}` : "")),
    bayStep, keypad(),
    besideKeys(bayKey(), button(againWord(), () => choose(position, state.again.symptom, state.again.arm), { class: "again", disabled: position === null || !state.again })),
    ...(quick || [el("div", { class: "two" }, ...data.first_symptoms.map(see), button(word("more"), () => { if (position !== null) moreScreen(position); }, { disabled: position === null }))]),
    el("div", { class: "four low" }, button(word("undo"), () => once(() => undo(lastId())), { disabled: !lastId() }),
      button(word("details"), () => detailsScreen(lastId()), { disabled: !lastId() }),
      position === null ? button(word("records"), showRecords) : button(word("short.show_last"), () => { tick(word("last_known", { what: conditionOf(row(), position) }), false); }, { "aria-label": word("show_last") }),
      button(word("row_done"), () => { state.screen = "end"; typed = ""; render(); }, { class: "go", id: "done" })),
  ];
}

const againWord = () => (state.again ? `${word("again")}: ${code(state.again.symptom)}${state.again.arm ? `, ${word(`arm.${state.again.arm}`)}` : ""}` : word("again"));
// The numbers of the row as the scout counts them.
const numbers = () => (pure.backwards(state.from, counting()) ? { first: 1, last: pure.total(row()) } : { first: row().first, last: row().last });

function lastWalked() {
  const found = walked();
  return found.length ? Number(found[found.length - 1].row.position) : state.from === "last" ? row().last : row().first;
}

function known(position) {
  if (row().missing.includes(position)) return word("missing") + "!";
  return row().young.includes(position) ? word("young") + "." : "";
}

// What the record holds of a vine: its condition when a season last counted, and the last finding.
function conditionOf(one, position) {
  const at = position - one.first;
  const found = one.found[position];
  const told = one.known_in[at] ? `${word(`condition.${one.known[at]}`)}, ${one.known_in[at]}` : word("no_condition");
  return found ? `${told}; ${code(found[0])}, ${found[1]}` : told;
}

function everyScreen() {
  const position = state.at;
  // Shown at once, so that the next tap is for the next vine; where the walk stands is stored behind it.
  const go = (to) => {
    if (to === null) { state.screen = "every_end"; } else { state.at = to; }
    render();
    write(nothing, "");
  };
  const next = () => go(pure.nextVine(row(), state.from, position));
  const back = () => go(pure.nextVine(row(), state.from === "last" ? "first" : "last", position) ?? position);
  const mark = pure.nextMark(row(), state.from, position);
  return [
    header(position), strip(row(), state.from, position),
    el("p", { class: "small" }, known(position) + (mark ? ` ${word("next_mark", { what: word(mark.what), n: mark.n })}` : "")),
    button(word("nothing"), next, { class: "go", id: "nothing", style: "width:100%;min-height:112px;font-size:28px" }),
    el("div", { class: "two" }, ...data.first_symptoms.map((symptom) => button(code(symptom), () => choose(position, symptom), { class: "see" })),
      button(word("more"), () => moreScreen(position))),
    el("div", { class: "two" },
      button(word("back"), back), button(word("undo"), () => once(() => undo(lastId())), { disabled: !lastId() }),
      button(word("skip"), () => choose(position, "not_seen")), button(word("details"), () => detailsScreen(lastId()), { disabled: !lastId() }),
      button(word("stop_here"), () => once(() => { const seen = pure.count(row(), state.from, position) - 1; return seen ? finishRow(seen) : leaveRow(); })),
      button(word("show_last"), () => { tick(word("last_known", { what: conditionOf(row(), position) }), false); })),
  ];
}

function choose(position, symptom, arm) {
  if (position === null) return;
  if (arm === undefined && data.needs_arm.includes(symptom) && data.arms.length > 1) { armScreen(position, symptom); return; }
  once(() => finding(position, symptom, arm));
}

function armScreen(position, symptom) {
  settle("arm");
  show(header(position), el("h2", {}, `${code(symptom)}: ${word("arm")}`),
    el("div", { class: "one" }, ...data.arms.map((arm) => button(word(`arm.${arm}`), () => once(() => finding(position, symptom, arm)), { class: "see" })),
      button(word("leave"), () => once(() => finding(position, symptom, ""))), button(word("back"), render)));
}

function moreScreen(position) {
  const rest = data.symptoms.filter((symptom) => !data.first_symptoms.includes(symptom));
  settle("more");
  show(header(position), el("div", { class: "two" }, ...rest.map((symptom) => button(code(symptom), () => choose(position, symptom), { class: "see" })),
    button(word("back"), render)));
}

function endScreen() {
  const check = () => {
    const number = Number(typed);
    const own = counting() === "from_me" ? number : pure.count(row(), state.from, number);
    if (pure.whole(row(), state.from, own)) once(() => finishRow(pure.total(row())));
    else offScreen(own);
  };
  return [header(null), el("h2", {}, word("last_position")),
    keypad(), besideKeys(button("OK", check, { class: "go", disabled: !typed, id: "ok" })),
    el("div", { class: "one" },
      button(word("back"), () => { state.screen = "walk"; typed = ""; render(); }),
      button(word("leave_row"), () => once(leaveRow), { id: "leave" }))];
}

function offScreen(own) {
  settle("off");
  const by = pure.total(row()) - own;
  const found = walked().sort((a, b) => pure.count(row(), state.from, Number(a.row.position)) - pure.count(row(), state.from, Number(b.row.position)));
  const beyond = found.filter((item) => pure.count(row(), state.from, Number(item.row.position)) > own);
  const end = pure.backwards(state.from, counting()) ? pure.total(row()) : state.from === "last" ? row().first : row().last;
  const said = typed;
  const finish = (count, moved) => once(() => finishRow(count, moved));
  const move = (first) => finish(pure.total(row()), pure.shifted(found, row(), state.from, first, by).slice(first).map((item) => [item.id, item.row.position]));
  show(header(null), el("p", { class: "bad" }, word("count_off", { last: end, n: said })),
    beyond.length ? el("p", { class: "bad" }, word("beyond", { n: said, what: beyond.map((item) => item.row.position).join(", ") })) : null,
    el("div", { class: "one" },
      ...found.map((item, k) => button(word("slipped_before", { what: `${item.row.position} ${code(item.row.symptom)}` }), () => move(k), { class: "see" })),
      button(word("no_slip"), () => finish(pure.total(row()))),
      by > 0 && own >= 1 && !beyond.length ? button(word("only_so_far", { n: said }), () => finish(own)) : null,
      button(word("count_again"), () => { typed = ""; render(); }),
      button(word("leave_row"), () => once(leaveRow))));
}

// ---- The phone -----------------------------------------------------------------------------------------------
let lock = null;
async function keepAwake() {
  try { if (navigator.wakeLock && document.visibilityState === "visible") lock = await navigator.wakeLock.request("screen"); } catch { lock = null; }
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

let watching = null;
function watchPlace() {
  if (state.place && watching === null && navigator.geolocation) {
    watching = navigator.geolocation.watchPosition((at) => { here = { longitude: at.coords.longitude, latitude: at.coords.latitude, accuracy: at.coords.accuracy, told: Date.now() }; }, () => { here = null; }, { enableHighAccuracy: true });
  } else if (!state.place && watching !== null) {
    navigator.geolocation.clearWatch(watching);
    watching = null;
    here = null;
  }
}

// Digits of a real keyboard go where those of the page go.
document.addEventListener("keydown", (event) => {
  if (event.target.matches("input, select, textarea") || event.ctrlKey || event.metaKey || event.altKey || !document.querySelector(".keys")) return;
  if (/^[0-9]$/.test(event.key)) digit(event.key);
  else if (event.key === "Backspace") rubOut();
});

function everyEnd() {
  return [header(state.at), strip(row(), state.from, state.at), el("h2", {}, `${row().label}: ${row().first}\u2013${row().last}`),
    button(word("row_done"), () => once(() => finishRow(pure.total(row()))), { class: "go", id: "done", style: "width:100%" }),
    button(word("back"), () => { state.screen = "walk"; render(); }, { style: "width:100%;margin-top:8px" })];
}

function render() {
  const screens = { start: startScreen, records: recordsScreen, work: workScreen, winter: winterScreen, end: endScreen, walk: state.road === "every" ? everyScreen : findingsScreen, every_end: everyEnd };
  const name = state.walk || ["start", "records", "work", "winter"].includes(state.screen) ? state.screen : "start";
  // A new screen, another vine, or another record: each waits for a tap of its own.
  settle(`${name} ${name === "winter" ? `${state.winter} ${Boolean(state.cut)}` : ""} ${state.road === "every" && state.walk ? state.at : ""} ${items.filter((item) => item.state === "live").length}`);
  document.body.dataset.screen = name;
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
    if (found.state) state = { ...state, ...found.state };
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
