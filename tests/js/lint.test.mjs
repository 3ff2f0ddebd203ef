// What a linter would say of the scripts, module by module, and of the phone's parts as they run together: names that nobody
// declared or exports, names declared and never used, text put into a page as HTML, code made from text. The parser is the one
// that node brings, so that this holds also where no linter is installed.
import assert from "node:assert/strict";
import { readdirSync } from "node:fs";
import { createRequire } from "node:module";
import { test } from "node:test";
import { importsOf, inOrder, joined, made, scripts, textOf } from "./stand_in.mjs";

const require = createRequire(import.meta.url);
const brought = (name) => { try { return require(name); } catch { return null; } };
const acorn = brought("internal/deps/acorn/acorn/dist/acorn");
const walk = brought("internal/deps/acorn/acorn-walk/dist/walk");
const check = (name, job) => test(name, { skip: acorn && walk ? false : "this node brings no parser" }, job);
const parse = (text) => acorn.parse(text, { ecmaVersion: "latest", sourceType: "module", locations: true });

// What the browser and the page give: all else has to be declared.
const GIVEN = new Set(`Array Blob Boolean BroadcastChannel Date Error File FormData Infinity Intl JSON L Map Math Number Object Option Promise Request ResizeObserver
  Set String TextEncoder URL Uint8Array Uint32Array BigInt DataView btoa cancelAnimationFrame clearTimeout console createImageBitmap crypto document fetch globalThis indexedDB isFinite
  localStorage location matchMedia navigator parseInt performance requestAnimationFrame scrollBy self sessionStorage setTimeout caches undefined window encodeURIComponent decodeURIComponent`.split(/\s+/));
// Each page with the scripts that its template puts into it, and all that those import.
const desk = (name) => inOrder(...[...textOf("web", "templates", name).matchAll(/[\w/]+\.js/g)].map(([file]) => `web/static/${file}`));
const parts = made().parts.map((name) => `static/${name}`);
const PAGES = {
  map: inOrder("static/block_map.js"),
  phone: inOrder(...parts),
  worker: ["static/field/worker.js"],
  ...Object.fromEntries(readdirSync(scripts("web", "templates")).filter((name) => desk(name).length).map((name) => [name, desk(name)])),
};
const FILES = [...new Set(Object.values(PAGES).flat())];
const ofPhone = (name) => name.startsWith("static/field/");
// Pages that a script may make by HTML: the words are the desk's own answer, made by its templates, which quote all text.
const FROM_THE_DESK = { "answer.js": 1, "blocks.js": 1 };

const namesOf = (pattern) => {
  if (!pattern) return [];
  if (pattern.type === "Identifier") return [pattern];
  if (pattern.type === "ObjectPattern") return pattern.properties.flatMap((one) => namesOf(one.value || one.argument));
  if (pattern.type === "ArrayPattern") return pattern.elements.flatMap(namesOf);
  return namesOf(pattern.left || pattern.argument);
};

// Names that a tree uses and does not declare, and names that it declares at its top.
export function names(tree) {
  const scopes = new Map();
  const scope = (node) => { if (!scopes.has(node)) scopes.set(node, new Set()); return scopes.get(node); };
  const holds = (node) => /Function|Program|BlockStatement|For|Catch|Switch|Class/.test(node.type);
  const declare = (ancestors, kind, found) => {
    const outer = [...ancestors].reverse().find((node) => (kind === "var" ? /Function|Program/.test(node.type) : holds(node)));
    for (const one of found) scope(outer).add(one.name);
  };
  walk.fullAncestor(tree, (node, _, ancestors) => {
    const above = ancestors.slice(0, -1);
    if (node.type === "VariableDeclaration") declare(above, node.kind, node.declarations.flatMap((one) => namesOf(one.id)));
    if (node.type === "ImportDeclaration") declare(above, "let", node.specifiers.map((one) => one.local));
    if (/^(Function|Class)Declaration$/.test(node.type)) declare(above, "let", [node.id]);
    if (/Function/.test(node.type)) for (const one of node.params.flatMap(namesOf)) scope(node).add(one.name);
    if (/^(Function|Class)Expression$/.test(node.type) && node.id) scope(node).add(node.id.name);
    if (node.type === "CatchClause") for (const one of namesOf(node.param)) scope(node).add(one.name);
  });
  const free = new Map();
  const use = (node, ancestors) => {
    if (node.name === "arguments" || ancestors.some((above) => scopes.get(above)?.has(node.name))) return;
    free.set(node.name, node.loc.start.line);
  };
  walk.fullAncestor(tree, (node, _, ancestors) => { if (node.type === "Identifier" || node.type === "VariablePattern") use(node, ancestors); });
  return { free, top: scopes.get(tree) || new Set() };
}

check("the linter finds what it looks for", () => {
  const of = (text) => [...names(parse(text)).free.keys()];
  assert.deepEqual(of("let a = 1; a = b; function f(c) { const { d, e: [g] } = c; return d + g + h; }"), ["b", "h"]);
  assert.deepEqual(of("x = 1"), ["x"]);
  assert.deepEqual(of("for (const k of [1]) k; k; try { f(); } catch (error) { error; } error;"), ["k", "f", "error"]);
  assert.deepEqual(of("const f = (a = b, ...c) => a + c; class A extends B {}"), ["b", "B"]);
  assert.throws(() => parse("const a = ;"));
});

// Names that a module exports, and those that it imports with the module that has to export them.
const exportsOf = (tree) => tree.body.filter((node) => node.type === "ExportNamedDeclaration").flatMap(({ declaration }) => (declaration.declarations ? declaration.declarations.flatMap((one) => namesOf(one.id)) : [declaration.id])).map((one) => one.name);
const imported = (name, tree) => tree.body.filter((node) => node.type === "ImportDeclaration").flatMap((node, k) => node.specifiers.map((one) => [importsOf(name)[k], one.imported.name]));

check("every module declares or imports every name that it uses, and imports what is exported", () => {
  for (const name of FILES.filter((file) => !ofPhone(file))) {
    const tree = parse(textOf(name));
    const { free } = names(tree);
    for (const [one, line] of free) assert.ok(GIVEN.has(one), `${name}:${line} ${one} is declared nowhere`);
    for (const [from, one] of imported(name, tree)) assert.ok(exportsOf(parse(textOf(from))).includes(one), `${name}: ${from} exports no ${one}`);
  }
});

check("what is joined into one page is strict, declares every name that it uses, and none twice", () => {
  for (const page of ["map", "phone"]) {
    const whole = parse(joined(...PAGES[page]));
    assert.equal(whole.body[0].directive, "use strict");
    const declared = PAGES[page].flatMap((file) => [...names(parse(textOf(file).replace(/^import .*\n/gm, ""))).top]);
    assert.equal(new Set(declared).size, declared.length, `${page}: two scripts declare the same name`);
    for (const [free, line] of names(whole).free) assert.ok(GIVEN.has(free), `${page}:${line} ${free} is declared nowhere`);
  }
  assert.equal(parse(textOf(PAGES.worker[0])).body[0].directive, "use strict");
});

check("nothing is declared, imported or exported that no page uses", () => {
  const many = (tree) => { // how often a name stands in a script, where it is declared included
    const found = new Map();
    walk.full(tree, (node) => { if (node.type === "Identifier") found.set(node.name, (found.get(node.name) || 0) + 1); });
    return found;
  };
  const taken = new Set(FILES.filter((file) => !ofPhone(file)).flatMap((file) => imported(file, parse(textOf(file))).map((one) => one.join(": "))));
  const phone = many(parse(joined(...parts)));
  const unused = [];
  let all = 0;
  for (const file of FILES) {
    const tree = parse(textOf(file));
    const own = many(tree);
    const brought = new Set(imported(file, tree).map(([, name]) => name));
    for (const name of names(tree).top) {
      all += 1;
      const uses = ofPhone(file) || parts.includes(file) ? phone.get(name) : 0;
      if (!(own.get(name) > (brought.has(name) ? 0 : 1) || uses > 1 || taken.has(`${file}: ${name}`))) unused.push(`${file}: ${name}`);
    }
  }
  assert.ok(all > 300, String(all));
  assert.deepEqual(unused, []);
});

check("every script stands in a page", () => {
  const there = ["static", "static/shared", "web/static", "static/field"].flatMap((folder) => readdirSync(scripts(folder)).filter((name) => name.endsWith(".js")).map((name) => `${folder}/${name}`));
  assert.deepEqual(there.filter((name) => !FILES.includes(name)), []);
});

check("no code is made from text, and no text becomes HTML but what the desk's templates quoted", () => {
  const html = {};
  for (const file of FILES) {
    const name = file.split("/").at(-1);
    walk.full(parse(textOf(file)), (node) => {
      const at = () => `${name}:${node.loc.start.line}`;
      if (node.type === "CallExpression" || node.type === "NewExpression") {
        assert.ok(!["eval", "Function"].includes(node.callee.name), `${at()} makes code from text`);
        assert.ok(!(["setTimeout", "setInterval"].includes(node.callee.name) && node.arguments[0].type === "Literal"), `${at()} makes code from text`);
        assert.ok(!["write", "writeln", "insertAdjacentHTML"].includes(node.callee.property?.name) || node.callee.object.name !== "document" && node.callee.property.name !== "insertAdjacentHTML", `${at()} writes HTML`);
      }
      if (node.type === "AssignmentExpression" && ["innerHTML", "outerHTML", "srcdoc"].includes(node.left.property?.name)) html[name] = (html[name] || 0) + 1;
      assert.ok(node.type !== "WithStatement" && node.type !== "DebuggerStatement", at());
    });
  }
  assert.deepEqual(html, FROM_THE_DESK);
});
