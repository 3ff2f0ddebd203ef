// The list of blocks: what is not read yet, or changed since, is asked for one block after the other.

async function again() {
  for (const line of document.querySelectorAll("[data-again]")) {
    const answer = await fetch(line.dataset.again);
    if (!answer.ok) continue;
    const holder = document.createElement("template");
    holder.innerHTML = await answer.text();
    const due = holder.content.querySelector("template").content.firstElementChild;
    for (const before of document.querySelectorAll("[data-due]")) if (before.dataset.due === due.dataset.due) before.replaceWith(due);
    line.replaceWith(holder.content);
  }
}
again();
