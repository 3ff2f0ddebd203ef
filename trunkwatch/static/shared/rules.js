// Judging by the rules that the package gives every page (trunkwatch.maps.rules): calendar and limits. No number stands here.

/**
 * @typedef {object} Rules
 * @property {string[]} drawn  marks of the conditions, what matters most last
 * @property {string[]} legend
 * @property {string} showing
 * @property {string} not_scouted
 * @property {string} row_line
 * @property {Record<string, [number, number | null]>} limits  by column
 * @property {string[]} whole  columns of whole numbers
 * @property {string[]} cuts
 * @property {Record<string, number>} first_month  by hemisphere
 * @property {number} dormant
 * @property {number} leaves
 * @property {string[]} with_leaves
 */

/**
 * A day as this machine's calendar has it, YYYY-MM-DD.
 * @param {Date} now
 */
export const localDay = (now) => `${now.getFullYear()}-${String(now.getMonth() + 1).padStart(2, "0")}-${String(now.getDate()).padStart(2, "0")}`;

/** @param {string} day */
const monthOf = (day) => Number(day.slice(5, 7));

/**
 * The season that a day belongs to: it has the name of the year in which its summer lies.
 * @param {string} day
 * @param {Rules} rules
 * @param {string} hemisphere
 */
export const seasonOf = (day, rules, hemisphere) => Number(day.slice(0, 4)) + (monthOf(day) >= rules.first_month[hemisphere] ? 1 : 0);

/**
 * What can be seen on a day: nothing but wood, first shoots, or full leaves.
 * @param {string} day
 * @param {Rules} rules
 * @param {string} hemisphere
 */
export function lookOf(day, rules, hemisphere) {
  const months = (monthOf(day) - rules.first_month[hemisphere] + 12) % 12;
  return months < rules.dormant ? "dormant" : months < rules.leaves ? "spring" : "summer";
}

/**
 * Whether a number can stand in a column of a finding.
 * @param {Rules} rules
 * @param {string} column
 * @param {unknown} number
 */
export function isWithin(rules, column, number) {
  const [low, high] = rules.limits[column];
  if (typeof number !== "number" || Number.isNaN(number)) return false;
  return number >= low && (high === null || number <= high) && (!rules.whole.includes(column) || Number.isInteger(number));
}

/**
 * The limits of a column in short, as people read them.
 * @param {Rules} rules
 * @param {string} column
 */
export function limitsOf(rules, column) {
  const [low, high] = rules.limits[column];
  return high === null ? `\u2265 ${low}` : `${low}\u2013${high}`;
}
