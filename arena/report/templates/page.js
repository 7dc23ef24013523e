// Choosing, brightness, paper, and the start.
function drawAll() {
  drawRoad();
  scores();
  tradeoff("trade-hours", D.tradeoff.hours, "pump hours", "h a year");
  tradeoff("trade-energy", D.tradeoff.energy, "energy", "Wh a year");
  histogram();
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
for (const id of ["drive", "climate", "fault"]) byId(id)?.addEventListener("change", () => { pickView(); drawRoad(); });
for (const button of document.querySelectorAll("[data-zoom]")) button.addEventListener("click", () => zoom(button.dataset.zoom));
byId("time-table").addEventListener("toggle", samples);
for (const button of document.querySelectorAll("button[data-shade]")) {
  button.addEventListener("click", () => {
    if (button.dataset.shade === "auto") delete document.documentElement.dataset.shade; else document.documentElement.dataset.shade = button.dataset.shade;
    for (const other of document.querySelectorAll("button[data-shade]")) other.setAttribute("aria-pressed", String(other === button));
    drawAll();
  });
}
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", drawAll);

// ---- on paper: every outing, every detail, light --------------------------------------------------------------------
let before = null;
function toPaper() {
  if (before) return;
  before = { shade: document.documentElement.dataset.shade, open: [...document.querySelectorAll("details:not([open])")] };
  document.documentElement.dataset.shade = "light";
  for (const closed of before.open) if (closed.id !== "time-table" && !closed.classList.contains("whobox")) closed.open = true;
  state.paper = true;
  drawAll();
  const place = byId("paper");
  byId("outing-figures").closest(".scroll").before(place);
  D.views.forEach((v, view) => {
    const block = make(place, "div", { class: "outing" });
    make(block, "h3", {}, v.name);
    if (!v.shared.speed_kmh) { make(block, "p", { class: "small" }, "No time view, to keep the page small."); return; }
    road(make(make(block, "figure"), "div", { class: "chart" }), view, 0, v.seconds, 690, 0.72);
    fillFigures(make(block, "table"), v, chosen());
  });
  byId("outing-figures").replaceChildren();
}
function fromPaper() {
  if (!before) return;
  for (const opened of before.open) opened.open = false;
  if (before.shade === undefined) delete document.documentElement.dataset.shade; else document.documentElement.dataset.shade = before.shade;
  for (const chart of document.querySelectorAll("#paper .chart")) Plotly.purge(chart);
  byId("paper").replaceChildren();
  before = null;
  state.paper = false;
  drawAll();
}
addEventListener("beforeprint", toPaper);
addEventListener("afterprint", fromPaper);

// ---- start --------------------------------------------------------------------------------------------------------
const meanBoost = (view) => series(view, null, "boost_kpa").reduce((sum, v) => sum + Math.max(0, v), 0) / series(view, null, "boost_kpa").length;
const busiest = D.views.map((_, view) => view).filter((view) => D.views[view].shared.boost_kpa).sort((a, b) => meanBoost(b) - meanBoost(a) || a - b)[0];
said();
show(busiest ?? 0);
histogramTable();
drawAll();
document.documentElement.dataset.drawn = "yes";
let wait = 0, lastWidth = document.documentElement.clientWidth;
addEventListener("resize", () => {
  if (before || document.documentElement.clientWidth === lastWidth) return;
  lastWidth = document.documentElement.clientWidth;
  clearTimeout(wait);
  wait = setTimeout(drawAll, 80);
});
