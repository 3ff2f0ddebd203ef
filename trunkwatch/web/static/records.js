// What every page of the desk does with records: write, correct, take back. A record is never changed: a correction
// is a record of its own, and the old one stays readable.
"use strict";

// An error that carries `away` means that the program did not answer: nothing was refused.
async function post(path, told) {
  let answer;
  try {
    answer = await fetch(path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(told) });
  } catch {
    throw Object.assign(new Error("trunkwatch does not answer: is it still running?"), { away: true });
  }
  const said = await answer.json().catch(() => ({}));
  if (!answer.ok) {
    const faults = (said.faults || []).map((fault) => `${fault.value ? `\u201c${fault.value}\u201d: ` : ""}${fault.problem}${fault.expected ? `; expected: ${fault.expected}` : ""}.`);
    if (answer.status >= 502) throw Object.assign(new Error(`trunkwatch does not answer (${answer.status}).`), { away: true });
    throw Object.assign(new Error([faults.length ? "" : said.error || `error ${answer.status}`, ...faults].filter(Boolean).join(" ")), { columns: (said.faults || []).map((fault) => fault.column) });
  }
  return said;
}

function make(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name === "on") made.addEventListener("click", value);
    else if (value !== false && value !== undefined && value !== null) made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...children.filter((child) => child !== null && child !== undefined));
  return made;
}
const small = (text, on) => make("button", { type: "button", on }, text);

// A day as this machine's calendar has it, YYYY-MM-DD.
const localDay = (now) => `${now.getFullYear()}-${String(now.getMonth() + 1).padStart(2, "0")}-${String(now.getDate()).padStart(2, "0")}`;

const undo = (table, id) => post("/api/correct", { table, id, void: true });

// A form below a record: fields are [name, label, value, choices or null]. Only what was changed is sent.
let corrections = 0;
function correctionForm(line, table, id, fields, after) {
  const open = line.querySelector("form.correction");
  if (open) { open.remove(); return; }
  corrections += 1;
  const wrong = make("p", { class: "bad", role: "alert", hidden: true });
  const inputs = fields.map(([name, label, value, choices]) => {
    const at = `correct-${corrections}-${name}`;
    const box = choices
      ? make("select", { id: at }, ...[["", ""], ...Object.entries(choices)].map(([code, word]) => new Option(word, code, code === value, code === value)))
      : make("input", { id: at, value, type: ["date", "until"].includes(name) ? "date" : "text" });
    return { name, value: String(value), box, part: make("div", {}, make("label", { for: at }, label), box) };
  });
  const form = make("form", { class: "correction", autocomplete: "off", novalidate: true },
    make("div", { class: "pair" }, ...inputs.map((one) => one.part)), wrong,
    make("button", { class: "go" }, "Write the correction"), small("Leave it", () => form.remove()),
    make("p", { class: "small" }, "What was written before stays readable."));
  form.addEventListener("keydown", (event) => { if (event.key === "Escape") form.remove(); });
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const changes = Object.fromEntries(inputs.filter((one) => one.box.value.trim() !== one.value).map((one) => [one.name, one.box.value.trim()]));
    if (!Object.keys(changes).length) { form.remove(); return; }
    const button = form.querySelector("button.go");
    button.disabled = true;
    try {
      await post("/api/correct", { table, id, changes });
      form.remove();
      await after();
    } catch (error) {
      wrong.textContent = error.message;
      wrong.hidden = false;
      button.disabled = false;
    }
  });
  line.append(form);
  inputs[0].box.focus();
}

// The version of the file, asked for again and again; `changed` is called when somebody wrote into it.
function watchFile(known, changed) {
  const ask = async () => {
    try {
      const answer = await fetch("/api/version");
      if (answer.ok) {
        const version = (await answer.json()).version;
        if (version !== known()) await changed(version);
      }
    } catch { /* the program may be starting again: ask again later */ }
    setTimeout(ask, document.hidden ? 10000 : 2000);
  };
  ask();
}
