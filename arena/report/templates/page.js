(() => {
  "use strict";
  const D = JSON.parse(document.getElementById("data").textContent);
  const NS = "http://www.w3.org/2000/svg";
  const C = D.contestants;
  const byId = (id) => document.getElementById(id);
  const state = { shown: new Set(C.flatMap((c, k) => (c.shown ? [k] : []))), view: 0, from: 0, to: 1, at: null };

  // ---- small helpers --------------------------------------------------------------------------------------------
  function draw(parent, name, attributes, text) {
    const made = document.createElementNS(NS, name);
    for (const key in attributes) made.setAttribute(key, attributes[key]);
    if (text !== undefined) made.textContent = text;
    if (parent) parent.append(made);
    return made;
  }
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
  function ticks(low, high, most) {
    const raw = (high - low) / Math.max(1, most) || 1;
    const power = 10 ** Math.floor(Math.log10(raw));
    const step = [1, 2, 2.5, 5, 10].map((m) => m * power).find((s) => s >= raw * 0.999);
    const found = [];
    for (let v = Math.ceil(low / step - 1e-9) * step; v <= high + step * 1e-6; v += step) found.push(Math.abs(v) < step * 1e-6 ? 0 : v);
    return { found, digits: (String(Number(step.toPrecision(6))).split(".")[1] || "").length };
  }
  function clock(seconds) {
    const whole = Math.round(seconds);
    return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
  }
  const tone = (k) => `k${k % 8}` + (k >= 8 ? " second" : "");
  const dash = (k) => ({ "stroke-dasharray": k >= 8 ? "6 3" : C[k].ranked ? "none" : "2 2" });
  const chosen = () => C.map((_, k) => k).filter((k) => state.shown.has(k));

  // ---- series ---------------------------------------------------------------------------------------------------
  const unpacked = new Map();
  function series(view, contestant, name) {
    const source = contestant === null ? D.views[view].shared : D.views[view].lines[contestant];
    if (!source || !source[name]) return null;
    const id = `${view}/${contestant}/${name}`;
    if (!unpacked.has(id)) {
      const [quantum, offset] = D.scales[name];
      const out = new Float64Array(source[name].length);
      let sum = 0;
      source[name].forEach((step, k) => { sum += step; out[k] = sum * quantum + offset; });
      const v = D.views[view]; // no charge air while the engine stands
      if (name === "iat_c") for (const [a, b] of v.engine_off_s) out.fill(NaN, Math.ceil(a / v.step), Math.ceil(b / v.step));
      unpacked.set(id, out);
    }
    return unpacked.get(id);
  }
  function valueAt(view, contestant, name, seconds) {
    const found = series(view, contestant, name);
    return found ? found[Math.min(found.length - 1, Math.max(0, Math.round(seconds / D.views[view].step)))] : null;
  }
  function span(arrays) {
    let low = Infinity, high = -Infinity;
    for (const values of arrays) for (const v of values) { if (v < low) low = v; if (v > high) high = v; }
    return low > high ? [0, 1] : [low, high];
  }

  // ---- time panels ----------------------------------------------------------------------------------------------
  const PANELS = [
    { id: "iat", title: "Charge temperature while the engine runs", lanes: ["iat_c"], air: true, goals: true, height: 250 },
    { id: "duty", title: "Pump duty, a strip each (full height: 100 %)", strips: "duty_pct" },
    { id: "coolant", title: "Coolant into the core (thick) and out of it (thin)", lanes: ["coolant_in_c", "coolant_out_c"], height: 170 },
    { id: "boost", title: "Boost over the outside air", shared: "boost_kpa", height: 95 },
    { id: "speed", title: "Road speed", shared: "speed_kmh", height: 95 },
  ];
  const LEFT = 44, RIGHT = 24, TOP = 8, FOOT = 22;

  function path(values, step, from, to, x, y, end) {
    const first = Math.max(0, Math.floor(from / step)), last = Math.min(values.length - 1, Math.ceil(to / step), Math.floor(end / step));
    let d = "", up = true;
    for (let k = first; k <= last; k++) {
      if (Number.isNaN(values[k])) { up = true; continue; }
      d += `${up ? "M" : "L"}${x(k * step).toFixed(1)} ${y(values[k]).toFixed(1)}`;
      up = false;
    }
    return d;
  }

  /** One panel of a view into `host`: an SVG as wide as the host, over state.from..state.to or the whole drive. */
  function timePanel(host, panel, view, window, wide) {
    const v = D.views[view], picked = chosen().filter((k) => v.lines[k]);
    const width = Math.max(240, wide || host.clientWidth), strip = 26;
    const height = panel.strips ? TOP + FOOT + Math.max(1, picked.length) * strip : panel.height;
    const [from, to] = window, right = width - RIGHT, foot = height - FOOT;
    const x = (t) => LEFT + ((t - from) / (to - from)) * (right - LEFT);
    host.replaceChildren();
    const svg = draw(host, "svg", { viewBox: `0 0 ${width} ${height}`, role: "img", "data-panel": panel.id, "data-from": from.toFixed(2), "data-to": to.toFixed(2) });
    const clip = `clip-${panel.id}-${host.dataset.n || view}`;
    draw(draw(svg, "clipPath", { id: clip }), "rect", { x: LEFT, y: TOP - 2, width: right - LEFT, height: foot - TOP + 3 });
    const inside = draw(null, "g", { "clip-path": `url(#${clip})` });
    let said = "";
    let y = null;
    const over = x(Math.max(v.drive_s, from));
    if (over < right) {
      draw(svg, "rect", { class: "after", x: over, width: right - over, y: TOP, height: foot - TOP });
      if (panel.goals && right - over > 70) draw(svg, "text", { class: "label", x: right - 4, y: TOP + 11, "text-anchor": "end" }, "after the drive");
    }
    if (panel.strips) {
      picked.forEach((k, row) => {
        const bottom = TOP + (row + 1) * strip - 3, values = series(view, k, panel.strips);
        const end = v.failed[k] === null || v.failed[k] === undefined ? Infinity : v.failed[k];
        const up = (p) => bottom - (Math.min(p, 100) / 100) * (strip - 6);
        const d = path(values, v.step, from, to, x, up, end);
        const first = Math.max(0, Math.floor(from / v.step)) * v.step, last = Math.min((values.length - 1) * v.step, Math.ceil(to / v.step) * v.step, end);
        if (d) draw(inside, "path", { class: `area ${tone(k)}`, "data-k": k, d: `${d}L${x(last).toFixed(1)} ${bottom}L${x(first).toFixed(1)} ${bottom}Z` });
        draw(svg, "line", { class: "grid", x1: LEFT, x2: right, y1: bottom, y2: bottom });
        draw(svg, "text", { class: `end ${tone(k)}`, x: LEFT - 8, y: bottom - 5, "text-anchor": "end" }, C[k].key);
        const mean = values.reduce((a, b) => a + b, 0) / values.length;
        said += ` ${C[k].name} ${fixed(mean, 0)} % on average;`;
      });
    } else {
      const lines = panel.shared ? [[null, panel.shared]] : picked.flatMap((k) => panel.lanes.map((name) => [k, name]));
      const all = lines.map(([k, name]) => series(view, k, name)).filter(Boolean);
      let [low, high] = span(all);
      if (panel.goals) { low = Math.min(low, D.target - D.band); high = Math.max(high, D.limit + 2); }
      if (panel.shared) { low = 0; high = Math.max(high, 1); }
      const room = 0.04 * (high - low || 1);
      low -= panel.shared ? 0 : room; high += room;
      y = (value) => foot - ((value - low) / (high - low)) * (foot - TOP);
      const marks = ticks(low, high, Math.max(2, Math.floor((foot - TOP) / 26)));
      for (const m of marks.found) {
        draw(svg, "line", { class: "grid", x1: LEFT, x2: right, y1: y(m), y2: y(m) });
        draw(svg, "text", { x: LEFT - 6, y: y(m) + 4, "text-anchor": "end" }, fixed(m, marks.digits));
      }
      if (panel.goals) {
        draw(inside, "rect", { class: "band", x: LEFT, width: right - LEFT, y: y(D.target + D.band), height: Math.max(0, y(D.target - D.band) - y(D.target + D.band)) });
        draw(inside, "line", { class: "target", x1: LEFT, x2: right, y1: y(D.target), y2: y(D.target) });
        draw(inside, "line", { class: "limit", x1: LEFT, x2: right, y1: y(D.limit), y2: y(D.limit) });
      }
      if (panel.air && series(view, null, "ambient_c")) draw(inside, "path", { class: "air", d: path(series(view, null, "ambient_c"), v.step, from, to, x, y, Infinity) });
      const ends = [];
      for (const [k, name] of lines) {
        const values = series(view, k, name);
        if (!values) continue;
        const end = k === null || v.failed[k] === null || v.failed[k] === undefined ? Infinity : v.failed[k];
        const d = path(values, v.step, from, to, x, y, end);
        const thin = panel.lanes && name !== panel.lanes[0] ? " thin" : "";
        if (d) draw(inside, "path", k === null ? { class: "plain", d } : { class: `line ${tone(k)}${thin}`, "data-k": k, d, ...dash(k) });
        const [least, most] = span([values]);
        said += ` ${k === null ? "" : C[k].name + " "}${thin ? "out " : ""}${fixed(least, 0)} to ${fixed(most, 0)} ${D.scales[name][2]};`;
        let last = Math.min(values.length - 1, Math.round(Math.min(to, end) / v.step));
        while (last > 0 && Number.isNaN(values[last])) last--;
        if (k !== null && !thin && !Number.isNaN(values[last])) ends.push({ k, y: y(values[last]), end });
      }
      ends.sort((a, b) => a.y - b.y);
      ends.forEach((e, n) => { if (n && e.y < ends[n - 1].y + 12) e.y = ends[n - 1].y + 12; });
      for (let n = ends.length - 1, roof = foot; n >= 0; n--, roof -= 12) ends[n].y = Math.max(TOP + 4, Math.min(ends[n].y, roof));
      for (const e of ends) draw(svg, "text", { class: `end ${tone(e.k)}`, x: right + 5, y: e.y + 4 }, C[e.k].key);
    }
    svg.append(inside);
    if (panel.goals) {
      draw(svg, "text", { class: "label", x: LEFT + 6, y: y(D.target) - 4 }, `target ${fixed(D.target, 0)}`);
      draw(svg, "text", { class: "label", x: LEFT + 6, y: y(D.limit) - 4 }, `limit ${fixed(D.limit, 0)}`);
    }
    draw(svg, "line", { class: "base", x1: LEFT, x2: right, y1: foot, y2: foot });
    const minutes = ticks(from / 60, to / 60, Math.max(2, Math.floor((right - LEFT) / 75)));
    for (const m of minutes.found) {
      draw(svg, "line", { class: "base", x1: x(60 * m), x2: x(60 * m), y1: foot, y2: foot + 4 });
      draw(svg, "text", { x: x(60 * m), y: foot + 16, "text-anchor": "middle" }, fixed(m, minutes.digits) + (m === minutes.found[0] ? " min" : ""));
    }
    const words = `${panel.title}, ${v.name}, minute ${fixed(from / 60, 1)} to ${fixed(to / 60, 1)}:${said || " no contestant chosen"} numbers in the table below.`;
    svg.setAttribute("aria-label", words);
    host.scaleOf = { from, to, left: LEFT, right, width, height, top: TOP, foot };
    return svg;
  }

  const hosts = [];
  function buildPanels() {
    const place = byId("panels");
    for (const panel of PANELS) {
      const figure = make(place, "figure", { class: "panel" });
      const unit = panel.strips ? "" : `, ${D.scales[panel.shared || panel.lanes[0]][2]}`;
      const extra = panel.air ? "; dotted: outside air" : "";
      make(figure, "figcaption", {}, panel.title + unit + extra);
      const host = make(figure, "div", { class: "plot", tabindex: "0", role: "group", "data-n": "main", "aria-label": `${panel.title}. Arrow keys move, plus and minus zoom, 0 shows the whole drive, comma and full stop step the reading line.` });
      hosts.push({ host, panel });
      listen(host);
    }
  }
  function drawPanels() {
    for (const { host, panel } of hosts) timePanel(host, panel, state.view, [state.from, state.to]);
    drawCursor();
    tables();
  }
  function drawCursor() {
    for (const { host } of hosts) {
      const s = host.scaleOf, svg = host.firstChild;
      if (!s || !svg) continue;
      svg.querySelector(".cursor")?.remove();
      if (state.at === null || state.at < s.from || state.at > s.to) continue;
      const x = s.left + ((state.at - s.from) / (s.to - s.from)) * (s.right - s.left);
      draw(svg, "line", { class: "cursor", x1: x, x2: x, y1: s.top, y2: s.foot });
    }
    reading();
  }

  // ---- moving about ---------------------------------------------------------------------------------------------
  function go(from, to) {
    const whole = D.views[state.view].seconds;
    const wide = Math.min(whole, Math.max(5, to - from));
    const start = Math.min(Math.max(0, from + (to - from - wide) / 2), whole - wide);
    state.from = start; state.to = start + wide;
    drawPanels();
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
  function listen(host) {
    let start = null;
    const seconds = (event) => {
      const box = host.getBoundingClientRect(), s = host.scaleOf;
      const px = ((event.clientX - box.left) / box.width) * s.width;
      return s.from + Math.min(1, Math.max(0, (px - s.left) / (s.right - s.left))) * (s.to - s.from);
    };
    host.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      start = { x: event.clientX, t: seconds(event) };
      host.setPointerCapture(event.pointerId);
    });
    host.addEventListener("pointermove", (event) => {
      state.at = seconds(event);
      drawCursor();
      host.firstChild.querySelector(".drag")?.remove();
      if (start && Math.abs(event.clientX - start.x) > 6) {
        const s = host.scaleOf, scale = (t) => s.left + ((t - s.from) / (s.to - s.from)) * (s.right - s.left);
        const a = scale(Math.min(start.t, state.at)), b = scale(Math.max(start.t, state.at));
        draw(host.firstChild, "rect", { class: "drag", x: a, width: b - a, y: s.top, height: s.foot - s.top });
      }
    });
    host.addEventListener("pointerup", (event) => {
      if (start && Math.abs(event.clientX - start.x) > 6) go(...[start.t, seconds(event)].sort((a, b) => a - b));
      start = null;
    });
    host.addEventListener("pointercancel", () => { start = null; });
    host.addEventListener("dblclick", () => zoom("all"));
    host.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.metaKey || event.altKey) return;
      const known = { ArrowLeft: "left", ArrowRight: "right", "+": "in", "=": "in", "-": "out", "0": "all", Home: "all" };
      const step = { ",": -1, ".": 1 }[event.key];
      if (step) {
        state.at = Math.min(state.to, Math.max(state.from, (state.at ?? (state.from + state.to) / 2) + (step * (state.to - state.from)) / 60));
        drawCursor();
      } else if (known[event.key]) zoom(known[event.key]);
      else return;
      event.preventDefault();
    });
  }

  // ---- tables beside the time panels ----------------------------------------------------------------------------
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
  const LANES = [["iat_c", "charge", 1], ["duty_pct", "duty", 0], ["coolant_in_c", "coolant into core", 1], ["coolant_out_c", "coolant out of core", 1]];
  function phaseAt(view, seconds) {
    let name = "";
    for (const [from, text] of D.views[view].phases) if (from <= seconds) name = text;
    return name;
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
      const stopped = typeof v.failed[k] === "number" && at > v.failed[k];
      for (const [name, , digits] of LANES) make(row, "td", { class: "r" }, stopped ? "FAILED" : fixed(valueAt(state.view, k, name, at), digits));
    }
  }
  function outingFigures() {
    const table = byId("outing-figures"), v = D.views[state.view];
    fillFigures(table, v, chosen());
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
      for (const k of picked) for (const [name, , digits] of LANES) make(row, "td", { class: "r" }, fixed(valueAt(state.view, k, name, t), digits));
    }
  }
  function tables() { reading(); outingFigures(); samples(); }

  // ---- trade-off ------------------------------------------------------------------------------------------------
  /** From and to of an axis: what most contestants need; the few far beyond are pinned to the edge. */
  function reach(values) {
    const known = values.filter((v) => v !== null).sort((a, b) => a - b);
    if (!known.length) return [0, 1];
    const near = known.filter((v) => v <= 3 * known[Math.floor((known.length - 1) / 2)] && v > 0), use = near.length ? near : known;
    const low = use[0], high = use[use.length - 1], room = 0.12 * Math.max(high - low, 0.1 * high, 1e-6);
    return [Math.max(0, low - room), high + room];
  }
  function tradeoff(id, values, word, unit) {
    const host = byId(id), t = D.tradeoff, width = Math.max(260, host.clientWidth), height = Math.min(420, Math.max(300, width * 0.7));
    const left = 48, right = width - 14, foot = height - 40, top = 22;
    const [lowX, highX] = reach(values), [lowY, highY] = reach(t.tracking);
    const x = (v) => left + ((v - lowX) / (highX - lowX)) * (right - left), y = (v) => foot - ((v - lowY) / (highY - lowY)) * (foot - top);
    host.replaceChildren();
    const svg = draw(host, "svg", { viewBox: `0 0 ${width} ${height}`, role: "img" });
    const marksX = ticks(lowX, highX, Math.floor((right - left) / 60)), marksY = ticks(lowY, highY, Math.floor((foot - top) / 40));
    for (const v of marksX.found) {
      draw(svg, "line", { class: "grid", x1: x(v), x2: x(v), y1: top, y2: foot });
      draw(svg, "text", { x: x(v), y: foot + 16, "text-anchor": "middle" }, fixed(v, marksX.digits));
    }
    for (const v of marksY.found) {
      draw(svg, "line", { class: "grid", x1: left, x2: right, y1: y(v), y2: y(v) });
      draw(svg, "text", { x: left - 6, y: y(v) + 4, "text-anchor": "end" }, fixed(v, marksY.digits));
    }
    draw(svg, "line", { class: "base", x1: left, x2: right, y1: foot, y2: foot });
    draw(svg, "line", { class: "base", x1: left, x2: left, y1: top, y2: foot });
    draw(svg, "text", { x: (left + right) / 2, y: height - 6, "text-anchor": "middle" }, `${word}, ${unit}`);
    draw(svg, "text", { x: 0, y: 11 }, `off target, ${t.unit} a year`);
    const labels = [], taken = [];
    let said = "";
    const order = C.map((_, k) => k).filter((k) => values[k] !== null && t.tracking[k] !== null).sort((a, b) => state.shown.has(a) - state.shown.has(b));
    for (const k of order) {
      const away = values[k] < lowX || values[k] > highX || t.tracking[k] < lowY || t.tracking[k] > highY;
      const px = Math.min(right - 8, Math.max(left + 8, x(values[k]))), py = Math.min(foot - 8, Math.max(top + 8, y(t.tracking[k])));
      const group = draw(svg, "g", { "data-k": k, class: tone(k) + (state.shown.has(k) ? "" : " faded") });
      const shape = C[k].ranked ? "dot" : "hollow";
      if (away) {
        const turn = (Math.atan2(Math.sign(py === y(t.tracking[k]) ? 0 : y(t.tracking[k]) - py), Math.sign(px === x(values[k]) ? 0 : x(values[k]) - px)) * 180) / Math.PI;
        draw(group, "path", { class: shape, d: "M-6 -7L8 0L-6 7Z", transform: `translate(${px.toFixed(1)} ${py.toFixed(1)}) rotate(${turn.toFixed(0)})` });
      } else {
        if (C[k].front) draw(group, "circle", { class: "ring", cx: px, cy: py, r: 10 });
        draw(group, C[k].ranked ? "circle" : "rect", C[k].ranked ? { class: shape, cx: px, cy: py, r: 6 } : { class: shape, x: px - 5, y: py - 5, width: 10, height: 10 });
        taken.push({ x0: px - 8, x1: px + 8, y: py + 4 });
      }
      if (state.shown.has(k)) labels.push({ k, x: px, y: py, text: away ? `${C[k].name} (${fixed(values[k], 0)}, ${fixed(t.tracking[k], 0)})` : C[k].name });
      said += ` ${C[k].name} ${fixed(values[k], 0)} and ${fixed(t.tracking[k], 1)}${C[k].front ? " (on the front)" : ""};`;
    }
    labels.sort((a, b) => a.y - b.y);
    for (const l of labels) {
      const wide = l.text.length * 6.4;
      const box = ([dy, back]) => ({ back, x0: back ? l.x - 14 - wide : l.x + 14, x1: back ? l.x - 14 : l.x + 14 + wide, y: l.y + 4 + dy });
      const fits = (b) => b.x0 > left + 2 && b.x1 < width - 2 && b.y > top && b.y < foot - 2;
      const free = (b) => fits(b) && taken.every((o) => b.x1 < o.x0 || b.x0 > o.x1 || Math.abs(b.y - o.y) > 14);
      const tries = [0, 14, -14, 28, -28, 42, -42, 56, -56, 70, -70, 84, -84].flatMap((dy) => [[dy, false], [dy, true]]).map(box);
      const place = tries.find(free) || tries.find(fits) || tries[0];
      taken.push(place);
      if (Math.abs(place.y - l.y - 4) > 1) draw(svg, "line", { class: "lead", x1: l.x, y1: l.y, x2: place.back ? place.x1 : place.x0, y2: place.y - 4 });
      draw(svg, "text", { class: "label", x: place.back ? place.x1 : place.x0, y: place.y, "text-anchor": place.back ? "end" : "start" }, l.text);
    }
    svg.setAttribute("aria-label", `Trade-off of ${word} and temperature off target:${said} numbers in the table below.`);
  }

  // ---- histogram ------------------------------------------------------------------------------------------------
  function histogram() {
    const host = byId("hist"), h = D.histogram, width = Math.max(260, host.clientWidth), height = 300;
    const left = 48, right = width - 14, foot = height - 40, top = 18, picked = chosen();
    const bins = h.minutes[0].length;
    let used = picked.flatMap((k) => h.minutes[k].flatMap((v, n) => (v > 0.02 ? [n] : [])));
    const first = Math.max(0, Math.min(bins - 1, ...used) - 1), last = Math.min(bins, Math.max(first + 1, ...used) + 2);
    const from = h.from + first * h.bin, to = h.from + last * h.bin;
    const most = Math.max(1e-9, ...picked.flatMap((k) => h.minutes[k])) * 1.2;
    const x = (v) => left + ((v - from) / (to - from)) * (right - left), y = (v) => foot - (v / most) * (foot - top);
    host.replaceChildren();
    const svg = draw(host, "svg", { viewBox: `0 0 ${width} ${height}`, role: "img" });
    const marksX = ticks(from, to, Math.floor((right - left) / 60)), marksY = ticks(0, most, 5);
    for (const v of marksY.found) {
      draw(svg, "line", { class: "grid", x1: left, x2: right, y1: y(v), y2: y(v) });
      draw(svg, "text", { x: left - 6, y: y(v) + 4, "text-anchor": "end" }, fixed(v, marksY.digits));
    }
    for (const v of marksX.found) draw(svg, "text", { x: x(v), y: foot + 16, "text-anchor": "middle" }, fixed(v, marksX.digits));
    for (const [name, at] of [["target", D.target], ["limit", D.limit]]) {
      if (at < from || at > to) continue;
      draw(svg, "line", { class: name, x1: x(at), x2: x(at), y1: top, y2: foot });
      draw(svg, "text", { class: "label", x: x(at) + 4, y: top + 10 }, `${name} ${fixed(at, 0)}`);
    }
    let said = "";
    const letters = [];
    for (const k of picked) {
      let d = `M${x(from)} ${foot}`;
      for (let n = first; n < last; n++) {
        const up = y(h.minutes[k][n] || 0).toFixed(1);
        d += `L${x(h.from + n * h.bin).toFixed(1)} ${up}L${x(h.from + (n + 1) * h.bin).toFixed(1)} ${up}`;
      }
      draw(svg, "path", { class: `line ${tone(k)}`, "data-k": k, d, ...dash(k) });
      const tall = h.minutes[k].map((v, n) => n).filter((n) => h.minutes[k][n] > 0).sort((a, b) => h.minutes[k][b] - h.minutes[k][a]);
      const spot = (n) => [x(h.from + (n + 0.5) * h.bin), y(h.minutes[k][n]) - 5];
      const peak = tall.slice(0, 12).find((n) => letters.every(([px, py]) => Math.hypot(px - spot(n)[0], py - spot(n)[1]) > 15)) ?? tall[0];
      if (peak !== undefined) {
        letters.push(spot(peak));
        draw(svg, "text", { class: `end ${tone(k)}`, x: x(h.from + (peak + 0.5) * h.bin), y: y(h.minutes[k][peak]) - 5, "text-anchor": "middle" }, C[k].key);
        said += ` ${C[k].name} most about ${fixed(h.from + (tall[0] + 0.5) * h.bin, 0)} ${D.degree};`;
      }
    }
    draw(svg, "line", { class: "base", x1: left, x2: right, y1: foot, y2: foot });
    draw(svg, "text", { x: (left + right) / 2, y: height - 6, "text-anchor": "middle" }, `charge temperature on boost, ${D.degree}`);
    draw(svg, "text", { x: 0, y: 11 }, "minutes a year");
    svg.setAttribute("aria-label", `Minutes a year on boost by charge temperature:${said} numbers in the table below.`);
    const table = byId("hist-table");
    table.replaceChildren();
    const body = head(table, [`${D.degree}`, ...C.map((c) => c.name)]);
    for (let n = 0; n < bins; n += 5) {
      const sums = C.map((_, k) => h.minutes[k].slice(n, n + 5).reduce((a, b) => a + b, 0));
      if (Math.max(...sums) < 0.05) continue;
      const row = make(body, "tr");
      make(row, "th", { scope: "row" }, `${fixed(h.from + n * h.bin, 0)} to ${fixed(h.from + Math.min(n + 5, bins) * h.bin, 0)}`);
      sums.forEach((sum) => make(row, "td", { class: "r" }, sum >= 0.05 ? fixed(sum, 1) : ""));
    }
  }

  // ---- choosing -------------------------------------------------------------------------------------------------
  function drawAll() {
    tradeoff("trade-hours", D.tradeoff.hours, "pump hours", "h a year");
    tradeoff("trade-energy", D.tradeoff.energy, "energy", "Wh a year");
    histogram();
    drawPanels();
    document.documentElement.dataset.drawn = "yes";
  }
  function pickView() {
    const want = { drive: byId("drive").value, climate: byId("climate").value, fault: byId("fault")?.value ?? "" };
    const fits = (v, keys) => keys.every((key) => v[key] === want[key]);
    for (const option of byId("climate").options) option.disabled = !D.views.some((v) => v.drive === want.drive && v.climate === option.value);
    if (byId("fault")) for (const option of byId("fault").options) option.disabled = !D.views.some((v) => v.drive === want.drive && v.fault === option.value);
    const found = [["drive", "climate", "fault"], ["drive", "fault"], ["drive", "climate"], ["drive"]].map((keys) => D.views.findIndex((v) => fits(v, keys))).find((n) => n >= 0);
    show(found);
  }
  function show(found) {
    const v = D.views[found];
    for (const key of ["drive", "climate", "fault"]) if (byId(key)) byId(key).value = v[key];
    state.view = found; state.from = 0; state.to = v.seconds;
    const best = chosen().find((k) => v.lines[k]), hot = best === undefined ? null : series(found, best, "iat_c");
    const boost = series(found, null, "boost_kpa") || [];
    let top = 0;
    if (hot) hot.forEach((value, k) => { if (boost[k] > 10 && (boost[top] <= 10 || value > hot[top])) top = k; });
    state.at = top * v.step;
    byId("outing-about").textContent = `${v.name}: ${fixed(v.seconds / 60, 1)} minutes, ${v.per_year} times a year.` + (v.notes.length ? ` Remarks: ${v.notes.join("; ")}.` : "");
  }
  function said() {
    for (const place of document.querySelectorAll(".chosen")) {
      place.replaceChildren();
      for (const k of chosen()) make(place, "b", { class: `key ${tone(k)}` }, C[k].key).after(" ");
    }
  }
  for (const box of document.querySelectorAll("input[data-k]")) {
    box.addEventListener("change", () => {
      const k = Number(box.dataset.k);
      if (box.checked) state.shown.add(k); else state.shown.delete(k);
      said();
      for (const twin of document.querySelectorAll(`input[data-k="${k}"]`)) twin.checked = box.checked;
      drawAll();
    });
    box.checked = state.shown.has(Number(box.dataset.k));
  }
  for (const id of ["drive", "climate", "fault"]) byId(id)?.addEventListener("change", () => { pickView(); drawPanels(); });
  for (const button of document.querySelectorAll("[data-zoom]")) button.addEventListener("click", () => zoom(button.dataset.zoom));
  byId("time-table").addEventListener("toggle", samples);
  for (const button of document.querySelectorAll("button[data-shade]")) {
    button.addEventListener("click", () => {
      if (button.dataset.shade === "auto") delete document.documentElement.dataset.shade; else document.documentElement.dataset.shade = button.dataset.shade;
      for (const other of document.querySelectorAll("button[data-shade]")) other.setAttribute("aria-pressed", String(other === button));
    });
  }

  // ---- on paper: every outing, every detail, light ----------------------------------------------------------------
  let before = null;
  function toPaper() {
    if (before) return;
    before = { shade: document.documentElement.dataset.shade, open: [...document.querySelectorAll("details:not([open])")] };
    document.documentElement.dataset.shade = "light";
    for (const closed of before.open) if (closed.id !== "time-table" && !closed.classList.contains("whobox")) closed.open = true;
    const place = byId("paper");
    byId("outing-figures").closest(".scroll").before(place);
    D.views.forEach((v, view) => {
      const block = make(place, "div", { class: "outing" });
      make(block, "h3", {}, `${v.name}`);
      if (!v.shared.speed_kmh) { make(block, "p", { class: "small" }, "No time view, to keep the page small."); return; }
      for (const panel of PANELS) {
        const figure = make(block, "figure", { class: "panel" });
        make(figure, "figcaption", {}, panel.title + (panel.strips ? "" : `, ${D.scales[panel.shared || panel.lanes[0]][2]}`));
        const host = make(figure, "div", { "data-n": `paper-${view}` });
        timePanel(host, { ...panel, height: panel.height && panel.height * 0.62 }, view, [0, v.seconds], 700);
      }
      fillFigures(make(block, "table"), v, chosen());
    });
    byId("outing-figures").replaceChildren();
  }
  function fromPaper() {
    if (!before) return;
    for (const opened of before.open) opened.open = false;
    if (before.shade === undefined) delete document.documentElement.dataset.shade; else document.documentElement.dataset.shade = before.shade;
    byId("paper").replaceChildren();
    before = null;
    drawAll();
  }
  addEventListener("beforeprint", toPaper);
  addEventListener("afterprint", fromPaper);

  buildPanels();
  said();
  const busiest = D.views.map((v, k) => k).filter((k) => D.views[k].shared.boost_kpa).sort((a, b) => {
    const hot = (k) => series(k, null, "boost_kpa").reduce((sum, v) => sum + Math.max(0, v), 0) / series(k, null, "boost_kpa").length;
    return hot(b) - hot(a) || a - b;
  })[0];
  show(busiest ?? 0);
  drawAll();
  let wait = 0, lastWidth = document.documentElement.clientWidth;
  addEventListener("resize", () => {
    if (before || document.documentElement.clientWidth === lastWidth) return;
    lastWidth = document.documentElement.clientWidth;
    clearTimeout(wait);
    wait = setTimeout(drawAll, 80);
  });
})();
