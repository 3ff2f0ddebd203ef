// The lists of the crew: a tick is work done; taking it back makes it planned again. Nothing shows as done before it is written.
import { localDay } from "./shared/rules.js";

const wrong = document.getElementById("wrong");
document.getElementById("plan").addEventListener("submit", async (event) => {
  event.preventDefault();
  const days = Number(document.getElementById("days").value.replace(",", "."));
  const button = event.target.querySelector("button");
  button.disabled = true;
  const word = button.textContent;
  const sign = setTimeout(() => {
    button.setAttribute("aria-busy", "true");
    button.textContent = "Working it out \u2026";
  }, 300);
  try {
    const answer = await fetch("/api/plan", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ block: document.getElementById("lists").dataset.block, crew_days: days }) });
    const told = await answer.json();
    if (!answer.ok) throw new Error(told.error || `error ${answer.status}`);
    if (told.new || told.changed || told.dropped) { location.reload(); return; }
    wrong.textContent = [told.same ? `All ${told.same} pieces of work are on the lists already.` : "", ...(told.notes || [])].filter(Boolean).join(" ");
    wrong.hidden = false;
  } catch (error) {
    wrong.textContent = `Not planned: ${error.message}`;
    wrong.hidden = false;
  }
  clearTimeout(sign);
  button.removeAttribute("aria-busy");
  button.textContent = word;
  button.disabled = false;
});
for (const box of document.querySelectorAll("input[data-id]")) {
  box.addEventListener("change", async () => {
    const done = box.checked;
    box.disabled = true;
    // The hours planned are no hours worked: what the form leaves empty is written as not said.
    const changes = { status: "done", date: localDay(new Date()), crew: document.getElementById("crew").value.trim(), hours: document.getElementById("hours").value.trim() };
    const [road, said] = done ? ["/api/correct", { table: "work", id: box.dataset.id, changes }] : ["/api/planned-again", { id: box.dataset.id }];
    try {
      const answer = await fetch(road, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(said) });
      const told = await answer.json();
      if (!answer.ok) throw new Error([told.error, ...(told.faults || []).map((f) => f.text)].join(" "));
      wrong.hidden = true;
      location.reload(); // the record has a new id now
    } catch (error) {
      box.checked = !done;
      box.disabled = false;
      wrong.textContent = `Not saved: ${error.message}`;
      wrong.hidden = false;
    }
  });
}
