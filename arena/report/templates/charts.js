// Standings, trade-off and histogram with Plotly. All charts share `sheet`, `axis` and `put`: our look, no tool bar.
const FACE = '"Avenir Next", "Segoe UI", "Helvetica Neue", "Liberation Sans", Arial, sans-serif';
const QUIET = { displayModeBar: false, displaylogo: false, showTips: false, doubleClick: false, scrollZoom: false, responsive: false };
const LETTER = 6.6; // usual width of a letter at 12 px

/** Layout every chart begins with; margins are fixed, so that pixels can be reckoned. */
function sheet(width, height, margin) {
  return {
    width, height, autosize: false, margin: { ...margin, autoexpand: false }, paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "rgba(0,0,0,0)",
    font: { family: FACE, size: 12, color: colour("soft") }, showlegend: false, hovermode: "closest", dragmode: false, shapes: [], annotations: [],
    hoverlabel: { bgcolor: colour("wash"), bordercolor: colour("rule"), font: { family: FACE, size: 13, color: colour("ink") }, align: "left", namelength: -1 },
  };
}
function axis(range, more) {
  return {
    range, autorange: false, fixedrange: true, automargin: false, zeroline: false, showline: true, linecolor: colour("ink"), linewidth: 1, gridcolor: colour("rule"),
    gridwidth: 1, ticks: "outside", ticklen: 4, tickcolor: colour("ink"), tickfont: { size: 12 }, title: { font: { size: 12 }, standoff: 6 }, ...more,
  };
}
/** Draw, or draw again, into an element that is a picture to those who cannot see it. */
function put(host, traces, layout, said) {
  host.setAttribute("role", "img");
  host.setAttribute("aria-label", said);
  host.style.height = `${layout.height}px`;
  return Plotly.react(host, traces, layout, QUIET);
}
const note = (text, more) => ({ text, showarrow: false, font: { size: 12, color: colour("ink") }, ...more });
/** A vertical or horizontal line with a word at its end, for target and limit. */
function goal(name, at, more, label) {
  return {
    type: "line", layer: "above", ...more, line: { color: colour(name), width: 1.5, dash: name === "target" ? "7px,4px" : "2px,3px" },
    label: { text: `${name} ${fixed(at, 0)}`, font: { size: 12, color: colour("ink") }, padding: 3, ...label },
  };
}
function widthOf(host, onPaper) {
  return state.paper ? onPaper : Math.max(240, host.clientWidth);
}

// ---- standings ----------------------------------------------------------------------------------------------------
const PART_LOOK = { tracking: {}, wear: { shape: "/", solidity: 0.35, size: 7 }, energy: { shape: "|", solidity: 0.4, size: 6 } };
function scores() {
  const host = byId("scores"), width = widthOf(host, 690), rows = C.map((_, k) => k), narrow = width < 640;
  const left = Math.min((narrow ? 0.5 : 0.36) * width, 30 + LETTER * Math.max(...C.map((c) => c.name.length))), row = 24, tall = row * C.length;
  const foot = 46, head = narrow ? 12 : 36, gap = foot + 84; // on a phone the legend takes three lines
  const height = narrow ? 2 * tall + foot + head + gap : tall + foot + head;
  const plotted = height - foot - head, share = narrow ? tall / plotted : 1;
  const layout = sheet(width, height, { l: left, r: 12, t: head, b: foot });
  const most = Math.ceil((left - 30) / LETTER), label = (c) => `<b>${c.key}</b> ${plain(c.name.length > most ? c.name.slice(0, most - 1) + "…" : c.name)}`;
  const names = { tickmode: "array", tickvals: rows, ticktext: C.map(label), ticks: "outside", ticklen: 5, tickcolor: "rgba(0,0,0,0)", showgrid: false, showline: false, tickfont: { size: 12, color: colour("ink") } };
  const [low, high] = D.interval, score = C.map((c) => c.score);
  const top = Math.min(1.6, Math.max(1, ...score.filter((v) => v !== null))) * 1.16;
  layout.xaxis = axis([low, high], { domain: narrow ? [0, 1] : [0, 0.44], anchor: "y", nticks: 6 });
  layout.yaxis = axis([C.length - 0.5, -0.5], { ...names, domain: [1 - share, 1], anchor: "x" });
  layout.xaxis2 = axis([0, top], { domain: narrow ? [0, 1] : [0.52, 1], anchor: "y2", nticks: 7 });
  layout.yaxis2 = axis([C.length - 0.5, -0.5], { ...names, domain: [0, share], anchor: "x2", showticklabels: narrow });
  layout.barmode = "stack";
  layout.bargap = 0.35;
  const inside = rows.filter((k) => C[k].low !== null && score[k] !== null && score[k] <= high && score[k] >= low);
  const traces = [{
    type: "scatter", mode: "markers", x: inside.map((k) => score[k]), y: inside, meta: { what: "interval" }, showlegend: false, marker: { size: 11, color: inside.map((k) => (C[k].ranked ? colour("ink") : colour("paper"))), line: { color: colour("ink"), width: 1.5 } },
    error_x: { type: "data", symmetric: false, array: inside.map((k) => C[k].high - score[k]), arrayminus: inside.map((k) => score[k] - C[k].low), color: colour("soft"), thickness: 5, width: 0 },
    text: inside.map((k) => `<b>${plain(C[k].name)}</b><br>${fixed(score[k], 3)}, 95 % interval ${fixed(C[k].low, 3)} to ${fixed(C[k].high, 3)}`), hovertemplate: "%{text}<extra></extra>",
  }];
  for (const [n, part] of D.parts.entries()) {
    traces.push({
      type: "bar", orientation: "h", xaxis: "x2", yaxis: "y2", y: rows, x: C.map((c) => (c.score === null ? 0 : c.parts[n])), name: part.words, showlegend: true, meta: { what: part.name },
      marker: { color: colour(part.name), line: { width: 0 }, pattern: PART_LOOK[part.name].shape ? { ...PART_LOOK[part.name], fillmode: "overlay", fgcolor: colour("paper"), fgopacity: 0.75 } : {} },
      hovertemplate: `%{text}<br>${part.words} %{x:.3f}<extra></extra>`, text: C.map((c) => `<b>${plain(c.name)}</b>`), textposition: "none",
    });
  }
  layout.showlegend = true;
  layout.legend = { orientation: "h", traceorder: "normal", x: narrow ? 0 : 1, xanchor: narrow ? "left" : "right", y: narrow ? share : 1, yanchor: "bottom", font: { size: 12, color: colour("ink") }, itemclick: false, itemdoubleclick: false, bgcolor: "rgba(0,0,0,0)", itemwidth: 30 };
  layout.xaxis.title.text = narrow ? "score and its 95 % interval" : "score and its 95 % interval; lower is better";
  layout.xaxis2.title.text = "what the score is made of";
  const barred = (width - left - 12) * (narrow ? 1 : 0.48); // pixels the longest bar may have
  const total = (k) => (score[k] === null ? "FAILED" : fixed(score[k], 3) + (score[k] > top ? " →" : ""));
  traces.push({ type: "scatter", mode: "text", xaxis: "x2", yaxis: "y2", x: score.map((v) => Math.min(v ?? 0, top)), y: rows, text: rows.map((k) => ` ${total(k)} `), textposition: rows.map((k) => (score[k] > top * (1 - 50 / barred) ? "middle left" : "middle right")), textfont: { size: 12, color: colour("ink") }, hoverinfo: "skip", showlegend: false, cliponaxis: false, meta: { what: "total" } });
  const beyond = rows.filter((k) => score[k] !== null && !inside.includes(k)), over = (k) => score[k] > high;
  traces.push({ type: "scatter", mode: "text", x: beyond.map((k) => (over(k) ? high : low)), y: beyond, text: beyond.map((k) => (over(k) ? `${fixed(score[k], 3)} →` : `← ${fixed(score[k], 3)}`)), textposition: beyond.map((k) => (over(k) ? "middle left" : "middle right")), textfont: { size: 12 }, hoverinfo: "skip", showlegend: false, cliponaxis: false, meta: { what: "beyond" } });
  return put(host, traces, layout, `Score with its interval, and its parts: ${C.map((c) => `${c.name} ${fixed(c.score, 3)}`).join("; ")}. The numbers stand in the table above.`);
}

// ---- trade-off ----------------------------------------------------------------------------------------------------
/** From and to of an axis: what most contestants need; the few far beyond are pinned to the edge. */
function reach(values) {
  const known = values.filter((v) => v !== null).sort((a, b) => a - b);
  if (!known.length) return [0, 1];
  const near = known.filter((v) => v <= 3 * known[Math.floor((known.length - 1) / 2)] && v > 0), use = near.length ? near : known;
  const low = use[0], high = use[use.length - 1], room = 0.12 * Math.max(high - low, 0.1 * high, 1e-6);
  return [Math.max(0, low - room), high + room];
}
function tradeoff(id, values, word, unit) {
  const host = byId(id), t = D.tradeoff, width = widthOf(host, 328), height = Math.min(420, Math.max(300, width * 0.7));
  const margin = { l: 48, r: 14, t: 24, b: 46 }, layout = sheet(width, height, margin);
  const [lowX, highX] = reach(values), [lowY, highY] = reach(t.tracking), wide = width - margin.l - margin.r, tall = height - margin.t - margin.b;
  layout.xaxis = axis([lowX, highX], { nticks: Math.floor(wide / 60) });
  layout.xaxis.title.text = `${word}, ${unit}`;
  layout.yaxis = axis([lowY, highY], { nticks: Math.floor(tall / 36) });
  layout.annotations.push(note(`off target, ${t.unit} a year`, { xref: "paper", yref: "paper", x: 0, y: 1, xanchor: "left", xshift: -margin.l + 2, yanchor: "bottom", yshift: 5, font: { size: 12, color: colour("soft") } }));
  const traces = [], spots = [];
  let said = "";
  const order = C.map((_, k) => k).filter((k) => values[k] !== null && t.tracking[k] !== null).sort((a, b) => state.shown.has(a) - state.shown.has(b));
  for (const k of order) {
    const px = Math.min(wide - 8, Math.max(8, ((values[k] - lowX) / (highX - lowX)) * wide)), py = Math.min(tall - 8, Math.max(8, (1 - (t.tracking[k] - lowY) / (highY - lowY)) * tall));
    const x = lowX + (px / wide) * (highX - lowX), y = lowY + (1 - py / tall) * (highY - lowY), paint = colour(`k${k % 8}`);
    const outX = Math.sign((values[k] < lowX || values[k] > highX) * (values[k] - x)), outY = Math.sign((t.tracking[k] < lowY || t.tracking[k] > highY) * (y - t.tracking[k])), away = outX !== 0 || outY !== 0;
    const look = away ? { symbol: "triangle-up", angle: 90 + (Math.atan2(outY, outX) * 180) / Math.PI, size: 13 } : { symbol: C[k].ranked ? "circle" : "square", size: 12 };
    const said_k = `${C[k].name} ${fixed(values[k], 0)} and ${fixed(t.tracking[k], 1)}${C[k].front ? " (on the front)" : ""}`;
    if (C[k].front && !away) traces.push({ type: "scatter", mode: "markers", x: [x], y: [y], meta: { what: "ring", k }, hoverinfo: "skip", marker: { symbol: "circle-open", size: 21, color: colour("ink"), opacity: state.shown.has(k) ? 1 : 0.4, line: { width: 1.5 } } });
    traces.push({
      type: "scatter", mode: "markers", x: [x], y: [y], meta: { what: "contestant", k, beyond: away },
      marker: { ...look, color: C[k].ranked ? paint : colour("paper"), opacity: state.shown.has(k) ? 1 : 0.4, line: { color: C[k].ranked ? colour("paper") : paint, width: C[k].ranked ? 1.5 : 2 } },
      hovertemplate: `<b>${plain(C[k].name)}</b><br>${word} ${fixed(values[k], 1)} ${unit}<br>off target ${fixed(t.tracking[k], 1)} ${t.unit} a year${C[k].front ? "<br>on the front" : ""}<extra></extra>`,
    });
    spots.push({ k, x, y, px, py, name: away ? `${C[k].name} (${fixed(values[k], 0)}, ${fixed(t.tracking[k], 0)})` : C[k].name });
    said += ` ${said_k};`;
  }
  layout.annotations.push(...named(spots, wide, tall));
  return put(host, traces, layout, `Trade-off of ${word} and temperature off target:${said} numbers in the table below.`);
}
/** Names beside the marks of those chosen, moved until none lies on another or on a mark. */
function named(spots, wide, tall) {
  const taken = spots.map((s) => ({ from: s.px - 9, to: s.px + 9, y: s.py })), made = [];
  for (const s of spots.filter((s) => state.shown.has(s.k)).sort((a, b) => a.py - b.py)) {
    const long = s.name.length * LETTER;
    const box = ([dy, back]) => ({ dy, back, from: back ? s.px - 16 - long : s.px + 16, to: back ? s.px - 16 : s.px + 16 + long, y: s.py + dy });
    const fits = (b) => b.from > 2 && b.to < wide + 10 && b.y > 6 && b.y < tall - 8;
    const free = (b) => fits(b) && taken.every((o) => b.to < o.from || b.from > o.to || Math.abs(b.y - o.y) > 14);
    const tries = [0, 14, -14, 28, -28, 42, -42, 56, -56, 70, -70, 84, -84].flatMap((dy) => [[dy, false], [dy, true]]).map(box);
    const place = tries.find(free) || tries.find(fits) || tries[0], beside = place.back ? -16 : 16;
    taken.push(place);
    made.push({
      x: s.x, y: s.y, text: plain(s.name), font: { size: 12, color: colour("ink") }, xanchor: place.back ? "right" : "left", borderpad: 1,
      ...(place.dy === 0 ? { showarrow: false, xshift: beside } : { showarrow: true, arrowhead: 0, arrowwidth: 1, arrowcolor: colour("soft"), ax: beside, ay: place.dy, standoff: 7 }),
    });
  }
  return made;
}

// ---- histogram ----------------------------------------------------------------------------------------------------
function histogram() {
  const host = byId("hist"), h = D.histogram, width = widthOf(host, 690), height = 320, picked = chosen(), bins = h.minutes[0].length;
  const used = picked.flatMap((k) => h.minutes[k].flatMap((v, n) => (v > 0.02 ? [n] : [])));
  const first = Math.max(0, Math.min(bins - 1, ...used) - 1), last = Math.min(bins, Math.max(first + 1, ...used) + 2);
  const from = h.from + first * h.bin, to = h.from + last * h.bin, most = Math.max(1e-9, ...picked.flatMap((k) => h.minutes[k])) * 1.2;
  const margin = { l: 48, r: 14, t: 24, b: 46 }, layout = sheet(width, height, margin), wide = width - 62, tall = height - 70;
  layout.xaxis = axis([from, to], { nticks: Math.floor(wide / 60), showgrid: false });
  layout.xaxis.title.text = `charge temperature on boost, ${D.degree}`;
  layout.yaxis = axis([0, most], { nticks: 6 });
  layout.annotations.push(note("minutes a year", { xref: "paper", yref: "paper", x: 0, y: 1, xanchor: "left", xshift: -margin.l + 2, yanchor: "bottom", yshift: 5, font: { size: 12, color: colour("soft") } }));
  for (const [name, at] of [["target", D.target], ["limit", D.limit]]) {
    if (at >= from && at <= to) layout.shapes.push(goal(name, at, { xref: "x", yref: "paper", x0: at, x1: at, y0: 0, y1: 1 }, { textposition: "end", textangle: 0, xanchor: name === "target" && ((at - from) / (to - from)) * wide > 64 ? "right" : "left", yanchor: "top" }));
  }
  let said = "";
  const letters = [], traces = [];
  for (const k of picked) {
    const kept = h.minutes[k].slice(first, last), paint = colour(`k${k % 8}`);
    traces.push({
      type: "scatter", mode: "lines", x: [...kept.map((_, n) => from + n * h.bin), to], y: [...kept, 0], meta: { what: "contestant", k }, name: plain(C[k].name),
      line: { shape: "hv", color: paint, width: 1.8, dash: dash(k) }, hovertemplate: `<b>${plain(C[k].name)}</b><br>from %{x:.0f} ${D.degree}: %{y:.1f} min a year<extra></extra>`,
    });
    const tallest = kept.map((v, n) => n).filter((n) => kept[n] > 0).sort((a, b) => kept[b] - kept[a]);
    if (!tallest.length) continue;
    const spot = (n) => [((n + 0.5) / kept.length) * wide, (1 - kept[n] / most) * tall];
    const peak = tallest.slice(0, 12).find((n) => letters.every(([px, py]) => Math.hypot(px - spot(n)[0], py - spot(n)[1]) > 15)) ?? tallest[0];
    letters.push(spot(peak));
    layout.annotations.push(note(`<b>${C[k].key}</b>`, { x: from + (peak + 0.5) * h.bin, y: kept[peak], yanchor: "bottom", font: { size: 12, color: paint } }));
    said += ` ${C[k].name} most about ${fixed(from + (tallest[0] + 0.5) * h.bin, 0)} ${D.degree};`;
  }
  return put(host, traces, layout, `Minutes a year on boost by charge temperature:${said} numbers in the table below.`);
}
/** References dotted, contestants beyond the eighth colour dashed, the rest solid. */
function dash(k) {
  return k >= 8 ? "6px,3px" : C[k].ranked ? "solid" : "2px,2px";
}
