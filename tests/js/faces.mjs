// The three faces, each with the scripts of its page, as its HTML orders them.
import { browser, joined, leaflet, made, textOf } from "./stand_in.mjs";

export const phoneScript = () => joined(...made().parts.map((name) => `static/${name}`));

// The phone: all its parts are one script in its page, in the order that the package puts them in.
export function phone({ change = (data) => data, more = {}, answer } = {}) {
  const shown = browser({ html: textOf("static", "field", "field.html"), data: change({ ...made().phone, sync: "", app: false }), more, answer });
  shown.run(["page", phoneScript()]);
  return shown;
}

// What needs no screen, alone.
export function walked() {
  const shown = browser();
  shown.run(["walk", joined("static/shared/rules.js", "static/field/sign.js", "static/field/walk.js")]);
  return shown;
}

export function blockMap({ change = (data) => data, pixels = 20, dark = false } = {}) {
  const { L, map, panes } = leaflet(pixels);
  const html = `${textOf("static", "block_map.html")}<canvas id="pane"></canvas><div id="map"></div>`;
  const shown = browser({ html, data: change(made().map), more: { L, map_block: map, dark } });
  map.container = shown.document.getElementById("map");
  map.make = (tag) => shown.document.createElement(tag);
  panes.overlayPane = shown.document.getElementById("pane");
  const side = shown.document.createElement("aside");
  side.className = "side";
  shown.page.body.append(side);
  shown.run(["block_map.js", joined("static/block_map.js")]);
  return { ...shown, map, pen: map.canvas.pen };
}

// The drawing of the desk alone, with a block to draw.
export function ground({ change = (data) => data } = {}) {
  const shown = browser({ html: '<canvas id="grid"></canvas>' });
  shown.scope.told = change(made().desk);
  shown.run(["ground.js", joined("web/static/ground.js")]);
  shown.run(["open", "setGround({ data: told, season: told.seasons.length - 1 }); whenChosen((vines) => { setGround({ chosen: vines }); draw(); }); whole(); draw();"]);
  return { ...shown, pen: shown.document.getElementById("grid").pen };
}

// The page of a block on the desk; what it asks for is answered by `answer`.
export async function desk({ change = (data) => data, answer = () => ({}) } = {}) {
  const grid = change(made().desk);
  const shown = browser({
    html: textOf("web", "templates", "block.html"),
    answer: (told) => (told.method === "GET" && told.where === "grid" ? grid : answer(told)),
  });
  const place = shown.document.getElementById("desk");
  Object.assign(place.dataset, { block: "B", api: "grid", today: "2026-11-20" });
  const form = shown.document.getElementById("entry");
  const named = shown.page.body.all().filter((one) => one.attributes.name);
  form.elements = Object.assign([...named], Object.fromEntries(named.map((one) => [one.name, one])));
  for (const one of named) { // each in a part of the form of its own
    const part = shown.document.createElement("div");
    part.append(one);
    form.append(part);
  }
  form.append(shown.document.createElement("button"));
  form.children.at(-1).className = "go";
  form.elements.date.value = "2025-08-21";
  shown.run(["desk.js", joined("web/static/desk.js")]);
  await settled();
  return { ...shown, form, pen: shown.document.getElementById("grid").pen };
}

// Until all that waits for an answer has gone on.
export async function settled() {
  for (let k = 0; k < 20; k += 1) await new Promise((done) => { setImmediate(done); });
}
