// The field page: what a scout taps in the row becomes records, kept on the phone before a tick is shown.
"use strict";

// ---- What can be worked out without a screen -------------------------------------------------------------
const pure = {
  total: (row) => row.last - row.first + 1,
  // Walking count of a position: 1 is where the scout starts.
  count: (row, from, position) => (from === "last" ? row.last - position + 1 : position - row.first + 1),
  place: (row, from, count) => (from === "last" ? row.last - count + 1 : row.first + count - 1),
  // A typed number, as the scout counts it, to the position of the row; null where there is none.
  typed(row, from, counting, number) {
    const position = counting === "from_me" ? pure.place(row, from, number) : number;
    return position >= row.first && position <= row.last ? position : null;
  },
  bay(row, position) {
    if (!row.bay_ends.length) return null;
    const bay = row.bay_ends.findIndex((end) => position <= end);
    const start = bay === 0 ? row.first : row.bay_ends[bay - 1] + 1;
    return { bay: bay + 1, vine: position - start + 1 };
  },
  ofBay(row, bay, vine) {
    if (bay < 1 || bay > row.bay_ends.length) return null;
    const start = bay === 1 ? row.first : row.bay_ends[bay - 2] + 1;
    const position = start + vine - 1;
    return vine >= 1 && position <= row.bay_ends[bay - 1] ? position : null;
  },
  // The stretch walked, whichever end it was walked from.
  covered(row, from, count) {
    const other = pure.place(row, from, count);
    const start = from === "last" ? row.last : row.first;
    return `${row.label}:${Math.min(start, other)}..${Math.max(start, other)}`;
  },
  nextVine(row, from, position) {
    const step = from === "last" ? -1 : 1;
    let at = position + step;
    while (at >= row.first && at <= row.last && row.missing.includes(at)) at += step;
    return at >= row.first && at <= row.last ? at : null;
  },
  nextFrom: (serpentine, from) => (serpentine ? from : from === "last" ? "first" : "last"),
  // Findings from one on, in walking order, moved by so many vines.
  shifted(items, row, from, firstMoved, by) {
    return items.map((item, number) => {
      if (number < firstMoved) return item;
      const count = pure.count(row, from, Number(item.row.position)) + by;
      const inside = Math.max(1, Math.min(pure.total(row), count));
      return { ...item, row: { ...item.row, position: String(pure.place(row, from, inside)) } };
    });
  },
  nextMark(row, from, position) {
    const step = from === "last" ? -1 : 1;
    for (let at = position + step; at >= row.first && at <= row.last; at += step) {
      if (row.missing.includes(at)) return { what: "missing", n: at };
      if (row.young.includes(at)) return { what: "young", n: at };
      if (row.bay_ends.includes(at) && at !== row.last) return { what: "post", n: at };
    }
    return null;
  },
  day: (now) => `${now.getFullYear()}-${String(now.getMonth() + 1).padStart(2, "0")}-${String(now.getDate()).padStart(2, "0")}`,
  uuid() {
    if (globalThis.crypto && crypto.randomUUID) return crypto.randomUUID();
    const bytes = crypto.getRandomValues(new Uint8Array(16)); // plain http has no randomUUID
    bytes[6] = (bytes[6] & 15) | 64;
    bytes[8] = (bytes[8] & 63) | 128;
    const hex = [...bytes].map((b) => b.toString(16).padStart(2, "0")).join("");
    return `${hex.slice(0, 8)}-${hex.slice(8, 12)}-${hex.slice(12, 16)}-${hex.slice(16, 20)}-${hex.slice(20)}`;
  },
  // What is handed over: live records, and for one voided after it was handed over a record that voids it.
  handover(data, device, items, now) {
    const out = { trunkwatch_handover: 1, vineyard: data.vineyard, block: data.block, season: data.season, device, written: now.toISOString(), surveys: [], symptoms: [] };
    for (const item of items) {
      if (item.state === "live" || item.handed) out[item.table].push(item.row);
      if (item.state === "void" && item.handed) {
        out[item.table].push({ ...item.row, id: item.void_id, corrects: item.id, void: "yes", recorded_at: item.voided_at });
      }
    }
    return out;
  },
};
window.trunkwatch_field = pure;

// ---- Where it is kept --------------------------------------------------------------------------------------
const data = JSON.parse(document.getElementById("data").textContent);
const NAME = `trunkwatch-${data.vineyard}`;
const KEY = `${data.block}\u001f${data.season}`;

function openDatabase() {
  return new Promise((resolve, reject) => {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => {
      asked.result.createObjectStore("records", { keyPath: "id" });
      asked.result.createObjectStore("state");
    };
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
}

async function databaseDisk() {
  const db = await openDatabase();
  const all = (store, mode = "readonly") => db.transaction(store, mode).objectStore(store);
  const got = (asked) => new Promise((resolve, reject) => { asked.onsuccess = () => resolve(asked.result); asked.onerror = () => reject(asked.error); });
  return {
    kind: "database",
    read: async () => ({
      items: (await got(all("records").getAll())).filter((item) => item.key === KEY),
      state: await got(all("state").get(KEY)),
    }),
    // Resolves only when the browser says that it is on the disk.
    write: (items, state) => new Promise((resolve, reject) => {
      const work = db.transaction(["records", "state"], "readwrite", { durability: "strict" });
      for (const item of items) work.objectStore("records").put(item);
      work.objectStore("state").put(state, KEY);
      work.oncomplete = resolve;
      work.onabort = () => reject(work.error || new Error("aborted"));
      work.onerror = () => reject(work.error);
    }),
  };
}

function simpleDisk() {
  const place = (() => { try { localStorage.setItem(`${NAME}-try`, "1"); return localStorage; } catch { return null; } })();
  const kept = new Map();
  return {
    kind: place ? "simple" : "none",
    read: async () => {
      const told = place && place.getItem(NAME + KEY);
      const found = told ? JSON.parse(told) : { items: [] };
      for (const item of found.items) kept.set(item.id, item);
      return found;
    },
    write: async (items, state) => {
      for (const item of items) kept.set(item.id, item);
      if (place) place.setItem(NAME + KEY, JSON.stringify({ items: [...kept.values()], state }));
    },
  };
}

let disk = simpleDisk();
let items = [];
let state = { language: data.language, observer: "", road: "findings", row: 0, from: "first", counting: "labels", place: false, device: pure.uuid().slice(0, 8), walk: null, screen: "start" };
let typed = "";
let bayTyped = null; // the bay, once it is typed, where bay and vine are used
let byBay = false;
let lastId = null;
let here = null; // the phone's position, when the scout allows it

async function write(changed, message) {
  try {
    await disk.write(changed, state);
    for (const item of changed) {
      const at = items.findIndex((one) => one.id === item.id);
      if (at < 0) items.push(item);
      else items[at] = item;
    }
    if (message) tick(message, false);
    return true;
  } catch (error) {
    tick(word("not_saved", { why: error && error.message ? error.message : "?" }), true);
    return false;
  }
}

// ---- Words and marks ---------------------------------------------------------------------------------------
function word(key, values = {}) {
  const table = data.words[state.language] || data.words.en;
  let text = table[key] || data.words.en[key] || key;
  for (const [name, value] of Object.entries(values)) text = text.replaceAll(`{${name}}`, String(value));
  return text;
}
const code = (name) => word(`code.${name}`);

let tickTimer = 0;
function tick(text, bad) {
  const mark = document.getElementById("tick");
  mark.textContent = bad ? text : `\u2713 ${text}`;
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

function show(...parts) {
  document.documentElement.lang = state.language;
  document.getElementById("page").replaceChildren(...parts.filter(Boolean));
  window.scrollTo(0, 0);
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
const walked = () => (state.walk ? items.filter((item) => item.walk === state.walk.id && item.table === "symptoms" && item.state === "live") : []);

function record(table, values) {
  const now = new Date();
  return {
    id: "", key: KEY, table, state: "live", handed: false, walk: state.walk.id,
    row: { block: data.block, date: pure.day(now), observer: state.observer, device: state.device, recorded_at: now.toISOString(), ...values },
  };
}

async function startRow() {
  state.walk = { id: pure.uuid(), began: new Date().toISOString() };
  state.at = state.from === "last" ? row().last : row().first;
  if (row().missing.includes(state.at)) state.at = pure.nextVine(row(), state.from, state.at) ?? state.at;
  state.screen = "walk";
  typed = "";
  lastId = null;
  await write([], "");
  keepAwake();
  render();
}

async function finding(position, symptom, arm) {
  const made = record("symptoms", { row: row().label, position: String(position), symptom, arm: arm || "" });
  if (state.place && here) Object.assign(made.row, { longitude: here.longitude, latitude: here.latitude, accuracy_m: Math.round(here.accuracy * 10) / 10 });
  made.id = pure.uuid();
  made.row.id = made.id;
  const told = `${row().label}:${position} ${code(symptom)}${arm ? `, ${word(`arm.${arm}`)}` : ""}`;
  const before = state.at;
  if (state.road === "every") state.at = pure.nextVine(row(), state.from, position) ?? state.at;
  if (!(await write([made], ""))) {
    state.at = before;
    render();
    return;
  }
  lastId = made.id;
  typed = "";
  bayTyped = null;
  state.again = { symptom, arm: arm || "" };
  render();
  tick(`${word("saved")} ${told}`, false);
}

async function undo(id) {
  const item = items.find((one) => one.id === id);
  if (!item) return;
  const gone = { ...item, state: "void", void_id: pure.uuid(), voided_at: new Date().toISOString() };
  if (state.road === "every" && state.screen === "walk") state.at = Number(item.row.position) || state.at;
  if (await write([gone], `${word("undo")}: ${item.row.row}:${item.row.position}`)) lastId = null;
  render();
}

async function finishRow(count, moved = []) {
  const minutes = Math.max(1, Math.round((Date.now() - Date.parse(state.walk.began)) / 60000));
  const made = record("surveys", { survey: `${data.look} ${data.season}`, look: data.look, covered: pure.covered(row(), state.from, count), method: "phone", minutes });
  made.id = pure.uuid();
  made.row.id = made.id;
  const before = { ...state };
  state.walk = null;
  state.from = pure.nextFrom(data.serpentine, state.from);
  state.row = Math.min(state.row + 1, data.rows.length - 1);
  state.screen = "start";
  if (!(await write([...moved, made], `${word("saved")} ${made.row.covered}`))) state = before;
  typed = "";
  render();
}

// ---- Screens -------------------------------------------------------------------------------------------------
function startScreen() {
  const one = row();
  const name = el("input", { id: "observer", autocomplete: "off", value: state.observer });
  name.addEventListener("change", () => { state.observer = name.value.trim(); write([], ""); });
  const pick = (change) => { state.observer = name.value.trim(); Object.assign(state, change); render(); };
  const kept = items.filter((item) => item.state === "live");
  return [
    el("div", { class: "where" }, el("h1", {}, `${data.block} ${data.season}`), el("span", { class: "small" }, data.look)),
    data.languages[state.language][1] ? null : el("p", { class: "small" }, word("unchecked")),
    disk.kind === "none" ? el("p", { class: "bad" }, word("no_storage")) : null,
    el("label", { for: "observer" }, word("your_name")), name,
    el("div", { class: "two", role: "group", "aria-label": word("row") },
      button("\u2212", () => pick({ row: Math.max(0, state.row - 1) }), { "aria-label": `${word("row")} \u2212` }),
      button("+", () => pick({ row: Math.min(data.rows.length - 1, state.row + 1) }), { "aria-label": `${word("row")} +` })),
    el("div", { class: "where" }, el("b", {}, `${word("row")} ${one.label}`), el("span", { class: "small" }, `${one.first}\u2013${one.last}`)),
    el("div", { class: "two" },
      button(word("from_first", { first: one.first }), () => pick({ from: "first" }), { "aria-pressed": String(state.from === "first") }),
      button(word("from_last", { last: one.last }), () => pick({ from: "last" }), { "aria-pressed": String(state.from === "last") })),
    state.from === "last" && state.road === "findings" ? el("div", { class: "two" },
      button(word("as_labelled"), () => pick({ counting: "labels" }), { "aria-pressed": String(state.counting === "labels") }),
      button(word("from_me"), () => pick({ counting: "from_me" }), { "aria-pressed": String(state.counting === "from_me") })) : null,
    button(word("start_row"), () => { state.observer = name.value.trim(); startRow(); }, { class: "go", id: "start", style: "width:100%" }),
    el("div", { class: "two" },
      button(word("findings_only"), () => pick({ road: "findings" }), { "aria-pressed": String(state.road === "findings") }),
      button(word("every_vine"), () => pick({ road: "every" }), { "aria-pressed": String(state.road === "every") })),
    el("div", { class: "one" },
      button(`${word("records")}: ${kept.length}`, () => { state.screen = "records"; render(); }),
      navigator.geolocation ? button(word("use_place"), () => { pick({ place: !state.place }); watchPlace(); }, { "aria-pressed": String(Boolean(state.place)) }) : null),
    el("div", { class: "two" }, ...Object.entries(data.languages).map(([key, told]) =>
      button(told[0], () => { pick({ language: key }); write([], ""); }, { "aria-pressed": String(state.language === key), lang: key }))),
    el("p", { class: "small" }, word("safety")),
    lacks().length ? el("p", { class: "small" }, word("lacks", { what: lacks().join(", ") })) : null,
  ];
}

function lacks() {
  const out = [];
  if (!("serviceWorker" in navigator) || !data.app) out.push(word("offline_store"));
  if (!("wakeLock" in navigator)) out.push(word("wake"));
  if (!navigator.canShare) out.push(word("share"));
  if (!(navigator.storage && navigator.storage.persist)) out.push(word("persist"));
  return out;
}

function header(position) {
  const bay = position === null ? null : pure.bay(row(), position);
  return el("div", { class: "where" },
    el("b", {}, `${word("row")} ${row().label}`),
    el("b", { class: "at", id: "at" }, position === null ? (typed || (bayTyped !== null ? `${word("bay")} ${bayTyped}` : "\u2013")) : String(position)),
    bay ? el("span", { class: "small" }, `${word("bay")} ${bay.bay}, ${bay.vine}`) : null);
}

// The position that is typed so far, or null.
function atTyped() {
  if (!typed) return null;
  const number = Number(typed);
  if (byBay) return bayTyped === null ? null : pure.ofBay(row(), bayTyped, number);
  return pure.typed(row(), state.from, state.counting, number);
}

function keypad(done) {
  const press = (digit) => { if (typed.length < 4) typed += digit; render(); };
  const keys = ["1", "2", "3", "4", "5", "6", "7", "8", "9"].map((digit) => button(digit, () => press(digit)));
  const side = done || (row().bay_ends.length
    ? button(byBay ? word("by_position") : word("by_bay"), () => { byBay = !byBay; bayTyped = null; typed = ""; render(); }, { style: "font-size:16px" })
    : button("", () => {}, { disabled: true, "aria-hidden": "true" }));
  return el("div", { class: "keys" }, ...keys,
    button("\u232b", () => { typed = typed.slice(0, -1); render(); }, { "aria-label": word("back") }), button("0", () => press("0")), side);
}

function findingsScreen() {
  const position = atTyped();
  const wrong = typed && position === null && !(byBay && bayTyped === null);
  const mark = position === null ? null : pure.nextMark(row(), state.from, position);
  const see = (symptom) => button(code(symptom), () => choose(position, symptom), { class: "see", disabled: position === null });
  const bayStep = byBay && bayTyped === null && typed
    ? button(`${word("bay")} ${typed} \u2192 ${word("vine_in_bay")}`, () => { bayTyped = Number(typed); typed = ""; render(); }, { class: "go", style: "width:100%" }) : null;
  return [
    header(position), strip(row(), state.from, position ?? lastWalked()),
    wrong ? el("p", { class: "bad" }, word("no_such", { n: typed, first: row().first, last: row().last })) : null,
    el("p", { class: "small" }, position === null ? word("type_position") : known(position) + (mark ? ` ${word("next_mark", { what: word(mark.what), n: mark.n })}` : "")),
    bayStep, keypad(),
    el("div", { class: "two" }, ...data.first_symptoms.map(see), button(word("more"), () => { if (position !== null) moreScreen(position); }, { disabled: position === null })),
    el("div", { class: "two" },
      button(word("again"), () => choose(position, state.again.symptom, state.again.arm), { disabled: position === null || !state.again }),
      button(word("undo"), () => undo(lastId), { disabled: !lastId }),
      button(word("details"), () => detailsScreen(lastId), { disabled: !lastId }),
      button(word("row_done"), () => { state.screen = "end"; typed = ""; render(); }, { class: "go", id: "done" })),
    position === null ? null : button(word("show_last"), () => { tick(word("last_known", { what: conditionOf(position) }), false); }, { style: "width:100%" }),
  ];
}

function lastWalked() {
  const found = walked();
  return found.length ? Number(found[found.length - 1].row.position) : state.from === "last" ? row().last : row().first;
}

function known(position) {
  if (row().missing.includes(position)) return word("missing") + "!";
  return row().young.includes(position) ? word("young") + "." : "";
}

function conditionOf(position) {
  return data.conditions[row().known[position - row().first]] || "?";
}

function everyScreen() {
  const position = state.at;
  // Shown at once, so that the next tap is for the next vine; where the walk stands is stored behind it.
  const go = (to) => {
    if (to === null) { state.screen = "every_end"; } else { state.at = to; }
    render();
    write([], "");
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
      button(word("back"), back), button(word("undo"), () => undo(lastId), { disabled: !lastId }),
      button(word("skip"), () => choose(position, "not_seen")), button(word("details"), () => detailsScreen(lastId), { disabled: !lastId }),
      button(word("stop_here"), () => finishRow(Math.max(1, pure.count(row(), state.from, position) - 1))),
      button(word("show_last"), () => { tick(word("last_known", { what: conditionOf(position) }), false); })),
  ];
}

function choose(position, symptom, arm) {
  if (position === null) return;
  if (arm === undefined && data.needs_arm.includes(symptom) && data.arms.length > 1) { armScreen(position, symptom); return; }
  finding(position, symptom, arm);
}

function armScreen(position, symptom) {
  show(header(position), el("h1", {}, `${code(symptom)}: ${word("arm")}`),
    el("div", { class: "one" }, ...data.arms.map((arm) => button(word(`arm.${arm}`), () => finding(position, symptom, arm), { class: "see" })),
      button(word("leave"), () => finding(position, symptom, "")), button(word("back"), render)));
}

function moreScreen(position) {
  const rest = data.symptoms.filter((symptom) => !data.first_symptoms.includes(symptom));
  show(header(position), el("div", { class: "two" }, ...rest.map((symptom) => button(code(symptom), () => choose(position, symptom), { class: "see" })),
    button(word("back"), render)));
}

function detailsScreen(id) {
  const item = items.find((one) => one.id === id);
  if (!item) return;
  const fields = [];
  const number = (name) => { const input = el("input", { id: name, inputmode: "decimal", value: item.row[name] ?? "" }); fields.push([name, input]); return [el("label", { for: name }, word(name)), input]; };
  const list = (name, codes, prefix) => {
    const input = el("select", { id: name }, el("option", { value: "" }, word("leave")), ...codes.map((c) => el("option", { value: c, selected: item.row[name] === c }, code(prefix + c))));
    fields.push([name, input]);
    return [el("label", { for: name }, word(name)), input];
  };
  const text = (name) => { const input = el("input", { id: name, value: item.row[name] ?? "" }); fields.push([name, input]); return [el("label", { for: name }, word(name)), input]; };
  show(el("h1", {}, `${item.row.row}:${item.row.position} ${code(item.row.symptom)}`),
    ...number("percent"), ...number("dead"), ...number("total"), ...number("trunk"), ...number("cut_height_cm"), ...number("stain_cm"),
    ...list("cause", data.causes, ""), ...list("renewal_shoot", data.shoots, "shoot_"), ...text("photo"), ...text("note"),
    el("div", { class: "two" }, button(word("back"), render), button(word("save"), async () => {
      const values = {};
      for (const [name, input] of fields) {
        const said = input.value.trim();
        const numeric = input.getAttribute("inputmode") === "decimal";
        const asNumber = Number(said.replace(",", "."));
        if (said && numeric && !(asNumber >= 0)) { tick(`${word(name)}: ${said}?`, true); return; }
        values[name] = said === "" ? "" : numeric ? asNumber : said;
      }
      await write([{ ...item, row: { ...item.row, ...values } }], word("saved"));
      render();
    }, { class: "go" })));
}

function endScreen() {
  const check = () => {
    const position = pure.typed(row(), state.from, state.counting, Number(typed));
    const own = position === null ? (state.counting === "from_me" ? Number(typed) : pure.count(row(), state.from, Number(typed))) : pure.count(row(), state.from, position);
    if (own === pure.total(row())) finishRow(own);
    else offScreen(own);
  };
  return [header(null), el("h1", {}, word("last_position")),
    keypad(button("OK", check, { class: "go", disabled: !typed, id: "ok" })),
    button(word("back"), () => { state.screen = "walk"; typed = ""; render(); }, { style: "width:100%" })];
}

function offScreen(own) {
  const by = pure.total(row()) - own;
  const found = walked().sort((a, b) => pure.count(row(), state.from, Number(a.row.position)) - pure.count(row(), state.from, Number(b.row.position)));
  const end = state.from === "last" ? row().first : row().last;
  const said = typed;
  const move = (first) => finishRow(pure.total(row()), pure.shifted(found, row(), state.from, first, by).filter((item, k) => k >= first));
  show(header(null), el("p", { class: "bad" }, word("count_off", { last: end, n: said })),
    el("div", { class: "one" },
      ...found.map((item, k) => button(word("slipped_before", { what: `${item.row.position} ${code(item.row.symptom)}` }), () => move(k), { class: "see" })),
      button(word("no_slip"), () => finishRow(pure.total(row()))),
      by > 0 && own >= 1 ? button(word("only_so_far", { n: said }), () => finishRow(own)) : null,
      button(word("count_again"), () => { typed = ""; render(); })));
}

function recordsScreen() {
  const live = items.filter((item) => item.row).slice().reverse();
  const line = (item) => el("li", { class: item.state === "void" ? "void" : "" },
    el("span", {}, item.table === "surveys" ? `\u2713 ${item.row.covered}` : `${item.row.row}:${item.row.position} ${code(item.row.symptom)}${item.row.arm ? `, ${word(`arm.${item.row.arm}`)}` : ""}`),
    item.state === "void" ? null : button(word("undo"), () => undo(item.id)));
  return [el("h1", {}, word("records")),
    live.length ? button(word("hand_over"), handOver, { class: "go", id: "hand", style: "width:100%" }) : el("p", {}, word("nothing_yet")),
    live.length && data.sync ? button(word("sync"), sync, { id: "sync", style: "width:100%;margin-top:8px" }) : null,
    button(word("back"), () => { state.screen = "start"; render(); }, { style: "width:100%;margin:8px 0" }),
    el("ul", {}, ...live.map(line))];
}

// ---- Handing over --------------------------------------------------------------------------------------------
const together = () => pure.handover(data, state.device, items, new Date());

async function markHanded() {
  const fresh = items.filter((item) => item.state === "live" && !item.handed).map((item) => ({ ...item, handed: true }));
  return write(fresh, "");
}

async function handOver() {
  const told = together();
  const many = told.surveys.length + told.symptoms.length;
  const name = `trunkwatch_${data.block.replace(/[^\p{L}\p{N}]+/gu, "_")}_${data.season}_${state.device}.json`;
  const file = new File([JSON.stringify(told, null, 1)], name, { type: "application/json" });
  if (navigator.canShare && navigator.canShare({ files: [file] })) {
    try { await navigator.share({ files: [file], title: name }); } catch { return; }
  } else {
    const link = el("a", { href: URL.createObjectURL(file), download: name });
    document.body.append(link);
    link.click();
    link.remove();
  }
  if (await markHanded()) tick(word("handed_over", { n: many }), false);
}

async function sync() {
  try {
    const answer = await fetch(data.sync, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(together()) });
    const told = await answer.json();
    if (!answer.ok) throw new Error(told.error || String(answer.status));
    if (await markHanded()) tick(word("synced", { n: told.known }), false);
  } catch (error) {
    tick(word("not_saved", { why: error.message }), true);
  }
}

// ---- The phone -----------------------------------------------------------------------------------------------
let lock = null;
async function keepAwake() {
  try { if (navigator.wakeLock && document.visibilityState === "visible") lock = await navigator.wakeLock.request("screen"); } catch { lock = null; }
}
document.addEventListener("visibilitychange", () => { if (state.walk) keepAwake(); });

let watching = null;
function watchPlace() {
  if (state.place && watching === null && navigator.geolocation) {
    watching = navigator.geolocation.watchPosition((at) => { here = at.coords; }, () => { here = null; }, { enableHighAccuracy: true });
  } else if (!state.place && watching !== null) {
    navigator.geolocation.clearWatch(watching);
    watching = null;
    here = null;
  }
}

function render() {
  const screens = {
    start: startScreen, records: recordsScreen, end: endScreen,
    walk: state.road === "every" ? everyScreen : findingsScreen,
    every_end: () => [header(state.at), strip(row(), state.from, state.at), el("h1", {}, `${row().label}: ${row().first}\u2013${row().last}`),
      button(word("row_done"), () => finishRow(pure.total(row())), { class: "go", id: "done", style: "width:100%" }),
      button(word("back"), () => { state.screen = "walk"; render(); }, { style: "width:100%;margin-top:8px" })],
  };
  show(...screens[state.walk || ["start", "records"].includes(state.screen) ? state.screen : "start"]());
}

async function begin() {
  if (window.indexedDB) {
    try { disk = await databaseDisk(); } catch { disk = simpleDisk(); }
  }
  try {
    const found = await disk.read();
    items = (found.items || []).sort((a, b) => (a.row.recorded_at < b.row.recorded_at ? -1 : 1));
    if (found.state) state = { ...state, ...found.state };
    if (state.row >= data.rows.length) Object.assign(state, { row: 0, walk: null, screen: "start" });
  } catch (error) { tick(word("not_saved", { why: error.message }), true); }
  if (navigator.storage && navigator.storage.persist) navigator.storage.persist().catch(() => false);
  if (data.app && "serviceWorker" in navigator) navigator.serviceWorker.register("worker.js").catch(() => false);
  if (state.walk) keepAwake();
  watchPlace();
  render();
  document.body.dataset.ready = "yes";
}
begin();
