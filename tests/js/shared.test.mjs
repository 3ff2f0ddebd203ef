// What all pages share: elements, calendar and limits, marks.
import assert from "node:assert/strict";
import { test } from "node:test";
import { browser, importsOf, inOrder, joined, made, plain, textOf } from "./stand_in.mjs";
import { phoneScript } from "./faces.mjs";
import { isDrawn } from "./marks.mjs";

const MODULES = ["static/shared/elements.js", "static/shared/rules.js", "static/shared/marks.js"];
function shared() {
  const shown = browser({ html: '<canvas id="sheet"></canvas>' });
  shown.run(["shared", joined(...MODULES)]);
  return shown;
}

test("a day is that of this machine's calendar, with two digits a part", () => {
  const shown = shared();
  assert.equal(shown.get("localDay(new Date(2026, 0, 5, 23, 59))"), "2026-01-05");
  assert.equal(shown.get("localDay(new Date(2026, 11, 31, 0, 1))"), "2026-12-31");
});

test("map, desk and phone judge by the same rules and draw by the same marks", () => {
  const { map, desk: grid, phone: told } = made();
  assert.deepEqual(grid.rules, map.rules);
  assert.deepEqual(told.rules, map.rules);
  assert.deepEqual(told.looks, map.looks);
  assert.deepEqual([told.looks[told.marks.missing].word, told.looks[told.marks.young].word, told.looks[told.marks.finding].word], ["missing", "young", "showing"]);
});

test("season and inspection of a day follow the rules that are given", () => {
  const shown = shared();
  for (const [side, day, season, look] of made().calendar) {
    shown.scope.rules = made().map.rules;
    assert.deepEqual([shown.get(`seasonOf("${day}", rules, "${side}")`), shown.get(`lookOf("${day}", rules, "${side}")`)], [season, look], `${side} ${day}`);
  }
});

test("a number within its limits can stand, one outside cannot, and parts only where numbers have them", () => {
  const shown = shared();
  shown.scope.rules = { limits: { a: [1, 3], b: [0, null], c: [0, 1] }, whole: ["a"] };
  const can = (column, number) => shown.get(`isWithin(rules, "${column}", ${number})`);
  assert.deepEqual([0, 1, 3, 4, 1.5].map((one) => can("a", one)), [false, true, true, false, false]);
  assert.deepEqual([-1, 0, 1e9].map((one) => can("b", one)), [false, true, true]);
  assert.deepEqual([0.5, NaN, "'1'"].map((one) => can("c", one)), [true, false, false]);
  assert.deepEqual([shown.get('limitsOf(rules, "a")'), shown.get('limitsOf(rules, "b")')], ["1\u20133", "\u2265 0"]);
});

test("an element has the attributes that are given, and none that is false or missing", () => {
  const shown = shared();
  let heard = 0;
  shown.scope.hear = () => { heard += 1; };
  const there = shown.get('el("p", { class: "a", hidden: true, title: false, id: null, lang: undefined, on: hear }, "x", null, undefined, el("b", {}, "y"))');
  assert.deepEqual(there.attributes, { class: "a", hidden: "" });
  assert.equal(there.textContent, "xy");
  there.click();
  assert.equal(heard, 1);
  assert.equal(shown.get('button("go", hear, { id: "k" })').attributes.type, "button");
});

test("a mark is drawn where it stands, turned with its row only where it is one that turns", () => {
  const shown = shared();
  const pen = shown.document.getElementById("sheet").getContext("2d");
  Object.assign(shown.scope, { pen, along: [0.6, 0.8] });
  for (const look of Object.values(made().map.looks)) {
    shown.scope.look = look;
    pen.clearRect();
    shown.run(["mark", 'drawMark(pen, look, 50, 60, { scale: 1.5, along, ink: look.ink, fill: look.fill || "paper", width: 2 })']);
    assert.equal(isDrawn(pen, look, [50, 60], 1.5, Math.atan2(-0.8, 0.6)), true, look.word);
    assert.ok(pen.drawn.every((one) => one.width === 2));
  }
});

test("vines are drawn once, in the order of their conditions, and none beyond the sheet", () => {
  const shown = shared();
  shown.scope.places = [[10, 10], [20, 10], [30, 10], [-30, 10], [40, 10]];
  const drawn = plain(shown.get(`(() => { const out = []; const marks = ["b", "a", "b", "a", "c"];
    drawVines({ count: 5, order: ["a", "b"], looks: { a: {}, b: {}, c: {} }, width: 100, height: 50, markOf: (v) => marks[v], at: (v) => places[v], draw: (look, x, y, v, mark) => out.push([v, mark, x]) });
    return out; })()`));
  assert.deepEqual(drawn, [[1, "a", 20], [0, "b", 10], [2, "b", 30]]);
});

test("the nearest vine is one that is shown and within reach", () => {
  const shown = shared();
  shown.scope.places = [[10, 10], [20, 10], [31, 10]];
  const near = (x, y, reach, more = "") => shown.get(`nearestVine({ count: 3, at: (v) => places[v]${more} }, ${x}, ${y}, ${reach})`);
  assert.equal(near(19, 11, 14), 1);
  assert.equal(near(19, 11, 14, ", isShown: (v) => v !== 1"), 0);
  assert.equal(near(60, 60, 14), null);
  assert.equal(near(24, 10, 4), null);
});

test("a mark has the same strokes in a picture as on a canvas", () => {
  const shown = shared();
  for (const look of Object.values(made().map.looks)) {
    shown.scope.look = look;
    const paths = plain(shown.get("markPaths(look, { x: 100, y: 40, scale: 2, width: 3 })").map((path) => path.attributes));
    assert.deepEqual(paths.map((path) => path.d), look.strokes.map((stroke) => `M${stroke.map(([u, v]) => `${100 + 2 * u} ${40 + 2 * v}`).join("L")}`));
    for (const path of paths) assert.deepEqual([path.stroke, path.fill, path["stroke-width"]], [look.ink, look.solid ? look.fill : "none", "3"]);
  }
});

test("the scripts of a page of one file are joined here as the package joins them", () => {
  assert.equal(phoneScript(), made().scripts.phone);
  assert.equal(joined("static/block_map.js"), made().scripts.map);
});

test("no face has a helper of its own for what is shared", () => {
  const own = new Set(inOrder("static/block_map.js", "web/static/desk.js", ...made().parts.map((name) => `static/${name}`)).filter((name) => !MODULES.includes(name)));
  assert.ok(own.size > 15);
  for (const name of own) assert.doesNotMatch(textOf(name), /createElementNS|getMonth\(\)|\.strokes\b/, name);
  assert.ok(importsOf("static/block_map.js").includes("static/shared/marks.js") && importsOf("web/static/ground.js").includes("static/shared/marks.js"));
});
