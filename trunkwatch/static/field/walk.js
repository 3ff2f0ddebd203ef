// What can be worked out without a screen: places in a row, counts, what is handed over.

const pure = {
  total: (row) => row.last - row.first + 1,
  // Walking count of a position: 1 is where the scout starts.
  count: (row, from, position) => (from === "last" ? row.last - position + 1 : position - row.first + 1),
  place: (row, from, count) => (from === "last" ? row.last - count + 1 : row.first + count - 1),
  // A typed number, as the scout counts it, to the position of the row; null where there is none.
  typed(row, from, counting, number) {
    const position = counting === "from_me" ? pure.place(row, from, number) : number;
    return position >= row.first && position <= row.last ? position : null;
  },
  // First and last position of a bay as painted, bays counted from position 1.
  bayEnds: (row, bay) => [bay === 1 ? row.first : row.bay_ends[bay - 2] + 1, row.bay_ends[bay - 1]],
  backwards: (from, counting) => from === "last" && counting === "from_me",
  // Bay and vine in the bay of a position, counted from the row's start or from where the scout stands.
  bay(row, position, from = "first", counting = "labels") {
    if (!row.bay_ends.length) return null;
    const bay = row.bay_ends.findIndex((end) => position <= end) + 1;
    const [start, end] = pure.bayEnds(row, bay);
    return pure.backwards(from, counting)
      ? { bay: row.bay_ends.length - bay + 1, vine: end - position + 1 }
      : { bay, vine: position - start + 1 };
  },
  ofBay(row, bay, vine, from = "first", counting = "labels") {
    if (bay < 1 || bay > row.bay_ends.length) return null;
    const back = pure.backwards(from, counting);
    const [start, end] = pure.bayEnds(row, back ? row.bay_ends.length - bay + 1 : bay);
    const position = back ? end - vine + 1 : start + vine - 1;
    return vine >= 1 && position >= start && position <= end ? position : null;
  },
  // The stretch walked, whichever end it was walked from.
  covered(row, from, count) {
    const other = pure.place(row, from, count);
    const start = from === "last" ? row.last : row.first;
    return `${row.label}:${Math.min(start, other)}..${Math.max(start, other)}`;
  },
  // The last count that means the whole row: places without a vine at the far end need no walk.
  whole(row, from, count) {
    for (let at = count + 1; at <= pure.total(row); at += 1) if (!row.missing.includes(pure.place(row, from, at))) return false;
    return count >= 1 && count <= pure.total(row);
  },
  // A row's list from the other end; pieces of one vine stay in their order.
  turned(plans) {
    const vines = [...new Set(plans.map((plan) => plan.row.position))].reverse();
    return vines.flatMap((position) => plans.filter((plan) => plan.row.position === position));
  },
  nextVine(row, from, position) {
    const step = from === "last" ? -1 : 1;
    let at = position + step;
    while (at >= row.first && at <= row.last && row.missing.includes(at)) at += step;
    return at >= row.first && at <= row.last ? at : null;
  },
  // The next row is walked back: from the same position where the two are numbered from other ends.
  nextFrom: (done, next, from) => (done.back !== next.back ? from : from === "last" ? "first" : "last"),
  // Findings from one on, in walking order, moved by so many vines.
  shifted(items, row, from, firstMoved, by) {
    return items.map((item, number) => {
      if (number < firstMoved) return item;
      const count = pure.count(row, from, Number(item.row.position)) + by;
      const inside = Math.max(1, Math.min(pure.total(row), count));
      return { ...item, row: { ...item.row, position: String(pure.place(row, from, inside)) } };
    });
  },
  // What the scout meets next: a post between two vines, a place without a vine, a young vine.
  nextMark(row, from, position) {
    const step = from === "last" ? -1 : 1;
    for (let at = position + step; at >= row.first && at <= row.last; at += step) {
      const before = Math.min(at, at - step);
      if (row.bay_ends.includes(before)) return { what: "post", n: `${before}/${before + 1}` };
      if (row.missing.includes(at)) return { what: "missing", n: at };
      if (row.young.includes(at)) return { what: "young", n: at };
    }
    return null;
  },
  // The first cell of a finding that the office would not take, as [column, text], or null.
  wrong(values, rules) {
    for (const name of Object.keys(rules.limits)) {
      const said = values[name];
      if (said !== "" && said !== undefined && !isWithin(rules, name, said)) return [name, `${said} (${limitsOf(rules, name)})`];
    }
    if (typeof values.dead === "number" && typeof values.total === "number" && values.dead > values.total) return ["dead", `${values.dead} > ${values.total}`];
    return null;
  },
  // Labels of rows that a text names, in the order of the block, as the desk reads rows scouted; null where it cannot be read.
  rowsOf(text, labels) {
    const named = new Set();
    for (const part of text.split(";").map((piece) => piece.trim()).filter(Boolean)) {
      const found = part.toLowerCase() === "all" ? labels : pure.rowsOfPart(part, labels);
      if (!found) return null;
      for (const label of found) named.add(label);
    }
    return named.size ? labels.filter((label) => named.has(label)) : null;
  },
  rowsOfPart(part, labels) {
    if (labels.includes(part)) return [part];
    let bare = part.replaceAll(" ", "");
    let step = 1;
    const stepped = /^(.+\.\..+)\/(\d{1,4})$/.exec(bare);
    if (stepped && !labels.includes(bare.slice(bare.indexOf("..") + 2))) [bare, step] = [stepped[1], Number(stepped[2])];
    const ends = /^([^\s;:]+?)(?:\.\.([^\s;:]+?))?$/.exec(bare);
    if (!ends || step < 1 || !labels.includes(ends[1]) || (ends[2] && !labels.includes(ends[2]))) return null;
    const [low, high] = [labels.indexOf(ends[1]), labels.indexOf(ends[2] || ends[1])];
    const between = labels.slice(Math.min(low, high), Math.max(low, high) + 1);
    return (low <= high ? between : between.reverse()).filter((label, k) => k % step === 0);
  },
  // Of canes, each a list of buds: how many buds were cut and how many of each kind were dead or alive. Of a kind that nobody
  // judged nothing is said.
  budSums(canes) {
    const every = canes.flat().filter((bud) => bud && bud.primary);
    const many = (kind, value) => every.filter((bud) => bud[kind] === value).length;
    const both = (kind) => (every.some((bud) => bud[kind])
      ? { [`${kind}_dead`]: many(kind, "dead"), [`${kind}_alive`]: many(kind, "alive") } : { [`${kind}_dead`]: "", [`${kind}_alive`]: "" });
    return { canes: canes.filter((cane) => (cane || []).some((bud) => bud && bud.primary)).length, buds: every.length, primary_dead: many("primary", "dead"), ...both("secondary"), ...both("tertiary") };
  },
  // Canes after a tap: a bud without its primary was not cut, and nothing else is said of it.
  tapped(canes, cane, bud, kind, value) {
    const next = canes.map((buds) => (buds || []).map((one) => ({ ...one })));
    while (next.length <= cane) next.push([]);
    while (next[cane].length <= bud) next[cane].push({});
    const told = { ...next[cane][bud], [kind]: value };
    next[cane][bud] = told.primary ? told : {};
    return next;
  },
  // Rows and positions within the accuracy of a place, in the order of the block; or why it names none. More than twice the
  // row spacing names five rows and more, which helps nobody: our own convention.
  near(ground, place) {
    const most = 2 * ground.row_spacing_m;
    if (!(place.accuracy <= most)) return { refused: "accuracy", most };
    const east = 111320 * Math.cos((place.latitude * Math.PI) / 180);
    const away = (longitude, latitude) => Math.hypot((longitude - place.longitude) * east, (latitude - place.latitude) * 110940);
    const rows = [];
    let least = { away: Infinity };
    for (const [label, corners] of Object.entries(ground.rows)) {
      const every = pure.laid(corners).map(([position, longitude, latitude]) => ({ position, away: away(longitude, latitude) })).sort((a, b) => a.away - b.away);
      const inside = every.filter((one) => one.away <= Math.max(place.accuracy, ground.row_spacing_m / 2));
      if (every[0] && every[0].away < least.away) least = { label, away: every[0].away, position: every[0].position };
      if (inside.length) rows.push({ label, nearest: every[0].position, positions: inside.map((one) => one.position).sort((a, b) => a - b), away: every[0].away });
    }
    if (!rows.length && least.away > ground.row_spacing_m) return { refused: "away", away: least.away };
    return { rows: rows.length ? rows : [{ label: least.label, nearest: least.position, positions: [least.position], away: least.away }] };
  },
  // Every position of a row between the corners that it is laid on: [position, longitude, latitude] each.
  laid(corners) {
    const out = [];
    corners.forEach(([position, longitude, latitude], k) => {
      const before = corners[k - 1];
      const steps = before ? Math.abs(position - before[0]) : 1;
      for (let n = 1; n <= steps; n += 1) {
        const share = n / steps;
        out.push(before ? [before[0] + Math.sign(position - before[0]) * n, before[1] + share * (longitude - before[1]), before[2] + share * (latitude - before[2])] : [position, longitude, latitude]);
      }
    });
    return out;
  },
  uuid() {
    if (globalThis.crypto && crypto.randomUUID) return crypto.randomUUID();
    const bytes = crypto.getRandomValues(new Uint8Array(16)); // plain http has no randomUUID
    bytes[6] = (bytes[6] & 15) | 64;
    bytes[8] = (bytes[8] & 63) | 128;
    const hex = [...bytes].map((b) => b.toString(16).padStart(2, "0")).join("");
    return `${hex.slice(0, 8)}-${hex.slice(8, 12)}-${hex.slice(12, 16)}-${hex.slice(16, 20)}-${hex.slice(20)}`;
  },
  // A finding said otherwise. Once it was handed over its id stands for what was said then: it is taken back, and said anew.
  changed(item, values, now, makeId) {
    if (!item.handed) return [{ ...item, row: { ...item.row, ...values } }];
    const id = makeId();
    return [
      { ...item, state: "void", void_id: makeId(), voided_at: now.toISOString() },
      { ...item, id, handed: false, row: { ...item.row, ...values, id, recorded_at: now.toISOString() } },
    ];
  },
  // What the office does not know yet: a record never handed over, or taken back after it was and not told since.
  pending: (item) => (item.state === "live" ? !item.handed : Boolean(item.handed) && !item.back_handed),
  // A list of records with some of them changed, or added at its end.
  joined(items, changed) {
    const next = new Map(items.map((item) => [item.id, item]));
    for (const item of changed) next.set(item.id, item);
    return [...next.values()];
  },
  // What is written, each new record with its number: the phone's clock may be set back, and the order stays.
  numbered(items, changed) {
    const there = new Map(items.map((item) => [item.id, item.n]));
    let last = items.reduce((most, item) => Math.max(most, item.n || 0), 0);
    return changed.map((item) => ({ ...item, n: there.has(item.id) ? there.get(item.id) : (last += 1) }));
  },
  // Records as they were written. Those of an earlier page have no number: they come first, by the clock.
  inOrder: (items) => [...items].sort((a, b) => (a.n || 0) - (b.n || 0) || (a.row.recorded_at < b.row.recorded_at ? -1 : 1)),
  // What becomes of a record when the office has what was given: nothing, where it was not among it. Another window may
  // have taken it back meanwhile, or said it otherwise: that is told the next time.
  marked(item, given, now, makeId) {
    const rows = given[item.table] || [];
    const told = rows.find((row) => row.id === item.id);
    if (rows.some((row) => row.id === item.void_id)) return item.handed && item.back_handed ? [] : [{ ...item, handed: true, back_handed: true }];
    if (!told || item.handed) return [];
    if (item.state === "void" || pure.same(told, item.row)) return [{ ...item, handed: true }];
    return pure.changed({ ...item, row: told, handed: true }, item.row, now, makeId);
  },
  same(one, other) {
    const text = (row) => JSON.stringify(Object.keys(row).sort().map((key) => [key, row[key] ?? null]));
    return text(one) === text(other);
  },
  // What is handed over: live records, and for one voided after it was handed over a record that takes it back.
  handover(data, device, items, now) {
    // The block's mark binds it to its vineyard; a page that was made before there were marks has none.
    const bound = data.block_root ? { vineyard_name: data.vineyard_name || "", block_root: data.block_root, block_began: data.block_began || "" } : {};
    // An earlier desk would leave lines of plants, counts of buds and rows pruned out in silence: it is told that this is a later form.
    const given = (table) => items.some((item) => item.table === table && (item.state === "live" || item.handed));
    const [gone, counted, pruned] = ["plants", "bud_counts", "pruning"].map(given);
    const out = { trunkwatch_handover: counted || pruned ? 4 : gone ? 3 : data.block_root ? 2 : 1, vineyard: data.vineyard, block: data.block, ...bound, season: data.season, device, written: now.toISOString(), surveys: [], symptoms: [], work: [], ...(gone ? { plants: [] } : {}), ...(counted ? { bud_counts: [] } : {}), ...(pruned ? { pruning: [] } : {}) };
    for (const item of items) {
      if (item.state === "live" || item.handed) out[item.table].push(item.row);
      if (item.state !== "void" || !item.handed) continue;
      const back = { id: item.void_id, recorded_at: item.voided_at };
      // A work is not taken back with its plan: it is planned again, as it was.
      const { hours, cut_height_cm, wound_protected, not_done, note, ...same } = item.row;
      if (item.table === "work" && item.was) out.work.push({ ...same, ...item.was, ...back, corrects: item.root, status: "planned" });
      else if (item.table === "work" && item.planned) out.work.push({ ...item.row, ...back, status: "planned", date: item.planned });
      else out[item.table].push({ ...item.row, ...back, corrects: item.id, void: "yes" });
    }
    return out;
  },
};
window.trunkwatch_field = pure;
