// What was written down, the work that is planned, and handing both over.

async function showRecords() {
  state.screen = "records";
  render();
  try { elsewhere = await keptElsewhere(); } catch { elsewhere = []; }
  if (state.screen === "records") render();
}

// Records that are of no single vine, and what they are called.
const BESIDE_VINES = { bud_counts: "bud_counts", pruning: "rows_pruned" };

function recordsScreen() {
  const live = items.slice().reverse();
  const open = state.walk !== null; // a count that is off may still move what was found in this row
  const line = (item) => el("li", { class: item.state === "void" ? "void" : item.table === "symptoms" ? "" : "done" },
    el("span", {}, item.table === "surveys" ? `\u2713 ${told(item)}` : BESIDE_VINES[item.table] ? `\u2713 ${word(BESIDE_VINES[item.table])}: ${told(item)}` : `${told(item)} ${item.table === "plants" ? word("why.vine_gone") : code(item.row.symptom || item.row.kind)}${item.row.not_done ? `, ${word("not_done")}: ${word(`why.${item.row.not_done}`)}` : ""}${item.row.arm ? `, ${armWord(item.row.arm)}` : ""}`,
      item.handed ? el("span", { class: "small" }, ` ${word("handed")}`) : null),
    item.state === "void" ? null : el("span", { class: "beside" },
      photoButton(item),
      item.table === "symptoms" ? button(word("details"), () => detailsScreen(item.id)) : null,
      button(word("undo"), () => once(() => undo(item.id)))));
  return [el("h1", {}, word("records")),
    open ? el("p", {}, word("finish_first")) : null,
    live.length && !open ? button(word("hand_over"), () => once(handOver), { class: "go", id: "hand", style: "width:100%" }) : null,
    live.length ? null : el("p", {}, word("nothing_yet")),
    live.length && data.sync && !open ? button(word("sync"), () => once(sync), { id: "sync", style: "width:100%;margin-top:8px" }) : null,
    live.some((item) => (item.photos || []).length) && !open ? button(word("photos_again"), () => once(photosAgain), { id: "photos_again", style: "width:100%;margin-top:8px" }) : null,
    ...otherwise.map((one) => el("p", { class: "bad otherwise" }, one.stands && Object.keys(one.stands).length
      ? word("stands_otherwise", { what: one.about, now: Object.entries(one.stands).map(([name, value]) => `${name} ${value || "\u2013"}`).join(", ") })
      : word("taken_back_there", { what: one.about }))),
    ...(codeNeeded && live.length && data.sync && !open ? codeParts() : []),
    ...elsewhere.map((group) => {
      const [block, season] = group.key.split("\u001f");
      return button(word("elsewhere", { what: `${block} ${season}`, n: group.fresh.length }), () => once(() => handOverElsewhere(group, block, Number(season))), { class: "elsewhere", style: "width:100%;margin-top:8px" });
    }),
    button(word("back"), () => { state.screen = open ? "walk" : "start"; render(); }, { style: "width:100%;margin:8px 0" }),
    el("ul", {}, ...live.map(line))];
}

// What decides on a piece of work, in few words: what was seen and when, the shoot, the reason; what does not fit is one tap away.
function decides(plan) {
  const [, stands, seen, shoot, note] = plan.told ? plan.told[state.language] || plan.told.en : ["", "", "", "", plan.row.note || ""];
  const at = data.rows.find((one) => one.label === plan.row.row);
  const known = at && !stands ? word("last_known", { what: conditionOf(at, Number(plan.row.position)) }) : "";
  const bare = shoot.replace(/ \([^)]*\)/g, "");
  return [[stands, seen].filter(Boolean).join(", ") || known, bare ? `${word("shoot")}: ${bare}` : "", note].filter(Boolean).join(" \u00b7 ");
}

// Planned work, vine by vine in walking order: three lines a vine, all of them its key.
function workScreen() {
  const line = (plan) => {
    const done = said(plan);
    const part = plan.told ? (plan.told[state.language] || plan.told.en)[0] : [plan.row.trunk ? `${word("trunk")} ${plan.row.trunk}` : "", plan.row.arm ? armWord(plan.row.arm) : ""].filter(Boolean).join(", ");
    const what = [`${told(plan)} ${code(plan.row.kind)}`, part, plan.row.cut_height_cm ? `${plan.row.cut_height_cm} cm` : ""].filter(Boolean).join(", ");
    const verdict = done && (done.row.not_done ? `${word("not_done")}: ${word(`why.${done.row.not_done}`)}` : `\u2713 ${doneWord(plan)}`);
    const key = el("button", { type: "button", class: "vine-key", on: () => goTo(plan) }, el("b", {}, what), el("span", {}, verdict || decides(plan)));
    return el("li", { class: done ? "done listed" : "plan listed" }, key,
      done ? el("span", { class: "beside" }, photoButton(done), button(word("undo"), () => once(() => undo(done.id)))) : null);
  };
  return [el("h1", {}, word("work_list")), button(word("back"), () => { state.screen = "winter"; render(); }, { style: "width:100%;margin-bottom:8px" }),
    el("ul", {}, ...data.work.map(line))];
}

// ---- Handing over --------------------------------------------------------------------------------------------
// What lies on the disk counts: another window of this page may have written too.
async function together(road) {
  if (disk.kind !== "none") items = inOrder((await disk.read()).items);
  const out = await withPhotos(pure.handover(data, deviceName(), items, new Date()), items, road);
  return sealing.signed(out, data.pairing);
}

const inOrder = (found) => pure.inOrder(found || []);

async function markHanded(given) {
  return write((every) => every.flatMap((item) => pure.marked(item, given, new Date(), pure.uuid)), "");
}

// By the phone's share sheet, or as a download; whether it was given.
async function give(out) {
  const name = `trunkwatch_${out.block.replace(/[^\p{L}\p{N}]+/gu, "_")}_${out.season}_${out.device.replace(/[^\p{L}\p{N}]+/gu, "_")}.json`;
  const text = JSON.stringify(out, null, 1);
  const file = new File([text], name, { type: "application/json" });
  // Many phones share text and no JSON: the desk takes the same under either name.
  const plain = new File([text], name.replace(/json$/, "txt"), { type: "text/plain" });
  const shared = navigator.canShare ? [file, plain].find((one) => navigator.canShare({ files: [one] })) : null;
  if (shared) {
    try { await navigator.share({ files: [shared], title: shared.name }); return true; } catch (error) { if (error.name === "AbortError") return false; }
  }
  const link = el("a", { href: URL.createObjectURL(file), download: name });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  return true;
}

const many = (out) => ["surveys", "symptoms", "work", "plants", "bud_counts", "pruning"].reduce((sum, table) => sum + (out[table] || []).length, 0);

async function handOver() {
  const out = await together("given");
  if (!(await give(out)) || !(await markHanded(out))) return;
  render();
  tick(word("handed_over", { n: many(out) }), false);
  await markPhotos(out, ["given"]);
}

async function handOverElsewhere(group, block, season) {
  const { bound, phone, row: { device } } = group.items.at(-1);
  const plain = await withPhotos(pure.handover({ vineyard: group.name.slice(NAMED.length), block, season, ...bound }, device, group.items, new Date()), group.items, "given", group.name);
  // Signed only where this phone wrote it under the pairing that it has now.
  const out = sealing.signed(plain, data.pairing && phone === data.pairing.phone ? data.pairing : null);
  try {
    if (!(await give(out))) return;
    await markElsewhere(group, out);
    await markPhotos(out, ["given"], group.name);
    await showRecords();
    tick(word("handed_over", { n: many(out) }), false);
  } catch (error) { tick(word("not_saved", { why: error.message }), true); }
}

// The office was started anew, or this phone's pass has ended: the code is asked for here, and no page is left for it.
let codeNeeded = false;
// What was handed over and does not stand as it was written here: somebody in the office wrote it otherwise since.
let otherwise = [];

function codeParts() {
  const input = el("input", { id: "code", inputmode: "numeric", autocomplete: "one-time-code" });
  return [el("p", { class: "bad", id: "code_needed" }, word("code_needed")), el("label", { for: "code" }, word("code")), input,
    button(word("code_send"), () => once(() => enterCode(input.value.trim())), { class: "go", id: "code_send", style: "width:100%;margin-top:8px" })];
}

const post = (where, what) => fetch(where, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(what) });

async function enterCode(code) {
  try {
    const answer = await post("/api/enter", { code });
    if (!answer.ok) throw new Error((await answer.json()).error || String(answer.status));
    codeNeeded = false;
  } catch (error) {
    tick(error.message, true);
    return;
  }
  render();
  await sync();
}

async function sync() {
  try {
    const out = await together("known");
    const answer = await post(data.sync, out);
    const said = await answer.json();
    if (answer.status === 401 || answer.status === 403) {
      codeNeeded = true;
      render();
      document.getElementById("code")?.focus();
      tick(word("code_needed"), true);
      return;
    }
    if (!answer.ok) throw new Error(said.error || String(answer.status));
    if (!(await markHanded(out))) return;
    otherwise = said.superseded || [];
    render();
    tick(word("synced", { n: said.known }), false);
    await markPhotos(out, ["given", "known"]);
    if ((said.photos_refused || []).length) tick(word("photos_refused", { n: said.photos_refused.length }), true);
  } catch (error) {
    tick(word("not_saved", { why: error.message }), true);
  }
}
