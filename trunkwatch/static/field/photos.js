// Photos of a finding or of work done: scaled, kept on the phone after their record, handed over with it. A photo that
// fails is told, and its record stands.
const PHOTOS = { side: 1600, quality: 0.8, spare: 5000000, most: 12000000 };

// Beside the records, in a database of its own: what becomes of a photo never touches a record.
const photoDisk = {
  async open(name) {
    const asked = indexedDB.open(`photos-of-${name}`, 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("photos", { keyPath: "id" });
    return answered(asked);
  },
  async all(name) {
    const db = await photoDisk.open(name);
    try { return await answered(db.transaction("photos").objectStore("photos").getAll()); } finally { db.close(); }
  },
  async put(name, photos) {
    const db = await photoDisk.open(name);
    try {
      await new Promise((resolve, reject) => {
        const work = db.transaction("photos", "readwrite", { durability: "strict" });
        for (const photo of photos) work.objectStore("photos").put(photo);
        work.oncomplete = resolve;
        work.onabort = work.onerror = () => reject(work.error || new Error("aborted"));
      });
    } finally { db.close(); }
  },
};

// What some browsers write before the picture (EXIF, comments) goes; the desk takes a photo as it is only without.
function plainPhoto(bytes) {
  const parts = [bytes.subarray(0, 2)];
  let at = 2;
  while (at + 4 <= bytes.length && bytes[at] === 255 && bytes[at + 1] !== 218) {
    const after = at + 2 + (bytes[at + 2] << 8) + bytes[at + 3];
    const mark = bytes[at + 1];
    const app = mark >= 224 && mark <= 239;
    if (!(app && ![224, 226, 238].includes(mark)) && mark !== 254) parts.push(bytes.subarray(at, after));
    at = after;
  }
  parts.push(bytes.subarray(at));
  const out = new Uint8Array(parts.reduce((sum, part) => sum + part.length, 0));
  let filled = 0;
  for (const part of parts) { out.set(part, filled); filled += part.length; }
  return out;
}

async function scaledPhoto(file) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  const share = Math.min(1, PHOTOS.side / Math.max(picture.width, picture.height));
  const canvas = el("canvas", { width: Math.max(1, Math.round(picture.width * share)), height: Math.max(1, Math.round(picture.height * share)) });
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  const blob = await new Promise((done) => { canvas.toBlob(done, "image/jpeg", PHOTOS.quality); });
  if (!blob) throw new Error("canvas");
  return { width: canvas.width, height: canvas.height, bytes: plainPhoto(new Uint8Array(await blob.arrayBuffer())) };
}

const clockTime = (now) => `${localDay(now)}T${[now.getHours(), now.getMinutes(), now.getSeconds()].map((n) => String(n).padStart(2, "0")).join(":")}`;

async function takePhoto(item, file) {
  try {
    const room = navigator.storage && navigator.storage.estimate ? await navigator.storage.estimate().catch(() => null) : null;
    if (room && room.quota - room.usage < PHOTOS.spare) { tick(word("photo_no_room"), true); return; }
    const { width, height, bytes } = await scaledPhoto(file);
    const id = sealing.hex(sealing.sha256(bytes));
    const there = (await photoDisk.all(NAME)).find((one) => one.id === id);
    if (!there) await photoDisk.put(NAME, [{ id, width, height, taken_at: clockTime(new Date(file.lastModified || Date.now())), bytes, given: [], known: [] }]);
    const shows = item.table === "work" || item.row.symptom === "wood_staining" ? "cut_face" : "vine";
    const added = (every) => every.filter((one) => one.id === item.id && one.state === "live" && !(one.photos || []).some((photo) => photo.id === id)).map((one) => ({ ...one, photos: [...(one.photos || []), { id, shows }] }));
    if (await write(added, word("photo_saved"))) render();
  } catch (error) {
    tick(word(error && error.name === "QuotaExceededError" ? "photo_no_room" : "photo_not_saved", { why: error && error.message ? error.message : "?" }), true);
  }
}

// The camera opens; beside the word stands how many photos the record has.
function photoButton(item) {
  if (disk.kind !== "database" || item.state !== "live" || !["symptoms", "work", "plants"].includes(item.table)) return null;
  const many = (item.photos || []).length;
  return button(`${word("photo_take")}${many ? ` ${many}` : ""}`, () => {
    const input = el("input", { type: "file", accept: "image/*", capture: "environment" });
    input.addEventListener("change", () => { if (input.files.length) once(() => takePhoto(item, input.files[0])); });
    input.click();
  }, { class: "photo", "aria-label": `${word("photo_take")}, ${told(item)}${many ? ` (${many})` : ""}` });
}

function base64Of(bytes) {
  let text = "";
  for (let at = 0; at < bytes.length; at += 32768) text += String.fromCharCode(...bytes.subarray(at, at + 32768));
  return btoa(text);
}

// The same photo of the same record has one id, however often it is handed over.
function photoRowId(record, photo) {
  const hex = sealing.hex(sealing.sha256(sealing.utf8(`${record} ${photo}`)));
  return `${hex.slice(0, 8)}-${hex.slice(8, 12)}-8${hex.slice(13, 16)}-a${hex.slice(17, 20)}-${hex.slice(20, 32)}`;
}

// A hand-over with the photos that were not given by this road yet, as many as one file takes; `out.photos_left` wait.
async function withPhotos(out, every, road, name = NAME) {
  const wanted = every.filter((item) => item.state === "live" && (item.photos || []).length);
  if (!wanted.length || !out.block_root) return out;
  const kept = new Map((await photoDisk.all(name)).map((photo) => [photo.id, photo]));
  const rows = [], files = {};
  let size = 0, left = 0;
  for (const item of wanted) {
    for (const { id, shows } of item.photos) {
      const photo = kept.get(id);
      if (!photo || photo[road].includes(item.id)) continue;
      const text = files[id] || base64Of(photo.bytes);
      if (size + text.length > PHOTOS.most) { left += 1; continue; }
      size += files[id] ? 0 : text.length;
      files[id] = text;
      rows.push({ id: photoRowId(item.id, id), block: item.row.block, vineyard: item.row.vineyard, record: item.id, sha256: id, shows, taken_at: photo.taken_at, width: photo.width, height: photo.height, observer: item.row.observer, device: item.row.device, recorded_at: item.row.recorded_at });
    }
  }
  return rows.length ? { ...out, trunkwatch_handover: Math.max(3, out.trunkwatch_handover), photos: rows, photo_files: files, photos_left: left } : out;
}

// What was handed over is not handed over by the same road again; what the desk has told that it knows, by no road.
async function markPhotos(out, roads, name = NAME) {
  if (!out.photos) return;
  const given = new Map();
  for (const row of out.photos) given.set(row.sha256, [...(given.get(row.sha256) || []), row.record]);
  const changed = (await photoDisk.all(name)).filter((photo) => given.has(photo.id)).map((photo) => {
    const next = { ...photo };
    for (const road of roads) next[road] = [...new Set([...photo[road], ...given.get(photo.id)])];
    return next;
  });
  await photoDisk.put(name, changed);
  if (out.photos_left) tick(word("photos_left", { n: out.photos_left }), true);
}

async function photosAgain() {
  await photoDisk.put(NAME, (await photoDisk.all(NAME)).map((photo) => ({ ...photo, given: [] })));
  await handOver();
}
