// What a linter would say of the scripts, page by page as they run together: names that nobody declared, names declared and
// never used, text put into a page as HTML, code made from text. The parser is the one that node brings.
import assert from "node:assert/strict";
import { readdirSync } from "node:fs";
import { createRequire } from "node:module";
import { test } from "node:test";
import { made, scripts, textOf } from "./stand_in.mjs";

const require = createRequire(import.meta.url);
const brought = (name) => { try { return require(name); } catch { return null; } };
const acorn = brought("internal/deps/acorn/acorn/dist/acorn");
const walk = brought("internal/deps/acorn/acorn-walk/dist/walk");
const check = (name, job) => test(name, { skip: acorn && walk ? false : "this node brings no parser" }, job);
const parse = (text) => acorn.parse(text, { ecmaVersion: "latest", sourceType: "script", locations: true });

// What the browser and the page give: all else has to be declared.
const GIVEN = new Set(`Array Blob Boolean BroadcastChannel Date Error File FormData Infinity Intl JSON L Map Math Number Object Option Promise Request ResizeObserver
  Set String TextEncoder URL Uint8Array Uint32Array BigInt DataView btoa cancelAnimationFrame clearTimeout console createImageBitmap crypto document fetch globalThis indexedDB isFinite
  localStorage location matchMedia navigator parseInt performance requestAnimationFrame scrollBy self sessionStorage setTimeout caches undefined window encodeURIComponent decodeURIComponent`.split(/\s+/));
// Each page with the scripts that its template puts into it.
const desk = (name) => [...textOf("web", "templates", name).matchAll(/[\w/]+\.js/g)].map(([file]) => ["web", "static", file]);
const PAGES = {
  map: [["static", "block_map.js"]],
  phone: made().parts.map((name) => ["static", "field", name]),
  worker: [["static", "field", "worker.js"]],
  ...Object.fromEntries(readdirSync(scripts("web", "templates")).filter((name) => desk(name).length).map((name) => [name, desk(name)])),
};
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

check("every page is strict, declares every name that it uses, and none twice", () => {
  for (const [page, files] of Object.entries(PAGES)) {
    const parts = page === "phone" ? [["the page", files.map((file) => textOf(...file)).join("\n")]] : files.map((file) => [file.at(-1), textOf(...file)]);
    const trees = parts.map(([name, text]) => [`${page}, ${name}`, parse(text)]);
    // Strict: a name that nobody declared is an error there and not a new global.
    for (const [name, tree] of trees) assert.equal(tree.body[0].directive, "use strict", `${name} is not strict`);
    const declared = trees.map(([, tree]) => names(tree).top);
    const all = new Set(declared.flatMap((one) => [...one]));
    assert.equal(all.size, declared.reduce((sum, one) => sum + one.size, 0), `${page}: two scripts declare the same name`);
    for (const [name, tree] of trees) for (const [free, line] of names(tree).free) assert.ok(GIVEN.has(free) || all.has(free), `${name}:${line} ${free} is declared nowhere`);
  }
});

// By file, what stands at the top of a script and no script of any of its pages uses.
check("nothing is declared that no page uses", () => {
  const used = new Map();
  for (const files of Object.values(PAGES)) {
    const page = files.map((file) => parse(textOf(...file)));
    const many = new Map(); // how often a name stands in the page, where it is declared included
    for (const tree of page) walk.full(tree, (node) => { if (node.type === "Identifier") many.set(node.name, (many.get(node.name) || 0) + 1); });
    for (const [k, tree] of page.entries()) for (const name of names(tree).top) {
      const key = `${files[k].at(-1)}: ${name}`;
      used.set(key, used.get(key) || many.get(name) > 1);
    }
  }
  assert.ok(used.size > 100);
  assert.deepEqual([...used].filter(([, yes]) => !yes).map(([key]) => key), []);
});

check("every script stands in a page", () => {
  const there = [...["static", "web/static", "static/field"].flatMap((folder) => readdirSync(scripts(...folder.split("/"))).filter((name) => name.endsWith(".js")))];
  const inPages = new Set([...Object.values(PAGES).flat().map((file) => file.at(-1))]);
  assert.deepEqual(there.filter((name) => !inPages.has(name)), []);
});

const FILES = [...new Map(Object.values(PAGES).flat().map((file) => [file.join("/"), file])).values()];

check("no code is made from text, and no text becomes HTML but what the desk's templates quoted", () => {
  const html = {};
  for (const file of FILES) {
    const name = file.at(-1);
    walk.full(parse(textOf(...file)), (node) => {
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
