// The crew's winter: a tick writes down that a row was pruned today. Nothing shows as done before it is written.
import { post, undo } from "./records.js";
import { localDay } from "./shared/rules.js";

const wrong = document.getElementById("wrong");
const said = (error) => {
  wrong.textContent = `Not saved: ${error.message}`;
  wrong.hidden = false;
  wrong.scrollIntoView({ block: "nearest" });
};

for (const box of document.querySelectorAll("input[data-row]")) {
  box.addEventListener("change", async () => {
    box.disabled = true;
    try {
      await post("/api/log", { table: "pruning", records: [{ block: box.dataset.block, date: localDay(new Date()), covered: box.dataset.row, ...(box.dataset.cut && { cut: box.dataset.cut }) }] });
      location.reload();
    } catch (error) {
      box.checked = false;
      box.disabled = false;
      said(error);
    }
  });
}

for (const line of document.querySelectorAll(".walks li[data-id]")) {
  line.querySelector(".undo").addEventListener("click", async (event) => {
    event.target.disabled = true;
    try {
      await undo("pruning", line.dataset.id);
      location.reload();
    } catch (error) {
      event.target.disabled = false;
      said(error);
    }
  });
}

// What is folded is printed open.
const folds = document.querySelectorAll("details");
window.addEventListener("beforeprint", () => folds.forEach((one) => { one.dataset.was = one.open; one.open = true; }));
window.addEventListener("afterprint", () => folds.forEach((one) => { one.open = one.dataset.was === "true"; }));
