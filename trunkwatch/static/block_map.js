"use strict";
(function () {
  var data = JSON.parse(document.getElementById("data").textContent);
  var map = window.map_block;
  var count = data.x.length;
  var season = data.first;
  var hidden = {};
  var chosen = -1;
  var places = [];
  for (var v = 0; v < count; v++) {
    var x = data.x[v] / 100, y = data.y[v] / 100;
    places.push(data.origin ? L.latLng(data.origin[1] + y / data.degree_m[1], data.origin[0] + x / data.degree_m[0]) : L.latLng(y, x));
  }
  var rows = {};
  for (v = 0; v < count; v++) (rows[data.row[v]] = rows[data.row[v]] || []).push(v);
  var byId = function (name) { return document.getElementById(name); };

  /* One canvas over the map holds all vines: 5,000 of them are drawn anew in a few milliseconds. */
  var canvas = L.DomUtil.create("canvas", "vines");
  canvas.style.pointerEvents = "none";
  canvas.setAttribute("aria-hidden", "true");
  map.getPanes().overlayPane.appendChild(canvas);
  var points = [];

  function draw() {
    var size = map.getSize(), ratio = window.devicePixelRatio || 1;
    canvas.width = size.x * ratio; canvas.height = size.y * ratio;
    canvas.style.width = size.x + "px"; canvas.style.height = size.y + "px";
    L.DomUtil.setPosition(canvas, map.containerPointToLayerPoint([0, 0]));
    var pen = canvas.getContext("2d");
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, size.x, size.y);
    points = places.map(function (place) { return map.latLngToContainerPoint(place); });
    var step = pixelsPerVine();
    drawRows(pen, step, size);
    drawFoci(pen, step);
    drawVines(pen, step, size);
    drawLabels(pen, step, size);
  }

  function pixelsPerVine() {
    var best = Infinity;
    for (var v = 1; v < count; v++) {
      if (data.row[v] === data.row[v - 1] && data.station[v] === data.station[v - 1] + 1) {
        best = Math.min(best, points[v].distanceTo(points[v - 1]));
        if (v > 400) break;
      }
    }
    return isFinite(best) ? best : 20;
  }

  function drawRows(pen, step) {
    pen.strokeStyle = "#b9b5aa"; pen.lineWidth = step < 4 ? 0.5 : 1;
    pen.beginPath();
    Object.keys(rows).forEach(function (row) {
      rows[row].forEach(function (v, n) {
        var joined = n > 0 && data.station[v] === data.station[rows[row][n - 1]] + 1;
        pen[joined ? "lineTo" : "moveTo"](points[v].x, points[v].y);
      });
    });
    pen.stroke();
  }

  /* Cases that touch are joined by a broad dark band and a narrower pale one: what is left is their outline. */
  function drawFoci(pen, step) {
    var told = data.seasons[season].foci || [];
    if (!told.length || hidden["5"]) return;
    var at = {};
    told.forEach(function (pair) { at[data.row[pair[0]] + ":" + data.station[pair[0]]] = pair; });
    [[step * 1.25 + 3, data.ink], [Math.max(step * 1.25, 2), data.paper]].forEach(function (band) {
      pen.lineWidth = band[0]; pen.strokeStyle = band[1]; pen.lineCap = "round";
      pen.beginPath();
      told.forEach(function (pair) {
        var v = pair[0];
        [[0, 0], [0, 1], [1, -1], [1, 0], [1, 1]].forEach(function (way) {
          var other = at[(data.row[v] + way[0]) + ":" + (data.station[v] + way[1])];
          if (other && other[1] === pair[1]) { pen.moveTo(points[v].x, points[v].y); pen.lineTo(points[other[0]].x + 0.01, points[other[0]].y); }
        });
      });
      pen.stroke();
    });
    pen.lineCap = "butt";
  }

  function shape(pen, look, x, y, scale, turn) {
    pen.save();
    pen.translate(x, y);
    if (look.turn) pen.rotate(turn);
    pen.scale(scale, scale);
    pen.lineWidth = Math.min(2, 1.6 / Math.max(scale, 0.5)); pen.strokeStyle = look.ink; pen.fillStyle = look.fill || data.paper;
    look.strokes.forEach(function (stroke) {
      pen.beginPath();
      stroke.forEach(function (p, n) { pen[n ? "lineTo" : "moveTo"](p[0], p[1]); });
      if (look.solid) pen.fill();
      pen.stroke();
    });
    pen.restore();
  }

  function drawVines(pen, step, size) {
    var told = data.seasons[season], scale = Math.max(0.45, Math.min(step / 15, 1.7));
    var order = ["1", "3", "8", "4", "6", "2", "7", "5"];
    order.forEach(function (mark) {
      var look = data.looks[mark];
      if (!look || hidden[mark]) return;
      for (var v = 0; v < count; v++) {
        if (told.condition[v] !== mark) continue;
        var p = points[v];
        if (p.x < -20 || p.y < -20 || p.x > size.x + 20 || p.y > size.y + 20) continue;
        if (step < 4) {
          var small = Math.max(step * 0.85, 1.4), wide = mark === "5" ? small * 1.7 : small;
          pen.fillStyle = look.fill || "#fffdf8"; pen.fillRect(p.x - wide / 2, p.y - wide / 2, wide, wide);
          continue;
        }
        var along = data.along[data.row[v]];
        shape(pen, look, p.x, p.y, scale, Math.atan2(-along[1], along[0]));
        if (step >= 30) {
          pen.fillStyle = look.ink; pen.font = "bold 11px sans-serif"; pen.textAlign = "left";
          pen.fillText(look.letter, p.x + 9 * scale * 0.6 + 2, p.y + 12);
        }
      }
    });
    if (step >= 4) told.work.forEach(function (v) { shape(pen, data.work, points[v].x, points[v].y, scale, 0); });
    if (step >= 4) told.outside.forEach(function (v) { shape(pen, data.outside, points[v].x, points[v].y, scale, 0); });
    if (chosen >= 0) {
      pen.strokeStyle = data.ink; pen.lineWidth = 3;
      pen.beginPath(); pen.arc(points[chosen].x, points[chosen].y, Math.max(10, step * 0.6), 0, 7); pen.stroke();
    }
  }

  function drawLabels(pen, step) {
    pen.fillStyle = data.ink; pen.font = "13px sans-serif"; pen.textBaseline = "middle"; pen.textAlign = "center";
    var last = [null, null], off = step >= 30 ? 34 : 17; // past the letter of the last vine
    Object.keys(rows).map(Number).sort(function (a, b) { return a - b; }).forEach(function (row) {
      var line = rows[row], along = data.along[row];
      [line[0], line[line.length - 1]].forEach(function (v, end) {
        var way = end ? 1 : -1, p = L.point(points[v].x + way * along[0] * off, points[v].y - way * along[1] * off);
        if (last[end] && p.distanceTo(last[end]) < 17) return;
        last[end] = p;
        pen.fillText(data.labels[row], p.x, p.y);
      });
    });
    pen.textBaseline = "alphabetic";
  }

  function nearest(point, reach) {
    var best = -1, least = reach;
    for (var v = 0; v < count; v++) {
      if (hidden[data.seasons[season].condition[v]]) continue;
      var away = Math.abs(points[v].x - point.x) + Math.abs(points[v].y - point.y);
      if (away < least) { least = away; best = v; }
    }
    return best;
  }

  function name(v) {
    return "Row " + data.labels[data.row[v]] + ", position " + data.position[v] + (data.bay[v] ? " (bay " + data.bay[v] + ")" : "");
  }

  function word(v, n) { var look = data.looks[data.seasons[n].condition[v]]; return look ? look.word : ""; }

  function add(parent, tag, text) {
    var element = document.createElement(tag);
    if (text !== undefined) element.textContent = text;
    parent.appendChild(element);
    return element;
  }

  function tell(v) {
    chosen = v;
    var box = byId("vine");
    box.textContent = "";
    add(box, "h2", name(v));
    var table = add(box, "table");
    data.seasons.forEach(function (told, n) {
      var row = add(table, "tr");
      add(row, "th", String(told.season)).scope = "row";
      add(row, "td", word(v, n) + (told.counted ? "" : " (season not counted)"));
    });
    add(box, "h2", "What happened");
    var events = data.events[v] || [];
    if (!events.length) add(box, "p", "Nothing on record.");
    else {
      var list = add(box, "table");
      events.forEach(function (event) { var row = add(list, "tr"); add(row, "th", event[0]).scope = "row"; add(row, "td", event[1]); });
    }
    draw();
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
    var told = data.seasons[season].condition;
    Object.keys(data.looks).forEach(function (mark) {
      var number = told.split(mark).length - 1;
      byId("count" + mark).textContent = number;
    });
  }

  function legend() {
    var box = byId("legend");
    ["5", "7", "6", "8", "4", "2", "3", "1"].forEach(function (mark) {
      var look = data.looks[mark], label = add(box, "label"), tick = add(label, "input");
      tick.type = "checkbox"; tick.checked = true; tick.value = mark;
      tick.addEventListener("change", function () { hidden[mark] = !tick.checked; draw(); });
      var picture = add(label, "canvas"); picture.width = 56; picture.height = 56; picture.setAttribute("aria-hidden", "true");
      var pen = picture.getContext("2d"); shape(pen, look, 28, 28, 2.3, 0);
      var words = add(label, "span", look.letter + " " + look.word);
      add(words, "small", look.meaning);
      add(label, "b").id = "count" + mark;
    });
    var work = add(box, "label"), sign = add(work, "canvas"); sign.width = 56; sign.height = 56; sign.setAttribute("aria-hidden", "true");
    shape(sign.getContext("2d"), data.work, 28, 18, 2.3, 0);
    add(work, "span", data.work.word + " this season");
    if (data.seasons.some(function (one) { return one.outside.length; })) {
      var apart = add(box, "label"), bar = add(apart, "canvas"); bar.width = 56; bar.height = 56; bar.setAttribute("aria-hidden", "true");
      shape(bar.getContext("2d"), data.outside, 28, 36, 2.3, 0);
      add(apart, "span", data.outside.word);
    }
  }

  legend();
  L.control.scale({ imperial: false, position: "bottomleft" }).addTo(map);
  L.control.zoom({ position: "bottomright" }).addTo(map);
  if (data.base) { L.tileLayer(data.base, { maxZoom: 24, maxNativeZoom: 19, attribution: data.credit }).addTo(map); L.control.attribution({ prefix: false }).addTo(map).addAttribution(L.Util.template("{c}", { c: data.credit.replace(/</g, "") })); }
  if (!data.north) byId("north").style.display = "none";
  map.getContainer().setAttribute("aria-label", "Map of block " + data.block + "; the vines can also be reached by row and position");
  map.fitBounds(L.latLngBounds(places).pad(0.06), { animate: false });
  map.on("move zoomend resize viewreset", draw);
  map.on("mousemove", function (event) {
    var v = nearest(event.containerPoint, 16), tip = byId("tip");
    tip.hidden = v < 0;
    if (v < 0) return;
    tip.textContent = name(v) + ": " + word(v, season);
    var box = map.getContainer().getBoundingClientRect();
    tip.style.left = Math.min(box.left + event.containerPoint.x + 14, box.right - 190) + "px";
    tip.style.top = box.top + event.containerPoint.y + 14 + "px";
  });
  map.on("mouseout", function () { byId("tip").hidden = true; });
  map.on("click", function (event) { var v = nearest(event.containerPoint, 28); if (v >= 0) tell(v); });
  byId("slider").addEventListener("input", function () { show(Number(this.value)); });
  byId("before").addEventListener("click", function () { show(season - 1); });
  byId("after").addEventListener("click", function () { show(season + 1); });
  byId("go").addEventListener("submit", function (event) {
    event.preventDefault();
    var row = byId("go-row").value.trim(), position = Number(byId("go-position").value);
    for (var v = 0; v < count; v++) {
      if (data.labels[data.row[v]] === row && data.position[v] === position) { map.panTo(places[v], { animate: false }); tell(v); return; }
    }
    byId("vine").textContent = "";
    add(byId("vine"), "p", "There is no position " + byId("go-position").value + " in row " + row + ".");
  });
  show(season);
})();
