// Data of the page, and what every other part of its script uses: words, numbers, colours, unpacked lines.
const D = JSON.parse(document.getElementById("data").textContent);
const C = D.contestants;
const byId = (id) => document.getElementById(id);
const state = { shown: new Set(C.flatMap((c, k) => (c.shown ? [k] : []))), view: 0, from: 0, to: 1, at: null, paper: false };

function make(parent, name, attributes, text) {
  const made = document.createElement(name);
  for (const key in attributes || {}) made.setAttribute(key, attributes[key]);
  if (text !== undefined) made.textContent = text;
  if (parent) parent.append(made);
  return made;
}
function fixed(value, digits) {
  return value === null || value === undefined || !isFinite(value) ? "–" : value.toFixed(digits).replace(/^-(0(?:\.0+)?)$/, "$1").replace("-", "−");
}
function digitsFor(values) {
  const top = Math.max(0, ...values.filter((v) => v !== null).map(Math.abs));
  return top >= 100 ? 0 : top >= 10 ? 1 : top >= 0.1 ? 2 : 3;
}
function clock(seconds) {
  const whole = Math.round(seconds);
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}
/** Text that the chart library must not take for markup. */
const plain = (text) => String(text).replace(/&/g, "&amp;").replace(/</g, "&lt;").replace(/>/g, "&gt;");
const tone = (k) => `k${k % 8}` + (k >= 8 ? " second" : "");
const chosen = () => C.map((_, k) => k).filter((k) => state.shown.has(k));
/** A colour of the style sheet, as it is now. */
const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();

const unpacked = new Map();
/** One line of a view as numbers in the page's units; NaN where there is nothing; null where it was left out. */
function series(view, contestant, name) {
  const source = contestant === null ? D.views[view].shared : D.views[view].lines[contestant];
  if (!source || !source[name]) return null;
  const id = `${view}/${contestant}/${name}`;
  if (!unpacked.has(id)) {
    const [quantum, offset] = D.scales[name];
    const out = new Float64Array(source[name].length);
    let sum = 0;
    source[name].forEach((step, k) => { sum += step; out[k] = sum * quantum + offset; });
    const pair = 2 * D.views[view].step; // no charge air while the engine stands; points come in pairs, least and greatest
    if (name === "iat_c") for (const [a, b] of D.views[view].engine_off_s) out.fill(NaN, 2 * Math.floor(a / pair), 2 * Math.ceil(b / pair));
    unpacked.set(id, out);
  }
  return unpacked.get(id);
}
function valueAt(view, contestant, name, seconds) {
  const found = series(view, contestant, name);
  return found ? found[Math.min(found.length - 1, Math.max(0, Math.round(seconds / D.views[view].step)))] : null;
}
/** Seconds at which a contestant FAILED on a view; infinite if it did not. */
function stopOf(view, k) {
  const at = k === null ? null : D.views[view].failed[k];
  return at === null || at === undefined ? Infinity : at;
}
function span(arrays) {
  let low = Infinity, high = -Infinity;
  for (const values of arrays) for (const v of values) { if (v < low) low = v; if (v > high) high = v; }
  return low > high ? [0, 1] : [low, high];
}
function phaseAt(view, seconds) {
  let name = "";
  for (const [from, text] of D.views[view].phases) if (from <= seconds) name = text;
  return name;
}
