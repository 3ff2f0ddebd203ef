// The marks of the conditions, as the package gives them (trunkwatch.maps.symbols), drawn on a canvas and as SVG.
import { svgEl } from "./elements.js";

/**
 * @typedef {object} Look
 * @property {[number, number][][]} strokes  lines in a box of 20 by 20 around the vine, x along the row, y down
 * @property {string} ink
 * @property {string} fill  empty where the paper is left
 * @property {boolean} solid  whether the strokes enclose areas that are filled
 * @property {boolean} turn  whether it is turned with the row
 * @property {string} letter
 * @property {string} word
 * @property {string} meaning
 */

/**
 * @param {CanvasRenderingContext2D} pen
 * @param {Look} look
 * @param {number} x
 * @param {number} y
 * @param {{ scale: number, ink: string, fill: string, width: number, along?: [number, number] }} how  along: the way of
 *   the row, y up; width: of the strokes in pixels
 */
export function drawMark(pen, look, x, y, { scale, ink, fill, width, along = [1, 0] }) {
  const [cos, sin] = look.turn ? [along[0], -along[1]] : [1, 0];
  Object.assign(pen, { strokeStyle: ink, fillStyle: fill, lineWidth: width });
  for (const stroke of look.strokes) {
    pen.beginPath();
    for (const [k, [u, v]] of stroke.entries()) {
      const [right, down] = [x + scale * (u * cos - v * sin), y + scale * (u * sin + v * cos)];
      if (k) pen.lineTo(right, down);
      else pen.moveTo(right, down);
    }
    if (look.solid) pen.fill();
    pen.stroke();
  }
}

/**
 * Every vine within the sheet, once: what matters most is drawn last, and nothing lies on it.
 * @param {{ count: number, order: string[], looks: Record<string, Look>, width: number, height: number,
 *   markOf: (vine: number) => string, at: (vine: number) => [number, number],
 *   draw: (look: Look, x: number, y: number, vine: number, mark: string) => void }} sheet
 */
export function drawVines({ count, order, looks, width, height, markOf, at, draw }) {
  /** @type {Record<string, number[]>} */
  const vines = {};
  for (let vine = 0; vine < count; vine += 1) (vines[markOf(vine)] ||= []).push(vine);
  for (const mark of order.filter((one) => looks[one] && vines[one])) {
    for (const vine of vines[mark]) {
      const [x, y] = at(vine);
      if (x < -20 || y < -20 || x > width + 20 || y > height + 20) continue;
      draw(looks[mark], x, y, vine, mark);
    }
  }
}

/**
 * The vine that lies nearest to a point of the sheet, within a reach in pixels; null where there is none.
 * @param {{ count: number, at: (vine: number) => [number, number], isShown?: (vine: number) => boolean }} sheet
 * @param {number} x
 * @param {number} y
 * @param {number} reach
 */
export function nearestVine({ count, at, isShown = () => true }, x, y, reach) {
  let [best, least] = [/** @type {number | null} */ (null), reach ** 2];
  for (let vine = 0; vine < count; vine += 1) {
    const [right, down] = at(vine);
    const away = (right - x) ** 2 + (down - y) ** 2;
    if (away < least && isShown(vine)) [least, best] = [away, vine];
  }
  return best;
}

/**
 * The strokes of a mark as paths of an SVG, around a place in it.
 * @param {Look} look
 * @param {{ x?: number, y?: number, scale?: number, width?: number }} where
 */
export function markPaths(look, { x = 0, y = 0, scale = 1, width = 2 } = {}) {
  const text = (/** @type {number} */ number) => String(Math.round(100 * number) / 100);
  return look.strokes.map((stroke) => svgEl("path", {
    d: `M${stroke.map(([u, v]) => `${text(x + scale * u)} ${text(y + scale * v)}`).join("L")}`,
    stroke: look.ink, "stroke-width": width, fill: look.solid ? look.fill : "none",
  }));
}

/**
 * A condition in a legend: its mark, its letter, its word, and how many vines have it.
 * @param {Look} look
 * @param {number} many
 */
export function legendLine(look, many) {
  const line = document.createElement("span");
  line.title = look.meaning;
  line.append(svgEl("svg", { viewBox: "-10 -11 22 22", "aria-hidden": "true" }, ...markPaths(look)), ` ${look.letter} ${look.word} ${many}`);
  return line;
}
