// Where records are kept on the phone.
const data = JSON.parse(document.getElementById("data").textContent);
const NAMED = "trunkwatch-";
const NAME = `${NAMED}${data.vineyard}`;
const KEY = `${data.block}\u001f${data.season}`;

const answered = (asked) => new Promise((resolve, reject) => { asked.onsuccess = () => resolve(asked.result); asked.onerror = () => reject(asked.error); });

// Resolves only when the browser says that it is on the disk.
function putStrictly(db, items, states) {
  return new Promise((resolve, reject) => {
    const work = db.transaction(["records", "state"], "readwrite", { durability: "strict" });
    for (const item of items) work.objectStore("records").put(item);
    for (const [key, state] of states) work.objectStore("state").put(state, key);
    work.oncomplete = resolve;
    work.onabort = () => reject(work.error || new Error("aborted"));
    work.onerror = () => reject(work.error);
  });
}

async function databaseDisk() {
  const asked = indexedDB.open(NAME, 1);
  asked.onupgradeneeded = () => {
    asked.result.createObjectStore("records", { keyPath: "id" });
    asked.result.createObjectStore("state");
  };
  const db = await answered(asked);
  const all = (store) => db.transaction(store).objectStore(store);
  return {
    kind: "database",
    read: async () => ({
      items: (await answered(all("records").getAll())).filter((item) => item.key === KEY),
      state: await answered(all("state").get(KEY)),
    }),
    write: (items, state) => putStrictly(db, items, [[KEY, state]]),
  };
}

function simpleDisk() {
  const place = (() => { try { localStorage.setItem(`${NAME}-try`, "1"); return localStorage; } catch { return null; } })();
  let kept = new Map();
  return {
    kind: place ? "simple" : "none",
    read: async () => {
      const told = place && place.getItem(NAME + KEY);
      const found = told ? JSON.parse(told) : { items: [...kept.values()] };
      for (const item of found.items) kept.set(item.id, item);
      return found;
    },
    write: async (items, state) => {
      const next = new Map(kept);
      for (const item of items) next.set(item.id, item);
      if (place) place.setItem(NAME + KEY, JSON.stringify({ items: [...next.values()], state }));
      kept = next;
    },
  };
}

// Other blocks, seasons and vineyards on this phone with something that the office does not know yet.
async function keptElsewhere() {
  const listed = window.indexedDB && indexedDB.databases ? await indexedDB.databases() : [];
  const found = [];
  for (const name of listed.map((one) => one.name).filter((one) => one.startsWith(NAMED))) {
    const db = await answered(indexedDB.open(name));
    const items = db.objectStoreNames.contains("records") ? await answered(db.transaction("records").objectStore("records").getAll()) : [];
    db.close();
    for (const key of new Set(items.map((item) => item.key))) {
      const own = items.filter((item) => item.key === key);
      const fresh = own.filter(pure.pending);
      if (fresh.length && !(name === NAME && key === KEY)) found.push({ name, key, items: own, fresh });
    }
  }
  return found;
}

async function markElsewhere(group) {
  const db = await answered(indexedDB.open(group.name));
  try { await putStrictly(db, group.fresh.map(pure.known), []); } finally { db.close(); }
}
