// The walk of the phone: rows there and back, bays, places without a vine, odd rows, counting slips.
import assert from "node:assert/strict";
import { test } from "node:test";
import { made, plain } from "./stand_in.mjs";
import { walked } from "./faces.mjs";

const pure = walked().get("pure");
const { rules } = made().phone;
const ROW = { label: "7", first: 1, last: 10, bay_ends: [4, 8, 10], missing: [3, 9], young: [6], back: false };
const LATE = { label: "8", first: 21, last: 26, bay_ends: [], missing: [], young: [], back: false };

test("a row counts its first and its last position", () => {
  assert.equal(pure.total(ROW), 10);
  assert.equal(pure.total(LATE), 6);
  assert.equal(pure.total({ first: 5, last: 5 }), 1);
});

test("counts and positions undo each other from both ends", () => {
  for (const row of [ROW, LATE]) for (const from of ["first", "last"]) for (let position = row.first; position <= row.last; position += 1) {
    assert.equal(pure.place(row, from, pure.count(row, from, position)), position);
  }
  assert.equal(pure.count(ROW, "first", 1), 1);
  assert.equal(pure.count(ROW, "last", 10), 1);
  assert.equal(pure.count(LATE, "last", 21), 6);
});

test("a number typed from the far end counts from the scout or is the label", () => {
  assert.equal(pure.typed(LATE, "last", "from_me", 1), 26);
  assert.equal(pure.typed(LATE, "last", "labels", 25), 25);
  assert.equal(pure.typed(LATE, "first", "labels", 21), 21);
});

test("a number beyond the row is no position", () => {
  assert.equal(pure.typed(LATE, "first", "labels", 20), null);
  assert.equal(pure.typed(LATE, "first", "labels", 27), null);
  assert.equal(pure.typed(LATE, "last", "from_me", 0), null);
  assert.equal(pure.typed(LATE, "last", "from_me", 7), null);
  assert.equal(pure.typed(LATE, "last", "from_me", 6), 21);
});

test("bays begin behind the post before", () => {
  assert.deepEqual(plain(pure.bay(ROW, 1)), { bay: 1, vine: 1 });
  assert.deepEqual(plain(pure.bay(ROW, 4)), { bay: 1, vine: 4 });
  assert.deepEqual(plain(pure.bay(ROW, 5)), { bay: 2, vine: 1 });
  assert.deepEqual(plain(pure.bay(ROW, 10)), { bay: 3, vine: 2 });
});

test("bays counted from the scout at the far end run backwards", () => {
  assert.deepEqual(plain(pure.bay(ROW, 10, "last", "from_me")), { bay: 1, vine: 1 });
  assert.deepEqual(plain(pure.bay(ROW, 8, "last", "from_me")), { bay: 2, vine: 1 });
  assert.deepEqual(plain(pure.bay(ROW, 1, "last", "from_me")), { bay: 3, vine: 4 });
  assert.deepEqual(plain(pure.bay(ROW, 1, "last", "labels")), { bay: 1, vine: 1 });
});

test("bay and vine give the position back from both ends", () => {
  for (const [from, counting] of [["first", "labels"], ["last", "labels"], ["last", "from_me"]]) for (let position = 1; position <= 10; position += 1) {
    const { bay, vine } = pure.bay(ROW, position, from, counting);
    assert.equal(pure.ofBay(ROW, bay, vine, from, counting), position);
  }
});

test("a bay or a vine of it that is not there is no position", () => {
  for (const [bay, vine] of [[0, 1], [4, 1], [1, 0], [1, 5], [3, 3]]) assert.equal(pure.ofBay(ROW, bay, vine), null);
  assert.equal(pure.ofBay(ROW, 1, 3, "last", "from_me"), null);
  assert.equal(pure.bay(LATE, 22), null);
});

test("the stretch walked is written from its low position to its high one", () => {
  assert.equal(pure.covered(ROW, "first", 10), "7:1..10");
  assert.equal(pure.covered(ROW, "first", 4), "7:1..4");
  assert.equal(pure.covered(ROW, "last", 3), "7:8..10");
  assert.equal(pure.covered(LATE, "last", 6), "8:21..26");
});

test("a row is whole where only places without a vine are left", () => {
  assert.equal(pure.whole(ROW, "first", 10), true);
  assert.equal(pure.whole(ROW, "first", 9), false);
  assert.equal(pure.whole({ ...ROW, missing: [10] }, "first", 9), true);
  assert.equal(pure.whole({ ...ROW, missing: [1, 2] }, "last", 8), true);
  assert.equal(pure.whole(ROW, "first", 0), false);
  assert.equal(pure.whole(ROW, "first", 11), false);
});

test("the next vine leaves places without one out, and ends with the row", () => {
  assert.equal(pure.nextVine(ROW, "first", 2), 4);
  assert.equal(pure.nextVine(ROW, "last", 10), 8);
  assert.equal(pure.nextVine(ROW, "first", 10), null);
  assert.equal(pure.nextVine(ROW, "last", 1), null);
  assert.equal(pure.nextVine({ ...ROW, missing: [10] }, "first", 9), null);
});

test("every vine of a row is met once, whichever end it is walked from", () => {
  for (const from of ["first", "last"]) {
    const met = [];
    for (let at = from === "first" ? ROW.first : ROW.last; at !== null; at = pure.nextVine(ROW, from, at)) met.push(at);
    assert.deepEqual([...met].sort((a, b) => a - b), [1, 2, 4, 5, 6, 7, 8, 10]);
  }
});

test("the next row is walked back, also where it is numbered from the other end", () => {
  assert.equal(pure.nextFrom({ back: false }, { back: false }, "first"), "last");
  assert.equal(pure.nextFrom({ back: false }, { back: false }, "last"), "first");
  assert.equal(pure.nextFrom({ back: false }, { back: true }, "first"), "first");
  assert.equal(pure.nextFrom({ back: true }, { back: false }, "last"), "last");
});

test("the next mark is a post, a place without a vine or a young vine, whichever comes first", () => {
  assert.deepEqual(plain(pure.nextMark(ROW, "first", 1)), { what: "missing", n: 3 });
  assert.deepEqual(plain(pure.nextMark(ROW, "first", 3)), { what: "post", n: "4/5" });
  assert.deepEqual(plain(pure.nextMark(ROW, "first", 5)), { what: "young", n: 6 });
  assert.deepEqual(plain(pure.nextMark(ROW, "last", 10)), { what: "missing", n: 9 });
  assert.deepEqual(plain(pure.nextMark(ROW, "last", 9)), { what: "post", n: "8/9" });
  assert.equal(pure.nextMark(LATE, "first", 21), null);
});

test("a list turned round keeps the pieces of one vine in their order", () => {
  const plans = [["1", "a"], ["1", "b"], ["4", "c"], ["9", "d"]].map(([position, root]) => ({ root, row: { position } }));
  assert.deepEqual(plain(pure.turned(plans)).map((plan) => plan.root), ["d", "c", "a", "b"]);
});

test("a slip moves the findings behind it and none before, within the row", () => {
  const items = ["2", "5", "10"].map((position, k) => ({ id: `i${k}`, row: { position } }));
  const at = (found) => plain(found).map((item) => item.row.position);
  assert.deepEqual(at(pure.shifted(items, ROW, "first", 1, 1)), ["2", "6", "10"]);
  assert.deepEqual(at(pure.shifted(items, ROW, "first", 0, -1)), ["1", "4", "9"]);
  const back = ["10", "6", "2"].map((position, k) => ({ id: `i${k}`, row: { position } }));
  assert.deepEqual(at(pure.shifted(back, ROW, "last", 1, 1)), ["10", "5", "1"]);
  assert.deepEqual(at(items), ["2", "5", "10"]);
});

test("limits of a finding are those of the tables", () => {
  const { limits } = made();
  assert.ok(limits.dead[1] === null && Object.keys(rules.limits).length >= 7);
  for (const name of Object.keys(rules.limits)) {
    const [low, high] = limits[name];
    assert.equal(pure.wrong({ [name]: low }, rules), null, `${name} ${low}`);
    assert.equal(pure.wrong({ [name]: high ?? 1e6 }, rules), null, `${name} ${high}`);
    assert.equal(pure.wrong({ [name]: low - 1 }, rules)[0], name);
    if (high !== null) assert.equal(pure.wrong({ [name]: high + 1 }, rules)[0], name);
  }
  assert.deepEqual(plain(pure.wrong({ dead: -1 }, rules)), ["dead", "-1 (\u2265 0)"]);
});

test("no more dead spurs than spurs, whole numbers, and nothing said is nothing wrong", () => {
  assert.deepEqual(plain(pure.wrong({ dead: 5, total: 4 }, rules)), ["dead", "5 > 4"]);
  assert.equal(pure.wrong({ dead: 4, total: 4 }, rules), null);
  assert.equal(pure.wrong({ trunk: 1.5 }, rules)[0], "trunk");
  assert.equal(pure.wrong({ percent: 12.5 }, rules), null);
  assert.equal(pure.wrong({ percent: "" }, rules), null);
  assert.deepEqual(plain(pure.wrong({ stain_cm: "much" }, rules)), ["stain_cm", "much (0\u2013400)"]);
});

test("an id without the browser's own is a random UUID", () => {
  const plainHttp = walked();
  plainHttp.scope.crypto = { getRandomValues: (bytes) => globalThis.crypto.getRandomValues(bytes) };
  const ids = [...Array(50)].map(() => plainHttp.get("pure.uuid()"));
  for (const id of ids) assert.match(id, /^[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/);
  assert.equal(new Set(ids).size, 50);
});
