// The map page: which mark each condition gets, the legend and its counts, seasons, finding a vine, the names of the rows.
import assert from "node:assert/strict";
import { test } from "node:test";
import { made, plain } from "./stand_in.mjs";
import { blockMap } from "./faces.mjs";
import { isDrawn, marksAt } from "./marks.mjs";

const data = made().map;
const byId = (shown, id) => shown.document.getElementById(id);
const PIXELS = 20; // a metre
const at = (v) => [100 + (PIXELS * data.x[v]) / 100, 100 - (PIXELS * data.y[v]) / 100];
const SCALE = 1.7; // as large as a mark gets, here: 30 pixels from vine to vine
const vineAt = (row, position) => data.position.findIndex((one, v) => one === position && rowOf(v) === row);
const rowOf = (v) => { let past = 0; for (const [row, , many] of data.runs) { past += many; if (v < past) return data.labels[row]; } return null; };

test("every condition of the season has its own mark where its vine stands", () => {
  const { pen } = blockMap();
  const { condition } = data.seasons[1];
  assert.deepEqual([...new Set(condition)].sort(), ["1", "2", "3", "4", "5", "6", "7", "8"]); // the block shows all of them
  for (let v = 0; v < data.x.length; v += 1) assert.deepEqual(marksAt(pen, data.looks, at(v), SCALE), [condition[v]], `vine ${v}`);
});

test("what matters most lies on top: cases are drawn after all other vines", () => {
  const { pen } = blockMap();
  const { condition } = data.seasons[1];
  const drawnAt = (v) => pen.drawn.findIndex((one) => one.what === "stroke" && one.colour === data.looks[condition[v]].ink && one.points.some((point) => Math.hypot(point[0] - at(v)[0], point[1] - at(v)[1]) < 20));
  const order = [...condition].map((mark, v) => [drawnAt(v), mark]).sort((a, b) => a[0] - b[0]).map(([, mark]) => mark);
  assert.deepEqual([...new Set(order)], data.rules.drawn);
  assert.equal(order.at(-1), "5");
});

test("the page opens with the season that it was made for, and the slider goes to the others", async () => {
  const shown = blockMap();
  const before = () => [byId(shown, "year").textContent, byId(shown, "before").disabled, byId(shown, "after").disabled];
  assert.deepEqual(before(), ["2025", false, true]);
  byId(shown, "slider").value = "0";
  await byId(shown, "slider").fire("input");
  assert.deepEqual(before(), ["2024", true, false]);
  assert.equal(byId(shown, "line").textContent, data.seasons[0].line);
  for (let v = 0; v < data.x.length; v += 1) assert.deepEqual(marksAt(shown.pen, data.looks, at(v), SCALE), [data.seasons[0].condition[v]], `vine ${v}`);
  await byId(shown, "after").click();
  assert.deepEqual(before(), ["2025", false, true]);
  await byId(shown, "after").click(); // there is none behind the last
  assert.equal(byId(shown, "year").textContent, "2025");
});

test("the legend counts each condition of the season, and all vines together", async () => {
  const shown = blockMap();
  for (const [n, move] of [[1, null], [0, "before"]]) {
    if (move) await byId(shown, move).click();
    const counts = Object.keys(data.looks).map((mark) => Number(byId(shown, `count${mark}`).textContent));
    assert.deepEqual(counts, Object.keys(data.looks).map((mark) => [...data.seasons[n].condition].filter((one) => one === mark).length));
    assert.equal(counts.reduce((sum, one) => sum + one), data.x.length);
  }
});

test("the legend names every condition with its letter, and paints its mark", () => {
  const shown = blockMap();
  const labels = byId(shown, "legend").querySelectorAll("label");
  assert.equal(labels.length, Object.keys(data.looks).length);
  for (const label of labels) {
    const look = data.looks[label.querySelector("input").value];
    assert.ok(label.textContent.startsWith(`${look.letter} ${look.word}${look.meaning}`));
    assert.ok(isDrawn(label.querySelector("canvas").pen, look, [28, 28], 2.3));
  }
});

test("a condition that is ticked off is not drawn and not found, all others are", async () => {
  const shown = blockMap();
  const tick = byId(shown, "legend").querySelectorAll("input").find((one) => one.value === "8");
  tick.checked = false;
  await tick.fire("change");
  const { condition } = data.seasons[1];
  for (let v = 0; v < data.x.length; v += 1) assert.deepEqual(marksAt(shown.pen, data.looks, at(v), SCALE), condition[v] === "8" ? [] : [condition[v]]);
  const sound = condition.indexOf("8");
  shown.map.fire("click", { containerPoint: { x: at(sound)[0], y: at(sound)[1] } });
  assert.equal(byId(shown, "vine").querySelectorAll("h2").length, 0);
});

test("work of the season is a notch under its vine", async () => {
  const shown = blockMap();
  const [renewed] = data.seasons[1].work;
  assert.equal(isDrawn(shown.pen, data.work, at(renewed), SCALE), true);
  assert.equal(isDrawn(shown.pen, data.work, at(0), SCALE), false);
  await byId(shown, "before").click();
  assert.equal(isDrawn(shown.pen, data.work, at(renewed), SCALE), false);
});

test("vines that stand side by side in a focus are joined, and only while cases are shown", async () => {
  const shown = blockMap();
  const [[one], [other]] = data.seasons[1].foci;
  const band = () => shown.pen.drawn.filter((drawn) => drawn.what === "stroke" && drawn.width > 30 && Math.hypot(drawn.points[0][0] - at(one)[0], drawn.points[0][1] - at(one)[1]) < 0.1
    && Math.hypot(drawn.points[1][0] - at(other)[0], drawn.points[1][1] - at(other)[1]) < 0.1);
  assert.deepEqual(band().map((drawn) => drawn.colour), [data.ink, data.paper]);
  const tick = byId(shown, "legend").querySelectorAll("input").find((box) => box.value === "5");
  tick.checked = false;
  await tick.fire("change");
  assert.equal(band().length, 0);
});

test("a vine is found by row and position, with what happened to it and every season", async () => {
  const shown = blockMap();
  byId(shown, "go-row").value = " 2 ";
  byId(shown, "go-position").value = "4";
  await byId(shown, "go").fire("submit");
  const v = vineAt("2", 4);
  const text = byId(shown, "vine").textContent;
  assert.ok(text.startsWith("Row 2, position 4 (bay 2)"), text);
  for (const [day, told] of data.events[v]) assert.ok(text.includes(day + told), told);
  for (const season of data.seasons) assert.ok(text.includes(String(season.season) + data.looks[season.condition[v]].word));
  const [place] = plain(shown.map.panned);
  assert.deepEqual([place.lng, place.lat], [data.x[v] / 100, data.y[v] / 100]);
  assert.ok(shown.pen.drawn.some((one) => one.what === "arc" && Math.hypot(one.at[0] - at(v)[0], one.at[1] - at(v)[1]) < 0.01));
});

test("a position that is not there is said so, and nothing is chosen", async () => {
  const shown = blockMap();
  byId(shown, "go-row").value = "3";
  byId(shown, "go-position").value = "1";
  await byId(shown, "go").fire("submit");
  assert.equal(byId(shown, "vine").textContent, "There is no position 1 in row 3.");
  assert.equal(shown.map.panned.length, 0);
});

test("a tap takes the nearest vine within reach, and none beyond it", () => {
  const shown = blockMap();
  const v = vineAt("1", 4);
  const [x, y] = at(v);
  shown.map.fire("click", { containerPoint: { x: x + 9, y: y - 9 } });
  assert.ok(byId(shown, "vine").textContent.startsWith("Row 1, position 4"));
  shown.map.fire("click", { containerPoint: { x: x + 4, y: 700 } });
  assert.ok(byId(shown, "vine").textContent.startsWith("Row 1, position 4")); // unchanged
});

test("the name of each row stands before its first and behind its last vine", () => {
  const { pen } = blockMap();
  for (const row of data.labels) {
    const names = pen.texts.filter((one) => one.text === row && one.at[1] === at(data.runs[data.labels.indexOf(row)][2] * data.labels.indexOf(row))[1]);
    const left = 100, right = 100 + (PIXELS * 750) / 100;
    assert.equal(names.length, 2, `row ${row}`);
    assert.ok(names[0].at[0] < left && names[1].at[0] > right);
  }
});

test("names of rows that would lie on each other are left out", () => {
  const { pen } = blockMap({ pixels: 4 }); // rows 10 pixels apart
  assert.deepEqual(pen.texts.filter((one) => data.labels.includes(one.text)).map((one) => one.text), ["1", "1", "3", "3"]);
});

test("far away every vine is a spot of its condition's colour, cases larger", () => {
  const { pen } = blockMap({ pixels: 2 }); // three pixels from vine to vine
  const spots = pen.drawn.filter((one) => one.what === "rect");
  assert.equal(spots.length, data.x.length);
  const { condition } = data.seasons[1];
  const colours = spots.map((one) => one.colour).sort();
  assert.deepEqual(colours, [...condition].map((mark) => (mark === "5" ? data.looks[5].fill : data.looks[mark].ink)).sort());
  const wide = (mark) => spots.find((one) => one.colour === (mark === "5" ? data.looks[5].fill : data.looks[mark].ink)).size[0];
  assert.ok(wide("5") > wide("8"));
});

test("on a dark screen every mark has the colour that stands for it there", () => {
  const { pen } = blockMap({ dark: true });
  const { condition } = data.seasons[1];
  const dark = (colour) => data.dark[colour] || colour;
  for (let v = 0; v < data.x.length; v += 1) {
    const look = data.looks[condition[v]];
    assert.ok(isDrawn(pen, { ...look, ink: dark(look.ink), fill: dark(look.fill) }, at(v), SCALE), `vine ${v}`);
  }
});

test("a tick follows its row, a flag stands upright, whichever way the row runs", () => {
  const turned = { ...data, along: data.along.map(() => [0.6, 0.8]) };
  const { pen } = blockMap({ change: () => turned });
  const { condition } = data.seasons[1];
  const turn = Math.atan2(-0.8, 0.6);
  for (let v = 0; v < data.x.length; v += 1) assert.deepEqual(marksAt(pen, data.looks, at(v), SCALE, turn), [condition[v]], `vine ${v}`);
});

test("a vine that nobody scouted is never shown as without symptoms", () => {
  const shown = blockMap();
  for (const n of [0, 1]) {
    const silent = [...data.seasons[n].condition].flatMap((mark, v) => (mark === "3" ? [v] : []));
    assert.ok(silent.length > 0);
    for (const v of silent) {
      shown.map.fire("click", { containerPoint: { x: at(v)[0], y: at(v)[1] } });
      const row = byId(shown, "vine").querySelectorAll("tr")[n];
      assert.ok(row.textContent.startsWith(`${data.seasons[n].season}not scouted`), row.textContent);
    }
  }
});

test("a season that does not count is named so in a vine's history", () => {
  const shown = blockMap({ change: (told) => ({ ...told, seasons: told.seasons.map((one, n) => ({ ...one, counted: n === 1 })) }) });
  shown.map.fire("click", { containerPoint: { x: at(0)[0], y: at(0)[1] } });
  const rows = byId(shown, "vine").querySelectorAll("tr").slice(0, 2).map((one) => one.textContent.includes("season not counted"));
  assert.deepEqual(rows, [true, false]);
});
