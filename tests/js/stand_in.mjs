// A small stand-in for the browser: elements that keep what is put into them, a pen that notes what it draws, a map that
// puts a place where its numbers say. Scripts run in it as they run in their pages, one after the other in one scope.
import { readFileSync } from "node:fs";
import { dirname, join, posix } from "node:path";
import { fileURLToPath } from "node:url";
import vm from "node:vm";

const HERE = dirname(fileURLToPath(import.meta.url));
const PACKAGE = process.env.TRUNKWATCH_SCRIPTS || join(HERE, "..", "..", "trunkwatch");
const MADE = process.env.TRUNKWATCH_MADE;

export const scripts = (...path) => join(PACKAGE, ...path);
export const textOf = (...path) => readFileSync(scripts(...path), "utf8");
// Modules as one script, each after those that it imports and once: as trunkwatch.maps.scripts joins them for a page of one
// file. For the desk, which serves them as they are, only the tests join them: so they reach what is in a module.
const IMPORT = /^import \{[^}]*\} from "(\.[\w./-]+)";\n/gm;
const found = (name, target) => (target.startsWith("./shared/") ? posix.join("static", target) : posix.join(posix.dirname(name), target));
export const importsOf = (name) => [...textOf(name).matchAll(IMPORT)].map(([, target]) => found(name, target));
export function inOrder(...names) {
  const order = new Set();
  const add = (name) => { if (order.has(name)) return; importsOf(name).forEach(add); order.add(name); };
  names.forEach(add);
  return [...order];
}
export const plainScript = (text) => text.replace(IMPORT, "").replace(/^export (?=(?:async function|function|const|let|class) )/gm, "");
export const joined = (...names) => ['"use strict";', ...inOrder(...names).map((name) => plainScript(textOf(name)))].join("\n");
// What map, desk and phone are told of the small block, anew for every test; written by made_data.py.
export const made = () => JSON.parse(readFileSync(MADE, "utf8"));
// Values of the other scope as values of this one, so that they can be compared.
export const plain = (value) => (value === undefined ? undefined : JSON.parse(JSON.stringify(value)));

// ---- Elements --------------------------------------------------------------------------------------------------
class Element {
  constructor(tag, page) {
    Object.assign(this, { tag, page, tagName: tag.toUpperCase(), children: [], attributes: {}, parentElement: null, heard: {}, style: {}, dataset: {}, offsetWidth: 100, offsetHeight: 20 });
    Object.assign(this, { value: "", hidden: false, disabled: false, checked: false, className: "", scrollTop: 0 });
    if (tag === "canvas") this.pen = new Pen();
  }
  get id() { return this.attributes.id || ""; }
  set id(name) { this.attributes.id = name; }
  get name() { return this.attributes.name || ""; }
  get textContent() { return this.children.map((child) => (child instanceof Element ? child.textContent : child)).join(""); }
  set textContent(text) { this.children = text === "" ? [] : [String(text)]; }
  get parentNode() { return this.parentElement; }
  get firstElementChild() { return this.children.find((child) => child instanceof Element) || null; }
  get classList() {
    const names = () => new Set(this.className.split(" ").filter(Boolean));
    const keep = (set) => { this.className = [...set].join(" "); };
    return {
      add: (name) => keep(names().add(name)),
      remove: (name) => { const set = names(); set.delete(name); keep(set); },
      contains: (name) => names().has(name),
      toggle: (name, on = !names().has(name)) => { const set = names(); if (on) set.add(name); else set.delete(name); keep(set); },
    };
  }
  setAttribute(name, value) {
    this.attributes[name] = String(value);
    if (name === "class") this.className = String(value);
    if (["value", "hidden", "disabled", "checked"].includes(name)) this[name] = name === "value" ? String(value) : true;
    if (name.startsWith("data-")) this.dataset[name.slice(5).replace(/-(\w)/g, (_, letter) => letter.toUpperCase())] = String(value);
  }
  getAttribute(name) { return name in this.attributes ? this.attributes[name] : null; }
  hasAttribute(name) { return name in this.attributes; }
  removeAttribute(name) { delete this.attributes[name]; }
  append(...parts) {
    for (const part of parts) {
      if (part instanceof Element) { part.remove(); part.parentElement = this; this.children.push(part); } else this.children.push(String(part));
    }
  }
  appendChild(part) { this.append(part); return part; }
  prepend(part) { this.append(part); this.children.unshift(this.children.pop()); }
  replaceChildren(...parts) { this.children = []; this.append(...parts); }
  remove() { if (this.parentElement) this.parentElement.children = this.parentElement.children.filter((child) => child !== this); this.parentElement = null; }
  before() {}
  after() {}
  addEventListener(name, hear) { (this.heard[name] = this.heard[name] || []).push(hear); }
  // What a browser does where something happens: every listener is called.
  fire(name, event = {}) {
    const told = { target: this, preventDefault() {}, ...event };
    return Promise.all((this.heard[name] || []).map((hear) => hear.call(this, told)));
  }
  click() { return this.fire("click"); }
  all() { return this.children.flatMap((child) => (child instanceof Element ? [child, ...child.all()] : [])); }
  matches(selector) {
    return selector.split(",").some((one) => {
      const [, tag, id, kind, name] = one.trim().split(" ").at(-1).match(/^([\w-]*)(?:#([\w-]+))?(?:\.([\w-]+))?(?:\[([\w-]+).*\])?$/) || [null, "?"];
      return (!tag || tag === this.tag) && (!id || id === this.id) && (!kind || this.classList.contains(kind)) && (!name || name in this.attributes);
    });
  }
  querySelectorAll(selector) { return this.all().filter((one) => one.matches(selector)); }
  querySelector(selector) { return this.querySelectorAll(selector)[0] || null; }
  closest(selector) { for (let at = this; at; at = at.parentElement) if (at.matches(selector)) return at; return null; }
  contains(other) { return other === this || this.all().includes(other); }
  getContext() { return this.pen; }
  getBoundingClientRect() { return { left: 0, top: 0, right: this.page.width, bottom: this.page.height, width: this.page.width, height: this.page.height }; }
  focus() { this.page.focused = this; }
  select() {}
  setPointerCapture() {}
  scrollIntoView() {}
}

// ---- A pen that notes every line, where it lies on the canvas ----------------------------------------------------
class Pen {
  constructor() {
    Object.assign(this, { drawn: [], texts: [], matrix: [1, 0, 0, 1, 0, 0], kept: [], paths: [], strokeStyle: "", fillStyle: "", lineWidth: 1, font: "" });
  }
  at(x, y) { const [a, b, c, d, e, f] = this.matrix; return [a * x + c * y + e, b * x + d * y + f]; }
  times(a, b, c, d, e, f) {
    const [p, q, r, s, t, u] = this.matrix;
    this.matrix = [p * a + r * b, q * a + s * b, p * c + r * d, q * c + s * d, p * e + r * f + t, q * e + s * f + u];
  }
  setTransform(...matrix) { this.matrix = matrix; }
  save() { this.kept.push([this.matrix, this.strokeStyle, this.fillStyle, this.lineWidth]); }
  restore() { [this.matrix, this.strokeStyle, this.fillStyle, this.lineWidth] = this.kept.pop(); }
  translate(x, y) { this.times(1, 0, 0, 1, x, y); }
  rotate(by) { this.times(Math.cos(by), Math.sin(by), -Math.sin(by), Math.cos(by), 0, 0); }
  scale(x, y) { this.times(x, 0, 0, y, 0, 0); }
  beginPath() { this.paths = []; }
  moveTo(x, y) { this.paths.push([this.at(x, y)]); }
  lineTo(x, y) { this.paths.at(-1).push(this.at(x, y)); }
  closePath() {}
  setLineDash() {}
  arc(x, y, radius) { this.drawn.push({ what: "arc", at: this.at(x, y), radius }); }
  note(what, colour) { for (const points of this.paths) this.drawn.push({ what, colour, points, width: this.lineWidth }); }
  fill() { this.note("fill", this.fillStyle); }
  stroke() { this.note("stroke", this.strokeStyle); }
  clearRect() { this.drawn = []; this.texts = []; }
  fillRect(x, y, width, height) {
    if (x === 0 && y === 0) this.clearRect(); // the paper, before all else
    else this.drawn.push({ what: "rect", colour: this.fillStyle, at: [x, y], size: [width, height] });
  }
  strokeRect(x, y, width, height) { this.drawn.push({ what: "frame", colour: this.strokeStyle, at: [x, y], size: [width, height] }); }
  fillText(text, x, y) { this.texts.push({ text: String(text), at: this.at(x, y), colour: this.fillStyle }); }
  measureText(text) { return { width: 7 * String(text).length }; }
}

// ---- The page ------------------------------------------------------------------------------------------------------
// Elements with an id or a name stand in the page as its own HTML has them.
function standing(page, html) {
  for (const [, tag, cells] of html.matchAll(/<(\w+)((?:\s[^<>]*)?)>/g)) {
    const found = Object.fromEntries([...cells.matchAll(/([\w-]+)="([^"]*)"/g)].map(([, name, value]) => [name, value]));
    if (!found.id && !found.name) continue;
    const one = new Element(tag, page);
    for (const [name, value] of Object.entries(found)) one.setAttribute(name, /[{$]/.test(value) ? "" : value);
    one.hidden = /\shidden(\s|$)/.test(cells);
    page.body.append(one);
  }
}

export function browser({ html = "", data = null, more = {}, answer = () => ({}) } = {}) {
  const page = { width: 800, height: 600, focused: null, asked: [] };
  page.body = new Element("body", page);
  standing(page, html);
  if (data) {
    const one = page.body.all().find((there) => there.id === "data") || new Element("script", page);
    one.id = "data";
    one.textContent = JSON.stringify(data);
    page.body.append(one);
  }
  const document = {
    body: page.body, hidden: false, visibilityState: "visible", documentElement: new Element("html", page),
    getElementById: (id) => page.body.all().find((one) => one.id === id) || null,
    querySelector: (selector) => page.body.querySelector(selector),
    querySelectorAll: (selector) => page.body.querySelectorAll(selector),
    createElement: (tag) => new Element(tag, page),
    createElementNS: (_, tag) => new Element(tag, page),
    addEventListener() {},
    get activeElement() { return page.focused; },
  };
  const store = new Map();
  const localStorage = {
    getItem: (key) => (store.has(key) ? store.get(key) : null),
    setItem: (key, value) => store.set(key, String(value)),
    removeItem: (key) => store.delete(key),
  };
  const fetch = async (where, what = {}) => {
    const told = { where, method: what.method || "GET", body: typeof what.body === "string" ? JSON.parse(what.body) : what.body };
    page.asked.push(told);
    const said = answer(told);
    return { ok: (said.status || 200) < 400, status: said.status || 200, headers: { get: () => null }, json: async () => plain(said.body ?? said), text: async () => String(said.text || "") };
  };
  const quiet = () => 0;
  const scope = {
    document, fetch, localStorage, console, TextEncoder, performance, URL, Uint8Array, Blob,
    navigator: {}, location: { search: "", reload: quiet, hash: "" }, crypto: globalThis.crypto, devicePixelRatio: 1,
    matchMedia: () => ({ matches: Boolean(more.dark), addEventListener: quiet }), addEventListener: quiet, scrollTo: quiet,
    setTimeout: quiet, clearTimeout: quiet, requestAnimationFrame: (draw) => draw(),
    ResizeObserver: class { observe() {} }, Option: class extends Element {
      constructor(text, value) { super("option", page); this.textContent = text ?? ""; this.value = String(value ?? text ?? ""); }
    },
    ...more,
  };
  scope.window = scope;
  vm.createContext(scope);
  return {
    page, document, scope, store,
    run: (...parts) => { for (const [name, text] of parts) vm.runInContext(text, scope, { filename: name }); },
    // What a script calls by this name.
    get: (text) => vm.runInContext(text, scope),
  };
}

// ---- Leaflet, as far as the map page asks for it --------------------------------------------------------------------
export function leaflet(pixels = 20) {
  const point = (x, y) => ({ x, y, distanceTo: (other) => Math.hypot(x - other.x, y - other.y) });
  const heard = {};
  const panes = {};
  const map = {
    shown: [], panned: [], heard,
    getPanes: () => panes, getSize: () => ({ x: 800, y: 600 }), containerPointToLayerPoint: ([x, y]) => point(x, y),
    latLngToContainerPoint: ({ lat, lng }) => point(100 + pixels * lng, 100 - pixels * lat),
    getContainer: () => map.container, getZoom: () => 3, getMaxZoom: () => 24, getMinZoom: () => -4, getCenter: () => null,
    on: (names, hear) => { for (const name of names.split(" ")) (heard[name] = heard[name] || []).push(hear); },
    fire: (name, event) => (heard[name] || []).forEach((hear) => hear(event)),
    fitBounds: (bounds) => map.shown.push(bounds), panTo: (place) => map.panned.push(place), setView() {}, invalidateSize() {},
  };
  const L = {
    latLng: (lat, lng) => ({ lat, lng }), point, latLngBounds: (places) => places,
    control: { scale: () => ({ addTo() {} }) },
    DomUtil: { create: (tag) => (map.canvas = map.make(tag)), setPosition() {} },
  };
  return { L, map, panes };
}
