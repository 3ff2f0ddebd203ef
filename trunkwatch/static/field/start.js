// The screens before a row: which row from which end, which rows one scouts, and what is set once.

// ---- The rows that somebody scouts ---------------------------------------------------------------------------
const rowLabels = () => data.rows.map((one) => one.label);
// Labels of one's own rows; all of them where nothing is said or the text cannot be read.
const ownRows = () => (state.mine && pure.rowsOf(state.mine, rowLabels())) || rowLabels();
// The next of one's own rows in a direction, as a number; null where there is none.
function nextOwn(by) {
  const own = new Set(ownRows());
  for (let at = state.row + by; at >= 0 && at < data.rows.length; at += by) if (own.has(data.rows[at].label)) return at;
  return null;
}
const rowsWalked = () => new Set(items.filter((item) => item.table === "surveys" && item.state === "live").map((item) => item.row.covered.split(":")[0]));

// The from-to keys speak of the text where it is a range; else of the whole block.
function rangeOf(text) {
  const found = /^(.+?)\.\.(.+?)(?:\/(\d+))?$/.exec(text.replaceAll(" ", ""));
  const labels = rowLabels();
  const [from, to] = found ? [labels.indexOf(found[1]), labels.indexOf(found[2])] : [labels.indexOf(text.trim()), labels.indexOf(text.trim())];
  return from >= 0 && to >= from ? { from, to, step: Number(found?.[3] || 1) } : { from: 0, to: labels.length - 1, step: 1 };
}

function sayRows(text) {
  state.mine = text.trim();
  const own = ownRows();
  if (!own.includes(row().label)) state.row = rowLabels().indexOf(own[0]);
  render();
  write(nothing, "");
}

function rowsScreen() {
  const text = state.mine || "";
  const labels = rowLabels();
  const { from, to, step } = rangeOf(text);
  const say = (change) => {
    const next = { from, to, step, ...change };
    const [low, high] = [Math.max(0, Math.min(next.from, labels.length - 1)), Math.max(0, Math.min(next.to, labels.length - 1))];
    const [start, end] = "from" in change ? [low, Math.max(low, high)] : [Math.min(low, high), high];
    sayRows(`${labels[start]}..${labels[end]}${next.step > 1 ? `/${next.step}` : ""}`);
  };
  const input = el("input", { id: "mine", autocomplete: "off", autocapitalize: "off", spellcheck: "false", value: text });
  // In place: a screen that is drawn anew while a finger goes from the field to a key would lose that tap.
  const told = el("p", {});
  const ok = button("OK", () => { state.screen = "start"; sayRows(input.value); }, { class: "go", id: "rows_ok" });
  const tell = () => {
    const here = state.mine ? pure.rowsOf(state.mine, labels) : labels;
    const listed = here && here.length > 12 ? `${here.slice(0, 6).join(", ")} \u2026 ${here.slice(-3).join(", ")}` : (here || []).join(", ");
    told.id = "named";
    told.className = here ? "" : "bad";
    told.textContent = here ? word("rows_named", { n: here.length, what: listed }) : word("no_such_rows", { text: state.mine, first: labels[0], last: labels.at(-1) });
    ok.disabled = !here;
  };
  input.addEventListener("input", () => { state.mine = input.value.trim(); tell(); write(nothing, ""); });
  tell();
  const stepper = (name, at, key) => el("div", { class: "turn", role: "group", "aria-label": name },
    button("\u2212", () => say({ [key]: at - 1 }), { "aria-label": `${name} \u2212`, id: `${key}_less` }),
    el("div", { class: "where" }, el("b", {}, labels[at]), el("span", { class: "small" }, name)),
    button("+", () => say({ [key]: at + 1 }), { "aria-label": `${name} +`, id: `${key}_more` }));
  return fit(
    el("h1", {}, word("my_rows")), el("p", {}, word("my_rows_why")), spread(),
    told,
    stepper(word("row_from"), from, "from"), stepper(word("row_to"), to, "to"),
    el("div", { class: "three" }, ...[1, 2, 3].map((n) => button(word(`every_${n}`), () => say({ step: n }), { ...pressed(step === n), "data-step": n }))),
    el("label", { for: "mine" }, word("rows_typed")), input,
    el("div", { class: "two" },
      button(word("whole_block"), () => sayRows(""), { ...pressed(!text), id: "whole_block" }),
      ok));
}

// ---- The first screen ------------------------------------------------------------------------------------------
function warnings() {
  const today = localDay(new Date());
  const bad = [
    disk.kind === "none" ? word("no_storage") : "",
    disk.kind === "simple" ? word("small_store") : "",
    today < data.season_from || today > data.season_to ? word("other_season", { day: today, season: data.season }) : "",
  ].filter(Boolean);
  return bad.map((text) => el("p", { class: "bad" }, text));
}

// The name of who works; what is typed is taken with whatever is tapped next.
function nameField() {
  const input = el("input", { id: "observer", autocomplete: "off", value: state.observer });
  input.addEventListener("input", () => { state.observer = input.value.trim(); write(nothing, ""); });
  return el("div", { class: "named" }, el("label", { for: "observer" }, word("your_name")), input);
}
const takeName = () => { const input = document.getElementById("observer"); if (input) state.observer = input.value.trim(); };
const go = (screen) => { takeName(); state.screen = screen; render(); };

const languageKeys = () => el("div", { class: "two" }, ...Object.entries(data.languages).map(([key, names]) =>
  button(names[0], () => { takeName(); state.language = key; render(); write(nothing, ""); }, { "aria-pressed": String(state.language === key), lang: key })));
const newerKey = () => (newer ? button(word("newer_page"), () => location.reload(), { class: "go", id: "newer" }) : null);
const unchecked = () => (data.languages[state.language][1] ? null : el("p", { class: "small" }, word("unchecked")));

function startScreen() {
  const here = row();
  const pick = (change) => { takeName(); Object.assign(state, change); render(); write(nothing, ""); };
  const kept = items.filter((item) => item.state === "live");
  const walkedRow = kept.filter((item) => item.table === "surveys" && item.row.covered.startsWith(`${here.label}:`)).map((item) => item.row.covered);
  const own = ownRows();
  const ready = own.filter((label) => rowsWalked().has(label)).length;
  const winter = data.look !== "summer";
  const more = [
    data.work.length ? button(`${word("work_list")}: ${left(onWalk())}`, () => go("winter"), { id: "work" }) : null,
    winter ? button(word("bud_counts"), () => go("buds"), { id: "buds" }) : null,
    winter ? button(word("rows_pruned"), () => go("pruned"), { id: "pruned" }) : null,
    !winter && canPlace() ? button(word("where_am_i"), askPlace, { id: "where" }) : null,
  ].filter(Boolean);
  return fit(
    el("div", { class: "where" }, el("h1", {}, `${data.block} ${data.season}`), el("span", { class: "small" }, word(`look.${data.look}`))),
    newerKey(), unchecked(), ...warnings(), nameField(), spread(),
    el("div", { class: "turn", role: "group", "aria-label": word("row") },
      button("\u2212", () => pick({ row: nextOwn(-1) ?? state.row }), { "aria-label": `${word("row")} \u2212` }),
      el("div", { class: "where" }, el("b", {}, `${word("row")} ${here.label}`), el("span", { class: "small" }, walkedRow.length ? `\u2713 ${shortened(walkedRow.join(", "), 40)}` : `${here.first}\u2013${here.last}`)),
      button("+", () => pick({ row: nextOwn(1) ?? state.row }), { "aria-label": `${word("row")} +` })),
    el("div", { class: "two" },
      button(word("from_first", { first: here.first }), () => pick({ from: "first" }), { "aria-pressed": String(state.from === "first") }),
      button(word("from_last", { last: here.last }), () => pick({ from: "last" }), { "aria-pressed": String(state.from === "last") })),
    state.from === "last" && state.road === "findings" ? el("div", { class: "two" },
      button(word("as_labelled"), () => pick({ counting: "labels" }), { "aria-pressed": String(state.counting === "labels") }),
      button(word("from_me"), () => pick({ counting: "from_me" }), { "aria-pressed": String(state.counting === "from_me") })) : null,
    button(word("start_row"), () => { takeName(); once(startRow); }, { class: "go tall", id: "start" }),
    el("div", { class: "two" },
      button(word("findings_only"), () => pick({ road: "findings" }), { "aria-pressed": String(state.road === "findings") }),
      button(word("every_vine"), () => pick({ road: "every" }), { "aria-pressed": String(state.road === "every") })),
    more.length ? el("div", { class: ["one", "two", "three"][more.length - 1] }, ...more) : null,
    el("div", { class: "three" },
      button(state.mine ? `${word("my_rows")}: ${word("of_rows", { n: ready, all: own.length })}` : word("my_rows"), () => go("rows"), { id: "my_rows" }),
      button(`${word("records")}: ${kept.length}`, () => { takeName(); showRecords(); }, { id: "records" }),
      button(word("settings"), () => go("settings"), { id: "settings" })),
    languageKeys(),
    el("p", { class: "small" }, word("safety")));
}

// What is set once, and what this phone cannot do.
function settingsScreen() {
  const without = lacks();
  return fit(
    el("h1", {}, word("settings")), unchecked(), ...warnings(), spread(),
    without.length ? el("p", { class: "small" }, word("lacks", { what: without.join(", ") })) : null,
    el("p", { class: "small" }, word("safety")),
    data.look === "summer" && !data.recheck ? el("div", { class: "two" },
      button(word("bud_counts"), () => go("buds"), { id: "buds" }), button(word("rows_pruned"), () => go("pruned"), { id: "pruned" })) : null,
    canPlace() && !data.recheck ? button(word("where_am_i"), askPlace, { id: "where" }) : null,
    navigator.geolocation ? button(word("use_place"), () => { state.place = !state.place; watchPlace(); render(); write(nothing, ""); }, pressed(state.place)) : null,
    languageKeys(),
    button(word("back"), () => go("start"), { class: "go", id: "back" }));
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
