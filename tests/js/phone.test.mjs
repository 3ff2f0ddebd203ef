// The page of the phone as it runs: what a tap becomes on the disk, and what is handed over of it.
import assert from "node:assert/strict";
import { test } from "node:test";
import { made, plain } from "./stand_in.mjs";
import { phone, settled } from "./faces.mjs";

const kept = (shown) => { const key = [...shown.store.keys()].find((one) => one.includes("\u001f")); return key ? JSON.parse(shown.store.get(key)) : { items: [] }; };
async function begun(options) {
  const shown = phone(options);
  await settled();
  shown.run(["observer", "state.observer = 'Ada'; state.device = 'd1';"]);
  return shown;
}
async function run(shown, text) { await shown.get(`(async () => { ${text} })()`); await settled(); }
const walk = (row, from = "first") => `state.row = ${row}; state.from = '${from}'; await startRow();`;

test("the page begins without a store of the browser, and says what it keeps", async () => {
  const shown = await begun();
  assert.equal(shown.document.body.dataset.ready, "yes");
  assert.equal(shown.get("disk.kind"), "simple");
  assert.match(shown.document.getElementById("page").textContent, /B 2026/);
});

test("a finding becomes one record with all that the tables ask for", async () => {
  const shown = await begun();
  await run(shown, `${walk(0)} await finding(4, 'dead_arm', 'end');`);
  const { items } = kept(shown);
  assert.equal(items.length, 1);
  const [{ row, ...item }] = items;
  assert.deepEqual([item.table, item.state, item.handed, item.id], ["symptoms", "live", false, row.id]);
  assert.deepEqual([row.block, row.row, row.position, row.symptom, row.arm, row.observer, row.device], ["B", "1", "4", "dead_arm", "end", "Ada", "d1"]);
  assert.equal(row.date, shown.get("localDay(new Date())"));
  assert.ok(Math.abs(Date.parse(row.recorded_at) - Date.now()) < 60000);
});

test("where the phone stands goes with a finding only while it is fresh", async () => {
  const shown = await begun();
  await run(shown, `state.place = true; here = { longitude: 7.5, latitude: 47.25, accuracy: 3.46, told: Date.now() }; ${walk(0)} await finding(1, 'dead', ''); here.told -= 30001; await finding(2, 'dead', '');`);
  const [fresh, stale] = kept(shown).items.map((item) => item.row);
  assert.deepEqual([fresh.longitude, fresh.latitude, fresh.accuracy_m], [7.5, 47.25, 3.5]);
  assert.equal("longitude" in stale, false);
});

test("vine by vine the walk goes on to the next vine, and ends behind the last", async () => {
  const shown = await begun();
  await run(shown, `state.road = 'every'; ${walk(0)} state.at = 4; await finding(4, 'dead', '');`);
  assert.equal(shown.get("state.at"), 6); // 5 has no vine
  await run(shown, "await finding(6, 'dead', '');");
  assert.equal(shown.get("state.screen"), "every_end");
});

test("a row begun at the far end starts at its last position", async () => {
  const shown = await begun();
  await run(shown, walk(2, "last"));
  assert.equal(shown.get("state.at"), 15);
});

test("a finished row is one survey of what was walked, and the next row is walked back", async () => {
  const shown = await begun();
  await run(shown, `${walk(0)} await finding(2, 'dead', ''); await finishRow(6);`);
  const surveys = kept(shown).items.filter((item) => item.table === "surveys");
  assert.equal(surveys.length, 1);
  const { row } = surveys[0];
  assert.deepEqual([row.covered, row.look, row.survey, row.method, row.observer], ["1:1..6", "dormant", "dormant 2026", "phone", "Ada"]);
  assert.ok(row.minutes >= 1);
  assert.deepEqual([shown.get("state.row"), shown.get("state.from"), shown.get("state.walk")], [1, "first", null]); // row 2 is numbered from the other end
});

test("a row that was stopped covers what was walked and no more", async () => {
  const shown = await begun();
  await run(shown, `${walk(2, "last")} await finishRow(2);`);
  assert.equal(kept(shown).items[0].row.covered, "3:14..15");
});

test("a row begun by mistake leaves no survey and keeps what was found", async () => {
  const shown = await begun();
  await run(shown, `${walk(0)} await finding(2, 'dead', ''); await leaveRow();`);
  assert.deepEqual(kept(shown).items.map((item) => item.table), ["symptoms"]);
});

test("a counting slip moves what was found behind it when the row is finished", async () => {
  const shown = await begun();
  await run(shown, `${walk(2)} await finding(11, 'dead', ''); await finding(13, 'canker', '');
    const found = walked(); await finishRow(6, pure.shifted(found, row(), state.from, 1, 1).slice(1).map((item) => [item.id, item.row.position]));`);
  const at = kept(shown).items.filter((item) => item.table === "symptoms").map((item) => [item.row.symptom, item.row.position]);
  assert.deepEqual(at, [["dead", "11"], ["canker", "14"]]);
});

test("undo takes a finding back and leaves it on record", async () => {
  const shown = await begun();
  await run(shown, `${walk(0)} await finding(2, 'dead', ''); await undo(lastId());`);
  const [item] = kept(shown).items;
  assert.equal(item.state, "void");
  assert.ok(item.void_id && item.voided_at);
  assert.deepEqual(plain(shown.get("walked()")), []);
});

test("what another window wrote meanwhile is kept beside what this one writes", async () => {
  const shown = await begun();
  await run(shown, `${walk(0)} await finding(2, 'dead', '');`);
  const key = [...shown.store.keys()].find((one) => one.includes("\u001f"));
  const there = JSON.parse(shown.store.get(key));
  const other = { ...there.items[0], id: "other", row: { ...there.items[0].row, id: "other", position: "6" } };
  shown.store.set(key, JSON.stringify({ ...there, items: [...there.items, other] }));
  await run(shown, "await finding(3, 'canker', '');");
  assert.deepEqual(kept(shown).items.map((item) => item.row.position).sort(), ["2", "3", "6"]);
});

test("what is tapped while something is being stored is not done twice", async () => {
  const shown = await begun();
  await run(shown, `${walk(0)} await Promise.all([once(() => finding(2, 'dead', '')), once(() => finding(2, 'dead', ''))]);`);
  assert.equal(kept(shown).items.length, 1);
});

test("work done is a record that corrects its plan, without the hours that were planned", async () => {
  const shown = await begun({ change: (data) => ({ ...data, work: data.work.map((plan) => ({ ...plan, row: { ...plan.row, hours: 2, cost: 9 } })) }) });
  await run(shown, "await workDone(planOf('p1'));");
  const [item] = kept(shown).items;
  assert.deepEqual([item.table, item.row.status, item.row.corrects, item.row.kind, item.row.arm, item.row.position], ["work", "done", "p1", "renew_arm", "end", "4"]);
  assert.equal("hours" in item.row || "cost" in item.row, false);
  await run(shown, "await workDone(planOf('p1'));");
  assert.equal(kept(shown).items.length, 1); // decided once
});

test("a vine that is gone is a line of plants beside the work that was not done", async () => {
  const shown = await begun();
  await run(shown, "await notDone(planOf('p3'), 'vine_gone');");
  const [work, plants] = kept(shown).items;
  assert.deepEqual([work.row.status, work.row.not_done], ["dropped", "vine_gone"]);
  assert.deepEqual([plants.table, plants.row.row, plants.row.position, plants.row.removed, plants.of], ["plants", "2", "6", shown.get("localDay(new Date())"), "p3"]);
  assert.equal("date" in plants.row, false);
});

// Positions by where they lie: from the base line on, as somebody meets them who walks away from it.
const fromBase = (rows, { row, position }) => { const at = rows.find((one) => one.label === row); return at.back ? at.last - Number(position) : Number(position) - at.first; };
const list = [["1", "1"], ["1", "4"], ["2", "1"], ["2", "6"], ["3", "10"], ["3", "15"]].map(([row, position]) => ({
  root: `${row}:${position}`, list: "Cut", told: { en: ["", "", "", "", ""], es: ["", "", "", "", ""] }, row: { block: "B", row, position, kind: "renew_arm", status: "planned", date: "2025-12-01" },
}));

test("each row of the list is walked from its start", () => {
  const { work } = made().phone;
  const rows = [...new Set(work.map((plan) => plan.row.row))];
  assert.ok(rows.length > 1);
  for (const row of rows) {
    const positions = work.filter((plan) => plan.row.row === row).map((plan) => Number(plan.row.position));
    assert.deepEqual(positions, [...positions].sort((a, b) => a - b), `row ${row}`);
  }
  assert.ok(work.filter((plan) => plan.row.row === "2").length > 1); // the one that is numbered from the far end
});

test("up one row and down the next nobody walks an empty row, whichever end a row is numbered from", async () => {
  const shown = await begun({ change: (data) => ({ ...data, work: list }) });
  const order = () => plain(shown.get("ordered().map((plan) => plan.root)"));
  assert.deepEqual(order(), ["1:1", "1:4", "2:1", "2:6", "3:10", "3:15"]);
  shown.run(["turn", "state.thereAndBack = true"]);
  const { rows } = made().phone;
  const away = Object.groupBy(order().map((root) => { const [row, position] = root.split(":"); return [row, fromBase(rows, { row, position })]; }), ([row]) => row);
  const climbs = Object.values(away).map(([first, last]) => Math.sign(last[1] - first[1]));
  assert.deepEqual(climbs, [1, -1, 1]);
  shown.run(["straight", "data.rows[1].back = false"]);
  assert.deepEqual(order(), ["1:1", "1:4", "2:6", "2:1", "3:10", "3:15"]);
});

test("the time from vine to vine leaves pauses and clocks that were set out", async () => {
  const shown = await begun();
  const since = (ticked, now) => shown.get(`sinceLast([{ table: "work", row: { row: "1" }, ticked: ${ticked} }], "1", ${now})`);
  assert.equal(since(1000, 61000), 60000);
  assert.equal(since(1000, 601000), 600000);
  assert.equal(since(1000, 601001), 0);
  assert.equal(since(61000, 1000), 0);
  assert.equal(shown.get('sinceLast([{ table: "work", row: { row: "2" }, ticked: 1 }], "1", 61000)'), 0);
});

test("the desk is sent what is on the disk, and what it took is handed over", async () => {
  const shown = await begun({ change: (data) => ({ ...data, sync: "/sync" }), answer: () => ({ body: { known: 2 } }) });
  await run(shown, `${walk(0)} await finding(2, 'dead', ''); await finishRow(6); await sync();`);
  const [{ where, body }] = shown.page.asked;
  assert.equal(where, "/sync");
  assert.deepEqual([body.symptoms.length, body.surveys.length, body.work.length, body.block], [1, 1, 0, "B"]);
  assert.deepEqual(kept(shown).items.map((item) => item.handed), [true, true]);
});

test("what the desk refused stays to be handed over", async () => {
  const shown = await begun({ change: (data) => ({ ...data, sync: "/sync" }), answer: () => ({ status: 500, body: { error: "no" } }) });
  await run(shown, `${walk(0)} await finding(2, 'dead', ''); await sync();`);
  assert.deepEqual(kept(shown).items.map((item) => item.handed), [false]);
});

test("where a pass has ended the code is asked for and nothing counts as handed over", async () => {
  const shown = await begun({ change: (data) => ({ ...data, sync: "/sync" }), answer: () => ({ status: 401, body: {} }) });
  await run(shown, `${walk(0)} await finding(2, 'dead', ''); await sync();`);
  assert.equal(shown.get("codeNeeded"), true);
  assert.deepEqual(kept(shown).items.map((item) => item.handed), [false]);
});

test("what is known of a vine is its condition, the season of it, and the last finding", async () => {
  const shown = await begun();
  const { rows, words } = made().phone;
  const known = (row, position) => shown.get(`conditionOf(data.rows[${row}], ${position})`);
  assert.equal(known(0, 4), `${words.en["condition.5"]}, 2025; ${words.en["code.dead_arm"]}, 2025-08-20`);
  assert.equal(known(2, 15), words.en.no_condition);
  assert.equal(known(2, 11), `${words.en["condition.8"]}, 2025`); // the second vine of a row that begins at 10
  assert.equal(rows[2].known_in[5], 0);
});

test("what some cameras write before the picture goes, the picture stays", async () => {
  const shown = await begun();
  const part = (mark, ...bytes) => [255, mark, 0, bytes.length + 2, ...bytes];
  const bytes = [255, 216, ...part(224, 1, 2), ...part(225, 9, 9, 9), ...part(254, 7), ...part(219, 3), 255, 218, 0, 1, 2, 3, 255, 217];
  const out = plain(shown.get(`[...plainPhoto(Uint8Array.from(${JSON.stringify(bytes)}))]`));
  assert.deepEqual(out, [255, 216, ...part(224, 1, 2), ...part(219, 3), 255, 218, 0, 1, 2, 3, 255, 217]);
});

test("the strip of the phone has the marks of the map", async () => {
  const shown = await begun();
  const { looks } = made().map;
  await run(shown, `${walk(0)} await finding(2, 'dead', '');`);
  const paths = (row, middle) => shown.get(`strip(data.rows[${row}], "first", ${middle})`).querySelectorAll("path").map((path) => path.attributes);
  const drawn = (row, middle, look, x, y, scale) => { // every line of a mark, in its colors
    const lines = look.strokes.map((stroke) => `M${stroke.map(([u, v]) => [x + scale * u, y + scale * v].map((n) => Math.round(100 * n) / 100).join(" ")).join("L")}`);
    return lines.every((d) => paths(row, middle).some((path) => path.d === d && path.stroke === look.ink && path.fill === (look.solid ? look.fill : "none")));
  };
  assert.ok(drawn(0, 2, looks[5], 180, 35, 1.5)); // the finding, over the vine in the middle
  assert.ok(!drawn(0, 3, looks[5], 180, 35, 1.5));
  assert.ok(drawn(0, 5, { ...looks[1], solid: true, fill: made().map.paper }, 180, 44, 5 / 3)); // the place without a vine, and no line of the row through it
  assert.ok(drawn(1, 2, looks[4], 180, 45, 1.8)); // the young vine
  assert.equal(paths(0, 2).filter((path) => path["stroke-width"] === "5" && path.stroke === looks[1].ink).length, 2); // the two posts
});

test("what was written later stays later where the clock is set back, on the phone and in what it sends", async () => {
  const shown = await begun();
  await run(shown, `${walk(0)} await finding(2, 'dead', '');`);
  await run(shown, "const Plain = Date; globalThis.Date = class extends Plain { constructor(...when) { if (when.length) super(...when); else super(Plain.now() - 10800000); } static now() { return Plain.now() - 10800000; } }; await finding(3, 'dead', '');");
  const { items } = kept(shown);
  assert.ok(items[1].row.recorded_at < items[0].row.recorded_at); // the clock did go back
  assert.deepEqual(plain(shown.get("items.map((one) => one.row.position)")), ["2", "3"]);
  assert.equal(shown.get("walked().at(-1).row.position"), "3"); // the last one is the one that is taken back
  const mixed = [...items].reverse();
  assert.deepEqual(plain(shown.get(`pure.inOrder(${JSON.stringify(mixed)}).map((one) => one.row.position)`)), ["2", "3"]);
  // A record that is said otherwise after it was sent is a new one, behind all others.
  const numbers = plain(shown.get(`pure.numbered(${JSON.stringify(items)}, pure.changed({ ...${JSON.stringify(items[0])}, handed: true }, { percent: 50 }, new Date(), () => 'x')).map((one) => [one.state, one.n])`));
  assert.deepEqual(numbers, [["void", 1], ["live", 3]]);
  assert.deepEqual(plain(shown.get("pure.inOrder([{ id: 'b', row: { recorded_at: '2' } }, { id: 'c', n: 1, row: { recorded_at: '0' } }, { id: 'a', row: { recorded_at: '1' } }]).map((one) => one.id)")), ["a", "b", "c"]);
});

test("what is half typed goes with each state, and goes with the finding it was typed for", async () => {
  const shown = await begun();
  await run(shown, `${walk(0)} digit('1'); digit('2');`);
  assert.deepEqual(kept(shown).state.typing, { typed: "12", bayTyped: null, byBay: false });
  await run(shown, "await finding(2, 'dead', '');");
  assert.equal(kept(shown).state.typing.typed, "");
  // A form that is half filled in is there again after whatever draws the page, until it is left.
  await run(shown, "detailsScreen(items[0].id); document.getElementById('note').value = 'half'; document.getElementById('note').fire('input'); render();");
  assert.equal(kept(shown).state.draft.values.note, "half");
  assert.equal(shown.get("document.getElementById('note').value"), "half");
  await run(shown, "[...document.querySelectorAll('button')].find((one) => one.textContent === 'Back').click();");
  assert.equal(kept(shown).state.draft, null);
  assert.equal(shown.get("document.getElementById('note')"), null);
  assert.equal(kept(shown).items[0].row.note, undefined);
});

test("the day on which canes were collected is said anew each day", async () => {
  const shown = await begun();
  await run(shown, "setBuds({ date: '2026-01-19', part: 'low end' });");
  assert.deepEqual(plain(shown.get("[budSetting().date, budSetting().part]")), ["2026-01-19", "low end"]);
  await run(shown, "state.buds.set_on = '2026-01-20';");
  assert.deepEqual(plain(shown.get("[budSetting().date === localDay(new Date()), budSetting().part]")), [true, "low end"]);
});
