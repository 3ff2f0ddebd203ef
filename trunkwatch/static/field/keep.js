// Where records are kept on the phone.
/** @type {{ rules: Rules, looks: Record<string, Look>, marks: Record<string, string>, [more: string]: any }} */
const data = JSON.parse(document.getElementById("data").textContent);
const NAMED = "trunkwatch-";
const NAME = `${NAMED}${data.vineyard}`;
// What a recheck writes is kept apart: whoever makes it sees nothing of what was written at the first inspection.
const KEY = `${data.block}\u001f${data.season}${data.recheck ? "\u001frecheck" : ""}`;

const answered = (asked) => new Promise((resolve, reject) => { asked.onsuccess = () => resolve(asked.result); asked.onerror = () => reject(asked.error); });

// What lies on the disk is read, `make` says what changes of it, and that is written: one step, whatever other windows of
// the page write meanwhile. Resolves with all that is there then, and only when the browser says that it is on the disk.
function changeStrictly(db, make, states) {
  return new Promise((resolve, reject) => {
    const work = db.transaction(["records", "state"], "readwrite", { durability: "strict" });
    const records = work.objectStore("records");
    const asked = records.getAll();
    let after = [];
    let wrong = null;
    asked.onsuccess = () => {
      try {
        const changed = pure.numbered(asked.result, make(asked.result));
        for (const item of changed) records.put(item);
        for (const [key, state] of states) work.objectStore("state").put(state, key);
        after = pure.joined(asked.result, changed);
      } catch (error) { wrong = error; work.abort(); }
    };
    work.oncomplete = () => resolve(after);
    work.onabort = () => reject(wrong || work.error || new Error("aborted"));
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
    write: async (make, state) => {
      const own = (items) => items.filter((item) => item.key === KEY);
      return own(await changeStrictly(db, (items) => make(own(items)), [[KEY, state]]));
    },
  };
}

function simpleDisk() {
  const place = (() => { try { localStorage.setItem(`${NAME}-try`, "1"); return localStorage; } catch { return null; } })();
  let kept = [];
  // Another window may have written since: what lies there counts, not what this one remembers.
  const found = () => {
    const text = place && place.getItem(NAME + KEY);
    return text ? JSON.parse(text) : { items: kept };
  };
  return {
    kind: place ? "simple" : "none",
    read: async () => found(),
    write: async (make, state) => {
      const items = found().items;
      const next = pure.joined(items, pure.numbered(items, make(items)));
      if (place) place.setItem(NAME + KEY, JSON.stringify({ items: next, state }));
      kept = next;
      return next;
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
      const own = pure.inOrder(items.filter((item) => item.key === key)); // the desk reads them as they were written
      const fresh = own.filter(pure.pending);
      if (fresh.length && !(name === NAME && key === KEY)) found.push({ name, key, items: own, fresh });
    }
  }
  return found;
}

async function markElsewhere(group, given) {
  const db = await answered(indexedDB.open(group.name));
  const marked = (items) => items.filter((item) => item.key === group.key).flatMap((item) => pure.marked(item, given, new Date(), pure.uuid));
  try { await changeStrictly(db, marked, []); } finally { db.close(); }
}
