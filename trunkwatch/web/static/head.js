// What every page of the desk has: two keys to the row field, and a sign while a page is being worked out.

(() => {
  const head = document.querySelector(".desk-head");
  const told = document.getElementById("head-told");

  // ---- g, then r: to the row field, from anywhere but a field that is being typed in.
  const KEPT = "trunkwatch-row-page";
  const kept = (value) => {
    try {
      if (value) sessionStorage.setItem(KEPT, value);
      return sessionStorage.getItem(KEPT);
    } catch { return value; }
  };
  kept(head.dataset.row);
  const isTyped = (one) => one.isContentEditable || ["TEXTAREA", "SELECT"].includes(one.tagName) || (one.tagName === "INPUT" && !["checkbox", "radio", "range"].includes(one.type));
  function toRow() {
    const field = document.querySelector("#entry #row, #go-row");
    if (field) { field.focus(); field.select(); return; }
    const first = document.querySelector("article.row h2 a");
    const page = head.dataset.row || kept() || (first && `${first.getAttribute("href")}#row`);
    if (page) location.assign(page);
  }
  let since = 0; // when g was pressed
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || isTyped(event.target)) { since = 0; return; }
    if (event.key === "r" && Date.now() - since < 2000) { event.preventDefault(); toRow(); }
    since = event.key === "g" ? Date.now() : 0;
  });
  document.addEventListener("DOMContentLoaded", () => { if (location.hash === "#row") toRow(); });

  // ---- What takes more than 0.3 s says so.
  const AFTER = 300;
  document.addEventListener("click", (event) => {
    const link = event.target.closest("a[href]");
    if (!link || event.defaultPrevented || event.button || event.ctrlKey || event.metaKey || event.shiftKey || link.target || link.download) return;
    const to = new URL(link.href, location.href);
    if (to.origin !== location.origin || (to.hash && to.pathname === location.pathname)) return;
    setTimeout(() => {
      link.setAttribute("aria-busy", "true");
      told.textContent = `${link.textContent.trim()}: being worked out \u2026`;
    }, AFTER);
  });
  window.addEventListener("pageshow", () => {
    told.textContent = "";
    document.querySelectorAll("a[aria-busy]").forEach((one) => one.removeAttribute("aria-busy"));
  });
})();
