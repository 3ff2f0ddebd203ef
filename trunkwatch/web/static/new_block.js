// The form of a new block: the desk reads it after every keystroke, the drawing follows, and what is wrong stands beside its field.
import { canvas, data, draw, setGround, whenChosen, whole } from "./ground.js";

export const place = document.getElementById("new-block");
export const form = document.getElementById("plan-form");
const line = document.getElementById("line");
const touched = new Set([...form.elements].filter((one) => one.hasAttribute("aria-invalid")).map((one) => one.name));
let shape = ""; // the extent of the drawing: it is shown whole again where that changes

function choose(vines) {
  setGround({ chosen: vines });
  if (vines.length) line.textContent = `Row ${data.labels[data.row[vines.at(-1)]]}, position ${data.position[vines.at(-1)]}. ${data.line}`;
  draw();
}
whenChosen(choose);

function say(wrong) {
  for (const box of form.elements) {
    const told = document.getElementById(`wrong-${box.name}`);
    if (!told) continue;
    const text = touched.has(box.name) ? wrong[box.name] || "" : "";
    if (told.textContent !== text) told.textContent = text;
    if (text) box.setAttribute("aria-invalid", "true");
    else box.removeAttribute("aria-invalid");
  }
  const many = [...form.elements].filter((box) => box.hasAttribute("aria-invalid")).length;
  if (!many) document.getElementById("all-wrong").hidden = true;
}

function show(drawing) {
  if (!drawing) {
    if (data) line.textContent = "The rows cannot be drawn as they are typed; this is the drawing of before.";
    return;
  }
  setGround({ data: drawing, chosen: [] });
  line.textContent = data.line;
  const now = [Math.min(...data.x), Math.max(...data.x), Math.min(...data.y), Math.max(...data.y)].join();
  if (now !== shape) whole();
  shape = now;
  draw();
}

// One question at a time; what was typed meanwhile is asked about next, so the last keystroke is what stands.
export let asking = false;
let again = false;
async function look() {
  if (asking) { again = true; return; }
  asking = true;
  do {
    again = false;
    try {
      const answer = await fetch(place.dataset.look, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(Object.fromEntries(new FormData(form))) });
      const told = await answer.json();
      if (!answer.ok) throw new Error(told.error);
      say(told.wrong);
      show(told.drawing);
      place.dataset.seen = JSON.stringify(Object.fromEntries(new FormData(form)));
    } catch (error) {
      line.textContent = `The drawing does not follow: ${error.message}`;
    }
  } while (again);
  asking = false;
}

form.addEventListener("input", (event) => { touched.add(event.target.name); look(); });
form.addEventListener("focusout", (event) => { if (event.target.name && event.target.value) touched.add(event.target.name); });
form.addEventListener("keydown", (event) => {
  // Enter in a field goes nowhere by accident: the block is made by its button.
  if (event.key === "Enter" && event.target.tagName === "INPUT") event.preventDefault();
});
form.addEventListener("submit", () => {
  const button = document.getElementById("make");
  button.setAttribute("aria-busy", "true");
  button.textContent = "Making the block \u2026";
  setTimeout(() => { button.disabled = true; });
});
window.addEventListener("pageshow", () => {
  const button = document.getElementById("make");
  button.disabled = false;
  button.removeAttribute("aria-busy");
  button.textContent = "Make the block";
});
document.getElementById("fit").addEventListener("click", () => { if (data) { whole(); draw(); } });
new ResizeObserver(() => { if (data) draw(); }).observe(canvas);
const first = form.querySelector("[aria-invalid]");
if (first) first.focus();
look();
