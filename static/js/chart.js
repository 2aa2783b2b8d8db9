// Charts from JSON on the page, drawn with Plotly under a policy that forbids inline scripts, inline styles and eval.
//
// Hook: <div class="chart" data-chart="id of a hidden element that holds the JSON" [data-follow="id of a map table"]>
//       data-ready is set when the chart stands, data-failed when it could not be drawn.
//       Plotly itself is fetched only when a page holds a chart (meta plotly-script, meta plotly-styles).
//
// Data, common to all kinds. Numbers are SI as shown; null is a gap; NaN must not occur.
//   kind    lines | gain | control | bars | heatmap | section | surface
//   x, y    {label, unit}; for maps {label, unit, values: […]}
//   series  [{name, x: […], y: […], low: […], high: […], role, of, dash, pen, axis}]
//             role   before | after | limit | left (out of a result) | pull (thin, not in the legend; of: the role whose colour it takes) | absent = own colour
//             low, high   the band around the curve; both or neither
//             pen    number of its own colour and dash, to look the same in several places; absent = its place in the list
//             axis   "y2" puts it on the right-hand axis (needs y2)
//   marks   [{x, label}]                     upright lines
//   spans   [{from, to, label, state}]       shaded stretches of x
// lines     y.from_zero: true starts the axis at zero; y2: {label, unit, from_zero} for a second axis
// gain      series above; below on the same x axis gain: {label, unit, series: […]}
// control   one series, its x numbers or words; limits: {centre, lower, upper}; outside: [indexes beyond the limits]
// bars      series with words as x; low and high become error bars
// heatmap   x, y (y null for a curve), z: {label, unit, values: [[…]]} row by row; scale: difference | amount; limit: end of the difference scale;
//           point: [row, col] to start at
// section   x, y (null for a curve), z: {label, unit}; series: [{name, role, z: [[…]]}]; point: [row, col] to start at
// surface   x, y, z with values; scale and limit as for heatmap

import { bars, control, gain, lines } from "./chart-curves.js";
import { lookOf } from "./chart-look.js";
import { heatmap, section, surface } from "./chart-maps.js";

const KINDS = { lines, gain, control, bars, heatmap, section, surface };
const CONFIG = {
  displaylogo: false,
  showSendToCloud: false,
  plotlyServerURL: "",
  responsive: true,
  scrollZoom: false,
  modeBarButtonsToRemove: ["select2d", "lasso2d", "zoomIn2d", "zoomOut2d", "autoScale2d", "resetCameraLastSave3d", "tableRotation"],
  toImageButtonOptions: { format: "png", scale: 2 },
};
const points = new WeakMap();
let plotly;

function meta(name) {
  return document.querySelector(`meta[name="${name}"]`)?.content;
}

// The part of Plotly that draws geographic maps, unused here, writes its rules into the page, which the policy refuses
// with an error on the console, unless an element with this id is there.
const GEOGRAPHY = "9f215cf04c5486422605d13261cb87401f4e7763b6296af81e98efbc0130da53";

// Plotly writes its rules into a <style> element unless a link with this id and class stands in for it.
function loadPlotly() {
  plotly ??= new Promise((resolve, reject) => {
    const styles = document.createElement("link");
    styles.id = "plotly.js-style-global";
    styles.className = "no-inline-styles";
    styles.rel = "stylesheet";
    styles.href = meta("plotly-styles");
    const geography = document.createElement("meta");
    geography.id = GEOGRAPHY;
    const script = document.createElement("script");
    script.src = meta("plotly-script");
    script.addEventListener("load", () => resolve(window.Plotly));
    script.addEventListener("error", () => reject(new Error("the drawing library did not load")));
    document.head.append(styles, geography, script);
  });
  return plotly;
}

function figure(element, paper) {
  const data = JSON.parse(document.getElementById(element.dataset.chart).textContent);
  const look = lookOf(element, { paper });
  const { traces, layout } = KINDS[data.kind](data, look, points.get(element) ?? data.point);
  layout.autosize = true;
  if (paper) {
    layout.autosize = false;
    layout.width = 672;
    layout.height = ["l", "xl"].includes(element.dataset.height) ? 452 : 332;
  }
  return { traces, layout };
}

function fail(element, error) {
  const note = document.createElement("p");
  note.className = "chart-note";
  note.textContent = `This chart could not be drawn (${error.message}). The sentence above it and the figures below it still hold.`;
  element.replaceChildren(note);
  element.dataset.failed = "";
}

async function draw(element) {
  element.dataset.drawn = "";
  try {
    const library = await loadPlotly();
    const { traces, layout } = figure(element, false);
    await library.newPlot(element, traces, layout, { ...CONFIG, toImageButtonOptions: { ...CONFIG.toImageButtonOptions, filename: element.id } });
    element.on("plotly_click", (event) => pointFrom(element, event));
    element.dataset.ready = "";
  } catch (error) {
    fail(element, error);
  }
}

function redraw(element, paper = false) {
  if (!("ready" in element.dataset)) return;
  const { traces, layout } = figure(element, paper);
  window.Plotly.react(element, traces, layout);
}

function redrawAll(paper) {
  for (const element of document.querySelectorAll(".chart[data-ready]")) redraw(element, paper);
}

function pointFrom(element, event) {
  const grid = element.dataset.follow;
  const hit = event.points?.[0];
  if (!grid || !Array.isArray(hit?.pointIndex)) return;
  const [row, col] = hit.pointIndex;
  document.dispatchEvent(new CustomEvent("cell:point", { detail: { grid, row, col } }));
}

document.addEventListener("cell:point", ({ detail }) => {
  for (const element of document.querySelectorAll(`.chart[data-follow="${CSS.escape(detail.grid)}"]`)) {
    points.set(element, [detail.row, detail.col]);
    redraw(element);
  }
});

function drawWithin(scope) {
  for (const element of scope.querySelectorAll("[data-chart]:not([data-drawn])")) draw(element);
}

document.addEventListener("themechange", () => redrawAll(false));
addEventListener("beforeprint", () => redrawAll(true));
addEventListener("afterprint", () => redrawAll(false));
document.addEventListener("toggle", (event) => {
  // Drawn while it was hidden it had no width, after which names and margins go.
  for (const element of event.target.querySelectorAll?.(".chart[data-ready]") ?? []) {
    redraw(element);
    window.Plotly.Plots.resize(element);
  }
}, true);
document.addEventListener("htmx:load", (event) => drawWithin(event.target.parentElement ?? document));
document.addEventListener("htmx:beforeCleanupElement", (event) => {
  if (event.target.matches?.(".chart[data-ready]")) window.Plotly.purge(event.target);
});
drawWithin(document);
