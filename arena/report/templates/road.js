// On the road: five panels over one time axis with Plotly, moving about in them, and the same as tables.
const PANELS = [
  { id: "iat", title: "Charge temperature while the engine runs", short: "Charge temperature, engine on", lanes: ["iat_c"], air: true, goals: true, height: 222 },
  { id: "duty", title: "Pump duty, a strip each (full height: 100 %)", short: "Pump duty (full height: 100 %)", strips: "duty_pct" },
  { id: "coolant", title: "Coolant into the core (thick) and out of it (thin)", short: "Coolant into core (thick), out (thin)", lanes: ["coolant_in_c", "coolant_out_c"], height: 148 },
  { id: "boost", title: "Boost over the outside air", short: "Boost", shared: "boost_kpa", height: 72 },
  { id: "speed", title: "Road speed", short: "Road speed", shared: "speed_kmh", height: 72 },
];
const STRIP = 24, TITLE = 28, ROAD = { l: 44, r: 26, t: 4, b: 24 };
const headline = (panel, width) => (width < 560 ? panel.short : panel.title) + (panel.strips ? "" : `, ${D.scales[panel.shared || panel.lanes[0]][2]}`) + (panel.air && width >= 560 ? "; dotted: outside air" : "");

/** All panels of a view into `host`, from..to in seconds. `squeeze` is a factor on the heights. */
function road(host, view, from, to, width, squeeze) {
  const v = D.views[view], picked = chosen().filter((k) => v.lines[k]);
  const tall = PANELS.map((p) => (p.strips ? Math.max(1, picked.length) * STRIP : p.height) * squeeze);
  const inner = tall.reduce((sum, h) => sum + h + TITLE, 0), layout = sheet(width, inner + ROAD.t + ROAD.b, ROAD);
  layout.hovermode = "x";
  layout.hoversubplots = "axis";
  layout.dragmode = state.paper || matchMedia("(pointer: coarse)").matches ? false : "zoom"; // a finger scrolls the page
  layout.xaxis = axis([from / 60, to / 60], { domain: [0, 1], anchor: `y${PANELS.length}`, fixedrange: false, nticks: Math.floor((width - 70) / 55), ticksuffix: " min", showticksuffix: "first", tickangle: 0 });
  layout.shapes.push({ type: "line", xref: "x", yref: "paper", x0: 0, x1: 0, y0: 0, y1: 1, layer: "below", line: { color: colour("ink"), width: 1 }, visible: false }); // the reading line: always the first
  const traces = [];
  let said = "", top = inner;
  PANELS.forEach((panel, n) => {
    const name = n ? `yaxis${n + 1}` : "yaxis", y = n ? `y${n + 1}` : "y";
    top -= TITLE;
    layout.annotations.push(note(headline(panel, width), { xref: "paper", yref: "paper", x: 0, y: top / inner, xanchor: "left", yanchor: "bottom", yshift: 3, font: { size: 13, color: colour("ink") } }));
    const more = { domain: [Math.max(0, (top - tall[n]) / inner), top / inner], anchor: "x", ticks: "" };
    top -= tall[n];
    if (v.drive_s < to) layout.shapes.push({ type: "rect", layer: "below", xref: "x", yref: `${y} domain`, x0: v.drive_s / 60, x1: v.seconds / 60, y0: 0, y1: 1, fillcolor: colour("wash"), line: { width: 0 } });
    said += ` ${panel.title}:`;
    said += panel.strips ? strips(panel, view, picked, traces, layout, name, y, more) : lines(panel, view, picked, traces, layout, name, y, more, [to, tall[n]]);
  });
  if (v.drive_s < to && ((to - Math.max(v.drive_s, from)) / (to - from)) * (width - 70) > 96) layout.annotations.push(note("after the drive", { xref: "paper", yref: "y domain", x: 1, y: 1, xanchor: "right", yanchor: "top", font: { size: 12, color: colour("soft") } }));
  return put(host, traces, layout, `${v.name}, minute ${fixed(from / 60, 1)} to ${fixed(to / 60, 1)}.${picked.length ? said : " No contestant chosen."} Numbers in the tables below.`);
}
/** What every line of a view begins with; points are `step` apart. */
const timed = (view, y, more) => ({ type: "scatter", mode: "lines", x0: 0, dx: D.views[view].step / 60, yaxis: y, hoverinfo: "none", ...more });

function strips(panel, view, picked, traces, layout, name, y, more) {
  const step = D.views[view].step / 60;
  let said = "";
  layout[name] = axis([-0.02, Math.max(1, picked.length) * 1.15 - 0.1], { ...more, showgrid: false, tickmode: "array", tickvals: picked.map((_, row) => (picked.length - 1 - row) * 1.15 + 0.4), ticktext: picked.map((k) => `<b><span style="color:${colour(`k${k % 8}`)}">${C[k].key}</span></b>`), showline: false });
  picked.forEach((k, row) => {
    const values = series(view, k, panel.strips), base = (picked.length - 1 - row) * 1.15, last = Math.min(values.length - 1, Math.floor(stopOf(view, k) / D.views[view].step));
    const kept = Array.from(values.subarray(0, last + 1));
    traces.push({
      type: "scatter", mode: "lines", yaxis: y, meta: { panel: panel.id, k }, hoverinfo: "skip", fill: "toself", fillcolor: colour(`k${k % 8}`), line: { width: 0, color: colour(`k${k % 8}`), simplify: false }, opacity: 0.85,
      x: [0, ...kept.map((_, n) => n * step), last * step], y: [base, ...kept.map((p) => base + Math.min(p, 100) / 100), base],
    });
    layout.shapes.push({ type: "line", xref: "x domain", yref: y, x0: 0, x1: 1, y0: base, y1: base, line: { color: colour("rule"), width: 1 }, layer: "below" });
    said += ` ${C[k].name} ${fixed(kept.reduce((a, b) => a + b, 0) / kept.length, 0)} % on average;`;
  });
  return said;
}
function lines(panel, view, picked, traces, layout, name, y, more, [to, tall]) {
  const v = D.views[view], all = panel.shared ? [[null, panel.shared]] : picked.flatMap((k) => panel.lanes.map((lane) => [k, lane]));
  const known = all.filter(([k, lane]) => series(view, k, lane));
  let [low, high] = span(known.map(([k, lane]) => series(view, k, lane))), said = "";
  if (panel.goals) { low = Math.min(low, D.target - D.band); high = Math.max(high, D.limit + ((D.limit - low) * 18) / (tall - 18)); } // room for the word above its line
  if (panel.shared) { low = 0; high = Math.max(high, 1); }
  const room = 0.04 * (high - low || 1);
  low -= panel.shared ? 0 : room; high += room;
  layout[name] = axis([low, high], { ...more, nticks: Math.max(3, Math.floor(tall / 26)) });
  if (panel.goals) {
    layout.shapes.push({ type: "rect", layer: "below", xref: "x domain", yref: y, x0: 0, x1: 1, y0: D.target - D.band, y1: D.target + D.band, fillcolor: colour("target"), opacity: 0.1, line: { width: 0 } });
    for (const word of ["target", "limit"]) layout.shapes.push(goal(word, D[word], { xref: "x domain", yref: y, x0: 0, x1: 1, y0: D[word], y1: D[word] }, { textposition: "start", yanchor: "bottom" }));
  }
  const air = panel.air && series(view, null, "ambient_c");
  if (air) traces.push(timed(view, y, { y: air, meta: { panel: panel.id, what: "outside air" }, line: { color: colour("soft"), width: 1, dash: "1px,3px" } }));
  const ends = [];
  for (const [k, lane] of known) {
    const values = series(view, k, lane), stop = Math.min(values.length, Math.floor(stopOf(view, k) / v.step) + 1), thin = panel.lanes && lane !== panel.lanes[0];
    const paint = k === null ? colour("ink") : colour(`k${k % 8}`);
    traces.push(timed(view, y, { y: values.subarray(0, stop), meta: { panel: panel.id, k }, opacity: thin ? 0.8 : 1, line: { color: paint, width: k === null ? 1.3 : thin ? 1 : 1.8, dash: k === null ? "solid" : dash(k) } }));
    if (panel.goals && stop < values.length) traces.push({ type: "scatter", mode: "markers", x: [((stop - 1) * v.step) / 60], y: [values[stop - 1]], yaxis: y, hoverinfo: "skip", meta: { panel: panel.id, what: "FAILED", of: k }, marker: { symbol: "x", size: 10, color: paint } });
    const [least, most] = span([values]);
    said += ` ${k === null ? "" : C[k].name + " "}${thin ? "out " : ""}${fixed(least, 0)} to ${fixed(most, 0)} ${D.scales[lane][2]};`;
    let last = Math.min(stop - 1, Math.round(to / v.step));
    while (last > 0 && Number.isNaN(values[last])) last--;
    if (k !== null && !thin && !Number.isNaN(values[last])) ends.push({ k, px: (1 - (values[last] - low) / (high - low)) * tall });
  }
  ends.sort((a, b) => a.px - b.px);
  ends.forEach((e, n) => { if (n && e.px < ends[n - 1].px + 12) e.px = ends[n - 1].px + 12; });
  for (let n = ends.length - 1, roof = tall - 2; n >= 0; n--, roof -= 12) ends[n].px = Math.max(4, Math.min(ends[n].px, roof));
  for (const e of ends) layout.annotations.push(note(`<b>${C[e.k].key}</b>`, { xref: "paper", yref: `${y} domain`, x: 1, xanchor: "left", xshift: 3, y: 1 - e.px / tall, yanchor: "middle", font: { size: 12, color: colour(`k${e.k % 8}`) } }));
  return said;
}

// ---- moving about -------------------------------------------------------------------------------------------------
const stage = () => byId("road-chart");
function drawRoad() {
  tables();
  const v = D.views[state.view];
  stage().hidden = !v.shared.speed_kmh;
  if (v.shared.speed_kmh) road(stage(), state.view, state.from, state.to, widthOf(stage().parentElement, 690), 1);
  if (stage().on && !stage().dataset.heard) listen();
  drawCursor();
}
let waiting = 0;
function drawCursor() {
  reading();
  if (waiting || !stage().layout) return;
  waiting = requestAnimationFrame(() => {
    waiting = 0;
    const seen = state.at !== null && state.at >= state.from && state.at <= state.to, at = (state.at ?? 0) / 60;
    Plotly.relayout(stage(), { "shapes[0].visible": seen, "shapes[0].x0": at, "shapes[0].x1": at });
  });
}
function go(from, to) {
  const whole = D.views[state.view].seconds, wide = Math.min(whole, Math.max(5, to - from));
  const start = Math.min(Math.max(0, from + (to - from - wide) / 2), whole - wide);
  state.from = start; state.to = start + wide;
  drawRoad();
}
function zoom(what) {
  const wide = state.to - state.from, middle = state.at !== null && state.at > state.from && state.at < state.to ? state.at : state.from + wide / 2;
  const share = (middle - state.from) / wide;
  if (what === "in") go(middle - share * wide * 0.5, middle + (1 - share) * wide * 0.5);
  if (what === "out") go(middle - share * wide * 2, middle + (1 - share) * wide * 2);
  if (what === "left") go(state.from - wide * 0.25, state.to - wide * 0.25);
  if (what === "right") go(state.from + wide * 0.25, state.to + wide * 0.25);
  if (what === "all") go(0, D.views[state.view].seconds);
}
const KEYS = { ArrowLeft: "left", ArrowRight: "right", "+": "in", "=": "in", "-": "out", "0": "all", Home: "all" };
function listen() {
  stage().dataset.heard = "yes";
  const clamp = (minutes) => Math.min(D.views[state.view].seconds, Math.max(0, 60 * minutes));
  stage().on("plotly_relayout", (change) => {
    if ("xaxis.range[0]" in change) go(clamp(change["xaxis.range[0]"]), clamp(change["xaxis.range[1]"]));
  });
  stage().on("plotly_doubleclick", () => zoom("all"));
  stage().on("plotly_hover", (event) => { state.at = clamp(event.xvals[0]); drawCursor(); });
}
byId("road-keys").addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const step = { ",": -1, ".": 1 }[event.key];
  if (step) {
    state.at = Math.min(state.to, Math.max(state.from, (state.at ?? (state.from + state.to) / 2) + (step * (state.to - state.from)) / 60));
    drawCursor();
  } else if (KEYS[event.key]) zoom(KEYS[event.key]);
  else return;
  event.preventDefault();
});

// ---- the same as tables -------------------------------------------------------------------------------------------
const LANES = [["iat_c", "charge", 1], ["duty_pct", "duty", 0], ["coolant_in_c", "coolant into core", 1], ["coolant_out_c", "coolant out of core", 1]];
function head(table, words) {
  const row = make(make(table, "thead"), "tr");
  words.forEach((word, k) => make(row, "th", { scope: "col", ...(k ? { class: "r" } : {}) }, word));
  return make(table, "tbody");
}
function nameCell(row, k) {
  const cell = make(row, "th", { scope: "row" });
  make(cell, "b", { class: `key ${tone(k)}`, "aria-hidden": "true" }, C[k].key);
  cell.append(` ${C[k].name}`);
}
function reading() {
  const table = byId("reading"), v = D.views[state.view];
  table.replaceChildren();
  const at = state.at === null ? state.from : state.at;
  const shared = (name) => fixed(valueAt(state.view, null, name, at), 0) + " " + D.scales[name][2];
  make(table, "caption", {}, v.shared.speed_kmh ? `At ${clock(at)} (${phaseAt(state.view, at)}): ${shared("speed_kmh")}, boost ${shared("boost_kpa")}, outside ${shared("ambient_c")}.` : "This outing has no time view.");
  const body = head(table, ["Contestant", ...LANES.map(([name, word]) => `${word}, ${D.scales[name][2]}`)]);
  for (const k of chosen().filter((k) => v.lines[k])) {
    const row = make(body, "tr");
    nameCell(row, k);
    for (const [name, , digits] of LANES) make(row, "td", { class: "r" }, at > stopOf(state.view, k) ? "FAILED" : fixed(valueAt(state.view, k, name, at), digits));
  }
}
function fillFigures(table, v, picked) {
  table.replaceChildren();
  const body = head(table, ["Contestant", ...D.figures.map(([name, unit]) => (unit === "1" ? name : `${name}, ${unit}`))]);
  const digits = D.figures.map((_, n) => digitsFor(picked.map((k) => v.figures[k][n])));
  for (const k of picked) {
    const row = make(body, "tr");
    nameCell(row, k);
    v.figures[k].forEach((value, n) => make(row, "td", { class: "r" }, fixed(value, digits[n])));
  }
}
function samples() {
  const table = byId("samples"), v = D.views[state.view];
  table.replaceChildren();
  if (!byId("time-table").open || !v.shared.speed_kmh) return;
  const picked = chosen().filter((k) => v.lines[k]);
  const body = head(table, ["Time", "phase", `speed, ${D.scales.speed_kmh[2]}`, `boost, ${D.scales.boost_kpa[2]}`, ...picked.flatMap((k) => LANES.map(([name, word]) => `${C[k].key} ${word}, ${D.scales[name][2]}`))]);
  for (let n = 0; n <= 24; n++) {
    const t = state.from + ((state.to - state.from) * n) / 24, row = make(body, "tr");
    make(row, "th", { scope: "row" }, clock(t));
    make(row, "td", { class: "r nb" }, phaseAt(state.view, t));
    for (const name of ["speed_kmh", "boost_kpa"]) make(row, "td", { class: "r" }, fixed(valueAt(state.view, null, name, t), 0));
    for (const k of picked) for (const [name, , digits] of LANES) make(row, "td", { class: "r" }, t > stopOf(state.view, k) ? "FAILED" : fixed(valueAt(state.view, k, name, t), digits));
  }
}
function tables() {
  reading();
  fillFigures(byId("outing-figures"), D.views[state.view], chosen());
  samples();
}
function histogramTable() {
  const table = byId("hist-table"), h = D.histogram, bins = h.minutes[0].length, body = head(table, [`${D.degree}`, ...C.map((c) => c.name)]);
  for (let n = 0; n < bins; n += 5) {
    const sums = C.map((_, k) => h.minutes[k].slice(n, n + 5).reduce((a, b) => a + b, 0));
    if (Math.max(...sums) < 0.05) continue;
    const row = make(body, "tr");
    make(row, "th", { scope: "row" }, `${fixed(h.from + n * h.bin, 0)} to ${fixed(h.from + Math.min(n + 5, bins) * h.bin, 0)}`);
    sums.forEach((sum) => make(row, "td", { class: "r" }, sum >= 0.05 ? fixed(sum, 1) : ""));
  }
}
