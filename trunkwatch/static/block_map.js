"use strict";
(function () {
  var data = JSON.parse(document.getElementById("data").textContent);
  var map = window.map_block;
  var count = data.x.length;
  data.row = []; data.station = []; data.label = []; // the label: of several rows on one line its own number
  data.runs.forEach(function (run) { for (var n = 0; n < run[2]; n++) { data.row.push(run[0]); data.station.push(run[1] + n); data.label.push(run.length > 3 ? run[3] : run[0]); } });
  var season = data.first;
  var hidden = {};
  var chosen = -1;
  var printing = false;
  var places = [];
  for (var v = 0; v < count; v++) {
    var x = data.x[v] / 100, y = data.y[v] / 100;
    places.push(data.origin ? L.latLng(data.origin[1] + y / data.degree_m[1], data.origin[0] + x / data.degree_m[0]) : L.latLng(y, x));
  }
  var rows = {};
  for (v = 0; v < count; v++) (rows[data.row[v]] = rows[data.row[v]] || []).push(v);
  var night = window.matchMedia("screen and (prefers-color-scheme: dark)");
  function colour(light) { return night.matches && !printing ? data.dark[light] || light : light; }
  var byId = function (name) { return document.getElementById(name); };

  /* One canvas over the map holds all vines: 5,000 of them are drawn anew in a few milliseconds. */
  var canvas = L.DomUtil.create("canvas", "vines");
  canvas.style.pointerEvents = "none";
  canvas.setAttribute("aria-hidden", "true");
  map.getPanes().overlayPane.appendChild(canvas);
  var points = [];

  function draw() {
    var size = map.getSize(), ratio = printing ? 3 : window.devicePixelRatio || 1;
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
    pen.strokeStyle = colour(data.faint); pen.lineWidth = step < 4 ? 0.5 : 1;
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
    if (!told.length || hidden[data.rules.showing]) return;
    var at = {};
    told.forEach(function (pair) { at[data.row[pair[0]] + ":" + data.station[pair[0]]] = pair; });
    [[step * 1.25 + 3, colour(data.ink)], [Math.max(step * 1.25, 2), colour(data.paper)]].forEach(function (band) {
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
    pen.lineWidth = Math.min(2, 1.6 / Math.max(scale, 0.5)); pen.strokeStyle = colour(look.ink); pen.fillStyle = colour(look.fill || data.paper);
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
    var showing = data.rules.showing;
    data.rules.drawn.forEach(function (mark) {
      var look = data.looks[mark];
      if (!look || hidden[mark]) return;
      for (var v = 0; v < count; v++) {
        if (told.condition[v] !== mark) continue;
        var p = points[v];
        if (p.x < -20 || p.y < -20 || p.x > size.x + 20 || p.y > size.y + 20) continue;
        if (step < 4) {
          var small = Math.max(step * 0.85, 1.4), wide = mark === showing ? small * 1.7 : small;
          pen.fillStyle = colour(mark === showing ? look.fill : look.ink); pen.fillRect(p.x - wide / 2, p.y - wide / 2, wide, wide);
          continue;
        }
        var along = data.along[data.row[v]];
        shape(pen, look, p.x, p.y, scale, Math.atan2(-along[1], along[0]));
        if (step >= 30) {
          pen.fillStyle = colour(look.ink); pen.font = "bold 11px sans-serif"; pen.textAlign = "left";
          pen.fillText(look.letter, p.x + 9 * scale * 0.6 + 2, p.y + 12);
        }
      }
    });
    if (step >= 4) told.work.forEach(function (v) { shape(pen, data.work, points[v].x, points[v].y, scale, 0); });
    if (step >= 4) told.outside.forEach(function (v) { shape(pen, data.outside, points[v].x, points[v].y, scale, 0); });
    if (chosen >= 0) {
      pen.strokeStyle = colour(data.ink); pen.lineWidth = 3;
      pen.beginPath(); pen.arc(points[chosen].x, points[chosen].y, Math.max(10, step * 0.6), 0, 7); pen.stroke();
    }
  }

  function drawLabels(pen, step) {
    pen.fillStyle = colour(data.ink); pen.font = "13px sans-serif"; pen.textBaseline = "middle"; pen.textAlign = "center";
    var last = [null, null], off = step >= 30 ? 34 : 17; // past the letter of the last vine
    Object.keys(rows).map(Number).sort(function (a, b) { return a - b; }).forEach(function (row) {
      var line = rows[row], along = data.along[row];
      [line[0], line[line.length - 1]].forEach(function (v, end) {
        var way = end ? 1 : -1, away = end ? off : off + 8;
        var p = L.point(points[v].x + way * along[0] * away, points[v].y - way * along[1] * away);
        if (last[end] && p.distanceTo(last[end]) < 17) return;
        last[end] = p;
        if (!end) shape(pen, data.start, p.x + 12 * along[0], p.y - 12 * along[1], 0.9, Math.atan2(-along[1], along[0]));
        pen.fillStyle = colour(data.ink);
        pen.fillText(data.labels[data.label[v]], p.x, p.y);
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

  /* Vines that lie under one thumb (48 pixels) and cannot be told apart by it: how many levels nearer they can. */
  function nearer(v) {
    var many = 0;
    for (var other = 0; other < count; other++) {
      if (hidden[data.seasons[season].condition[other]]) continue;
      if (Math.abs(points[other].x - points[v].x) < 24 && Math.abs(points[other].y - points[v].y) < 24) many++;
    }
    return many > 6 ? Math.ceil(Math.log(many / 6) / Math.log(4)) : 0;
  }

  function name(v) {
    return "Row " + data.labels[data.label[v]] + ", position " + data.position[v] + (data.bay[v] ? " (bay " + data.bay[v] + ")" : "");
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
    add(table, "caption", "Season by season").className = "hide";
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
      add(list, "caption", "Records of this vine, by day").className = "hide";
      events.forEach(function (event) { var row = add(list, "tr"); add(row, "th", event[0]).scope = "row"; add(row, "td", event[1]); });
    }
    photos(box, (data.photos || {})[v] || []);
    document.querySelector(".side").scrollTop = 0;
    draw();
  }

  function photos(box, shown) {
    if (!shown.length) return;
    add(box, "h2", "Photos");
    shown.forEach(function (photo) {
      if (photo[1]) { var picture = add(box, "img"); picture.src = photo[1]; picture.alt = photo[0]; picture.style.maxWidth = "100%"; }
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
    var told = data.seasons[season].condition;
    Object.keys(data.looks).forEach(function (mark) {
      var number = told.split(mark).length - 1;
      byId("count" + mark).textContent = number;
    });
  }

  function legend() {
    var box = byId("legend");
    data.rules.legend.forEach(function (mark) {
      var look = data.looks[mark], label = add(box, "label"), tick = add(label, "input");
      tick.type = "checkbox"; tick.checked = !hidden[mark]; tick.value = mark;
      tick.addEventListener("change", function () { hidden[mark] = !tick.checked; draw(); });
      var picture = add(label, "canvas"); picture.width = 56; picture.height = 56; picture.setAttribute("aria-hidden", "true");
      var pen = picture.getContext("2d"); shape(pen, look, 28, 28, 2.3, 0);
      var words = add(label, "span", look.letter + " " + look.word);
      add(words, "small", look.meaning);
      add(label, "b").id = "count" + mark;
    });
    var signs = byId("signs");
    var others = [[data.work, "work done this season", 18], [data.focus, data.focus.word, 28], [data.start, data.start.word, 28]];
    if (data.seasons.some(function (one) { return one.outside.length; })) others.push([data.outside, data.outside.word, 36]);
    others.forEach(function (other) {
      var line = add(signs, "li"), picture = add(line, "canvas");
      picture.width = 56; picture.height = 56; picture.setAttribute("aria-hidden", "true");
      shape(picture.getContext("2d"), other[0], 28, other[2], 2.3, 0);
      add(line, "span", other[1]);
    });
  }

  /* A picture of the legend is painted once: where the colours of the screen change, all are painted anew. */
  function repaint() {
    byId("legend").querySelectorAll("label").forEach(function (label) { label.remove(); });
    byId("signs").textContent = "";
    legend(); counts(); draw();
  }

  function whole() { 
    /* Room for the row numbers around the block, and for the scale under it. */
    map.fitBounds(L.latLngBounds(places), { animate: false, paddingTopLeft: [44, 36], paddingBottomRight: [44, 84] });
  }

  function ends() {
    byId("closer").disabled = map.getZoom() >= map.getMaxZoom();
    byId("farther").disabled = map.getZoom() <= map.getMinZoom();
  }

  function label(v, point, over) {
    var tip = byId("tip"), box = map.getContainer().getBoundingClientRect();
    tip.hidden = false; tip.className = over ? "over" : "";
    tip.textContent = name(v) + ": " + word(v, season);
    if (over) { // a finger hides what is under it: the label stands over it, within the screen
      var half = tip.offsetWidth / 2, middle = box.left + points[v].x;
      tip.style.left = Math.max(box.left + half + 4, Math.min(middle, box.right - half - 4)) + "px";
      tip.style.top = Math.max(box.top + tip.offsetHeight + 2, box.top + points[v].y - 26) + "px";
    } else {
      tip.style.left = Math.min(box.left + point.x + 14, box.right - 190) + "px";
      tip.style.top = box.top + point.y + 14 + "px";
    }
  }

  /* On paper the whole block fills the sheet, for the season and with the marks that are chosen, in the colours of paper. */
  function toPaper() {
    if (printing) return;
    var view = [map.getCenter(), map.getZoom()];
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
    var v = nearest(event.containerPoint, 16);
    byId("tip").hidden = v < 0;
    if (v >= 0) label(v, event.containerPoint, false);
  });
  var touched = false;
  map.getContainer().addEventListener("pointerdown", function (event) { touched = event.pointerType === "touch"; }, true);
  map.on("movestart zoomstart", function () { byId("tip").hidden = true; });
  map.on("mouseout", function () { if (!touched) byId("tip").hidden = true; });
  map.on("click", function (event) {
    var v = nearest(event.containerPoint, 28);
    if (v < 0) { byId("tip").hidden = true; return; }
    var levels = touched ? nearer(v) : 0;
    if (levels) map.setZoomAround(places[v], Math.min(map.getZoom() + levels, map.getMaxZoom()), { animate: false });
    tell(v);
    if (touched) label(v, event.containerPoint, true);
  });
  byId("slider").addEventListener("input", function () { show(Number(this.value)); });
  byId("before").addEventListener("click", function () { show(season - 1); });
  byId("after").addEventListener("click", function () { show(season + 1); });
  byId("go").addEventListener("submit", function (event) {
    event.preventDefault();
    var row = byId("go-row").value.trim(), position = Number(byId("go-position").value);
    for (var v = 0; v < count; v++) {
      if (data.labels[data.label[v]] === row && data.position[v] === position) { map.panTo(places[v], { animate: false }); tell(v); return; }
    }
    byId("vine").textContent = "";
    add(byId("vine"), "p", "There is no position " + byId("go-position").value + " in row " + row + ".");
  });
  show(season);
})();
