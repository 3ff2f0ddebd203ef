// The walk of the winter's list: vine by vine in row order, one tap done, two for why it was not.

const PAUSE = 600000; // a longer time from one vine to the next, in milliseconds, was a pause and counts for none
const STAINS = [5, 10, 20, 40];
const ROWS_A_PAGE = 20;
let rowsPage = 0;
let clock = null; // the last tick of this page by the clock that nobody sets

// ---- The list --------------------------------------------------------------------------------------------------
const planOf = (root) => data.work.find((plan) => plan.root === root) || null;
const said = (plan) => items.find((item) => item.table === "work" && item.state === "live" && item.root === plan.root) || null;
const linked = (every, root) => every.filter((item) => item.of === root && item.state === "live");
// What is done in winter; the rest waits for spring and summer, and is walked where somebody asks for it.
const ofWinter = () => data.work.filter((plan) => data.winter_lists.includes(plan.list));
const onWalk = () => (state.allWork || !ofWinter().length ? data.work : ofWinter());
const labels = () => [...new Set(onWalk().map((plan) => plan.row.row))];
const inRow = (label) => ordered().filter((plan) => plan.row.row === label);
const left = (plans) => plans.filter((plan) => !said(plan)).length;

// In row order; there and back turns every other row round, whichever end it is numbered from.
function ordered() {
  const turned = (label, k) => state.thereAndBack && (k % 2 === 1) !== Boolean(data.rows.find((one) => one.label === label)?.back);
  return labels().flatMap((label, k) => {
    const own = onWalk().filter((plan) => plan.row.row === label);
    return turned(label, k) ? pure.turned(own) : own;
  });
}

// The next piece that nobody has decided on: onward from here, then from the start of the list.
function nextOpen(root) {
  const all = ordered();
  const at = all.findIndex((plan) => plan.root === root);
  return [...all.slice(at + 1), ...all.slice(0, at + 1)].find((plan) => !said(plan)) || null;
}

function goTo(plan) {
  Object.assign(state, plan ? { screen: "vine", vine: plan.root } : { screen: "winter" });
  if (plan && !onWalk().includes(plan)) state.allWork = true;
  render();
  write(nothing, "");
}

function step(by) {
  const all = ordered();
  const at = all.findIndex((plan) => plan.root === state.vine);
  goTo(all[Math.max(0, Math.min(all.length - 1, at + by))]);
}

// ---- What is written -------------------------------------------------------------------------------------------
// Milliseconds since the last vine of this row on this phone; none after a pause, or where the clock was set meanwhile.
function sinceLast(every, label, now) {
  const before = every.filter((item) => item.table === "work" && item.row.row === label && item.ticked).map((item) => item.ticked);
  if (!before.length) return 0;
  const gaps = [now - Math.max(...before), ...(clock && clock.label === label ? [now - clock.ticked] : [])];
  const turnedBack = clock && now - clock.ticked < performance.now() - clock.steady - 2000;
  return gaps.every((gap) => gap > 0 && gap <= PAUSE) && !turnedBack ? Math.min(...gaps) : 0;
}

function decision(plan, cells) {
  const { hours, cost, date, ...planned } = plan.row; // hours and cost that were planned are none that were worked
  const made = record("work", { ...planned, ...cells, ...(plan.unplanned ? {} : { corrects: plan.root }) });
  Object.assign(made, { id: pure.uuid(), root: plan.root, was: plan.unplanned ? null : plan.row, planned: date, ticked: Date.now(), walk: "" });
  made.row.id = made.id;
  return made;
}

// A record beside a decision: it is taken back with it.
function beside(plan, table, cells) {
  const { row, position, trunk, arm } = plan.row;
  const part = table === "symptoms" ? { ...(trunk ? { trunk } : {}), arm: arm || "" } : {};
  const made = record(table, { row, position, ...part, ...cells });
  Object.assign(made, { id: pure.uuid(), of: plan.root, walk: "" });
  if (table === "plants") delete made.row.date; // such a line has the day of the removal alone
  made.row.id = made.id;
  return made;
}

// Written once, whichever window of the page was first, and the other one is told so; `more` makes the records that belong to it.
async function decide(plan, cells, message, more = () => []) {
  const made = decision(plan, cells);
  const worked = cells.status === "done" && !cells.note; // what was found done already took nobody's time
  let already = false;
  const onlyOnce = (every) => {
    already = every.some((item) => item.root === plan.root && item.state === "live");
    if (already) return [];
    made.took = worked ? sinceLast(every, plan.row.row, made.ticked) : 0;
    if (made.took) made.row.hours = Math.round((made.took * (state.hands || 1)) / 360) / 10000;
    return [made, ...more()];
  };
  const before = { screen: state.screen, vine: state.vine };
  const next = nextOpen(plan.root);
  const stay = afterParts(plan, made).length > 0;
  Object.assign(state, stay ? { screen: "after", vine: plan.root } : next && next.root !== plan.root ? { screen: "vine", vine: next.root } : { screen: "winter" });
  const told = `${savedWord()} ${plan.row.row}:${plan.row.position} ${message}`;
  const good = await write(onlyOnce, "");
  if (!good) Object.assign(state, before);
  else if (already) Object.assign(state, { screen: "vine", vine: plan.root });
  else clock = { label: plan.row.row, ticked: made.ticked, steady: performance.now() };
  render();
  if (!good) return;
  const time = left(inRow(plan.row.row)) ? "" : pace(plan.row.row);
  if (already) tick(word("decided_already", { what: `${plan.row.row}:${plan.row.position}` }), true);
  else tick(time ? `${told}. ${word("row")} ${plan.row.row}: ${time}` : told, false);
}

const workDone = (plan) => decide(plan, { status: "done" }, code(plan.row.kind));

function notDone(plan, why) {
  if (why === "already_cut") return decide(plan, { status: "done", note: word("already_cut_note") }, word("why.already_cut"));
  const gone = () => (why === "vine_gone" ? [beside(plan, "plants", { removed: localDay(new Date()), note: word("vine_gone_note") })] : []);
  return decide(plan, { status: "dropped", not_done: why }, word(`why.${why}`), gone);
}

// What is said of a decision afterwards, one tap each; the same again takes it back.
async function sayMore(plan, cells) {
  const more = (every) => every.filter((item) => item.table === "work" && item.root === plan.root && item.state === "live")
    .flatMap((item) => [
      ...pure.changed(item, cells, new Date(), pure.uuid),
      // The height is one: that of the cut and of its face.
      ...("cut_height_cm" in cells ? linked(every, plan.root).filter((one) => one.row.symptom === "wood_staining").flatMap((one) => pure.changed(one, cells, new Date(), pure.uuid)) : []),
    ]);
  const good = await write(more, savedWord());
  if (good) render();
  return good;
}

const faceOf = (plan) => linked(items, plan.root).find((item) => item.row.symptom === "wood_staining") || null;
// Stain in cm; empty where it was stained and nobody said how far, 0 where it was clean.
async function sayFace(plan, stain) {
  const height = said(plan)?.row.cut_height_cm ?? "";
  const face = (every) => {
    const there = linked(every, plan.root).find((item) => item.row.symptom === "wood_staining");
    if (!there) return [beside(plan, "symptoms", { symptom: "wood_staining", stain_cm: stain, cut_height_cm: height })];
    if (there.row.stain_cm === stain) return [takenBack(there)];
    return pure.changed(there, { stain_cm: stain }, new Date(), pure.uuid);
  };
  if (await write(face, savedWord())) render();
}

// That nothing is seen on the part: only where somebody says that it was inspected closely.
async function sayInspected(plan) {
  const none = (every) => {
    const there = linked(every, plan.root).find((item) => item.row.symptom === "none");
    return [there ? takenBack(there) : beside(plan, "symptoms", { symptom: "none" })];
  };
  if (await write(none, savedWord())) render();
}

const takenBack = (item) => ({ ...item, state: "void", void_id: pure.uuid(), voided_at: new Date().toISOString() });

// ---- The time of a row -----------------------------------------------------------------------------------------
function pace(label) {
  const timed = items.filter((item) => item.table === "work" && item.state === "live" && item.row.row === label && item.took);
  const minutes = timed.reduce((sum, item) => sum + item.took, 0) / 60000;
  return timed.length ? word("row_pace", { n: timed.length, minutes: minutes.toFixed(0), each: (minutes / timed.length).toFixed(1) }) : "";
}

// ---- Screens ---------------------------------------------------------------------------------------------------
const fit = (...parts) => [el("div", { class: "fit" }, ...parts.filter(Boolean))];
const spread = () => el("div", { class: "spread" });
// Keys in a line behind their name; in as many columns as are asked for, where one line is too narrow.
const line = (name, parts, columns = 0) => el("div", { class: "line", role: "group", "aria-label": name }, el("span", { class: "of" }, name),
  el("div", { class: columns ? "keys-in many" : "keys-in", style: columns ? `display:grid;grid-template-columns:repeat(${columns},minmax(0,1fr))` : null }, ...parts));

function winterScreen() {
  const all = ordered();
  const next = planOf(state.vine) && !said(planOf(state.vine)) ? planOf(state.vine) : nextOpen(state.vine);
  const pages = Math.ceil(labels().length / ROWS_A_PAGE);
  const listed = labels().slice(rowsPage * ROWS_A_PAGE, (rowsPage + 1) * ROWS_A_PAGE);
  const last = said(planOf(state.vine) || {}) ? pace(planOf(state.vine).row.row) : "";
  const pick = (change) => { Object.assign(state, change); render(); write(nothing, ""); };
  return fit(
    el("div", { class: "where" }, el("h1", {}, word("work_list")), el("b", { id: "left" }, word("left_n", { n: left(all), all: all.length }))),
    el("div", { class: "rows" }, ...listed.map((label) => {
      const open = left(inRow(label));
      const go = inRow(label).find((plan) => !said(plan)) || inRow(label)[0];
      return button(`${open ? "" : "\u2713 "}${label}`, () => goTo(go), { class: open ? "row" : "row ready", "data-left": open || false, "aria-label": `${word("row")} ${label}: ${word("left_n", { n: open, all: inRow(label).length })}` });
    }), pages > 1 ? button(word("more"), () => { rowsPage = (rowsPage + 1) % pages; render(); }) : null),
    last ? el("p", { class: "small", id: "pace" }, `${word("row")} ${planOf(state.vine).row.row}: ${last}`) : null,
    spread(),
    el("p", { class: "small" }, word("pace_rule")),
    line(word("hands"), [1, 2, 3, 4].map((n) => button(String(n), () => pick({ hands: n }), { "aria-pressed": String((state.hands || 1) === n) }))),
    ofWinter().length && ofWinter().length < data.work.length ? el("div", { class: "two" },
      button(word("winter_work"), () => pick({ allWork: false }), pressed(!state.allWork)),
      button(word("all_work"), () => pick({ allWork: true }), pressed(state.allWork))) : null,
    el("div", { class: "two" },
      button(word("each_from_start"), () => pick({ thereAndBack: false }), { "aria-pressed": String(!state.thereAndBack) }),
      button(word("there_and_back"), () => pick({ thereAndBack: true }), { "aria-pressed": String(Boolean(state.thereAndBack)) })),
    el("div", { class: "two" },
      button(word("back"), () => { state.screen = "start"; render(); }),
      button(word("whole_list"), () => { state.screen = "work"; render(); }, { id: "whole" })),
    next ? button(`${word("go_on")}: ${next.row.row}:${next.row.position}`, () => goTo(next), { class: "go tall", id: "go_on" }) : el("p", { class: "all-done" }, word("all_decided")));
}

// Where the vine stands, as people count: position, from the far end, bay.
function placed(plan) {
  const at = data.rows.find((one) => one.label === plan.row.row);
  const position = Number(plan.row.position);
  if (!at) return "";
  const bay = pure.bay(at, position);
  return [word("from_ends", { n: pure.count(at, "first", position), back: pure.count(at, "last", position) }), bay ? word("bay_vine", bay) : ""].filter(Boolean).join("; ");
}

const shortened = (text, most) => (text.length > most ? `${text.slice(0, most).replace(/\s\S*$/, "")} \u2026` : text);
const fact = (name, text, most = 90) => (text ? el("p", { class: "fact" }, el("span", {}, `${name} `), shortened(text, most)) : null);

function vineParts(plan) {
  const [part, stands, seen, shoot, note] = plan.told ? plan.told[state.language] || plan.told.en : ["", "", "", "", plan.row.note || ""];
  return [
    el("div", { class: "where" }, el("h1", { class: "here" }, `${word("row")} ${plan.row.row}`), el("b", { class: "at big", id: "at" }, plan.row.position)),
    el("p", { class: "small" }, placed(plan)),
    el("p", { class: "task" }, code(plan.row.kind), part ? el("b", {}, part) : null, plan.row.cut_height_cm ? el("span", {}, word("planned_cut", { n: plan.row.cut_height_cm })) : null),
    fact(word("seen"), [stands, seen].filter(Boolean).join(" \u00b7 ")), fact(word("shoot"), shoot), fact(word("why"), note, 120),
  ];
}

const doneWord = (plan) => word(plan.row.kind === "replant" ? "planted" : plan.row.kind === "watch" ? "inspected_it" : "work_done");

function vineScreen() {
  const plan = planOf(state.vine);
  const there = said(plan);
  const all = ordered();
  const rest = inRow(plan.row.row);
  const verdict = there ? (there.row.status === "done" ? `\u2713 ${doneWord(plan)}` : `${word("not_done")}: ${word(`why.${there.row.not_done}`)}`) : "";
  return fit(
    el("div", { class: "two top" },
      button(word("jump"), () => { state.screen = "winter"; render(); }, { id: "jump" }),
      el("p", { class: "count", id: "left" }, word("row_left", { n: left(rest), label: plan.row.row }), el("br"), word("left_n", { n: left(all), all: all.length }))),
    ...vineParts(plan), spread(),
    there ? el("p", { class: "verdict" }, verdict) : null,
    there ? el("div", { class: "two" },
      button(word("undo"), () => once(() => undo(there.id)), { id: "undo" }),
      afterParts(plan, there).length ? button(word("say_more"), () => { state.screen = "after"; render(); }, { id: "say_more" }) : null)
      : el("div", { class: "one" },
        button(doneWord(plan), () => once(() => workDone(plan)), { class: "go tall", id: "did" }),
        button(word("not_done_because"), () => { state.screen = "why"; render(); }, { id: "not_done" })),
    el("div", { class: "three" },
      button(`\u25c0 ${word("previous")}`, () => step(-1), { disabled: all[0] === plan, id: "previous" }),
      button(word("what_i_see"), () => { state.screen = "see"; state.seen = null; render(); }, { id: "see" }),
      button(`${word("next")} \u25b6`, () => step(1), { disabled: all.at(-1) === plan, id: "next" })));
}

function whyScreen() {
  const plan = planOf(state.vine);
  return fit(el("div", { class: "where" }, el("h1", {}, word("not_done_because")), el("b", { class: "at" }, `${plan.row.row}:${plan.row.position}`)),
    el("p", {}, code(plan.row.kind)), spread(),
    el("div", { class: "one" }, ...data.reasons[plan.row.kind].map((why) => button(word(`why.${why}`), () => once(() => notDone(plan, why)), { class: "tall", "data-why": why })),
      button(word("back"), () => { state.screen = "vine"; render(); })));
}

// What can be said after a decision, skippable, one tap each: a list of parts of the screen, none where there is nothing to
// say and the walk goes on at once.
function afterParts(plan, item) {
  if (item.row.status === "dropped") return item.row.not_done === "looks_sound" ? soundParts(plan) : item.row.not_done === "other" ? noteParts(plan, item) : [];
  if (plan.row.kind === "watch") return soundParts(plan);
  return data.rules.cuts.includes(plan.row.kind) && item.row.note !== word("already_cut_note") ? cutParts(plan, item) : [];
}

const pressed = (yes) => ({ "aria-pressed": String(Boolean(yes)) });

function heightsOf(plan) {
  const usual = data.heights[plan.row.kind];
  const wanted = plan.row.cut_height_cm;
  if (!wanted || usual.includes(wanted)) return usual;
  const far = usual.reduce((a, b) => (Math.abs(b - wanted) > Math.abs(a - wanted) ? b : a));
  return [...usual.filter((one) => one !== far), wanted].sort((a, b) => a - b);
}

function cutParts(plan, item) {
  const face = faceOf(plan);
  const height = item.row.cut_height_cm;
  const toggle = (name, value) => once(() => sayMore(plan, { [name]: item.row[name] === value ? "" : value }));
  return [
    el("h2", {}, word("cut_height_cm")),
    el("div", { class: "four" }, ...heightsOf(plan).map((cm) => button(`${cm}`, () => toggle("cut_height_cm", cm), { ...pressed(height === cm), "data-height": cm }))),
    el("h2", {}, word("cut_face")),
    el("div", { class: "two" },
      button(word("face_clean"), () => once(() => sayFace(plan, 0)), { ...pressed(face && face.row.stain_cm === 0), id: "clean" }),
      button(word("face_stained"), () => once(() => sayFace(plan, "")), { ...pressed(face && face.row.stain_cm !== 0), id: "stained" })),
    line(word("stain_down"), STAINS.map((cm) => button(`${cm} cm`, () => once(() => sayFace(plan, cm)), { ...pressed(face && face.row.stain_cm === cm), "data-stain": cm }))),
    el("h2", {}, word("wound")),
    el("div", { class: "two" },
      button(word("wound_yes"), () => toggle("wound_protected", "yes"), { ...pressed(item.row.wound_protected === "yes"), id: "protected" }),
      button(word("wound_no"), () => toggle("wound_protected", "no"), { ...pressed(item.row.wound_protected === "no"), id: "open_wound" })),
    photoButton(item),
  ];
}

function soundParts(plan) {
  const written = linked(items, plan.root).some((item) => item.row.symptom === "none");
  return [el("p", {}, word("inspected_ask")),
    button(word("inspected_yes"), () => once(() => sayInspected(plan)), { ...pressed(written), id: "inspected", class: "tall" }),
    button(word("what_i_see"), () => { state.screen = "see"; state.seen = null; render(); }, { id: "see" })];
}

const halfNote = (plan) => (state.note && state.note.root === plan.root ? state.note : null);
function noteParts(plan, item) {
  const input = el("input", { id: "note", value: halfNote(plan)?.text ?? (item.row.note && item.row.note !== plan.row.note ? item.row.note : "") });
  const keep = () => { state.note = { root: plan.root, text: input.value }; };
  input.addEventListener("input", () => { keep(); write(nothing, ""); });
  return [el("label", { for: "note" }, word("note")), input,
    button(word("save"), () => once(() => { keep(); return saveNote(plan); }), { id: "save_note" })];
}

// A note that was typed of a decision, if there is one; whether all of it is saved.
async function saveNote(plan) {
  const half = halfNote(plan);
  if (!half) return true;
  state.note = null;
  const good = await sayMore(plan, { note: half.text.trim() || plan.row.note || "" });
  if (!good) state.note = half;
  return good;
}

function afterScreen() {
  const plan = planOf(state.vine);
  const item = said(plan);
  const next = nextOpen(plan.root);
  return fit(
    el("div", { class: "where" }, el("h1", {}, `\u2713 ${item.row.status === "done" ? doneWord(plan) : word(`why.${item.row.not_done}`)}`), el("b", { class: "at" }, `${plan.row.row}:${plan.row.position}`)),
    spread(), ...afterParts(plan, item).filter(Boolean),
    el("div", { class: "two" },
      button(word("undo"), () => once(async () => { await undo(item.id); if (!said(plan)) { state.screen = "vine"; render(); } }), { id: "undo" }),
      button(next ? `${word("next")}: ${next.row.row}:${next.row.position}` : word("work_list"), () => once(async () => { if (await saveNote(plan)) goTo(next); }), { class: "go", id: "next" })));
}

// What is seen on a vine of the list, written as any finding in passing.
function seeScreen() {
  const plan = planOf(state.vine);
  const item = items.find((one) => one.id === state.seen && one.state === "live") || null;
  const note = (symptom) => once(async () => {
    const made = record("symptoms", { row: plan.row.row, position: plan.row.position, symptom, arm: "" });
    Object.assign(made, { id: pure.uuid(), walk: "" });
    made.row.id = made.id;
    if (await write(() => [made], `${savedWord()} ${told(made)} ${code(symptom)}`)) state.seen = made.id;
    render();
  });
  return fit(
    el("div", { class: "where" }, el("h1", { class: "here" }, `${word("row")} ${plan.row.row}`), el("b", { class: "at", id: "at" }, plan.row.position)),
    el("p", { class: "small" }, item ? word("say_of", { what: code(item.row.symptom) }) : word("tap_what")),
    spread(), el("div", { class: "three" }, ...data.beside_list.map((symptom) => button(short(symptom), () => note(symptom), { "aria-label": code(symptom), ...pressed(item && item.row.symptom === symptom) }))),
    ...panel(item),
    el("div", { class: "two" },
      button(word("undo"), () => once(() => undo(item.id)), { disabled: !item, id: "undo" }),
      button(word("back"), () => { state.screen = said(plan) && afterParts(plan, said(plan)).length ? "after" : "vine"; render(); }, { class: "go", id: "back" })));
}

// The screen of the walk that can be shown: a newer page may have another list, another window may have taken a tick back.
function winterName() {
  if (!["vine", "why", "after", "see"].includes(state.screen)) return state.screen;
  const plan = planOf(state.vine);
  if (!plan) return "winter";
  if (state.screen === "after" && !said(plan)) return "vine";
  return state.screen === "why" && said(plan) ? "vine" : state.screen;
}
