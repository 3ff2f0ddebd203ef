// A blind recheck: vines drawn anew, each answered by a second person. What was seen before is not in this page at all.

const vineKey = ([label, position]) => `${label}:${position}`;
const listed = () => state.list || data.recheck.vines;
const coverings = (every) => every.filter((item) => item.table === "surveys" && item.recheck && item.state === "live");
const answeredVines = (every) => new Set(coverings(every).flatMap((item) => item.vines.map(vineKey)));
const seenOn = (every, vine) => every.filter((item) => item.table === "symptoms" && item.recheck && item.state === "live" && `${item.row.row}:${item.row.position}` === vineKey(vine));
const unanswered = (vines) => { const there = answeredVines(items); return vines.filter((vine) => !there.has(vineKey(vine))); };
const coveredText = (vines) => vines.map(vineKey).join("; ");

// A survey with other vines: taken back where none is left.
function withVines(item, vines) {
  if (!vines.length) return [{ ...takenBack(item), vines }];
  return pure.changed(item, { covered: coveredText(vines) }, new Date(), pure.uuid).map((one) => (one.state === "live" ? { ...one, vines } : one));
}

// The vine is answered: one survey for each day and person holds all that they answered.
function covering(every, vine) {
  if (answeredVines(every).has(vineKey(vine))) return [];
  const made = record("surveys", { survey: `${data.recheck.look} ${data.season} recheck`, look: data.recheck.look, covered: vineKey(vine), purpose: "recheck", method: "phone" });
  const there = coverings(every).find((item) => item.row.date === made.row.date && item.row.observer === made.row.observer);
  if (there) return withVines(there, [...there.vines, vine]);
  Object.assign(made, { id: pure.uuid(), walk: "", recheck: true, vines: [vine] });
  made.row.id = made.id;
  return [made];
}

const uncovered = (every, vine) => coverings(every).filter((item) => item.vines.some((one) => vineKey(one) === vineKey(vine)))
  .flatMap((item) => withVines(item, item.vines.filter((one) => vineKey(one) !== vineKey(vine))));

// What becomes of the records when one is taken back: a vine without its last finding is not answered any more, for nobody
// said that nothing is seen on it; findings go with the survey that they belong to.
function recheckTaken(every, id) {
  const item = every.find((one) => one.id === id && one.state === "live");
  if (!item) return [];
  if (item.table === "surveys") return [{ ...takenBack(item), vines: [] }, ...item.vines.flatMap((vine) => seenOn(every, vine)).map(takenBack)];
  const vine = [item.row.row, Number(item.row.position)];
  const others = seenOn(every, vine).filter((one) => one.id !== id);
  return [takenBack(item), ...(others.length ? [] : uncovered(every, vine))];
}

async function answerVine(vine, symptom) {
  const made = symptom ? record("symptoms", { row: vine[0], position: String(vine[1]), symptom, arm: "" }) : null;
  if (made) {
    Object.assign(made, { id: pure.uuid(), walk: "", recheck: true });
    made.row.id = made.id;
  }
  // Where a finding stands it cannot be that nothing is seen.
  const make = (every) => (symptom || !seenOn(every, vine).length ? [...covering(every, vine), ...(made ? [made] : [])] : []);
  if (await write(make, `${savedWord()} ${vineKey(vine)} ${symptom ? short(symptom) : word("nothing")}`)) {
    state.seen = made ? made.id : null;
    if (!symptom || symptom === "not_seen") { toOpen(); return; }
  }
  render();
}

async function takeAnswer(vine) {
  const last = seenOn(items, vine).at(-1);
  const make = (every) => (last ? recheckTaken(every, last.id) : seenOn(every, vine).length ? [] : uncovered(every, vine));
  if (await write(make, `${word("undo")}: ${vineKey(vine)}`)) state.seen = seenOn(items, vine).at(-1)?.id ?? null;
  render();
}

// ---- The way through the list ----------------------------------------------------------------------------------
function toVine(at) {
  // The list is the one that was begun, whatever a newer page has drawn.
  Object.assign(state, { screen: "recheck", list: listed(), list_at: at, seen: seenOn(items, listed()[at]).at(-1)?.id ?? null });
  render();
  write(nothing, "");
}

// The next vine that nobody answered: onward from here, then from the start.
function toOpen() {
  const vines = listed();
  const open = new Set(unanswered(vines).map(vineKey));
  const from = state.list_at ?? -1;
  const order = [...vines.keys()].map((k) => (from + 1 + k) % vines.length);
  const next = order.find((k) => open.has(vineKey(vines[k])));
  if (next === undefined) { state.screen = "start"; render(); write(nothing, ""); } else toVine(next);
}

const sameName = (one, other) => one.trim().toLocaleLowerCase() === other.trim().toLocaleLowerCase();
// Why nobody can begin: no name, or the name of who made the first inspection.
function whyNot() {
  if (!state.observer) return word("recheck_name");
  const same = data.recheck.first.find((name) => sameName(name, state.observer));
  return same ? word("recheck_other", { name: same }) : "";
}

function recheckStart() {
  const vines = listed();
  const open = unanswered(vines);
  const kept = items.filter((item) => item.state === "live");
  const rows = [...new Set(vines.map(([label]) => label))];
  const pages = Math.ceil(rows.length / ROWS_A_PAGE);
  rowsPage = Math.min(rowsPage, pages - 1);
  const fresh = state.list && coveredText(state.list) !== coveredText(data.recheck.vines);
  const rowKey = (label) => {
    const left = open.filter((vine) => vine[0] === label).length;
    const first = vines.findIndex((vine) => vine[0] === label && (!left || open.includes(vine)));
    return button(`${left ? "" : "\u2713 "}${label}`, () => { takeName(); if (whyNot()) render(); else toVine(first); }, { class: left ? "row" : "row ready", "data-left": left || false, "aria-label": `${word("row")} ${label}: ${word("left_n", { n: left, all: vines.filter((vine) => vine[0] === label).length })}` });
  };
  const name = nameField();
  const reason = el("p", { id: "why_not", class: "bad" });
  const tell = () => { const text = whyNot(); reason.textContent = text; reason.hidden = !text; };
  name.querySelector("input").addEventListener("input", () => { takeName(); tell(); });
  tell();
  return fit(
    el("div", { class: "where" }, el("h1", {}, word("recheck")), el("span", { class: "small" }, `${data.block} ${data.season}, ${word(`look.${data.recheck.look}`)}`)),
    newerKey(), unchecked(), ...warnings(), name,
    el("p", { class: "small" }, word("recheck_how")),
    el("div", { class: "rows" }, ...rows.slice(rowsPage * ROWS_A_PAGE, (rowsPage + 1) * ROWS_A_PAGE).map(rowKey),
      pages > 1 ? button(word("more"), () => { rowsPage = (rowsPage + 1) % pages; render(); }) : null),
    spread(),
    reason,
    fresh ? button(word("recheck_new", { n: data.recheck.vines.length }), () => { Object.assign(state, { list: null, list_at: -1 }); render(); write(nothing, ""); }, { id: "new_list" }) : null,
    el("div", { class: "two" },
      button(`${word("records")}: ${kept.length}`, () => { takeName(); showRecords(); }, { id: "records" }),
      button(word("settings"), () => go("settings"), { id: "settings" })),
    languageKeys(),
    open.length ? button(`${word("go_on")}: ${word("left_n", { n: open.length, all: vines.length })}`, () => { takeName(); if (whyNot()) render(); else toOpen(); }, { class: "go tall", id: "go_on" })
      : el("p", { class: "all-done" }, word("recheck_done")));
}

function recheckScreen() {
  const vines = listed();
  const at = Math.min(Math.max(0, state.list_at ?? 0), vines.length - 1);
  const vine = vines[at];
  const found = seenOn(items, vine);
  const item = found.find((one) => one.id === state.seen) || found.at(-1) || null;
  const answered = answeredVines(items).has(vineKey(vine));
  const verdict = found.length ? found.map((one) => `${short(one.row.symptom)}${one.row.arm ? `, ${armWord(one.row.arm)}` : ""}`).join("; ") : answered ? word("nothing") : "";
  const see = (symptom) => button(short(symptom), () => once(() => answerVine(vine, symptom)), { "aria-label": code(symptom), ...pressed(found.some((one) => one.row.symptom === symptom)), "data-see": symptom });
  const bay = pure.bay(data.rows.find((one) => one.label === vine[0]), vine[1]);
  return fit(
    el("div", { class: "where" }, el("h1", { class: "here" }, `${word("row")} ${vine[0]}`), el("b", { class: "at big", id: "at" }, String(vine[1]))),
    el("p", { class: "small" }, [bay ? word("bay_vine", bay) : "", word("left_n", { n: unanswered(vines).length, all: vines.length })].filter(Boolean).join("; ")),
    el("p", { class: "hint", id: "verdict" }, answered ? `\u2713 ${shortened(verdict, 44)}` : word("recheck_fresh")), spread(),
    el("div", { class: "two" },
      button(word("nothing"), () => once(() => answerVine(vine, "")), { class: "go", id: "nothing", disabled: found.length > 0 }),
      button(word("not_scouted"), () => once(() => answerVine(vine, "not_seen")), { id: "not_seen", disabled: found.length > 0 })),
    el("div", { class: "three" }, ...data.at_recheck.map(see), button(word("more"), () => recheckMore(vine, data.at_recheck), { id: "more" })),
    ...panel(item && item.row.symptom !== "not_seen" ? item : null),
    el("div", { class: "three" },
      button(`\u25c0 ${word("previous")}`, () => toVine(at - 1), { disabled: at === 0, id: "previous" }),
      button(word("undo"), () => once(() => takeAnswer(vine)), { disabled: !answered, id: "undo" }),
      button(`${word("next")} \u25b6`, () => (at + 1 < vines.length ? toVine(at + 1) : go("start")), { id: "next", class: found.length ? "go" : null })));
}

function recheckMore(vine, shownAlready) {
  const rest = data.symptoms.filter((symptom) => !shownAlready.includes(symptom) && !["not_seen", "none"].includes(symptom));
  settle("recheck more");
  show(...fit(el("div", { class: "where" }, el("h1", { class: "here" }, `${word("row")} ${vine[0]}`), el("b", { class: "at", id: "at" }, String(vine[1]))), spread(),
    el("div", { class: "three" }, ...rest.map((symptom) => button(short(symptom), () => once(() => answerVine(vine, symptom)), { class: "again", "aria-label": code(symptom), "data-see": symptom }))),
    button(word("back"), render)));
}
