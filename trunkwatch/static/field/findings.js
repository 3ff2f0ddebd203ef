// What is found, vine by vine: position, symptom, and what is said of it by one tap each.

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

const digit = (one) => { if (typed.length < 4) typed += one; showAndKeep(); };
// The last digit, and where none is left the bay.
const rubOut = () => { if (typed) typed = typed.slice(0, -1); else bayTyped = null; showAndKeep(); };

const digitKey = (one) => button(one, () => digit(one));
const rubOutKey = () => button("\u232b", rubOut, { "aria-label": word("rub_out") });

function keypad(done) {
  return el("div", { class: "keys" }, ..."123456789".split("").map(digitKey), rubOutKey(), digitKey("0"), done);
}

// Two rows of keys, so that all else stands on the same screen.
function sixKeys() {
  const side = row().bay_ends.length
    ? button(byBay ? word("by_position") : word("by_bay"), () => { byBay = !byBay; bayTyped = null; typed = ""; showAndKeep(); }, { class: "again" })
    : button("", () => {}, { disabled: true, "aria-hidden": "true" });
  return el("div", { class: "keys six" }, ..."12345".split("").map(digitKey), rubOutKey(), ..."67890".split("").map(digitKey), side);
}

const short = (symptom) => word(`short.${symptom}`);
const armWord = (arm) => (data.arm_names[state.language] || {})[arm] || word(`arm.${arm}`);
// The arm as it stands on a key: by compass without the word arm, by the row in short.
function armKey(arm) {
  const named = (data.arm_names[state.language] || {})[arm];
  return named ? named.replace(/ arm$|^brazo (del lado )?/, "") : word(`key.${arm}`);
}

// What is said of the finding just written, on the screen of the symptom: one tap each, the same again takes it back. Each tap
// is on the disk before it shows.
function panel(item) {
  const row = item ? item.row : {};
  const off = { disabled: !item };
  const say = (cells) => once(() => change(item.id, cells));
  const set = (name, value) => say({ [name]: row[name] === value ? "" : value, ...(name === "renewal_shoot" ? { shoot_quality: "" } : {}) });
  const choice = (name, value, text, full, more = {}) => button(text, () => set(name, value), { ...off, "aria-pressed": String(row[name] === value), "aria-label": full, "data-say": `${name} ${value}`, ...more });
  const trunks = [...Array(data.trunks).keys()].map((k) => choice("trunk", k + 1, data.trunks > 1 ? word("trunk_n", { n: k + 1 }) : word("trunk_short"), data.trunks > 1 ? word("trunk_n", { n: k + 1 }) : word("whole_trunk")));
  const sayArm = (arm) => once(async () => {
    const next = row.arm === arm ? "" : arm;
    if (state.again && row.symptom === state.again.symptom) state.again.arm = next;
    await change(item.id, { arm: next });
  });
  const arms = data.arms.map((arm) => button(armKey(arm), () => sayArm(arm), { ...off, "aria-label": armWord(arm), "aria-pressed": String(row.arm === arm), "data-say": `arm ${arm}` }));
  const noShoot = { disabled: !item || !row.renewal_shoot || row.renewal_shoot === "none" };
  return [
    line(word("share_dead"), [25, 50, 75, 100].map((n) => choice("percent", n, `${n}\u00a0%`, word("percent_dead", { n })))),
    line(word("part"), [...arms, ...trunks], arms.length + trunks.length > 4 ? Math.ceil((arms.length + trunks.length) / 2) : 0),
    line(word("shoot"), data.shoots.map((shoot) => choice("renewal_shoot", shoot, word(`from.${shoot}`), `${word("shoot")}: ${code(`shoot_${shoot}`)}`))),
    line(word("shoot_is"), data.qualities.map((quality) => choice("shoot_quality", quality, word(`is.${quality}`), code(`quality_${quality}`), noShoot))),
  ];
}

function findingsScreen() {
  const position = atTyped();
  const wrong = typed && position === null && !(byBay && bayTyped === null);
  const mark = position === null ? null : pure.nextMark(row(), state.from, position);
  const last = items.find((item) => item.id === lastId()) || null;
  const see = (symptom) => button(short(symptom), () => choose(position, symptom), { class: "see", disabled: position === null, "aria-label": code(symptom) });
  const bayStep = byBay && bayTyped === null && typed
    ? button(`${word("bay")} ${typed} \u2192 ${word("vine_in_bay")}`, () => { bayTyped = Number(typed); typed = ""; showAndKeep(); }, { class: "go" }) : null;
  // Nothing typed: what is tapped is said of the last finding.
  const about = typed || bayTyped !== null ? null : last;
  const asks = about && data.needs_arm.includes(about.row.symptom) && !about.row.arm && data.arms.length > 1;
  const hint = about
    ? `${about.row.row}:${about.row.position} ${short(about.row.symptom)}${asks ? `: ${word("arm")}` : ""}`
    : position === null ? word(byBay ? (bayTyped === null ? "type_bay" : "type_vine") : "type_position") : known(position) + (mark ? ` ${word("next_mark", { what: word(mark.what), n: mark.n })}` : "");
  return fit(
    header(position), bayStep || wrong || data.arms.length + data.trunks > 4 ? null : strip(row(), state.from, position ?? lastWalked()),
    spread(), wrong ? el("p", { class: "bad" }, byBay ? word("no_such_bay", { bay: bayTyped, n: typed }) : word("no_such", { n: typed, ...numbers() }))
      : el("p", { class: asks ? "hint asks" : "hint", id: "hint" }, hint),
    bayStep, ...panel(about),
    el("div", { class: "three" }, ...data.first_symptoms.map(see), button(word("more"), () => { if (position !== null) moreScreen(position); }, { disabled: position === null })),
    sixKeys(),
    el("div", { class: "three" },
      button(word("undo"), () => once(() => undo(lastId())), { disabled: !lastId() }),
      button(word("details"), () => detailsScreen(lastId()), { disabled: !lastId() }),
      button(word("records"), showRecords),
      button(againWord(), () => choose(position, state.again.symptom, state.again.arm), { class: "again", disabled: position === null || !state.again }),
      position === null && canPlace() ? button(word("where_am_i"), askPlace, { id: "where" })
        : button(word("show_last"), () => { tick(word("last_known", { what: conditionOf(row(), position) }), false); }, { disabled: position === null }),
      button(word("row_done"), () => { state.screen = "end"; typed = ""; showAndKeep(); }, { class: "go", id: "done" })));
}

const againWord = () => (state.again ? `${word("again")}: ${short(state.again.symptom)}${state.again.arm ? `, ${armKey(state.again.arm)}` : ""}` : word("again"));
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
  // Where only findings are written the arm is asked for on the same screen, after the finding is on the disk.
  if (state.road === "every" && arm === undefined && data.needs_arm.includes(symptom) && data.arms.length > 1) { armScreen(position, symptom); return; }
  once(() => finding(position, symptom, arm));
}

function armScreen(position, symptom) {
  settle("arm");
  show(header(position), el("h2", {}, `${code(symptom)}: ${word("arm")}`),
    el("div", { class: "one" }, ...data.arms.map((arm) => button(armWord(arm), () => once(() => finding(position, symptom, arm)), { class: "see" })),
      button(word("leave"), () => once(() => finding(position, symptom, ""))), button(word("back"), render)));
}

function moreScreen(position) {
  const rest = data.symptoms.filter((symptom) => !data.first_symptoms.includes(symptom));
  settle("more");
  show(header(position), el("div", { class: "two" }, ...rest.map((symptom) => button(code(symptom), () => choose(position, symptom), { class: "see" })),
    button(word("back"), render)));
}

function detailsScreen(id) {
  const item = items.find((one) => one.id === id);
  if (!item) return;
  settle("details");
  const fields = [];
  const draft = state.draft && state.draft.id === id ? state.draft.values : {};
  const filled = (name) => draft[name] ?? item.row[name] ?? "";
  const keep = () => {
    state.draft = { id, values: Object.fromEntries(fields.map(([name, input]) => [name, input.value])) };
    write(nothing, "");
  };
  const field = (name, input) => { input.addEventListener("input", keep); fields.push([name, input]); return [el("label", { for: name }, word(name)), input]; };
  const number = (name) => field(name, el("input", { id: name, inputmode: "decimal", value: filled(name) }));
  const list = (name, codes, prefix) => field(name, el("select", { id: name }, el("option", { value: "" }, word("leave")), ...codes.map((c) => el("option", { value: c, selected: filled(name) === c }, code(prefix + c)))));
  // One tap a choice, the same again takes it back.
  const taps = (name, codes, prefix) => {
    const input = { value: filled(name), getAttribute: () => null };
    const buttons = codes.map((c) => button(code(prefix + c), () => {
      input.value = input.value === c ? "" : c;
      buttons.forEach((one, k) => one.setAttribute("aria-pressed", String(input.value === codes[k])));
      keep();
    }, { "aria-pressed": String(input.value === c), "data-code": c }));
    fields.push([name, input]);
    return [el("span", { class: "label", id: `${name}-label` }, word(name)), el("div", { class: "two", role: "group", "aria-labelledby": `${name}-label` }, ...buttons)];
  };
  const text = (name) => field(name, el("input", { id: name, value: filled(name) }));
  show(el("h1", {}, `${item.row.row}:${item.row.position} ${code(item.row.symptom)}`),
    ...number("percent"), ...number("dead"), ...number("total"), ...number("empty_percent"), ...number("trunk"), ...number("cut_height_cm"), ...number("stain_cm"),
    ...list("pattern", data.patterns, "pattern_"), ...list("cause", data.causes, ""), ...list("renewal_shoot", data.shoots, "shoot_"), ...taps("shoot_quality", data.qualities, "quality_"), ...text("photo"), ...text("note"),
    el("div", { class: "two" }, button(word("back"), () => { state.draft = null; showAndKeep(); }), button(word("save"), () => {
      const values = {};
      for (const [name, input] of fields) {
        const said = input.value.trim();
        const numeric = input.getAttribute("inputmode") === "decimal";
        const asNumber = Number(said.replace(",", "."));
        values[name] = said === "" ? "" : numeric && !Number.isNaN(asNumber) ? asNumber : said;
      }
      const wrong = pure.wrong(values, data.rules);
      if (wrong) { tick(`${word(wrong[0])}: ${wrong[1]}?`, true); document.getElementById(wrong[0]).focus(); return; }
      once(async () => {
        const half = state.draft;
        state.draft = null;
        if (!(await change(item.id, values))) state.draft = half;
      });
    }, { class: "go" })));
}

function endScreen() {
  const check = () => {
    const number = Number(typed);
    const own = counting() === "from_me" ? number : pure.count(row(), state.from, number);
    if (pure.whole(row(), state.from, own)) once(() => finishRow(pure.total(row())));
    else offScreen(own);
  };
  return [header(null), el("h2", {}, word("last_position")),
    keypad(button("OK", check, { class: "go", disabled: !typed, id: "ok" })),
    el("div", { class: "one" },
      button(word("back"), () => { state.screen = "walk"; typed = ""; showAndKeep(); }),
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
      button(word("count_again"), () => { typed = ""; showAndKeep(); }),
      button(word("leave_row"), () => once(leaveRow))));
}

function everyEnd() {
  return [header(state.at), strip(row(), state.from, state.at), el("h2", {}, `${row().label}: ${row().first}\u2013${row().last}`),
    button(word("row_done"), () => once(() => finishRow(pure.total(row()))), { class: "go", id: "done", style: "width:100%" }),
    button(word("back"), () => { state.screen = "walk"; render(); }, { style: "width:100%;margin-top:8px" })];
}
