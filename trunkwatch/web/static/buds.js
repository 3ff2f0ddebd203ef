// The page of a block's winter: a count, a day of budbreak or rows pruned are written down, corrected, taken back.
import { correctable, post } from "./records.js";

const page = document.getElementById("buds");

for (const form of document.querySelectorAll("form.buds")) {
  const wrong = form.querySelector(".bad");
  const say = (text, box) => {
    wrong.textContent = text;
    wrong.hidden = !text;
    for (const one of form.querySelectorAll("[aria-invalid]")) one.removeAttribute("aria-invalid");
    if (box) { box.setAttribute("aria-invalid", "true"); box.focus(); }
  };
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    say("");
    const boxes = [...form.querySelectorAll("input, select")];
    const empty = boxes.find((box) => box.required && !box.value.trim());
    if (empty) { say(`${empty.labels[0].textContent}: ${empty.inputMode === "numeric" ? "how many" : "which"}?`, empty); return; }
    const record = { block: page.dataset.block };
    for (const box of boxes) record[box.name] = box.value.trim();
    const button = form.querySelector("button.go");
    button.disabled = true;
    try {
      await post("/api/log", { table: form.dataset.table, records: [record] });
      location.reload();
    } catch (error) {
      button.disabled = false;
      const at = boxes.find((box) => (error.columns || []).includes(box.name));
      say(error.away ? `Not saved yet: ${error.message} What you typed stays here.` : error.message, at);
    }
  });
}

correctable(document.querySelectorAll(".walks li[data-id]"));
