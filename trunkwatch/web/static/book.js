// The page of a workbook: the block as it would be laid out stands beside the form, season by season.
import { canvas, condition, data, draw, season, setGround, whenChosen, whole } from "./ground.js";
import { legendLine } from "./shared/marks.js";

const book = document.getElementById("book");
const form = document.getElementById("book-form");
const line = document.getElementById("line");
const drawn = document.getElementById("drawn");
const seasons = document.getElementById("season");

function choose(vines) {
  setGround({ chosen: vines });
  const told = vines.length ? `Row ${data.labels[data.row[vines.at(-1)]]}, position ${data.position[vines.at(-1)]}: ${data.looks[condition(vines.at(-1))].word}. ` : "";
  line.textContent = told + about();
  draw();
}
whenChosen(choose);

function about() {
  const shown = data.seasons[season];
  return shown ? shown.line : "Nothing that counts was seen yet: rows and vines only.";
}

function legend() {
  const counts = {};
  data.x.forEach((_, vine) => { counts[condition(vine)] = (counts[condition(vine)] || 0) + 1; });
  document.getElementById("legend").replaceChildren(...Object.entries(data.looks).filter(([key]) => counts[key]).map(([key, look]) => legendLine(look, counts[key])));
}

function show() {
  setGround({ chosen: [] });
  line.textContent = about();
  legend();
  draw();
}

async function load() {
  try {
    const answer = await fetch(`${book.dataset.drawing}?block=${encodeURIComponent(drawn.value)}`);
    const told = await answer.json();
    if (!answer.ok) throw new Error(told.error);
    setGround({ data: told, season: told.seasons.length - 1 });
    seasons.replaceChildren(...data.seasons.map((one, at) => new Option(String(one.season), String(at), false, at === season)));
    seasons.disabled = !data.seasons.length;
    whole();
    show();
    book.dataset.ready = "yes";
  } catch (error) {
    line.textContent = `The block is not drawn: ${error.message}`;
  }
}

drawn.addEventListener("change", load);
seasons.addEventListener("change", () => { setGround({ season: Number(seasons.value) }); show(); });
document.getElementById("fit").addEventListener("click", () => { if (data) { whole(); draw(); } });
form.addEventListener("keydown", (event) => {
  // Enter in a field goes nowhere by accident: the buttons say what is done.
  if (event.key === "Enter" && event.target.tagName === "INPUT") event.preventDefault();
});
form.addEventListener("submit", (event) => {
  if (form.getAttribute("aria-busy") === "true") { event.preventDefault(); return; }
  form.setAttribute("aria-busy", "true");
  event.submitter?.setAttribute("aria-busy", "true");
  document.getElementById("head-told").textContent = "Reading the workbook \u2026";
});
window.addEventListener("pageshow", () => form.removeAttribute("aria-busy"));
form.querySelector("[aria-invalid]")?.focus();
new ResizeObserver(() => { if (data) draw(); }).observe(canvas);
load();
