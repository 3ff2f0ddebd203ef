// The winter's list in the row: the next vine large, what was seen there and which shoot there is; one tap done, two for what hinders it.

// The buttons of the start screen, one for each list that has work.
function listButtons(before) {
  const open = (summer) => { before(); Object.assign(state, { summer, winter_since: new Date().toISOString() }); nextPlan(null); keepAwake(); };
  return [[false, "winter_walk", "winter"], [true, "summer_walk", "summer"]].filter(([summer]) => plansOf(summer).length)
    .map(([summer, name, id]) => button(`${word(name)}: ${openPlans(summer).length}`, () => open(summer), { id }));
}

// A longer time between two vines is a pause and no work.
const PAUSE = 15 * 60000;
const HINDRANCES = ["no_shoot", "gone", "sound", "other"];
const HEIGHTS = [20, 30, 40, 50, 60, 70, 80, 100];
// Centimeters that are written: none, up to 5, up to 10, more than 10.
const STAINS = [0, 5, 10, 20];

const answerOf = (plan) => items.find((item) => item.table === "work" && item.state === "live" && item.root === plan.root);
// The plans of the list that is walked: that of the winter, or that of the growing season.
const plansOf = (summer) => data.work.filter((plan) => Boolean(plan.summer) === Boolean(summer));
const plans = () => plansOf(state.summer);
const openPlans = (summer = state.summer) => plansOf(summer).filter((plan) => !answerOf(plan));
const planAt = () => plans().find((plan) => plan.root === state.winter);

// Hours since the last vine of this walk; null after a pause, and for the first vine.
function hoursSince(now) {
  const last = Date.parse(state.winter_since || "");
  const passed = now.getTime() - last;
  return passed > 0 && passed <= PAUSE ? Math.max(0.005, Math.round(passed / 3600) / 1000) : null;
}

// What becomes of a planned work: done today, or dropped with the reason. Once only, whichever window of the page is tapped.
async function settlePlan(plan, values, message, more = []) {
  const now = new Date();
  const made = record("work", { ...plan.row, corrects: plan.root, observer: state.observer, ...values });
  for (const name of Object.keys(made.row)) if (made.row[name] === null) delete made.row[name];
  made.id = pure.uuid();
  made.row.id = made.id;
  made.root = plan.root;
  made.planned = plan.row.date;
  const before = state.winter_since;
  state.winter_since = now.toISOString();
  const onlyOnce = (every) => (every.some((item) => item.root === plan.root && item.state === "live") ? [] : [made, ...more]);
  if (await write(onlyOnce, "")) {
    if (items.some((item) => item.id === made.id)) { tick(message, false); return made.id; }
    tick(word("answered_elsewhere"), true);
  }
  state.winter_since = before;
  return null;
}

async function workDone(plan, hours = null) {
  // The hours planned are no hours worked: what no clock tells is written as not said.
  return settlePlan(plan, { status: "done", date: pure.day(new Date()), hours }, `${savedWord()} ${told(plan)} ${code(plan.row.kind)}`);
}

async function winterDone(plan) {
  const id = await workDone(plan, hoursSince(new Date()));
  if (!id) { render(); return; }
  if (data.cuts.includes(plan.row.kind)) { state.cut = { root: plan.root, id }; write(nothing, ""); render(); }
  else nextPlan(plan);
}

async function hindered(plan, reason) {
  const note = [plan.row.note, word(`hindered.${reason}`)].filter(Boolean).join("; ");
  const seen = reason === "sound" ? [lookedAt(plan, "none", {})] : [];
  const kept = await settlePlan(plan, { status: "dropped", note, hours: null }, `${savedWord()} ${told(plan)}: ${word(`hindered.${reason}`)}`, seen);
  if (kept) nextPlan(plan);
  else render();
}

// A finding at the vine of a plan.
function lookedAt(plan, symptom, values) {
  const made = record("symptoms", { row: plan.row.row, position: String(plan.row.position), symptom, ...values });
  made.id = pure.uuid();
  made.row.id = made.id;
  return made;
}

// The next vine that is not answered, from a place on; the first of all where none follows.
function nextPlan(from) {
  const at = plans().findIndex((plan) => plan.root === (from ? from.root : null));
  const open = (plan) => !answerOf(plan);
  const next = plans().slice(at + 1).find(open) || plans().find(open);
  Object.assign(state, { winter: next ? next.root : null, screen: "winter", cut: null });
  write(nothing, "");
  render();
}

function besides(plan, step) {
  const at = plans().indexOf(plan) + step;
  if (at < 0 || at >= plans().length) return;
  state.winter = plans()[at].root;
  render();
  write(nothing, "");
}

const aboutOf = (plan) => (plan.about || {})[state.language] || (plan.about || {}).en || {};

// Row and position large, and how it is counted in bays.
function planHead(plan) {
  const at = data.rows.find((one) => one.label === plan.row.row);
  const bay = at ? pure.bay(at, Number(plan.row.position)) : null;
  return el("div", { class: "where" },
    el("h1", { class: "here" }, `${word("row")} ${plan.row.row}`),
    el("b", { class: "at", id: "at" }, String(plan.row.position)),
    bay ? el("span", { class: "small" }, `${word("bay")} ${bay.bay}, ${bay.vine}`) : null);
}

function winterScreen() {
  const plan = planAt() || openPlans()[0];
  const left = openPlans();
  if (!plan) return winterEnd();
  state.winter = plan.root;
  if (state.cut && state.cut.root === plan.root && answerOf(plan)) return cutParts(plan);
  const answer = answerOf(plan);
  const about = aboutOf(plan);
  const rowLeft = left.filter((one) => one.row.row === plan.row.row).length;
  const lines = [about.stands ? `${word("seen_there")}: ${about.stands}${about.seen ? `, ${about.seen}` : ""}` : about.seen ? `${word("last_seen")} ${about.seen}` : "",
    about.shoot ? `${word("renewal_shoot")}: ${about.shoot}` : "", plan.row.cut_height_cm ? `${word("cut_height_cm")}: ${plan.row.cut_height_cm}` : "", about.note || ""].filter(Boolean);
  const rows = [...new Set(plans().map((one) => one.row.row))];
  const jump = el("select", { id: "jump", "aria-label": word("row") }, ...rows.map((label) => el("option", { value: label, selected: label === plan.row.row }, `${word("row")} ${label}: ${left.filter((one) => one.row.row === label).length}`)));
  jump.addEventListener("change", () => { const there = plans().filter((one) => one.row.row === jump.value); state.winter = (there.find((one) => !answerOf(one)) || there[0]).root; render(); write(nothing, ""); });
  return [planHead(plan),
    el("p", { class: "todo" }, code(plan.row.kind), about.part ? el("span", {}, `: ${about.part}`) : null),
    el("div", { class: "about" }, ...lines.map((text) => el("p", { class: "small" }, text))),
    answer
      ? el("div", { class: "two" }, el("p", { class: "answer" }, answer.row.status === "done" ? `\u2713 ${word("work_done")}` : answer.row.note || "\u2013"), el("div", { class: "one" }, photoButton(answer), button(word("undo"), () => once(() => undo(answer.id)), { id: "undo" })))
      : el("div", { class: "two" }, button(word("work_done"), () => once(() => winterDone(plan)), { class: "go", id: "done" }), button(word("not_done"), () => hindranceScreen(plan), { id: "not-done" })),
    el("div", { class: "two low" }, button(word("before"), () => besides(plan, -1), { disabled: plans()[0] === plan }), button(word("next"), () => besides(plan, 1), { disabled: plans().at(-1) === plan })),
    el("div", { class: "two low" }, jump, button(word("back"), () => { state.screen = "start"; state.winter_since = null; render(); write(nothing, ""); })),
    el("p", { class: "small" }, word("left_to_do", { n: left.length, row: rowLeft }))];
}

function winterEnd() {
  return [el("h1", {}, word(state.summer ? "summer_walk" : "winter_walk")), el("p", {}, word("all_done")),
    button(word("records"), showRecords, { class: "go", style: "width:100%" }),
    button(word("back"), () => { state.screen = "start"; render(); }, { style: "width:100%;margin-top:8px" })];
}

// The reason without what stands before it in the note.
function reasonWord(reason) {
  const text = word(`hindered.${reason}`).split(": ").at(-1);
  return text[0].toUpperCase() + text.slice(1);
}

function hindranceScreen(plan) {
  settle(`hindrance ${plan.root}`);
  show(planHead(plan), el("h2", {}, word("why_not")),
    el("div", { class: "one" }, ...HINDRANCES.map((reason) => button(reasonWord(reason), () => once(() => hindered(plan, reason)), { class: "see", "data-reason": reason })),
      button(word("back"), render)));
}

// After a cut, each one tap and all of it left out at will: how high, the face, the wound, a photo.
let chosen = { id: null };

function cutParts(plan) {
  const { id } = state.cut;
  if (chosen.id !== id) chosen = { id, height: null, stain: null, wound: false };
  const pick = (name, many, words = String) => el("div", { class: "four" }, ...many.map((n) => button(words(n), () => { chosen[name] = chosen[name] === n ? null : n; render(); }, { "aria-pressed": String(chosen[name] === n), "data-n": n })));
  const photo = photoButton(items.find((one) => one.id === id) || { state: "void" });
  return [planHead(plan),
    el("span", { class: "label" }, word("cut_height_cm")), pick("height", HEIGHTS),
    el("span", { class: "label" }, word("face")), pick("stain", STAINS, (n) => (n === 0 ? word("face_clean") : n === 20 ? "> 10 cm" : `\u2264 ${n} cm`)),
    el("div", { class: photo ? "two" : "one" }, button(word("wound_protected"), () => { chosen.wound = !chosen.wound; render(); }, { "aria-pressed": String(chosen.wound), id: "wound" }), photo),
    el("div", { class: "one" }, button(word("next_vine"), () => once(() => cutSaid(plan, id, chosen)), { class: "go", id: "next" }),
      button(word("undo"), () => once(async () => { state.cut = null; await undo(id); }), { id: "undo" }))];
}

async function cutSaid(plan, id, { height, stain, wound }) {
  const place = { trunk: plan.row.trunk, arm: plan.row.arm };
  const more = [];
  if (stain !== null) more.push(lookedAt(plan, "wood_staining", { ...place, stain_cm: stain, ...(height === null ? {} : { cut_height_cm: height }) }));
  if (wound) {
    const made = record("work", { row: plan.row.row, position: plan.row.position, kind: "protect_wound", status: "done", ...place, observer: state.observer });
    made.id = pure.uuid();
    made.row.id = made.id;
    more.push(made);
  }
  const cut = (every) => (height === null ? [] : every.filter((one) => one.id === id && one.state === "live").flatMap((one) => pure.changed(one, { cut_height_cm: height }, new Date(), pure.uuid)));
  if (more.length || height !== null) {
    for (const one of more) for (const name of Object.keys(one.row)) if (one.row[name] === undefined) delete one.row[name];
    if (!(await write((every) => [...cut(every), ...more], savedWord()))) return;
  }
  nextPlan(plan);
}
