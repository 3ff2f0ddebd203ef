// The desk page: a form that a stack of paper goes through without the mouse, the history of a vine, undo, correction.
import { canvas, chosen, condition, data, draw, number, season, setGround, several, shownAs, whenChosen, whole, writtenOf } from "./ground.js";
import { photosOf } from "./photos.js";
import { correctionForm, post, undo, watchFile } from "./records.js";
import { button, el } from "./shared/elements.js";
import { legendLine } from "./shared/marks.js";
import { isWithin, lookOf, seasonOf } from "./shared/rules.js";

const desk = document.getElementById("desk");
const block = desk.dataset.block;
const api = desk.dataset.api;
export const form = document.getElementById("entry");
const wrong = document.getElementById("wrong");
let etag = "";

// ---- Reading -------------------------------------------------------------------------------------------------
async function load() {
  const answer = await fetch(api, { headers: etag ? { "If-None-Match": etag } : {} });
  if (answer.status === 304) return;
  if (!answer.ok) throw new Error((await answer.json()).error);
  const fresh = data === null;
  const before = data && season !== null ? data.seasons[season] && data.seasons[season].season : null;
  const told = await answer.json();
  etag = answer.headers.get("ETag") || "";
  setGround({ data: told });
  const list = document.getElementById("season");
  list.replaceChildren(...data.seasons.map((one, k) => new Option(one.counted ? one.season : `${one.season} (not counted)`, k)));
  list.disabled = !data.seasons.length;
  if (list.disabled) list.append(new Option("none yet"));
  const kept = data.seasons.findIndex((one) => one.season === before);
  const last = data.seasons.length ? data.seasons.length - 1 : null;
  setGround({ season: kept >= 0 ? kept : last });
  if (season !== null) list.value = season;
  if (fresh) {
    document.getElementById("arms").replaceChildren(...data.arms.map((arm) => new Option(arm)));
    document.getElementById("arm-help").textContent = data.arms.join(", ");
    whole();
    dayTold();
  }
  legend();
  draw();
}

function legend() {
  const counts = {};
  const markOf = shownAs();
  data.x.forEach((_, vine) => { const key = markOf(vine); counts[key] = (counts[key] || 0) + 1; });
  document.getElementById("legend").replaceChildren(...Object.entries({ ...data.looks, written: data.written }).filter(([key]) => counts[key]).map(([key, look]) => legendLine(look, counts[key])));
  const one = data.seasons[season];
  document.getElementById("line").textContent = one ? one.line : "Nothing is on record yet.";
}

async function reload() {
  await load();
  if (chosen.length === 1 && !document.querySelector("#vine form.correction")) await showVine(chosen[0]);
}

// ---- A vine ----------------------------------------------------------------------------------------------------
whenChosen(choose);
export const nameOf = (vine) => [data.labels[data.row[vine]], String(data.position[vine])];
export function choose(vines) {
  setGround({ chosen: vines });
  const told = document.getElementById("chosen");
  told.textContent = vines.length > 1 ? `${vines.length} vines chosen: what you log goes to each of them. ` : "";
  if (vines.length > 1) told.append(button("Choose none", () => choose([])));
  for (const name of ["row", "position"]) form.elements[name].disabled = vines.length > 1;
  if (vines.length === 1) {
    [form.elements.row.value, form.elements.position.value] = nameOf(vines[0]);
    showVine(vines[0]);
  } else document.getElementById("vine").hidden = true;
  draw();
}

// A label in an address: a slash or per cent is quoted twice, since servers undo one layer.
const part = (label) => encodeURIComponent(label.replace(/[/%\\]/g, encodeURIComponent));
const when = (text) => (text ? new Date(text).toLocaleString([], { dateStyle: "medium", timeStyle: "short" }) : "");

// What was written goes before a count that leaves it out: nobody reads "nothing seen" over what was just logged.
function standsNow(vine, look) {
  const written = writtenOf(vine);
  if (!written.length) return look ? look.meaning : "?";
  const why = written.some((one) => one[2]) ? "no survey covers it: it is in no rate until it is on record that the row was scouted" : "not a case in the count of this season";
  return `${written.map((one) => one[1]).join("; ")} (${why})`;
}

let shown = null;
async function showVine(vine) {
  const [row, position] = nameOf(vine);
  const section = document.getElementById("vine");
  let told;
  try {
    told = await (await fetch(`${api}/vine/${part(row)}/${part(position)}`)).json();
  } catch { return; } // the program may be starting again; the vine is asked for anew when it is back
  if (chosen.length !== 1 || chosen[0] !== vine) return; // another one was chosen meanwhile
  if (shown === vine && section.querySelector("form.correction")) return; // a correction begun meanwhile is not wiped away
  shown = vine;
  document.getElementById("vine-name").textContent = `Row ${row}, position ${position}`;
  const look = data.looks[condition(vine)];
  const now = document.getElementById("vine-now");
  now.textContent = data.seasons[season] ? `${data.seasons[season].season}: ${standsNow(vine, look)}.` : "";
  const list = (told.records || []).map((one) => {
    const text = el("span", {}, `${one.date} ${one.text}`);
    const fate = one.fate === "stands" ? "" : one.fate;
    const who = [one.text.includes(one.observer) ? "" : one.observer, one.recorded_at && `saved ${when(one.recorded_at)}`, fate].filter(Boolean).join(", ");
    if (who) text.append(el("span", { class: "small" }, who));
    const line = el("li", { class: one.fate === "stands" ? "" : "gone" }, text);
    if (one.fate === "stands") line.append(el("span", { class: "buttons" }, ...(one.fields ? [button("Correct", () => correctionForm(line, one.table, one.id, one.fields, reload))] : []), undoButton(one.table, one.id, line)));
    const shown = photosOf(one, reload);
    if (shown) line.append(shown);
    return line;
  });
  document.getElementById("vine-records").replaceChildren(...list);
  if (!list.length) now.textContent += " No record of its own.";
  section.hidden = false;
}

function undoButton(table, id, line) {
  return button("Undo", async (event) => {
    event.target.disabled = true;
    try {
      await undo(table, id);
      line.className = "gone";
      line.querySelectorAll("button").forEach((one) => one.remove());
      await reload();
    } catch (error) {
      event.target.disabled = false;
      line.append(el("p", { class: "bad", role: "alert" }, error.message));
    }
  });
}

// ---- What can be seen to be wrong ------------------------------------------------------------------------------
// Said at once and in place; what was typed stays.
function say(text, field, { stay = false } = {}) {
  wrong.textContent = text;
  wrong.hidden = !text;
  for (const one of form.elements) one.removeAttribute("aria-invalid");
  if (!field) { form.querySelector("button.go").before(wrong); return; }
  const box = form.elements[field];
  if (box.closest("details")) box.closest("details").open = true;
  (box.closest(".pair") || box.parentElement.closest("div")).after(wrong);
  box.setAttribute("aria-invalid", "true");
  if (stay) return;
  box.focus();
  if (box.select) box.select();
}

const canBe = (name, text) => isWithin(data.rules, name, Number(text.replace(",", ".")));
const CHECKS = {
  date: (v) => (!v.date ? "Which day?" : v.date > desk.dataset.today ? `${v.date} is still to come.` : v.date < "1950" ? `${v.date}: is the year right?` : ""),
  row: (v) => (data.labels.indexOf(v.row) < 0 || !v.row ? `There is no row "${v.row}": ${data.labels.filter(Boolean)[0]} to ${data.labels.filter(Boolean).at(-1)}.` : ""),
  position(v) {
    const row = data.labels.indexOf(v.row);
    if (row < 0 || number.has(`${v.row}\u001f${v.position}`)) return "";
    return `Row ${v.row} has no position "${v.position}": ${data.first_of[row]} to ${data.last_of[row]}.`;
  },
  symptom: (v) => (data.symptoms[v.symptom] ? "" : `"${v.symptom_typed}" is no symptom of the list.${near(v.symptom)}`),
  arm: (v) => (!v.arm || data.arms.includes(v.arm) ? "" : `There is no arm "${v.arm}": ${data.arms.join(", ")}.`),
  percent: (v) => (!v.percent || canBe("percent", v.percent) ? "" : `"${v.percent}" is no share from 0 to 100.`),
  trunk: (v) => (!v.trunk || (/^\d+$/.test(v.trunk) && canBe("trunk", v.trunk)) ? "" : `"${v.trunk}" is no trunk: 1, 2, 3 counted from the start of the row.`),
};
// The symptoms that share most with a word that is none.
function near(word) {
  const pieces = word.split("_").filter((one) => one.length > 2);
  const like = Object.entries(data.symptoms).filter(([code, meaning]) => pieces.some((one) => code.includes(one.slice(0, 4)) || meaning.toLowerCase().includes(one.slice(0, 4))));
  return word.length > 2 && like.length && like.length < 5 ? ` Meant: ${like.map(([code]) => code).join(" or ")}?` : "";
}
// Possible, but seldom meant: asked once, and Enter again writes it.
export function doubt(values, many) {
  if (data.rules.with_leaves.includes(values.symptom) && lookAt(values.date) === "dormant") return ["date", `${data.symptoms[values.symptom]} on ${values.date}, without leaves?`];
  const one = many.length === 1 ? number.get(`${values.row}\u001f${values.position}`) : undefined;
  const shown = one === undefined || season === null ? null : data.looks[condition(one)];
  if (shown && shown.word === "missing" && season === data.seasons.length - 1 && values.symptom !== "not_seen") return ["position", `No vine stands at ${values.row}:${values.position} by the record.`];
  return null;
}
export const lookAt = (date) => lookOf(date, data.rules, data.hemisphere);
export const seasonAt = (date) => seasonOf(date, data.rules, data.hemisphere);
export function dayTold() {
  const date = form.elements.date.value;
  document.getElementById("day-told").textContent = date && data ? `season ${seasonAt(date)}, ${lookAt(date)}` : "";
}

const FIELDS = ["date", "observer", "row", "position", "symptom", "arm", "percent", "trunk", "cause", "renewal_shoot", "shoot_quality", "note"];
function typed() {
  const values = Object.fromEntries(FIELDS.map((name) => [name, form.elements[name].value.trim()]));
  const word = values.symptom;
  const meant = Object.entries(data.symptoms).find(([, meaning]) => meaning.toLowerCase() === word.toLowerCase());
  values.symptom = data.short[word.toUpperCase()] || (meant ? meant[0] : word.toLowerCase().replace(/[\s-]+/g, "_"));
  values.symptom_typed = word;
  values.arm = values.arm.toLowerCase();
  return values;
}
form.addEventListener("change", (event) => {
  const name = event.target.name;
  if (name === "date") dayTold();
  if (!data || !CHECKS[name] || !event.target.value.trim() || event.target.disabled) return;
  const text = CHECKS[name](typed());
  if (text) say(text, name, { stay: true });
  else if (event.target.hasAttribute("aria-invalid")) say("");
});

let asked = ""; // the entry about which a doubt was told: the same again is meant
form.addEventListener("submit", (event) => {
  event.preventDefault();
  if (!data) { say("The block is not here yet: is trunkwatch running?"); return; }
  const values = typed();
  const many = chosen.length > 1 ? chosen.map(nameOf) : [[values.row, values.position]];
  if (chosen.length > 1) [values.row, values.position] = many[0];
  for (const name of Object.keys(CHECKS)) {
    const text = CHECKS[name](values);
    if (text) { say(text, name); return; }
  }
  const question = doubt(values, many);
  if (question && asked !== JSON.stringify(values)) {
    asked = JSON.stringify(values);
    say(`${question[1]} Enter again if it is so.`, question[0]);
    return;
  }
  asked = "";
  say("");
  delete values.symptom_typed;
  send(many.map(([row, position]) => ({ ...values, block, row, position })));
  if (chosen.length > 1) choose([]);
  for (const name of ["position", "symptom", "arm", "percent", "trunk", "cause", "renewal_shoot", "shoot_quality", "note"]) form.elements[name].value = "";
  form.elements.position.focus();
});
form.addEventListener("keydown", (event) => {
  if (event.key === "Enter" && event.target.tagName === "INPUT") { event.preventDefault(); form.requestSubmit(); }
});

// ---- Writing -----------------------------------------------------------------------------------------------------
// Entries go one after the other in the background; the form is free at once. An entry is kept in this browser until
// the program has it: it outlasts a program that was closed, and the page too. The same twice changes nothing.
const WAITING = `trunkwatch-waiting:${block}:`;
const keep = (key, records) => { try { localStorage.setItem(WAITING + key, JSON.stringify(records)); } catch { /* it waits on the page */ } };
const drop = (key) => { try { localStorage.removeItem(WAITING + key); } catch { /* nothing was kept */ } };
function keptBefore() {
  try {
    return Object.keys(localStorage).filter((key) => key.startsWith(WAITING)).sort().map((key) => [key.slice(WAITING.length), JSON.parse(localStorage.getItem(key))]);
  } catch { return []; }
}
let entries = 0;
let road = Promise.resolve();
const pause = (milliseconds) => new Promise((done) => { setTimeout(done, milliseconds); });

function send(records, key = `${Date.now()}-${String((entries += 1)).padStart(4, "0")}`) {
  const values = records[0];
  if (!values.recorded_at) for (const one of records) one.recorded_at = new Date().toISOString();
  keep(key, records);
  const what = `${values.row}:${values.position}${records.length > 1 ? ` and ${records.length - 1} more` : ""} ${data.symptoms[values.symptom] || values.symptom}${values.arm ? `, ${values.arm}` : ""}${values.percent ? `, ${values.percent} %` : ""}`;
  const text = el("span", {}, `\u2026 ${what}`);
  const line = el("li", { class: "wait" }, text);
  document.getElementById("written").prepend(line);
  away();
  road = road.then(() => write(records, line, text, what)).then((told) => written(told, line, text, what, key, records)).catch((error) => refused(error, line, text, what, records, key));
}

async function write(records, line, text, what) {
  for (;;) {
    try {
      return await post("/api/log", { table: "symptoms", records });
    } catch (error) {
      if (!error.away) throw error;
      text.textContent = `\u2026 ${what}: waits`;
      away(error.message);
      await pause(2000);
    }
  }
}

let reason = ""; // why nothing is being written at the moment; empty while the program answers
function away(why = reason) {
  reason = why;
  const many = document.querySelectorAll("#written li.wait").length;
  const told = document.getElementById("away");
  told.hidden = !why || !many;
  told.textContent = `${why} ${many} not saved yet; kept in this browser, and saved when it is back.`;
}

async function written(told, line, text, what, key, records) {
  drop(key);
  line.className = "";
  const other = told.changed[0];
  text.textContent = `${other ? "" : "\u2713 "}${what}${told.new || other ? "" : " (already recorded)"}`;
  if (other) {
    const said = Object.entries(other.values).map(([name, [before, now]]) => `${name.replace(/_/g, " ")} ${before || "empty"}, now ${now || "empty"}`).join("; ");
    line.className = "fault";
    text.append(el("span", { class: "small" }, `On record with other values: ${said}. The record was left.`));
    line.append(el("span", { class: "buttons" }, button("Take the new ones", async (event) => {
      event.target.disabled = true;
      try {
        for (const one of told.changed) await post("/api/correct", { table: "symptoms", id: one.id, changes: Object.fromEntries(Object.entries(one.values).map(([name, [, now]]) => [name, now])) });
        await reload().catch(() => {}); // the card of the vine holds what stands now before anything is said
        line.className = "";
        text.textContent = `\u2713 ${what}, corrected`;
        event.target.remove();
      } catch (error) { event.target.disabled = false; text.append(el("span", { class: "small" }, error.message)); }
    })));
  }
  for (const note of told.notes.slice(0, 2)) text.append(el("span", { class: "small" }, note));
  if (told.ids.length === 1 && told.new) line.append(el("span", { class: "buttons" }, undoButton("symptoms", told.ids[0], line)));
  away("");
  await reload().catch(() => {});
  if (told.new) await showLogged(records).catch(() => {});
}

// The drawing goes to the season of what was logged, and its vine is shown; the form stays as it is being typed.
async function showLogged(records) {
  const at = data.seasons.findIndex((one) => one.season === seasonAt(records[0].date));
  if (at >= 0 && at !== season) {
    setGround({ season: at });
    document.getElementById("season").value = at;
    legend();
  }
  const vine = records.length === 1 ? number.get(`${records[0].row}\u001f${records[0].position}`) : undefined;
  const busy = chosen.length > 1 || document.querySelector("#vine form.correction");
  if (vine !== undefined && !busy) setGround({ chosen: [vine] });
  draw();
  if (chosen.length === 1 && !document.querySelector("#vine form.correction")) await showVine(chosen[0]);
}

function refused(error, line, text, what, records, key) {
  line.className = "fault";
  text.textContent = `Not saved: ${what}. ${error.message}`;
  away("");
  line.append(el("span", { class: "buttons" }, button("Back into the form", () => {
    for (const name of FIELDS) form.elements[name].value = records[0][name] || "";
    drop(key);
    line.remove();
    form.elements.row.focus();
  }), button("Leave it out", () => { drop(key); line.remove(); })));
}
window.addEventListener("beforeunload", (event) => { if (document.querySelector("#written li.wait")) event.preventDefault(); });

document.getElementById("season").addEventListener("change", (event) => { setGround({ season: Number(event.target.value) }); legend(); draw(); if (chosen.length === 1) showVine(chosen[0]); });
document.getElementById("fit").addEventListener("click", () => { whole(); draw(); });
document.getElementById("several").addEventListener("click", (event) => {
  setGround({ several: !several });
  event.target.setAttribute("aria-pressed", String(several));
});
new ResizeObserver(() => draw()).observe(canvas);
load().then(() => {
  desk.dataset.ready = "yes";
  for (const [key, records] of keptBefore()) send(records, key);
  watchFile(() => data.version, reload);
}).catch((error) => say(error.message));
