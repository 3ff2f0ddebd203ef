// The block as it lies on the ground: rows, vines by condition, moving and zooming, choosing vines.
import { drawMark, drawVines, nearestVine } from "./shared/marks.js";

export const canvas = document.getElementById("grid");
const pen = canvas.getContext("2d");
// What the server told of the block.
/** @type {{ rules: import("./shared/rules.js").Rules, looks: Record<string, import("./shared/marks.js").Look>, x: number[], y: number[], row: number[], position: number[], labels: string[], [more: string]: any } | null} */
export let data = null;
export let season = null; // index of the season shown
let view = { x: 0, y: 0, scale: 1 }; // middle in centimetres of the ground, pixels a centimetre
export let chosen = []; // numbers of the vines chosen
export let number = new Map(); // "row\u001fposition" -> vine
export let several = false; // whether a drag chooses, as with Shift
let heard = (_vines) => {}; // what the page does with vines that are pressed

// What the page sets of the drawing; the drawing follows when it is drawn next.
export function setGround(changes) {
  if ("data" in changes) {
    data = changes.data;
    number = new Map(data.x.map((_, vine) => [`${data.labels[data.row[vine]]}\u001f${data.position[vine]}`, vine]));
    findRows();
  }
  if ("season" in changes) season = changes.season;
  if ("chosen" in changes) chosen = changes.chosen;
  if ("several" in changes) several = changes.several;
}
export const whenChosen = (listener) => { heard = listener; };

function size() {
  const box = canvas.getBoundingClientRect();
  const sharp = window.devicePixelRatio || 1;
  canvas.width = Math.max(1, Math.round(box.width * sharp));
  canvas.height = Math.max(1, Math.round(box.height * sharp));
  pen.setTransform(sharp, 0, 0, sharp, 0, 0);
  return box;
}

export function whole() {
  const box = canvas.getBoundingClientRect();
  const [left, right] = [Math.min(...data.x), Math.max(...data.x)];
  const [low, high] = [Math.min(...data.y), Math.max(...data.y)];
  const margin = 84; // pixels for row names, north arrow and scale
  const room = (pixels, length) => Math.max(40, pixels - margin) / Math.max(100, length);
  view = { x: (left + right) / 2, y: (low + high) / 2, scale: Math.min(room(box.width, right - left), room(box.height, high - low), 0.6) };
}

/** @type {(box: { width: number, height: number }, x: number, y: number) => [number, number]} */
export const toScreen = (box, x, y) => [box.width / 2 + (x - view.x) * view.scale, box.height / 2 - (y - view.y) * view.scale];

export function condition(vine) {
  const one = data.seasons[season];
  return one ? one.condition[vine] : data.rules.not_scouted;
}

// What was written of a vine this season where its count says that nothing was seen: [vine, text, no survey covers it, drawn].
export const writtenOf = (vine) => ((data.seasons[season] || {}).written || []).filter((one) => one[0] === vine);
export const writtenOpen = () => new Set(((data.seasons[season] || {}).written || []).filter((one) => one[3]).map((one) => one[0]));

export function draw() {
  if (!data) return;
  const box = size();
  pen.fillStyle = data.paper;
  pen.fillRect(0, 0, box.width, box.height);
  drawRows(box);
  const unit = Math.max(0.16, Math.min(1.5, (view.scale * 100 * data.vine_m) / 20));
  drawVines({
    count: data.x.length, order: drawingOrder(), looks: { ...data.looks, written: data.written }, width: box.width, height: box.height,
    markOf: shownAs(), at: (vine) => toScreen(box, data.x[vine], data.y[vine]),
    draw: (look, x, y, vine) => drawMark(pen, look, x, y, { scale: unit, along: data.along[data.row[vine]], ink: look.ink, fill: look.fill || data.paper, width: Math.max(0.8, 1.6 * unit) }),
  });
  drawChosen(box, unit);
  drawStarts(box, unit);
  drawNames(box);
  drawScale(box);
}

// What was written without a survey lies under the cases and on all else.
const drawingOrder = () => [...data.rules.drawn.slice(0, -1), "written", ...data.rules.drawn.slice(-1)];
// By which mark each vine is drawn: a condition, or "written".
export function shownAs() {
  const open = writtenOpen();
  return (vine) => (open.has(vine) ? "written" : condition(vine));
}

function drawChosen(box, unit) {
  pen.strokeStyle = data.ink;
  pen.lineWidth = 2;
  for (const vine of chosen) {
    const [x, y] = toScreen(box, data.x[vine], data.y[vine]);
    pen.strokeRect(x - 11 * unit, y - 11 * unit, 22 * unit, 22 * unit);
  }
}

// A dot on position 1 of each row, where it is asked for.
function drawStarts(box, unit) {
  pen.fillStyle = data.ink;
  for (const vine of data.starts || []) {
    pen.beginPath();
    pen.arc(...toScreen(box, data.x[vine], data.y[vine]), Math.max(2.5, 7 * unit), 0, 2 * Math.PI);
    pen.fill();
  }
}

// Drawn once a frame, however many moves there were.
let waiting = false;
function redraw() {
  if (waiting) return;
  waiting = true;
  requestAnimationFrame(() => { waiting = false; draw(); });
}

let rowEnds = [];
function findRows() {
  const ends = new Map();
  data.row.forEach((row, vine) => {
    const found = ends.get(row);
    if (!found) ends.set(row, [vine, vine]);
    else {
      if (data.position[vine] < data.position[found[0]]) found[0] = vine;
      if (data.position[vine] > data.position[found[1]]) found[1] = vine;
    }
  });
  rowEnds = [...ends.entries()];
}

function drawRows(box) {
  pen.strokeStyle = data.rules.row_line;
  pen.lineWidth = 1;
  for (const [, [first, last]] of rowEnds) {
    pen.beginPath();
    pen.moveTo(...toScreen(box, data.x[first], data.y[first]));
    pen.lineTo(...toScreen(box, data.x[last], data.y[last]));
    pen.stroke();
  }
}

// Names of rows at both ends; where they would lie on each other only some are written.
function drawNames(box) {
  pen.fillStyle = data.ink;
  pen.font = "600 13px 'Noto Sans', Arial, sans-serif";
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  const taken = [];
  for (const [row, ends] of rowEnds) {
    const [u, v] = data.along[row];
    const half = pen.measureText(data.labels[row]).width / 2;
    const [first, last] = ends;
    // Out of the row at both ends, also where its positions run against the others.
    const runs = (data.x[last] - data.x[first]) * u + (data.y[last] - data.y[first]) * v < 0 ? -1 : 1;
    ends.forEach((vine, k) => {
      const way = runs * (k ? 1 : -1) * (12 + Math.abs(u) * half);
      const [x, y] = toScreen(box, data.x[vine], data.y[vine]);
      const at = [x + way * u, y - way * v];
      if (taken.some(([px, py, wide]) => Math.abs(px - at[0]) < half + wide + 2 && Math.abs(py - at[1]) < 13)) return;
      taken.push([...at, half]);
      pen.fillText(data.labels[row], ...at);
    });
  }
}

const STEPS = [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000];
function drawScale(box) {
  const unit = data.unit || "m";
  const metre = 100 * view.scale * (unit === "ft" ? 0.3048 : 1);
  const length = STEPS.find((one) => one * metre >= 50) || STEPS.at(-1);
  const [x, y] = [12, box.height - 12];
  pen.strokeStyle = data.ink;
  pen.fillStyle = data.ink;
  pen.lineWidth = 1.5;
  pen.beginPath();
  pen.moveTo(x, y - 5); pen.lineTo(x, y); pen.lineTo(x + length * metre, y); pen.lineTo(x + length * metre, y - 5);
  pen.stroke();
  pen.font = "12px 'Noto Sans', Arial, sans-serif";
  pen.textAlign = "left";
  pen.fillText(`${length} ${unit}`, x + 4, y - 9);
  if (!data.north) return;
  pen.beginPath();
  pen.moveTo(20, 12); pen.lineTo(27, 32); pen.lineTo(20, 27); pen.lineTo(13, 32); pen.closePath();
  pen.fill();
  pen.textAlign = "center";
  pen.fillText("N", 20, 42);
}

function nearest(px, py) {
  const box = canvas.getBoundingClientRect();
  const reach = Math.max(14, view.scale * 60 * data.vine_m);
  return nearestVine({ count: data.x.length, at: (vine) => toScreen(box, data.x[vine], data.y[vine]) }, px, py, reach);
}

const pointers = new Map();
let drag = null;
canvas.addEventListener("pointerdown", (event) => {
  canvas.setPointerCapture(event.pointerId);
  pointers.set(event.pointerId, [event.offsetX, event.offsetY]);
  drag = { x: event.offsetX, y: event.offsetY, moved: false, choose: event.shiftKey || several };
});
canvas.addEventListener("pointermove", (event) => {
  if (!pointers.has(event.pointerId) || !drag) return;
  const before = pointers.get(event.pointerId);
  const now = [event.offsetX, event.offsetY];
  if (pointers.size === 2) {
    const other = [...pointers.entries()].find(([id]) => id !== event.pointerId)[1];
    const far = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]) || 1;
    zoom(far(now, other) / far(before, other), (now[0] + other[0]) / 2, (now[1] + other[1]) / 2);
    drag.moved = true;
  } else if (drag.choose) {
    draw();
    pen.strokeStyle = data.ink;
    pen.setLineDash([4, 3]);
    pen.strokeRect(drag.x, drag.y, now[0] - drag.x, now[1] - drag.y);
    pen.setLineDash([]);
    drag.moved = true;
  } else if (drag.moved || Math.hypot(now[0] - drag.x, now[1] - drag.y) > 5) {
    drag.moved = true;
    view.x -= (now[0] - before[0]) / view.scale;
    view.y += (now[1] - before[1]) / view.scale;
    redraw();
  }
  pointers.set(event.pointerId, now);
});
canvas.addEventListener("pointerup", (event) => {
  pointers.delete(event.pointerId);
  if (!drag || pointers.size) return;
  if (drag.choose && drag.moved) chooseInside(drag.x, drag.y, event.offsetX, event.offsetY);
  else if (!drag.moved) {
    const vine = nearest(event.offsetX, event.offsetY);
    if (vine !== null) heard([vine]);
  }
  drag = null;
});
canvas.addEventListener("pointercancel", (event) => { pointers.delete(event.pointerId); drag = null; });
canvas.addEventListener("wheel", (event) => { event.preventDefault(); zoom(Math.exp(-event.deltaY / 400), event.offsetX, event.offsetY); }, { passive: false });
function zoom(by, px, py) {
  const box = canvas.getBoundingClientRect();
  const scale = Math.max(0.002, Math.min(3, view.scale * by));
  view.x += (px - box.width / 2) * (1 / view.scale - 1 / scale);
  view.y -= (py - box.height / 2) * (1 / view.scale - 1 / scale);
  view.scale = scale;
  redraw();
}
function chooseInside(x1, y1, x2, y2) {
  const box = canvas.getBoundingClientRect();
  const [left, right, top, bottom] = [Math.min(x1, x2), Math.max(x1, x2), Math.min(y1, y2), Math.max(y1, y2)];
  const inside = [];
  data.x.forEach((_, vine) => {
    const [x, y] = toScreen(box, data.x[vine], data.y[vine]);
    if (x >= left && x <= right && y >= top && y <= bottom) inside.push(vine);
  });
  heard(inside);
}
// The arrow keys go to the next vine on the screen, wherever rows run; with Shift they add it.
function beside(vine, right, down) {
  let best;
  let least = Infinity;
  for (let other = 0; other < data.x.length; other += 1) {
    const [dx, dy] = [data.x[other] - data.x[vine], data.y[vine] - data.y[other]];
    const ahead = dx * right + dy * down;
    if (ahead <= 1) continue;
    const away = ahead + 2.5 * Math.abs(dx * down + dy * right);
    if (away < least) [least, best] = [away, other];
  }
  return best;
}
function intoView(vine) {
  const box = canvas.getBoundingClientRect();
  const [x, y] = toScreen(box, data.x[vine], data.y[vine]);
  if (x > 20 && y > 20 && x < box.width - 20 && y < box.height - 20) return;
  [view.x, view.y] = [data.x[vine], data.y[vine]];
}
canvas.addEventListener("keydown", (event) => {
  const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
  if (way && data) {
    event.preventDefault();
    const vine = chosen.length ? beside(chosen.at(-1), ...way) : 0;
    if (vine === undefined) return;
    intoView(vine);
    heard(event.shiftKey ? [...chosen.filter((one) => one !== vine), vine] : [vine]);
  } else if (event.key === "Enter" && chosen.length) {
    event.preventDefault(); // the form must not take the same Enter
    document.querySelector("#entry [name=symptom]")?.focus();
  } else if (event.key === "Escape") heard([]);
  else if (event.key === "+" || event.key === "-") {
    const box = canvas.getBoundingClientRect();
    zoom(event.key === "+" ? 1.3 : 1 / 1.3, box.width / 2, box.height / 2);
  } else if (event.key === "0") { whole(); draw(); }
});
