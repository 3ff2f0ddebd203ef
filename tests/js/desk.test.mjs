// The desk: its drawing of the block, its legend, what its form takes and what it sends.
import assert from "node:assert/strict";
import { test } from "node:test";
import { made, plain } from "./stand_in.mjs";
import { blockMap, desk, ground, settled } from "./faces.mjs";
import { isDrawn, marksAt } from "./marks.mjs";

const data = made().desk;
const last = data.seasons.length - 1;
const vineAt = (row, position) => data.position.findIndex((one, v) => one === position && data.labels[data.row[v]] === row);
const at = (shown, v) => plain(shown.get(`toScreen(canvas.getBoundingClientRect(), data.x[${v}], data.y[${v}])`));
const unitOf = (shown) => shown.get("Math.max(0.16, Math.min(1.5, (view.scale * 100 * data.vine_m) / 20))");

test("every vine is drawn where it stands: x to the right, y up, one scale", () => {
  const shown = ground();
  const scale = shown.get("view.scale");
  const [x0, y0] = at(shown, 0);
  for (let v = 0; v < data.x.length; v += 1) {
    const [x, y] = at(shown, v);
    assert.ok(Math.abs(x - x0 - scale * (data.x[v] - data.x[0])) < 1e-9);
    assert.ok(Math.abs(y - y0 + scale * (data.y[v] - data.y[0])) < 1e-9);
  }
  assert.ok(at(shown, vineAt("3", 10))[1] > at(shown, vineAt("1", 1))[1]); // row 3 lies below row 1
});

test("the whole block is within the canvas", () => {
  const shown = ground();
  for (let v = 0; v < data.x.length; v += 1) {
    const [x, y] = at(shown, v);
    assert.ok(x > 20 && x < 780 && y > 20 && y < 580);
  }
});

test("every condition has its mark, and what was written without a survey has its own", () => {
  const shown = ground();
  const open = new Set(data.seasons[last].written.filter((one) => one[3]).map((one) => one[0]));
  assert.ok(open.size > 0);
  const looks = { ...data.looks, written: data.written };
  for (let v = 0; v < data.x.length; v += 1) {
    assert.deepEqual(marksAt(shown.pen, looks, at(shown, v), unitOf(shown)), [open.has(v) ? "written" : data.seasons[last].condition[v]], `vine ${v}`);
  }
});

test("map and desk draw the same mark for the same condition", () => {
  const map = made().map;
  assert.deepEqual(data.looks, map.looks);
  const [drawn, page] = [ground(), blockMap()];
  for (let v = 0; v < data.x.length; v += 1) {
    const look = map.looks[map.seasons[1].condition[v]];
    const written = data.seasons[last].written.some((one) => one[0] === v && one[3]);
    assert.equal(isDrawn(page.pen, look, [100 + 20 * (map.x[v] / 100), 100 - 20 * (map.y[v] / 100)], 1.7), true);
    assert.equal(isDrawn(drawn.pen, look, at(drawn, v), unitOf(drawn)), !written);
  }
});

test("a tick follows its row and a flag stands upright", () => {
  const shown = ground({ change: (told) => ({ ...told, along: told.along.map(() => [0.6, 0.8]) }) });
  const written = new Set(data.seasons[last].written.map((one) => one[0]));
  for (let v = 0; v < data.x.length; v += 1) if (!written.has(v)) {
    assert.deepEqual(marksAt(shown.pen, data.looks, at(shown, v), unitOf(shown), Math.atan2(-0.8, 0.6)), [data.seasons[last].condition[v]], `vine ${v}`);
  }
});

test("a block without a season shows vines that nobody scouted", () => {
  const shown = ground({ change: (told) => ({ ...told, seasons: [] }) });
  for (let v = 0; v < data.x.length; v += 1) assert.deepEqual(marksAt(shown.pen, data.looks, at(shown, v), unitOf(shown)), ["3"]);
});

test("the name of each row stands out of the row at both of its ends, whichever end it counts from", () => {
  const shown = ground();
  for (const [k, label] of data.labels.entries()) {
    const vines = data.row.flatMap((row, v) => (row === k ? [v] : []));
    const xs = vines.map((v) => at(shown, v)[0]);
    const names = shown.pen.texts.filter((one) => one.text === label && Math.abs(one.at[1] - at(shown, vines[0])[1]) < 1);
    assert.equal(names.length, 2);
    const [low, high] = names.map((one) => one.at[0]).sort((a, b) => a - b);
    assert.ok(low < Math.min(...xs) && high > Math.max(...xs), `row ${label}`); // out of the row, not over its vines
  }
});

test("a press takes the nearest vine, and none from far away", () => {
  const shown = ground();
  for (const v of [0, 7, data.x.length - 1]) {
    const [x, y] = at(shown, v);
    assert.equal(shown.get(`nearest(${x + 4}, ${y - 4})`), v);
  }
  assert.equal(shown.get("nearest(5, 5)"), null);
});

test("a frame takes the vines inside it and no other", () => {
  const shown = ground();
  const [x1, y1] = at(shown, vineAt("1", 2));
  const [x2, y2] = at(shown, vineAt("2", 4));
  shown.run(["frame", `chooseInside(${x2 + 5}, ${y2 + 5}, ${x1 - 5}, ${y1 - 5})`]);
  const inside = data.x.flatMap((_, v) => { const [x, y] = at(shown, v); return x >= x1 - 5 && x <= x2 + 5 && y >= y1 - 5 && y <= y2 + 5 ? [v] : []; });
  assert.deepEqual(plain(shown.get("chosen")), inside);
  assert.equal(shown.pen.drawn.filter((one) => one.what === "frame").length, inside.length);
});

test("the arrow keys go to the next vine as it lies on the ground", () => {
  const shown = ground();
  const go = (v, right, down) => shown.get(`beside(${v}, ${right}, ${down})`);
  assert.equal(go(vineAt("1", 2), 1, 0), vineAt("1", 3));
  assert.equal(go(vineAt("1", 2), -1, 0), vineAt("1", 1));
  assert.equal(go(vineAt("2", 2), 1, 0), vineAt("2", 1)); // row 2 counts from the far end
  assert.equal(data.row[go(vineAt("1", 2), 0, 1)], 1);
  assert.equal(go(vineAt("1", 2), 0, -1), undefined);
});

test("the wheel leaves what is under it where it is", () => {
  const shown = ground();
  const before = at(shown, 3);
  shown.run(["zoom", `zoom(1.5, ${before[0]}, ${before[1]})`]);
  const after = at(shown, 3);
  assert.ok(Math.hypot(after[0] - before[0], after[1] - before[1]) < 1e-6);
});

test("the legend counts every vine once, under what is drawn of it", async () => {
  const shown = await desk();
  const lines = shown.document.getElementById("legend").querySelectorAll("span").map((one) => one.textContent.trim());
  const open = new Set(data.seasons[last].written.filter((one) => one[3]).map((one) => one[0]));
  const counts = {};
  for (const [v, mark] of [...data.seasons[last].condition].entries()) { const key = open.has(v) ? "written" : mark; counts[key] = (counts[key] || 0) + 1; }
  const looks = { ...data.looks, written: data.written };
  assert.deepEqual(lines.sort(), Object.entries(counts).map(([key, many]) => `${looks[key].letter} ${looks[key].word} ${many}`).sort());
  assert.equal(shown.document.getElementById("line").textContent, data.seasons[last].line);
});

test("another season is drawn and counted when it is chosen", async () => {
  const shown = await desk();
  const list = shown.document.getElementById("season");
  assert.equal(list.children.length, data.seasons.length);
  list.value = "0";
  await list.fire("change");
  assert.equal(shown.document.getElementById("line").textContent, data.seasons[0].line);
  assert.ok(isDrawn(shown.pen, data.looks[5], at(shown, vineAt("1", 2)), unitOf(shown)));
});

test("a day belongs to the season and the inspection that the calendar says, on both sides of the equator", async () => {
  const shown = await desk();
  for (const [side, day, season, look] of made().calendar) {
    shown.run(["side", `data.hemisphere = "${side}"`]);
    assert.deepEqual([shown.get(`seasonAt("${day}")`), shown.get(`lookAt("${day}")`)], [season, look], `${side} ${day}`);
  }
});

async function log(shown, values) {
  for (const [name, value] of Object.entries(values)) shown.form.elements[name].value = value;
  await shown.form.fire("submit");
  await settled();
  return shown.page.asked.filter((one) => one.method === "POST");
}
const saved = () => ({ body: { new: 1, changed: [], notes: [], ids: ["n1"] } });

test("what is typed is sent as one finding, by code, by two letters or by its words", async () => {
  for (const typed of ["leaf_stripe", "ls", "Striped leaves", "leaf stripe"]) {
    const shown = await desk({ answer: (told) => (told.where === "/api/log" ? saved() : { body: { records: [] } }) });
    const [{ body }] = await log(shown, { row: "1", position: "3", symptom: typed, arm: "END", percent: "50", date: "2025-08-21", observer: "Ada" });
    assert.equal(body.table, "symptoms");
    assert.equal(body.records.length, 1);
    const [one] = body.records;
    assert.deepEqual([one.block, one.row, one.position, one.symptom, one.arm, one.percent, one.date, one.observer], ["B", "1", "3", "leaf_stripe", "end", "50", "2025-08-21", "Ada"]);
    assert.equal("symptom_typed" in one, false);
  }
});

test("what cannot be is said beside its field and not sent", async () => {
  const good = { row: "1", position: "3", symptom: "dead", date: "2025-08-21", arm: "", percent: "", trunk: "" };
  for (const [name, value, text] of [
    ["row", "9", /no row "9"/], ["position", "7", /no position "7": 1 to 6/], ["symptom", "rust", /"rust" is no symptom/], ["arm", "left", /no arm "left"/],
    ["percent", "101", /"101" is no share/], ["percent", "-1", /"-1" is no share/], ["date", "2026-11-21", /still to come/], ["date", "", /Which day/], ["trunk", "0", /is no trunk/],
  ]) {
    const shown = await desk({ answer: saved });
    const sent = await log(shown, { ...good, [name]: value });
    assert.equal(sent.length, 0, `${name} ${value}`);
    assert.match(shown.document.getElementById("wrong").textContent, text);
    assert.equal(shown.form.elements[name].getAttribute("aria-invalid"), "true");
  }
});

test("limits of the form are those of the tables", async () => {
  const shown = await desk();
  const { limits } = made();
  const wrong = (name, value) => shown.get(`CHECKS.${name}({ ${name}: "${value}" })`) !== "";
  for (const name of ["percent", "trunk"]) {
    const [low, high] = limits[name];
    assert.deepEqual([low - 1, low, high, high + 1].map((value) => wrong(name, value)), [true, false, false, true], name);
  }
});

test("what is seldom meant is asked once: the same again is sent", async () => {
  const shown = await desk({ answer: (told) => (told.where === "/api/log" ? saved() : { body: { records: [] } }) });
  const values = { row: "1", position: "3", symptom: "leaf_stripe", date: "2026-01-10" };
  assert.equal((await log(shown, values)).length, 0);
  assert.match(shown.document.getElementById("wrong").textContent, /without leaves\? Enter again/);
  assert.equal((await log(shown, values)).length, 1);
});

test("several vines that are chosen get one finding each", async () => {
  const shown = await desk({ answer: (told) => (told.where === "/api/log" ? saved() : { body: { records: [] } }) });
  shown.run(["choose", "choose([0, 1, 6])"]);
  const [{ body }] = await log(shown, { symptom: "dead", date: "2025-08-21" });
  assert.deepEqual(body.records.map((one) => `${one.row}:${one.position}`), [0, 1, 6].map((v) => `${data.labels[data.row[v]]}:${data.position[v]}`));
});

test("an entry waits in this browser until it is saved, and is gone then", async () => {
  let waiting = null;
  const shown = await desk({ answer: (told) => {
    if (told.where !== "/api/log") return { body: { records: [] } };
    waiting = [...shown.store.entries()].filter(([key]) => key.startsWith("trunkwatch-waiting:B:"));
    return saved();
  } });
  await log(shown, { row: "1", position: "3", symptom: "dead", date: "2025-08-21" });
  assert.equal(waiting.length, 1);
  assert.equal(JSON.parse(waiting[0][1])[0].symptom, "dead");
  assert.equal([...shown.store.keys()].some((key) => key.startsWith("trunkwatch-waiting:")), false);
});

test("what the program refuses is said, and goes back into the form", async () => {
  const shown = await desk({ answer: (told) => (told.where === "/api/log" ? { status: 422, body: { faults: [{ column: "arm", value: "end", problem: "no arm", expected: "head" }] } } : { body: {} }) });
  await log(shown, { row: "1", position: "3", symptom: "dead", arm: "end", date: "2025-08-21" });
  const line = shown.document.getElementById("written").querySelector("li");
  assert.match(line.textContent, /^Not saved: 1:3 dead vine, still standing, end\. \u201cend\u201d: no arm; expected: head\./);
  await line.querySelectorAll("button")[0].click();
  assert.deepEqual([shown.form.elements.row.value, shown.form.elements.position.value, shown.form.elements.symptom.value], ["1", "3", "dead"]);
});

test("a finding that no survey covers is told before the count that leaves it out", async () => {
  const shown = await desk();
  const v = vineAt("3", 14);
  const text = shown.get(`standsNow(${v}, data.looks[condition(${v})])`);
  assert.match(text, /^2025-08-20 striped leaves.*\(no survey covers it/);
  assert.equal(shown.get(`standsNow(${vineAt("3", 13)}, data.looks[condition(${vineAt("3", 13)})])`), data.looks[3].meaning);
});

test("a label in an address is quoted so that servers give it back whole", async () => {
  const shown = await desk();
  for (const label of ["7", "A/1", "10 %", "caf\u00e9", "a\\b"]) {
    const one = decodeURIComponent(shown.get(`part(${JSON.stringify(label)})`));
    assert.equal(decodeURIComponent(one), label);
  }
});

test("a line of the legend has the strokes and colors of its mark", async () => {
  const shown = await desk();
  for (const look of [...Object.values(data.looks), data.written]) {
    shown.scope.look = look;
    const paths = shown.get("legendLine(look, 3)").querySelectorAll("path");
    assert.deepEqual(paths.map((path) => path.attributes.d), look.strokes.map((stroke) => `M${stroke.map((point) => point.join(" ")).join("L")}`));
    for (const path of paths) assert.deepEqual([path.attributes.stroke, path.attributes.fill], [look.ink, look.solid ? look.fill : "none"]);
  }
});

test("a line of a page is taken back by its button, and what is refused is said beside it", async () => {
  let refuses = true;
  const shown = await desk({ answer: () => (refuses ? { status: 409, body: { error: "it was corrected meanwhile" } } : { body: {} }) });
  shown.run(["line", `const line = el("li", { "data-id": "r1", "data-table": "surveys" }, el("button", { class: "correct", "data-fields": '[["note", "Note", "late"]]' }), el("button", { class: "undo" }));
    location.reload = () => { location.reloaded = true; }; correctable([line]);`]);
  const line = shown.get("line");
  const button = line.querySelector("button.undo");
  await button.click();
  assert.match(line.textContent, /it was corrected meanwhile/);
  assert.deepEqual([button.disabled, shown.scope.location.reloaded], [false, undefined]);
  refuses = false;
  await button.click();
  assert.deepEqual(shown.page.asked.at(-1).body, { table: "surveys", id: "r1", void: true });
  assert.equal(shown.scope.location.reloaded, true);
  await line.querySelector("button.correct").click();
  assert.equal(line.querySelector("form input").value, "late");
});
