// The map of a block: seasons, legend, the history of a vine, paper.
import { el } from "./shared/elements.js";
import { drawMark, drawVines, nearestVine } from "./shared/marks.js";

/** @type {{ rules: import("./shared/rules.js").Rules, looks: Record<string, import("./shared/marks.js").Look>, x: number[], y: number[], [more: string]: any }} */
const data = JSON.parse(document.getElementById("data").textContent);
const map = window.map_block;
const count = data.x.length;
data.row = []; data.station = []; data.label = []; // the label: of several rows on one line its own number
data.runs.forEach(function (run) { for (let n = 0; n < run[2]; n++) { data.row.push(run[0]); data.station.push(run[1] + n); data.label.push(run.length > 3 ? run[3] : run[0]); } });
let season = data.first;
const hidden = {};
let chosen = -1;
let printing = false;
const places = [];
for (let v = 0; v < count; v++) {
  const x = data.x[v] / 100, y = data.y[v] / 100;
  places.push(data.origin ? L.latLng(data.origin[1] + y / data.degree_m[1], data.origin[0] + x / data.degree_m[0]) : L.latLng(y, x));
}
const rows = {};
for (let v = 0; v < count; v++) (rows[data.row[v]] = rows[data.row[v]] || []).push(v);
const night = window.matchMedia("screen and (prefers-color-scheme: dark)");
function colour(light) { return night.matches && !printing ? data.dark[light] || light : light; }
const byId = function (name) { return document.getElementById(name); };

// One canvas over the map holds all vines: 5,000 of them are drawn anew in a few milliseconds.
const canvas = L.DomUtil.create("canvas", "vines");
canvas.style.pointerEvents = "none";
canvas.setAttribute("aria-hidden", "true");
map.getPanes().overlayPane.appendChild(canvas);
let points = [];

function draw() {
  const size = map.getSize(), ratio = printing ? 3 : window.devicePixelRatio || 1;
  canvas.width = size.x * ratio; canvas.height = size.y * ratio;
  canvas.style.width = size.x + "px"; canvas.style.height = size.y + "px";
  L.DomUtil.setPosition(canvas, map.containerPointToLayerPoint([0, 0]));
  const pen = canvas.getContext("2d");
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  pen.clearRect(0, 0, size.x, size.y);
  points = places.map(function (place) { return map.latLngToContainerPoint(place); });
  const step = pixelsPerVine();
  drawRows(pen, step);
  drawFoci(pen, step);
  drawBlock(pen, step, size);
  drawLabels(pen, step);
}

function pixelsPerVine() {
  let best = Infinity;
  for (let v = 1; v < count; v++) {
    if (data.row[v] === data.row[v - 1] && data.station[v] === data.station[v - 1] + 1) {
      best = Math.min(best, points[v].distanceTo(points[v - 1]));
      if (v > 400) break;
    }
  }
  return isFinite(best) ? best : 20;
}

function drawRows(pen, step) {
  pen.strokeStyle = colour(data.faint); pen.lineWidth = step < 4 ? 0.5 : 1;
  pen.beginPath();
  Object.keys(rows).forEach(function (row) {
    rows[row].forEach(function (v, n) {
      const joined = n > 0 && data.station[v] === data.station[rows[row][n - 1]] + 1;
      pen[joined ? "lineTo" : "moveTo"](points[v].x, points[v].y);
    });
  });
  pen.stroke();
}

// Cases that touch are joined by a broad dark band and a narrower pale one: what is left is their outline.
function drawFoci(pen, step) {
  const told = data.seasons[season].foci || [];
  if (!told.length || hidden[data.rules.showing]) return;
  const at = {};
  told.forEach(function (pair) { at[data.row[pair[0]] + ":" + data.station[pair[0]]] = pair; });
  [[step * 1.25 + 3, colour(data.ink)], [Math.max(step * 1.25, 2), colour(data.paper)]].forEach(function (band) {
    pen.lineWidth = band[0]; pen.strokeStyle = band[1]; pen.lineCap = "round";
    pen.beginPath();
    told.forEach(function (pair) {
      const v = pair[0];
      [[0, 0], [0, 1], [1, -1], [1, 0], [1, 1]].forEach(function (way) {
        const other = at[(data.row[v] + way[0]) + ":" + (data.station[v] + way[1])];
        if (other && other[1] === pair[1]) { pen.moveTo(points[v].x, points[v].y); pen.lineTo(points[other[0]].x + 0.01, points[other[0]].y); }
      });
    });
    pen.stroke();
  });
  pen.lineCap = "butt";
}

// A mark by its color for this screen; where strokes have a width in the mark's own box, it grows with the mark.
function shape(pen, look, x, y, scale, along) {
  drawMark(pen, look, x, y, { scale, along, ink: colour(look.ink), fill: colour(look.fill || data.paper), width: scale * Math.min(2, 1.6 / Math.max(scale, 0.5)) });
}

function drawBlock(pen, step, size) {
  const shown = data.seasons[season], scale = Math.max(0.45, Math.min(step / 15, 1.7));
  drawVines({
    count, order: data.rules.drawn.filter((mark) => !hidden[mark]), looks: data.looks, width: size.x, height: size.y,
    markOf: (vine) => shown.condition[vine], at: placeOf,
    draw: (look, x, y, vine, mark) => (step < 4 ? dot(pen, look, x, y, step, mark === data.rules.showing) : vineMark(pen, look, x, y, vine, step, scale)),
  });
  if (step >= 4) for (const vine of shown.work) shape(pen, data.work, ...placeOf(vine), scale);
  if (step >= 4) for (const vine of shown.outside) shape(pen, data.outside, ...placeOf(vine), scale);
  if (chosen >= 0) {
    pen.strokeStyle = colour(data.ink); pen.lineWidth = 3;
    pen.beginPath(); pen.arc(points[chosen].x, points[chosen].y, Math.max(10, step * 0.6), 0, 7); pen.stroke();
  }
}

// Where vines are closer than a mark is wide each is a square, and a case a larger one.
function dot(pen, look, x, y, step, isCase) {
  const wide = Math.max(step * 0.85, 1.4) * (isCase ? 1.7 : 1);
  pen.fillStyle = colour(isCase ? look.fill : look.ink);
  pen.fillRect(x - wide / 2, y - wide / 2, wide, wide);
}

function vineMark(pen, look, x, y, vine, step, scale) {
  shape(pen, look, x, y, scale, data.along[data.row[vine]]);
  if (step < 30) return;
  pen.fillStyle = colour(look.ink); pen.font = "bold 11px sans-serif"; pen.textAlign = "left";
  pen.fillText(look.letter, x + 9 * scale * 0.6 + 2, y + 12);
}

function drawLabels(pen, step) {
  pen.fillStyle = colour(data.ink); pen.font = "13px sans-serif"; pen.textBaseline = "middle"; pen.textAlign = "center";
  const last = [null, null], off = step >= 30 ? 34 : 17; // past the letter of the last vine
  Object.keys(rows).map(Number).sort(function (a, b) { return a - b; }).forEach(function (row) {
    const line = rows[row], along = data.along[row];
    [line[0], line[line.length - 1]].forEach(function (v, end) {
      const way = end ? 1 : -1, away = end ? off : off + 8;
      const p = L.point(points[v].x + way * along[0] * away, points[v].y - way * along[1] * away);
      if (last[end] && p.distanceTo(last[end]) < 17) return;
      last[end] = p;
      if (!end) shape(pen, data.start, p.x + 12 * along[0], p.y - 12 * along[1], 0.9, along);
      pen.fillStyle = colour(data.ink);
      pen.fillText(data.labels[data.label[v]], p.x, p.y);
    });
  });
  pen.textBaseline = "alphabetic";
}

/** @type {(vine: number) => [number, number]} */
const placeOf = (vine) => [points[vine].x, points[vine].y];
const isShown = (vine) => !hidden[data.seasons[season].condition[vine]];
const nearest = (point, reach) => nearestVine({ count, at: placeOf, isShown }, point.x, point.y, reach) ?? -1;

// Where more than a few vines lie under one thumb (48 pixels): how many levels nearer they can be told apart, the same over the whole block.
function nearer(v) {
  let many = 0;
  for (let other = 0; other < count; other += 1) {
    if (isShown(other) && Math.abs(points[other].x - points[v].x) < 24 && Math.abs(points[other].y - points[v].y) < 24) many += 1;
  }
  return many > 6 ? Math.max(0, Math.ceil(Math.log2(16 / pixelsPerVine()))) : 0;
}

function name(v) {
  return "Row " + data.labels[data.label[v]] + ", position " + data.position[v] + (data.bay[v] ? " (bay " + data.bay[v] + ")" : "");
}

function word(v, n) { const look = data.looks[data.seasons[n].condition[v]]; return look ? look.word : ""; }

const add = (parent, tag, text) => parent.appendChild(el(tag, {}, text));

function tell(v) {
  chosen = v;
  const box = byId("vine");
  box.textContent = "";
  add(box, "h2", name(v));
  const table = add(box, "table");
  add(table, "caption", "Season by season").className = "hide";
  data.seasons.forEach(function (told, n) {
    const row = add(table, "tr");
    add(row, "th", String(told.season)).scope = "row";
    add(row, "td", word(v, n) + (told.counted ? "" : " (season not counted)"));
  });
  add(box, "h2", "What happened");
  const events = data.events[v] || [];
  if (!events.length) add(box, "p", "Nothing on record.");
  else {
    const list = add(box, "table");
    add(list, "caption", "Records of this vine, by day").className = "hide";
    events.forEach(function (event) { const row = add(list, "tr"); add(row, "th", event[0]).scope = "row"; add(row, "td", event[1]); });
  }
  photos(box, (data.photos || {})[v] || []);
  document.querySelector(".side").scrollTop = 0;
  draw();
}

function photos(box, shown) {
  if (!shown.length) return;
  add(box, "h2", "Photos");
  shown.forEach(function (photo) {
    if (photo[1]) { const picture = add(box, "img"); picture.src = photo[1]; picture.alt = photo[0]; picture.style.maxWidth = "100%"; }
    add(box, "p", photo[0]);
  });
}

function show(n) {
  season = Math.max(0, Math.min(data.seasons.length - 1, n));
  byId("slider").value = season;
  byId("year").textContent = data.seasons[season].season;
  byId("line").textContent = data.seasons[season].line;
  byId("before").disabled = season === 0;
  byId("after").disabled = season === data.seasons.length - 1;
  counts();
  draw();
}

function counts() {
  const told = data.seasons[season].condition;
  Object.keys(data.looks).forEach(function (mark) {
    const number = told.split(mark).length - 1;
    byId("count" + mark).textContent = number;
  });
}

function legend() {
  const box = byId("legend");
  data.rules.legend.forEach(function (mark) {
    const look = data.looks[mark], label = add(box, "label"), tick = add(label, "input");
    tick.type = "checkbox"; tick.checked = !hidden[mark]; tick.value = mark;
    tick.addEventListener("change", function () { hidden[mark] = !tick.checked; draw(); });
    const picture = add(label, "canvas"); picture.width = 56; picture.height = 56; picture.setAttribute("aria-hidden", "true");
    const pen = picture.getContext("2d"); shape(pen, look, 28, 28, 2.3);
    const words = add(label, "span", look.letter + " " + look.word);
    add(words, "small", look.meaning);
    add(label, "b").id = "count" + mark;
  });
  const signs = byId("signs");
  const others = [[data.work, "work done this season", 18], [data.focus, data.focus.word, 28], [data.start, data.start.word, 28]];
  if (data.seasons.some(function (one) { return one.outside.length; })) others.push([data.outside, data.outside.word, 36]);
  others.forEach(function (other) {
    const line = add(signs, "li"), picture = add(line, "canvas");
    picture.width = 56; picture.height = 56; picture.setAttribute("aria-hidden", "true");
    shape(picture.getContext("2d"), other[0], 28, other[2], 2.3);
    add(line, "span", other[1]);
  });
}

// A picture of the legend is painted once: where the colours of the screen change, all are painted anew.
function repaint() {
  byId("legend").querySelectorAll("label").forEach(function (label) { label.remove(); });
  byId("signs").textContent = "";
  legend(); counts(); draw();
}

function whole() { 
  // Room for the row numbers around the block, and for the scale under it.
  map.fitBounds(L.latLngBounds(places), { animate: false, paddingTopLeft: [44, 36], paddingBottomRight: [44, 84] });
}

function ends() {
  byId("closer").disabled = map.getZoom() >= map.getMaxZoom();
  byId("farther").disabled = map.getZoom() <= map.getMinZoom();
}

function label(v, point, over) {
  const tip = byId("tip"), box = map.getContainer().getBoundingClientRect();
  tip.hidden = false; tip.className = over ? "over" : "";
  tip.textContent = name(v) + ": " + word(v, season);
  if (over) { // a finger hides what is under it: the label stands over it, within the screen
    const half = tip.offsetWidth / 2, middle = box.left + points[v].x;
    tip.style.left = Math.max(box.left + half + 4, Math.min(middle, box.right - half - 4)) + "px";
    tip.style.top = Math.max(box.top + tip.offsetHeight + 2, box.top + points[v].y - 26) + "px";
  } else {
    tip.style.left = Math.min(box.left + point.x + 14, box.right - 190) + "px";
    tip.style.top = box.top + point.y + 14 + "px";
  }
}

// On paper the whole block fills the sheet, for the season and with the marks that are chosen, in the colours of paper.
function toPaper() {
  if (printing) return;
  const view = [map.getCenter(), map.getZoom()];
  lay(true);
  whole();
  window.addEventListener("afterprint", function () { lay(false); map.setView(view[0], view[1], { animate: false }); }, { once: true });
}

function lay(paper) {
  printing = paper;
  document.body.classList.toggle("paper", paper);
  map.invalidateSize({ animate: false, pan: false });
  repaint();
}

legend();
L.control.scale({ position: "bottomleft" }).addTo(map);
if (data.base) { L.tileLayer(data.base, { maxZoom: 24, maxNativeZoom: 19, attribution: data.credit }).addTo(map); L.control.attribution({ prefix: false }).addTo(map).addAttribution(L.Util.template("{c}", { c: data.credit.replace(/</g, "") })); }
if (!data.north) byId("north").style.display = "none";
map.getContainer().setAttribute("aria-label", "Map of block " + data.block + "; the vines can also be reached by row and position");
whole(); ends();
byId("closer").addEventListener("click", function () { map.zoomIn(1, { animate: false }); });
byId("farther").addEventListener("click", function () { map.zoomOut(1, { animate: false }); });
byId("whole").addEventListener("click", whole);
map.on("zoomend", ends);
night.addEventListener("change", repaint);
window.addEventListener("beforeprint", toPaper);
map.on("move zoomend resize viewreset", draw);
map.on("mousemove", function (event) {
  if (touched) return;
  const v = nearest(event.containerPoint, 16);
  byId("tip").hidden = v < 0;
  if (v >= 0) label(v, event.containerPoint, false);
});
let touched = false;
map.getContainer().addEventListener("pointerdown", function (event) { touched = event.pointerType === "touch"; }, true);
map.on("movestart zoomstart", function () { byId("tip").hidden = true; });
map.on("mouseout", function () { if (!touched) byId("tip").hidden = true; });
map.on("click", function (event) {
  const v = nearest(event.containerPoint, 28);
  if (v < 0) { byId("tip").hidden = true; return; }
  const levels = touched ? nearer(v) : 0;
  if (levels) map.setZoomAround(places[v], Math.min(map.getZoom() + levels, map.getMaxZoom()), { animate: false });
  tell(v);
  if (touched) label(v, event.containerPoint, true);
});
byId("slider").addEventListener("input", function () { show(Number(this.value)); });
byId("before").addEventListener("click", function () { show(season - 1); });
byId("after").addEventListener("click", function () { show(season + 1); });
byId("go").addEventListener("submit", function (event) {
  event.preventDefault();
  const row = byId("go-row").value.trim(), position = Number(byId("go-position").value);
  for (let v = 0; v < count; v++) {
    if (data.labels[data.label[v]] === row && data.position[v] === position) { map.panTo(places[v], { animate: false }); tell(v); return; }
  }
  byId("vine").textContent = "";
  add(byId("vine"), "p", "There is no position " + byId("go-position").value + " in row " + row + ".");
});
show(season);
