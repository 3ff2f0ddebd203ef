// The five lines of the answer: asked for after the page is there, and anew when it is looked at again.
"use strict";

(() => {
  const box = document.getElementById("answer");
  const place = box.querySelector("[role=status]");
  let asked = 0;
  let atWork = false;
  document.addEventListener("pointerdown", (event) => { atWork ||= !box.contains(event.target); });
  document.addEventListener("focusin", (event) => { atWork ||= event.target.matches("input, select, textarea, canvas"); });

  async function ask() {
    const mine = ++asked;
    try {
      const answer = await fetch(box.dataset.from);
      const text = answer.ok ? await answer.text() : "";
      if (mine !== asked) return;
      if (!text.trim()) { box.hidden = true; return; }
      box.hidden = false;
      const drawing = document.getElementById("grid");
      const before = drawing && drawing.getBoundingClientRect().top;
      place.innerHTML = text;
      // Whoever is at the drawing or in the form keeps under the pointer what was there; the answer is above.
      if (drawing && atWork) window.scrollBy(0, drawing.getBoundingClientRect().top - before);
    } catch {
      if (mine === asked) place.textContent = "The desk does not answer; the numbers stand in the report.";
    }
  }

  if (matchMedia("(max-width: 60rem)").matches) box.open = false;  // who logs in the row comes first there
  ask();
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") ask(); });
})();
