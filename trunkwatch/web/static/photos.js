// Photos of a finding or work in the card of its vine: small ones to open, a button that adds one, and taking back.
import { undo } from "./records.js";
import { button, el } from "./shared/elements.js";

const MOST_PHOTO = 25e6;
const SHOWS = { cut_face: "the cut face", vine: "the vine", part: "a part of the vine", other: "something else" };

async function sendPhoto(record, file, shows, caption) {
  const told = new FormData();
  told.append("record", record);
  told.append("shows", shows);
  told.append("caption", caption);
  told.append("photo", file, "photo"); // the program scales it, and reads when it was taken
  let answer;
  try {
    answer = await fetch("/api/photo", { method: "POST", body: told });
  } catch { throw new Error("trunkwatch does not answer: is it still running? The photo was not added, the record stands."); }
  const said = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Error(`${said.error || `error ${answer.status}`} The photo was not added, the record stands.`);
}

let photoForms = 0;
function photoForm(line, record, after) {
  const open = line.querySelector("form.photo");
  if (open) { open.remove(); return; }
  photoForms += 1;
  const at = (name) => `photo-${photoForms}-${name}`;
  const wrong = el("p", { class: "bad", role: "alert", hidden: true });
  const file = el("input", { id: at("file"), type: "file", accept: "image/jpeg,image/png,image/webp" });
  const shows = el("select", { id: at("shows") }, ...Object.entries(SHOWS).map(([code, word]) => new Option(word, code)));
  const caption = el("input", { id: at("caption"), maxlength: 500 });
  const form = el("form", { class: "correction photo", autocomplete: "off", novalidate: true },
    el("label", { for: at("file") }, "Photo (JPEG, PNG or WebP)"), file,
    el("label", { for: at("shows") }, "It shows"), shows, el("label", { for: at("caption") }, "What is to be seen"), caption, wrong,
    el("button", { class: "go" }, "Add the photo"), button("Leave it", () => form.remove()),
    el("p", { class: "small" }, "The place that a camera writes into a photo is removed."));
  form.addEventListener("keydown", (event) => { if (event.key === "Escape") form.remove(); });
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const say = (text) => { wrong.textContent = text; wrong.hidden = !text; };
    if (!file.files.length) { say("Which photo?"); file.focus(); return; }
    if (file.files[0].size > MOST_PHOTO) { say(`That file has ${Math.round(file.files[0].size / 1e6)} MB, a photo may have 25: save it smaller.`); return; }
    const button = form.querySelector("button.go");
    button.disabled = true;
    say("");
    try {
      await sendPhoto(record, file.files[0], shows.value, caption.value);
      form.remove();
      await after();
    } catch (error) { say(error.message); button.disabled = false; }
  });
  line.append(form);
  file.focus();
}

// What a line of the card shows below its words; nothing where its record can have no photo.
export function photosOf(record, after) {
  if (record.fate !== "stands" || !["symptoms", "work"].includes(record.table)) return null;
  const list = (record.photos || []).map((photo) => {
    const picture = el("img", { src: `/photo/${photo.sha256}`, alt: photo.text, loading: "lazy", width: 88, height: 88 });
    const remove = button("Take back", async (event) => {
      event.target.disabled = true;
      try {
        await undo("photos", photo.id);
        await after();
      } catch (error) { event.target.disabled = false; figure.append(el("p", { class: "bad", role: "alert" }, error.message)); }
    });
    remove.setAttribute("aria-label", `Take back: ${photo.text}`);
    const figure = el("figure", {}, el("a", { href: `/photo/${photo.sha256}`, target: "_blank", rel: "noopener" }, picture), el("figcaption", { class: "small" }, photo.text), remove);
    return figure;
  });
  const box = el("div", { class: "photos" }, ...list);
  box.append(button("Add a photo", () => photoForm(box.closest("li"), record.id, after)));
  return box;
}
