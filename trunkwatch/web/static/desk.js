// The desk page: a block as it lies on the ground, and a form that a stack of paper goes through without the mouse.
"use strict";

const desk = document.getElementById("desk");
const block = desk.dataset.block;
const api = (path) => `/api/block/${encodeURIComponent(block)}${path}`;
const canvas = document.getElementById("grid");
const pen = canvas.getContext("2d");
const form = document.getElementById("entry");
let data = null; // what the server told of the block
let etag = "";
let season = null; // index of the season shown
let view = { x: 0, y: 0, scale: 1 }; // middle in centimetres of the ground, pixels a centimetre
let chosen = []; // numbers of the vines chosen
let number = new Map(); // "row\u001fposition" -> vine
const mine = []; // what was written on this page

// ---- The ground ----------------------------------------------------------------------------------------------
function size() {
  const box = canvas.getBoundingClientRect();
  const sharp = window.devicePixelRatio || 1;
  canvas.width = Math.max(1, Math.round(box.width * sharp));
  canvas.height = Math.max(1, Math.round(box.height * sharp));
  pen.setTransform(sharp, 0, 0, sharp, 0, 0);
  return box;
}

function whole() {
  const box = canvas.getBoundingClientRect();
  const [left, right] = [Math.min(...data.x), Math.max(...data.x)];
  const [low, high] = [Math.min(...data.y), Math.max(...data.y)];
  const margin = 2.4 * 100 * data.vine_m;
  view = {
    x: (left + right) / 2, y: (low + high) / 2,
    scale: Math.min(box.width / (right - left + 2 * margin), box.height / (high - low + 2 * margin)),
  };
}

const toScreen = (box, x, y) => [box.width / 2 + (x - view.x) * view.scale, box.height / 2 - (y - view.y) * view.scale];

function condition(vine) {
  const one = data.seasons[season];
  return one ? one.condition[vine] : "3";
}

function draw() {
  if (!data) return;
  const box = size();
  pen.fillStyle = data.paper;
  pen.fillRect(0, 0, box.width, box.height);
  drawRows(box);
  const unit = Math.max(0.16, Math.min(1.5, (view.scale * 100 * data.vine_m) / 20));
  const picked = new Set(chosen);
  for (let vine = 0; vine < data.x.length; vine += 1) {
    const [x, y] = toScreen(box, data.x[vine], data.y[vine]);
    if (x < -20 || y < -20 || x > box.width + 20 || y > box.height + 20) continue;
    drawLook(data.looks[condition(vine)], x, y, unit, data.along[data.row[vine]]);
    if (picked.has(vine)) {
      pen.strokeStyle = data.ink;
      pen.lineWidth = 2;
      pen.strokeRect(x - 11 * unit, y - 11 * unit, 22 * unit, 22 * unit);
    }
  }
  drawNames(box);
}

function drawLook(look, x, y, unit, along) {
  if (!look) return;
  const [cos, sin] = look.turn ? [along[0], -along[1]] : [1, 0];
  pen.strokeStyle = look.ink;
  pen.fillStyle = look.fill || data.paper;
  pen.lineWidth = Math.max(0.8, 1.6 * unit);
  for (const stroke of look.strokes) {
    pen.beginPath();
    stroke.forEach(([u, v], k) => {
      const at = [x + unit * (u * cos - v * sin), y + unit * (u * sin + v * cos)];
      if (k) pen.lineTo(...at);
      else pen.moveTo(...at);
    });
    if (look.solid) pen.fill();
    pen.stroke();
  }
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
  pen.strokeStyle = "#c9c5bb";
  pen.lineWidth = 1;
  for (const [, [first, last]] of rowEnds) {
    pen.beginPath();
    pen.moveTo(...toScreen(box, data.x[first], data.y[first]));
    pen.lineTo(...toScreen(box, data.x[last], data.y[last]));
    pen.stroke();
  }
}

function drawNames(box) {
  pen.fillStyle = data.ink;
  pen.font = "600 13px 'Noto Sans', Arial, sans-serif";
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  const step = 1.4 * 100 * data.vine_m;
  for (const [row, ends] of rowEnds) {
    const [u, v] = data.along[row];
    ends.forEach((vine, k) => {
      const way = k ? 1 : -1;
      pen.fillText(data.labels[row], ...toScreen(box, data.x[vine] + way * u * step, data.y[vine] + way * v * step));
    });
  }
}

function nearest(px, py) {
  const box = canvas.getBoundingClientRect();
  let best = null;
  let least = Math.max(14, view.scale * 60 * data.vine_m) ** 2;
  for (let vine = 0; vine < data.x.length; vine += 1) {
    const [x, y] = toScreen(box, data.x[vine], data.y[vine]);
    const away = (x - px) ** 2 + (y - py) ** 2;
    if (away < least) [least, best] = [away, vine];
  }
  return best;
}

const pointers = new Map();
let drag = null;
canvas.addEventListener("pointerdown", (event) => {
  canvas.setPointerCapture(event.pointerId);
  pointers.set(event.pointerId, [event.offsetX, event.offsetY]);
  drag = { x: event.offsetX, y: event.offsetY, moved: false, choose: event.shiftKey };
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
    draw();
  }
  pointers.set(event.pointerId, now);
});
canvas.addEventListener("pointerup", (event) => {
  pointers.delete(event.pointerId);
  if (!drag || pointers.size) return;
  if (drag.choose && drag.moved) chooseInside(drag.x, drag.y, event.offsetX, event.offsetY);
  else if (!drag.moved) {
    const vine = nearest(event.offsetX, event.offsetY);
    if (vine !== null) choose([vine]);
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
  draw();
}
function chooseInside(x1, y1, x2, y2) {
  const box = canvas.getBoundingClientRect();
  const [left, right, top, bottom] = [Math.min(x1, x2), Math.max(x1, x2), Math.min(y1, y2), Math.max(y1, y2)];
  const inside = [];
  data.x.forEach((_, vine) => {
    const [x, y] = toScreen(box, data.x[vine], data.y[vine]);
    if (x >= left && x <= right && y >= top && y <= bottom) inside.push(vine);
  });
  choose(inside);
}
canvas.addEventListener("keydown", (event) => {
  const step = { ArrowLeft: -1, ArrowRight: 1, ArrowUp: -2, ArrowDown: 2 }[event.key];
  if (step) {
    event.preventDefault();
    const now = chosen.length ? chosen[0] : 0;
    const row = data.row[now] + (Math.abs(step) === 2 ? Math.sign(step) : 0);
    const wanted = data.position[now] + (Math.abs(step) === 1 ? step : 0);
    const vine = number.get(`${data.labels[row]}\u001f${wanted}`);
    if (vine !== undefined) choose([vine]);
  } else if (event.key === "Enter" && chosen.length) form.elements.symptom.focus();
  else if (event.key === "+" || event.key === "-") {
    const box = canvas.getBoundingClientRect();
    zoom(event.key === "+" ? 1.3 : 1 / 1.3, box.width / 2, box.height / 2);
  }
});

// ---- Reading -------------------------------------------------------------------------------------------------
async function load() {
  const answer = await fetch(api(""), { headers: etag ? { "If-None-Match": etag } : {} });
  if (answer.status === 304) return;
  if (!answer.ok) throw new Error((await answer.json()).error);
  const fresh = data === null;
  const before = data && season !== null ? data.seasons[season] && data.seasons[season].season : null;
  data = await answer.json();
  etag = answer.headers.get("ETag") || "";
  number = new Map(data.x.map((_, vine) => [`${data.labels[data.row[vine]]}\u001f${data.position[vine]}`, vine]));
  findRows();
  const list = document.getElementById("season");
  list.replaceChildren(...data.seasons.map((one, k) => new Option(one.counted ? one.season : `${one.season} (not counted)`, k)));
  const kept = data.seasons.findIndex((one) => one.season === before);
  season = kept >= 0 ? kept : data.seasons.length - 1;
  if (season >= 0) list.value = season;
  else season = null;
  if (fresh) {
    document.getElementById("arms").replaceChildren(...data.arms.map((arm) => new Option(arm)));
    rows();
    whole();
  }
  legend();
  draw();
}

function legend() {
  const NS = "http://www.w3.org/2000/svg";
  const counts = {};
  data.x.forEach((_, vine) => { counts[condition(vine)] = (counts[condition(vine)] || 0) + 1; });
  document.getElementById("legend").replaceChildren(...Object.entries(data.looks).filter(([key]) => counts[key]).map(([key, look]) => {
    const svg = document.createElementNS(NS, "svg");
    svg.setAttribute("viewBox", "-10 -11 22 22");
    svg.setAttribute("aria-hidden", "true");
    for (const stroke of look.strokes) {
      const path = document.createElementNS(NS, "path");
      path.setAttribute("d", `M${stroke.map((p) => p.join(" ")).join("L")}`);
      path.setAttribute("stroke", look.ink);
      path.setAttribute("stroke-width", "2");
      path.setAttribute("fill", look.solid ? look.fill : "none");
      svg.append(path);
    }
    const mark = document.createElement("span");
    mark.append(svg, ` ${look.word} ${counts[key]}`);
    return mark;
  }));
  const one = data.seasons[season];
  document.getElementById("line").textContent = one ? one.line : "Nothing is on record yet.";
}

async function watch() {
  try {
    const answer = await fetch("/api/version");
    if (answer.ok && data && (await answer.json()).version !== data.version) {
      await load();
      if (chosen.length === 1) showVine(chosen[0]);
    }
  } catch { /* the program may be starting again: ask again later */ }
  setTimeout(watch, document.hidden ? 10000 : 2000);
}

// ---- A vine ----------------------------------------------------------------------------------------------------
const nameOf = (vine) => [data.labels[data.row[vine]], String(data.position[vine])];
function choose(vines) {
  chosen = vines;
  const told = document.getElementById("chosen");
  told.textContent = vines.length > 1 ? `${vines.length} vines chosen: what you log goes to each of them.` : "";
  if (vines.length === 1) {
    [form.elements.row.value, form.elements.position.value] = nameOf(vines[0]);
    showVine(vines[0]);
  }
  draw();
}

async function showVine(vine) {
  const [row, position] = nameOf(vine);
  const part = document.getElementById("vine");
  const answer = await fetch(api(`/vine/${encodeURIComponent(row)}/${encodeURIComponent(position)}`));
  const told = await answer.json();
  document.getElementById("vine-name").textContent = `Row ${row}, position ${position}`;
  const look = data.looks[condition(vine)];
  document.getElementById("vine-now").textContent = data.seasons[season] ? `${data.seasons[season].season}: ${look ? look.meaning : "?"}` : "";
  const list = (told.records || []).map((one) => {
    const line = document.createElement("li");
    const text = document.createElement("span");
    text.textContent = `${one.date} ${one.text}${one.observer && !one.text.includes(one.observer) ? `, ${one.observer}` : ""}${one.fate === "stands" ? "" : ` (${one.fate})`}`;
    text.title = one.recorded_at ? `written down ${one.recorded_at}` : "";
    line.append(text);
    if (one.fate === "stands") line.append(correctButton(one), undoButton(one.table, one.id, line));
    else line.className = "gone";
    return line;
  });
  document.getElementById("vine-records").replaceChildren(...list);
  if (!list.length) document.getElementById("vine-now").textContent += " No record of its own.";
  part.hidden = false;
}

function small(text, on) {
  const made = document.createElement("button");
  made.type = "button";
  made.textContent = text;
  made.addEventListener("click", on);
  return made;
}

function undoButton(table, id, line) {
  return small("Undo", async (event) => {
    event.target.disabled = true;
    try {
      await post("/api/correct", { table, id, void: true });
      line.className = "gone";
      event.target.remove();
      await load();
      if (chosen.length === 1) showVine(chosen[0]);
    } catch (error) {
      event.target.disabled = false;
      say(error.message);
    }
  });
}

function correctButton(one) {
  return small("Correct", () => {
    const now = window.prompt("What should be changed? column=value, for example position=32 or percent=40", "");
    const cut = now ? now.indexOf("=") : -1;
    if (cut < 1) return;
    post("/api/correct", { table: one.table, id: one.id, changes: { [now.slice(0, cut).trim()]: now.slice(cut + 1).trim() } })
      .then(async () => { await load(); if (chosen.length === 1) showVine(chosen[0]); })
      .catch((error) => say(error.message));
  });
}

// ---- Writing -----------------------------------------------------------------------------------------------------
async function post(path, told) {
  const answer = await fetch(path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(told) });
  const said = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Error([said.error || `error ${answer.status}`, ...(said.faults || []).map((fault) => fault.text)].join(" "));
  return said;
}

const wrong = document.getElementById("wrong");
function say(text, field) {
  wrong.textContent = text;
  wrong.hidden = !text;
  for (const one of form.elements) if (one.removeAttribute) one.removeAttribute("aria-invalid");
  if (field) {
    form.elements[field].setAttribute("aria-invalid", "true");
    form.elements[field].focus();
    if (form.elements[field].select) form.elements[field].select();
  }
}

// What can be seen to be wrong before anything is sent; null where nothing is.
function fault(values) {
  const row = data.labels.indexOf(values.row);
  if (!values.date) return ["date", "Which day?"];
  if (!values.row || row < 0) return ["row", `There is no row "${values.row}": ${data.labels.filter(Boolean)[0]} to ${data.labels.filter(Boolean).at(-1)}.`];
  if (!number.has(`${values.row}\u001f${values.position}`)) return ["position", `Row ${values.row} has no position "${values.position}": ${data.first_of[row]} to ${data.last_of[row]}.`];
  if (!data.symptoms[values.symptom]) return ["symptom", `"${values.symptom}" is no symptom of the list.`];
  if (values.arm && !data.arms.includes(values.arm)) return ["arm", `There is no arm "${values.arm}": ${data.arms.join(", ")}.`];
  if (values.percent && !(Number(values.percent.replace(",", ".")) >= 0 && Number(values.percent.replace(",", ".")) <= 100)) return ["percent", `"${values.percent}" is no share from 0 to 100.`];
  return null;
}

const FIELDS = ["date", "observer", "row", "position", "symptom", "arm", "percent", "trunk", "cause", "renewal_shoot", "note"];
form.addEventListener("submit", (event) => {
  event.preventDefault();
  const values = Object.fromEntries(FIELDS.map((name) => [name, form.elements[name].value.trim()]));
  values.symptom = data.short[values.symptom.toUpperCase()] || values.symptom.toLowerCase().replace(/[\s-]+/g, "_");
  const many = chosen.length > 1 ? chosen.map(nameOf) : [[values.row, values.position]];
  if (chosen.length > 1) [values.row, values.position] = many[0];
  const found = fault(values);
  if (found) { say(found[1], found[0]); return; }
  say("");
  send(many.map(([row, position]) => ({ ...values, block, row, position })), values);
  chosen = [];
  document.getElementById("chosen").textContent = "";
  for (const name of ["position", "symptom", "arm", "percent", "trunk", "cause", "renewal_shoot", "note"]) form.elements[name].value = "";
  form.elements.position.focus();
});
form.addEventListener("keydown", (event) => {
  if (event.key === "Enter" && event.target.tagName === "INPUT") { event.preventDefault(); form.requestSubmit(); }
});

// Entries go one after the other in the background; the form is free at once. What could not be written stays.
let road = Promise.resolve();
function send(records, values) {
  const line = document.createElement("li");
  line.className = "wait";
  const text = document.createElement("span");
  const what = `${values.row}:${values.position}${records.length > 1 ? ` and ${records.length - 1} more` : ""} ${data.symptoms[values.symptom]}${values.arm ? `, ${values.arm}` : ""}${values.percent ? `, ${values.percent} %` : ""}`;
  text.textContent = `\u2026 ${what}`;
  line.append(text);
  document.getElementById("written").prepend(line);
  mine.push(line);
  road = road.then(() => post("/api/log", { table: "symptoms", records })).then(async (told) => {
    line.className = "";
    text.textContent = `\u2713 ${what}${told.new ? "" : " (known already)"}`;
    for (const note of told.notes.slice(0, 2)) {
      const more = document.createElement("span");
      more.className = "small";
      more.textContent = note;
      text.append(document.createElement("br"), more);
    }
    if (told.ids.length === 1 && told.new) line.append(undoButton("symptoms", told.ids[0], line));
    await load();
  }).catch((error) => {
    line.className = "fault";
    text.textContent = `Not written: ${what}. ${error.message}`;
    line.append(small("Back into the form", () => {
      for (const name of FIELDS) form.elements[name].value = values[name] || "";
      line.remove();
      form.elements.row.focus();
    }));
  });
}
window.addEventListener("beforeunload", (event) => { if (mine.some((line) => line.className === "wait")) event.preventDefault(); });

// ---- What was walked -----------------------------------------------------------------------------------------------
const walk = document.getElementById("walk");
function rows() {
  document.getElementById("rows").replaceChildren(...data.labels.filter(Boolean).map((label) => {
    const line = document.createElement("label");
    const box = document.createElement("input");
    box.type = "checkbox";
    box.value = label;
    line.append(box, label);
    return line;
  }));
}
walk.addEventListener("submit", async (event) => {
  event.preventDefault();
  const told = document.getElementById("walk-wrong");
  const ticked = [...document.querySelectorAll("#rows input:checked:not(:disabled)")];
  const covered = [...ticked.map((box) => box.value), walk.elements.parts.value.trim()].filter(Boolean).join("; ");
  told.hidden = true;
  if (!covered) { told.textContent = "Tick the rows that were walked, or write parts of rows."; told.hidden = false; return; }
  const record = { block, covered };
  for (const name of ["survey", "look", "date", "until", "observer", "minutes"]) record[name] = walk.elements[name].value.trim();
  try {
    const said = await post("/api/log", { table: "surveys", records: [record] });
    for (const box of ticked) { box.disabled = true; box.parentElement.className = "done"; }
    walk.elements.parts.value = "";
    const left = document.querySelectorAll("#rows input:not(:disabled)").length;
    const lines = [`\u2713 ${covered}. ${left ? `${left} rows to go.` : "Every row is walked."}`, ...said.notes];
    document.getElementById("walk-notes").prepend(...lines.map((text) => { const line = document.createElement("li"); line.textContent = text; return line; }));
    await load();
  } catch (error) {
    told.textContent = error.message;
    told.hidden = false;
  }
});

document.getElementById("season").addEventListener("change", (event) => { season = Number(event.target.value); legend(); draw(); if (chosen.length === 1) showVine(chosen[0]); });
document.getElementById("fit").addEventListener("click", () => { whole(); draw(); });
new ResizeObserver(() => draw()).observe(canvas);
load().then(() => { desk.dataset.ready = "yes"; watch(); }).catch((error) => say(error.message));
