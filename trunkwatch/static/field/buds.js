// Cut buds, cane by cane, and rows that are pruned today: each tap is on the disk before it shows, the same tap takes it back.

const KINDS = ["primary", "secondary", "tertiary"];
const CUT_OF_A_CANE = [3, 4, 5, 6];
const COLLECTED = [0, 1, 2, 3]; // days ago: canes are kept in a warm room for a day or two before they are cut
const HOURS = [0.5, 1, 1.5, 2, 3, 4];

const dayBefore = (days) => { const when = new Date(); when.setDate(when.getDate() - days); return localDay(when); };
const budTally = (item) => word("buds_dead", { n: item.row.primary_dead, all: item.row.buds });
// When canes were collected is said anew each day: yesterday's "today" is not today's.
const budSetting = () => {
  const today = localDay(new Date());
  const kept = state.buds || {};
  return { count: "", cane: 0, each: 4, cultivar: data.buds.cultivars[0] || "", part: "", from: "", date: today, ...kept, ...(kept.set_on === today ? {} : { set_on: today, date: today }) };
};
const countOf = (every, count) => every.find((item) => item.table === "bud_counts" && item.state === "live" && item.count === count) || null;
const countsHere = () => items.filter((item) => item.table === "bud_counts" && item.state === "live");

function setBuds(change) {
  state.buds = { ...budSetting(), ...change };
  render();
  write(nothing, "");
}

// The canes of a count after a tap, in the one record that stands for it.
async function tapBud(bud, kind, value) {
  const { count, cane, cultivar, part, from, date } = budSetting();
  const after = (every) => {
    const there = countOf(every, count);
    const canes = pure.tapped(there ? there.canes : [], cane, bud, kind, value);
    const sums = pure.budSums(canes);
    if (!there) {
      if (!sums.buds) return [];
      const made = record("bud_counts", { date, ...(data.buds.cultivars.length > 1 ? { cultivar } : {}), part, canes_from: from, ...sums });
      Object.assign(made, { id: pure.uuid(), count, canes, walk: "" });
      made.row.id = made.id;
      return [made];
    }
    // No bud is left: nothing was counted.
    if (!sums.buds) return [{ ...takenBack(there), canes }];
    return pure.changed(there, sums, new Date(), pure.uuid).map((item) => (item.state === "live" ? { ...item, canes } : item));
  };
  await write(after, "");
  render();
}

function toCane(cane) {
  setBuds({ cane: Math.max(0, cane) });
}

// ---- Screens ---------------------------------------------------------------------------------------------------
function typedField(name, key) {
  const input = el("input", { id: `buds_${key}`, autocomplete: "off", value: budSetting()[key] });
  input.addEventListener("input", () => { state.buds = { ...budSetting(), [key]: input.value.trim() }; write(nothing, ""); });
  return el("div", { class: "named" }, el("label", { for: `buds_${key}` }, name), input);
}

function budsScreen() {
  const setting = budSetting();
  const choice = (key, value, text) => button(text, () => setBuds({ [key]: value }), { ...pressed(setting[key] === value), "data-buds": `${key} ${value}` });
  const counts = countsHere().slice(-2);
  return fit(
    el("div", { class: "where" }, el("h1", {}, word("bud_counts")), el("b", { id: "left" }, data.block)),
    el("p", { class: "small" }, word("buds_how", { n: data.buds.needed, each: setting.each })), spread(),
    ...counts.map((item) => button(`${word("go_on")}: ${[item.row.date, item.row.cultivar, item.row.part].filter(Boolean).join(", ")}: ${budTally(item)}`,
      () => { state.screen = "cane"; setBuds({ count: item.count, cane: item.canes.length - 1, date: item.row.date, cultivar: item.row.cultivar || setting.cultivar, part: item.row.part, from: item.row.canes_from || "" }); }, { class: "goes_on" })),
    data.buds.cultivars.length > 1 ? line(word("cultivar"), data.buds.cultivars.slice(0, 6).map((name) => choice("cultivar", name, name)), 3)
      : data.buds.cultivars.length ? el("p", { class: "small" }, `${word("cultivar")}: ${data.buds.cultivars[0]}`) : null,
    data.buds.parts.length ? line(word("part_of_block"), ["", ...data.buds.parts.slice(0, 5)].map((name) => choice("part", name, name || word("whole_block"))), 3) : null,
    typedField(word(data.buds.parts.length ? "other_part" : "part_of_block"), "part"), typedField(word("canes_from"), "from"),
    line(word("collected"), COLLECTED.map((days) => choice("date", dayBefore(days), word(`collected.${days}`))), 2),
    line(word("buds_a_cane"), CUT_OF_A_CANE.map((n) => choice("each", n, String(n)))),
    el("div", { class: "two" },
      button(word("back"), () => go("start"), { id: "back" }),
      button(word("start_count"), () => { state.screen = "cane"; setBuds({ count: pure.uuid(), cane: 0, part: document.getElementById("buds_part").value.trim(), from: document.getElementById("buds_from").value.trim() }); }, { class: "go", id: "count" })));
}

function caneScreen() {
  const setting = budSetting();
  const item = countOf(items, setting.count);
  const sums = item ? item.row : pure.budSums([]);
  const buds = (item && item.canes[setting.cane]) || [];
  const rowsOfKeys = Math.max(setting.each, buds.length);
  const key = (bud, kind, value) => {
    const there = buds[bud] || {};
    const said = there[kind] === value;
    const off = kind !== "primary" && !there.primary;
    return button(word(`bud.${value}`), () => once(() => tapBud(bud, kind, said ? "" : value)), {
      ...pressed(said), disabled: off, class: value === "dead" ? "dead" : "alive", "data-bud": `${bud + 1} ${kind} ${value}`,
      "aria-label": `${word("bud_n", { n: bud + 1 })}, ${word(`bud.${kind}`)}: ${word(`bud.${value}`)}`,
    });
  };
  const secondary = sums.secondary_dead === "" || sums.secondary_dead === undefined ? "" : word("others_dead", { kind: word("bud.secondary"), dead: sums.secondary_dead, alive: sums.secondary_alive });
  const tertiary = sums.tertiary_dead === "" || sums.tertiary_dead === undefined ? "" : word("others_dead", { kind: word("bud.tertiary"), dead: sums.tertiary_dead, alive: sums.tertiary_alive });
  return fit(
    el("div", { class: "where" }, el("h1", { class: "here" }, word("cane_n", { n: setting.cane + 1 })), el("b", { class: "at", id: "tally" }, word("buds_dead", { n: sums.primary_dead, all: sums.buds }))),
    el("p", { class: "small", id: "counted" }, [word("canes_cut", { n: sums.canes }), secondary, tertiary].filter(Boolean).join("; ")),
    el("p", { class: "small" }, [setting.date, setting.cultivar, setting.part || word("whole_block")].filter(Boolean).join(", ")),
    spread(),
    el("div", { class: "bud-keys head", "aria-hidden": "true" }, el("span", {}), ...KINDS.map((kind) => el("b", {}, word(`bud.${kind}`)))),
    ...[...Array(rowsOfKeys).keys()].map((bud) => el("div", { class: "bud-keys", role: "group", "aria-label": word("bud_n", { n: bud + 1 }) },
      el("span", { class: "n" }, String(bud + 1)), ...KINDS.flatMap((kind) => [key(bud, kind, "dead"), key(bud, kind, "alive")]))),
    el("div", { class: "three" },
      button(`\u25c0 ${word("previous")}`, () => toCane(setting.cane - 1), { disabled: setting.cane === 0, id: "previous" }),
      button(word("bud_counts"), () => go("buds"), { id: "counts" }),
      button(`${word("next_cane")} \u25b6`, () => toCane(setting.cane + 1), { class: "go", id: "next", disabled: !buds.some((bud) => bud.primary) })));
}

// ---- Rows pruned -----------------------------------------------------------------------------------------------
const prunedItem = (every, label, cut) => every.find((item) => item.table === "pruning" && item.state === "live" && item.row.covered === label && item.row.cut === cut) || null;

async function tapPruned(label) {
  const cut = state.cut || "";
  const there = prunedItem(items, label, cut);
  const change = (every) => {
    const now = prunedItem(every, label, cut);
    if (there) return now ? [takenBack(now)] : [];
    if (now) return [];
    const made = record("pruning", { covered: label, cut, crew: state.observer, ...(state.hours ? { hours: state.hours * (state.hands || 1) } : {}) });
    Object.assign(made, { id: pure.uuid(), walk: "" });
    delete made.row.observer; // rows are pruned by a crew, which has a column of its own
    made.row.id = made.id;
    return [made];
  };
  if (await write(change, `${there ? word("undo") : savedWord()} ${word("row")} ${label}`)) render();
}

function prunedScreen() {
  const pick = (change) => { Object.assign(state, change); render(); write(nothing, ""); };
  const every = rowLabels();
  const pages = Math.ceil(every.length / ROWS_A_PAGE);
  rowsPage = Math.min(rowsPage, pages - 1);
  const cut = state.cut || "";
  const before = new Set(data.buds.pruned);
  const listed = every.slice(rowsPage * ROWS_A_PAGE, (rowsPage + 1) * ROWS_A_PAGE);
  const key = (label) => {
    const there = prunedItem(items, label, cut);
    const earlier = !cut && !there && before.has(label);
    return button(`${there || earlier ? "\u2713 " : ""}${label}`, () => once(() => tapPruned(label)), {
      ...pressed(there), disabled: earlier, "data-pruned": label, "aria-label": `${word("row")} ${label}${earlier ? `: ${word("pruned_before")}` : ""}` });
  };
  return fit(
    el("div", { class: "where" }, el("h1", {}, word("rows_pruned")), el("b", { id: "left" }, localDay(new Date()))),
    el("p", { class: "small" }, word("pruned_how")),
    el("div", { class: "rows" }, ...listed.map(key), pages > 1 ? button(word("more"), () => { rowsPage = (rowsPage + 1) % pages; render(); }) : null),
    spread(),
    el("div", { class: "two" },
      button(word("final_cut"), () => pick({ cut: "" }), pressed(!cut)), button(word("first_cut"), () => pick({ cut: "first" }), pressed(cut === "first"))),
    line(word("hands"), [1, 2, 3, 4].map((n) => button(String(n), () => pick({ hands: n }), { ...pressed((state.hands || 1) === n), "data-hands": n }))),
    line(word("hours_each"), HOURS.map((n) => button(String(n), () => pick({ hours: state.hours === n ? 0 : n }), { ...pressed(state.hours === n), "data-hours": n })), 6),
    button(word("back"), () => go("start"), { id: "back" }));
}
