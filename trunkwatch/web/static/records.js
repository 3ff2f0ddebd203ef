// What every page of the desk does with records: write, correct, take back. A record is never changed: a correction
// is a record of its own, and the old one stays readable.
import { button, el } from "./shared/elements.js";

// An error that carries `away` means that the program did not answer: nothing was refused.
export async function post(path, told) {
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

export const undo = (table, id) => post("/api/correct", { table, id, void: true });

// A form below a record: fields are [name, label, value, choices or null]. Only what was changed is sent.
let corrections = 0;
export function correctionForm(line, table, id, fields, after) {
  const open = line.querySelector("form.correction");
  if (open) { open.remove(); return; }
  corrections += 1;
  const wrong = el("p", { class: "bad", role: "alert", hidden: true });
  const inputs = fields.map(([name, label, value, choices]) => {
    const at = `correct-${corrections}-${name}`;
    const box = choices
      ? el("select", { id: at }, ...[["", ""], ...Object.entries(choices)].map(([code, word]) => new Option(word, code, code === value, code === value)))
      : el("input", { id: at, value, type: ["date", "until"].includes(name) ? "date" : "text" });
    return { name, value: String(value), box, part: el("div", {}, el("label", { for: at }, label), box) };
  });
  const form = el("form", { class: "correction", autocomplete: "off", novalidate: true },
    el("div", { class: "pair" }, ...inputs.map((one) => one.part)), wrong,
    el("button", { class: "go" }, "Write the correction"), button("Leave it", () => form.remove()),
    el("p", { class: "small" }, "What was written before stays readable."));
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

// Lines that a page lists, each a record with its buttons: correct it, take it back.
export function correctable(lines) {
  for (const line of lines) {
    const { id, table } = line.dataset;
    line.querySelector(".correct").addEventListener("click", (event) => correctionForm(line, table, id, JSON.parse(event.target.dataset.fields).map((one) => [...one, null]), () => location.reload()));
    line.querySelector(".undo").addEventListener("click", async (event) => {
      event.target.disabled = true;
      try {
        await undo(table, id);
        location.reload();
      } catch (error) {
        event.target.disabled = false;
        line.append(el("p", { class: "bad", role: "alert" }, error.message));
      }
    });
  }
}

// The version of the file, asked for again and again; `changed` is called when somebody wrote into it.
export function watchFile(known, changed) {
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
