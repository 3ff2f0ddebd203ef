// What becomes of records: changed, taken back, handed over, merged with what other windows wrote.
import assert from "node:assert/strict";
import { test } from "node:test";
import { plain } from "./stand_in.mjs";
import { walked } from "./faces.mjs";

const pure = walked().get("pure");
const NOW = new Date("2026-07-01T10:00:00Z");
const BLOCK = { vineyard: "v", block: "B", season: 2026, block_root: "root", block_began: "2024-01-01T08:00:00Z", vineyard_name: "" };
const ids = () => { let k = 0; return () => `new${(k += 1)}`; };
const item = (more = {}, row = {}) => ({ id: "a", table: "symptoms", state: "live", handed: false, ...more, row: { id: "a", row: "1", position: "2", symptom: "leaf_stripe", ...row } });
const over = (...items) => plain(pure.handover(BLOCK, "phone", items, NOW));

test("a finding that was not handed over is written over in place", () => {
  const [one, ...more] = plain(pure.changed(item(), { arm: "end" }, NOW, ids()));
  assert.equal(more.length, 0);
  assert.deepEqual([one.id, one.row.arm, one.row.symptom, one.state], ["a", "end", "leaf_stripe", "live"]);
});

test("a finding that was handed over is taken back and said anew", () => {
  const [before, after] = plain(pure.changed(item({ handed: true }), { arm: "end" }, NOW, ids()));
  assert.deepEqual([before.id, before.state, before.voided_at, before.row.arm], ["a", "void", NOW.toISOString(), undefined]);
  assert.deepEqual([after.state, after.handed, after.row.arm, after.row.recorded_at], ["live", false, "end", NOW.toISOString()]);
  assert.equal(after.id, after.row.id);
  assert.equal(new Set(["a", before.void_id, after.id]).size, 3);
});

test("pending is what the office does not know: new, or taken back and not told", () => {
  assert.equal(pure.pending(item()), true);
  assert.equal(pure.pending(item({ handed: true })), false);
  assert.equal(pure.pending(item({ state: "void" })), false);
  assert.equal(pure.pending(item({ state: "void", handed: true })), true);
  assert.equal(pure.pending(item({ state: "void", handed: true, back_handed: true })), false);
});

test("what changed takes the place of what was there, and what is new comes last", () => {
  const joined = plain(pure.joined([{ id: "a", n: 1 }, { id: "b", n: 1 }], [{ id: "c", n: 2 }, { id: "a", n: 2 }]));
  assert.deepEqual(joined, [{ id: "a", n: 2 }, { id: "b", n: 1 }, { id: "c", n: 2 }]);
});

test("a hand-over holds every live record in its table, with the mark of the block", () => {
  const out = over(item(), item({ id: "s", table: "surveys" }, { id: "s" }), item({ id: "w", table: "work", root: "p1" }, { id: "w" }));
  assert.deepEqual([out.trunkwatch_handover, out.block, out.season, out.device, out.block_root, out.written], [2, "B", 2026, "phone", "root", NOW.toISOString()]);
  assert.deepEqual(["symptoms", "surveys", "work"].map((table) => out[table].map((row) => row.id)), [["a"], ["s"], ["w"]]);
  assert.equal("plants" in out, false);
});

test("a page without a mark hands over as before there were marks", () => {
  const out = plain(pure.handover({ ...BLOCK, block_root: "" }, "phone", [item()], NOW));
  assert.equal(out.trunkwatch_handover, 1);
  assert.equal("block_root" in out, false);
});

test("a line of plants makes it the later form", () => {
  const out = over(item({ id: "p", table: "plants" }, { id: "p" }));
  assert.equal(out.trunkwatch_handover, 3);
  assert.deepEqual(out.plants.map((row) => row.id), ["p"]);
});

test("what was taken back before anybody had it is in no hand-over", () => {
  assert.deepEqual(over(item({ state: "void", void_id: "v1", voided_at: "t" })).symptoms, []);
});

test("what was taken back after it was handed over goes with a record that takes it back", () => {
  const out = over(item({ state: "void", handed: true, void_id: "v1", voided_at: "2026-07-01T09:00:00Z" }));
  assert.equal(out.symptoms.length, 2);
  const back = out.symptoms[1];
  assert.deepEqual([back.id, back.corrects, back.void, back.recorded_at, back.symptom], ["v1", "a", "yes", "2026-07-01T09:00:00Z", "leaf_stripe"]);
});

test("work taken back is planned again, with nothing that was said when it was done", () => {
  const was = { row: "1", position: "2", kind: "renew_arm", status: "planned", date: "2025-12-01" };
  const done = item({ table: "work", state: "void", handed: true, void_id: "v1", voided_at: "t", root: "p1", was }, { kind: "renew_arm", status: "done", hours: 0.5, cut_height_cm: 80, wound_protected: "yes", note: "dry" });
  const back = over(done).work[1];
  assert.deepEqual([back.status, back.corrects, back.date, back.id, back.void], ["planned", "p1", "2025-12-01", "v1", undefined]);
  for (const name of ["hours", "cut_height_cm", "wound_protected", "note"]) assert.equal(name in back, false, name);
});

test("a record that was given is handed over, one that was not stays", () => {
  const given = { symptoms: [item().row] };
  assert.equal(plain(pure.marked(item(), given, NOW, ids()))[0].handed, true);
  assert.deepEqual(plain(pure.marked(item({ id: "b" }, { id: "b" }), given, NOW, ids())), []);
  assert.deepEqual(plain(pure.marked(item({ handed: true }), given, NOW, ids())), []);
});

test("what another window said otherwise while it was being given is said anew", () => {
  const [before, after] = plain(pure.marked(item({}, { arm: "end" }), { symptoms: [item().row] }, NOW, ids()));
  assert.deepEqual([before.state, before.handed, before.row.arm], ["void", true, undefined]);
  assert.deepEqual([after.state, after.handed, after.row.arm], ["live", false, "end"]);
});

test("what another window took back while it was being given is told the next time", () => {
  const [one] = plain(pure.marked(item({ state: "void", void_id: "v1", voided_at: "t" }), { symptoms: [item().row] }, NOW, ids()));
  assert.deepEqual([one.state, one.handed, pure.pending(one)], ["void", true, true]);
  const [told] = plain(pure.marked(one, { symptoms: [item().row, { id: "v1" }] }, NOW, ids()));
  assert.deepEqual([told.back_handed, pure.pending(told)], [true, false]);
});

test("what was said otherwise and then taken back while it was being given does not come back", () => {
  const told = plain(pure.marked(item({ state: "void", void_id: "v1", voided_at: "t" }, { arm: "end" }), { symptoms: [item().row] }, NOW, ids()));
  assert.deepEqual(told.map((one) => [one.id, one.state, one.handed]), [["a", "void", true]]);
});

test("two rows are the same whatever the order of their cells, and an empty cell is none", () => {
  assert.equal(pure.same({ a: 1, b: null }, { b: null, a: 1 }), true);
  assert.equal(pure.same({ a: 1 }, { a: 2 }), false);
  assert.equal(pure.same({ a: "" }, { a: 0 }), false);
});
