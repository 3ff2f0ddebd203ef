// The page of surveys: a walk is written down, corrected, taken back; a survey is finished.
import { correctable, post, watchFile } from "./records.js";
import { el } from "./shared/elements.js";

const page = document.getElementById("survey");
const walk = document.getElementById("walk");
const wrong = document.getElementById("walk-wrong");
const KEPT = "trunkwatch-walk"; // what the next walk has in common with this one

function say(text, box) {
  wrong.textContent = text;
  wrong.hidden = !text;
  for (const one of walk.querySelectorAll("[aria-invalid]")) one.removeAttribute("aria-invalid");
  if (!box) return;
  const help = box.nextElementSibling;
  if (box.closest(".one, .pair")) box.closest(".one, .pair").append(wrong);
  else (help && help.matches(".small") ? help : box).after(wrong);
  box.setAttribute("aria-invalid", "true");
  box.focus();
}

// What the ticks and the parts say, as the covered column is written; throws [text, box] where it cannot be read.
export function coveredByRows() {
  return [...walk.querySelectorAll(".one")].map((line) => {
    const [tick, from, to] = line.querySelectorAll("input");
    const [start, end] = [from.value.trim(), to.value.trim()];
    if (!start && !end) return tick.checked ? tick.dataset.row : "";
    for (const [text, box] of [[start, from], [end, to]]) if (text && !/^\d+$/.test(text)) throw [`"${text}" is no position.`, box];
    const [first, last] = [Number(start || from.placeholder), Number(end || to.placeholder)];
    const counted = walk.elements.counting.value || walk.elements.counted_from.value;
    if (last < first) throw [`From ${first} to ${last} runs backwards.`, to];
    if (!counted && first < Number(from.placeholder)) throw [`Row ${tick.dataset.row} begins at ${from.placeholder}.`, from];
    if (!counted && last > Number(to.placeholder)) throw [`Row ${tick.dataset.row} ends at ${to.placeholder}.`, to];
    return `${tick.dataset.row}:${first}..${last}`;
  }).filter(Boolean);
}

walk.addEventListener("input", (event) => {
  const line = event.target.closest(".one");
  if (line && event.target.type !== "checkbox") line.querySelector("input[type=checkbox]").checked = [...line.querySelectorAll("input:not([type=checkbox])")].some((box) => box.value.trim());
});
walk.addEventListener("keydown", (event) => {
  if (event.key === "Enter" && event.target.tagName === "INPUT") { event.preventDefault(); walk.requestSubmit(); }
});
walk.addEventListener("submit", async (event) => {
  event.preventDefault();
  say("");
  const typed = (name) => walk.elements[name].value.trim();
  let covered;
  try {
    covered = [...coveredByRows(), typed("parts")].filter(Boolean).join("; ");
  } catch (told) {
    if (!Array.isArray(told)) throw told;
    say(...told);
    return;
  }
  if (!covered) { say("Tick the rows that were scouted, or write them.", walk.elements.parts); return; }
  if (!typed("survey")) { say("Give the survey a name, the same on every day.", walk.elements.survey); return; }
  if (!typed("date")) { say("Which day?", walk.elements.date); return; }
  if (typed("until") && typed("until") < typed("date")) { say("The last day is before the first.", walk.elements.until); return; }
  const record = { block: page.dataset.block, covered };
  for (const name of ["survey", "look", "date", "until", "observer", "minutes", "counted_from", "counting", "purpose"]) record[name] = typed(name);
  const button = walk.querySelector("button.go");
  button.disabled = true;
  try {
    const said = await post("/api/log", { table: "surveys", records: [record] });
    keep({ survey: typed("survey"), observer: typed("observer"), date: typed("date"), look: typed("look"), told: [`\u2713 ${covered} saved${said.new ? "" : ": it was known already"}.`, ...said.notes].join(" ") });
    location.assign(`?survey=${encodeURIComponent(typed("survey"))}`);
  } catch (error) {
    button.disabled = false;
    const text = error.away ? `Not saved yet: ${error.message} What you typed stays here.` : error.message;
    const field = ["date", "until", "minutes", "purpose"].find((name) => (error.columns || []).includes(name));
    say(text, walk.elements[field || "parts"]);
  }
});

function keep(told) {
  try { sessionStorage.setItem(KEPT, JSON.stringify(told)); } catch { /* without storage it is typed again */ }
}
function kept() {
  try { return JSON.parse(sessionStorage.getItem(KEPT)) || {}; } catch { return {}; }
}
const last = kept();
for (const name of ["observer", "date"]) if (last[name]) walk.elements[name].value = last[name];
if (last.told) {
  document.getElementById("walk-told").textContent = last.told;
  keep({ ...last, told: "" });
}

correctable(document.querySelectorAll(".walks li"));
document.getElementById("finished")?.addEventListener("click", async (event) => {
  const told = document.getElementById("finish-wrong");
  event.target.disabled = true;
  try {
    await post("/api/correct", { table: "surveys", id: event.target.dataset.last, changes: { note: [event.target.dataset.note, page.dataset.finished].filter(Boolean).join("; ") } });
    location.reload();
  } catch (error) {
    event.target.disabled = false;
    told.textContent = error.message;
    told.hidden = false;
  }
});

// Others write too: an untouched page shows it by itself, a form half filled in is left alone.
let touched = false;
page.addEventListener("input", () => { touched = true; });
watchFile(() => page.dataset.version, (version) => {
  if (!touched && !document.querySelector("form.correction")) { location.reload(); return; }
  page.dataset.version = version;
  const others = document.getElementById("others");
  others.replaceChildren("Somebody has saved something since. ", el("a", { href: location.href }, "Show it"), " (what you have typed here and not sent is cleared).");
  others.hidden = false;
});
page.dataset.ready = "yes";
