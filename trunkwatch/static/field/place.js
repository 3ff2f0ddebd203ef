// Where the phone says that one stands: it proposes rows and positions and never sets one. Off unless it is asked.

let watching = null;
let refused = false; // the phone, or whoever carries it, gives no position
// Whether the page can ask at all: the block lies on the map, and the page came by a road that nobody can change.
const canPlace = () => Boolean(data.ground && window.isSecureContext && navigator.geolocation);

function watchPlace() {
  const wanted = (state.place || state.screen === "where") && navigator.geolocation;
  if (wanted && watching === null) {
    refused = false;
    watching = navigator.geolocation.watchPosition((at) => {
      refused = false;
      here = { longitude: at.coords.longitude, latitude: at.coords.latitude, accuracy: at.coords.accuracy, told: Date.now() };
      if (state.screen === "where") render();
    }, () => { here = null; refused = true; if (state.screen === "where") render(); }, { enableHighAccuracy: true });
  } else if (!wanted && watching !== null) {
    navigator.geolocation.clearWatch(watching);
    watching = null;
    here = null;
  }
}

function askPlace() {
  takeName();
  state.screen = "where";
  watchPlace();
  render();
}
function leavePlace(change = {}) {
  Object.assign(state, { screen: state.walk ? "walk" : "start" }, change);
  watchPlace();
  render();
  write(nothing, "");
}

// What is said of a position: why it tells nothing, or which rows and positions are within its accuracy.
function placeWords(found) {
  const accuracy = Math.max(1, Math.ceil(here.accuracy));
  if (found.refused === "accuracy") return word("place_too_wide", { n: accuracy, spacing: data.ground.row_spacing_m, most: Math.floor(found.most) });
  if (found.refused) return word("place_away", { n: Math.round(found.away), within: accuracy });
  const named = found.rows.map((one) => one.label);
  return named.length > 1 ? word("place_rows", { n: accuracy, first: named[0], last: named.at(-1) }) : word("place_row", { n: accuracy, row: named[0] });
}

function whereScreen() {
  const fresh = here && Date.now() - here.told < FRESH;
  const found = fresh ? pure.near(data.ground, here) : null;
  const inRow = found && found.rows && state.walk ? found.rows.find((one) => one.label === row().label) : null;
  const told = refused ? el("p", { class: "bad", id: "placed" }, word("place_refused"))
    : !fresh ? el("p", { id: "placed" }, word("place_waits"))
      : el("p", { class: found.refused ? "bad" : "task", id: "placed" }, placeWords(found));
  const rowKeys = found && found.rows && !state.walk
    ? [el("p", {}, word("place_take_row")), el("div", { class: "rows" }, ...found.rows.map((one) => button(one.label, () => leavePlace({ row: rowLabels().indexOf(one.label) }), { "data-row": one.label, "aria-label": `${word("row")} ${one.label}` })))] : [];
  const positions = inRow ? inRow.positions.slice(0, 15) : [];
  const positionKeys = positions.length
    ? [el("p", {}, word("place_take_position", { row: row().label })), el("div", { class: "rows" }, ...positions.map((position) => button(String(position), () => {
      byBay = false;
      bayTyped = null;
      typed = String(counting() === "from_me" ? pure.count(row(), state.from, position) : position);
      leavePlace();
    }, { "data-position": position, ...pressed(position === inRow.nearest) })))] : [];
  const otherRow = found && found.rows && state.walk && !inRow ? el("p", { class: "bad", id: "other_row" }, word("place_other_row", { row: row().label })) : null;
  return fit(
    el("h1", {}, word("where_am_i")), told, otherRow, spread(), ...rowKeys, ...positionKeys,
    el("p", { class: "small" }, word("place_rule")),
    button(word("back"), () => leavePlace(), { class: "go", id: "back" }));
}
