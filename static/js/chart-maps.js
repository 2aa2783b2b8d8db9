// Kinds drawn from a map: heatmap, section, surface.

import { axisOf, baseLayout, fade, named, uprightAxisOf, wrapped } from "./chart-look.js";

const shown = (value) => (typeof value === "number" ? value.toLocaleString("en", { maximumFractionDigits: 4 }) : String(value ?? "–"));

// Breakpoints are unevenly spaced; each cell gets the same room, so the picture has the shape of the table beside it.
function cellAxis(look, axis, most, more) {
  const labels = axis.values.map(shown);
  const step = Math.ceil(labels.length / most);
  const at = labels.map((_, i) => i).filter((i) => i % step === 0);
  return axisOf(look, axis, { tickvals: at, ticktext: at.map((i) => labels[i]), showgrid: false, ticks: "", ...more });
}

function scaleOf(data, look) {
  if (data.scale !== "difference") return { colorscale: look.amount };
  const largest = data.limit ?? Math.max(...data.z.values.flat().map((value) => Math.abs(value ?? 0)));
  const limit = largest > 0 ? largest : 1;
  return { colorscale: look.difference, zmin: -limit, zmax: limit, cmin: -limit, cmax: limit };
}

const barOf = (data, look) => ({
  title: { text: data.z.unit, side: "top", font: { size: look.size } },
  thickness: 16,
  outlinecolor: look.rule,
  outlinewidth: 1,
  tickfont: { size: look.size },
  len: 1,
});

function cellFrame([row, col], look) {
  return { type: "rect", x0: col - 0.5, x1: col + 0.5, y0: row - 0.5, y1: row + 0.5, line: { color: look.ink, width: 3 } };
}

export function heatmap(data, look, point) {
  const rows = data.y ? data.y.values : [""];
  const { zmin, zmax, colorscale } = scaleOf(data, look);
  const where = rows.map((y) =>
    data.x.values.map((x) => `${data.x.label} ${shown(x)} ${data.x.unit}${data.y ? `<br>${data.y.label} ${shown(y)} ${data.y.unit}` : ""}`),
  );
  const trace = {
    type: "heatmap",
    z: data.z.values,
    text: where,
    colorscale,
    zmin,
    zmax,
    xgap: 1,
    ygap: 1,
    zsmooth: false,
    colorbar: barOf(data, look),
    hovertemplate: `%{text}<br>${data.z.label} %{z} ${data.z.unit}<extra></extra>`,
  };
  const layout = {
    ...baseLayout(look),
    shapes: point ? [cellFrame(point, look)] : [],
    xaxis: cellAxis(look, data.x, look.narrow ? 3 : 14, { side: "bottom", tickangle: 0 }),
    yaxis: data.y ? cellAxis(look, data.y, 14, { autorange: "reversed" }) : { visible: false },
  };
  return { traces: [trace], layout };
}

function cut(series, look, xs, ys, at, axes, first) {
  const dash = { before: "dash", after: "solid" }[series.role] ?? "solid";
  const colour = look.roles[series.role] ?? look.series[0];
  return {
    name: series.name,
    legendgroup: series.name,
    showlegend: first,
    x: xs,
    y: ys,
    mode: "lines+markers",
    line: { color: colour, width: 2.5, dash },
    marker: { opacity: 1, color: colour, size: xs.map((_, i) => (i === at ? 14 : 6)), symbol: series.role === "before" ? "circle-open" : "circle", line: { width: 2 } },
    hovertemplate: `${series.name}: %{y}<extra></extra>`,
    ...axes,
  };
}

// Without a y axis (a curve) there is one cut; otherwise one along each axis, beside or above each other.
export function section(data, look, point) {
  const [row, col] = point ?? data.point ?? [0, 0];
  const both = Boolean(data.y);
  const traces = data.series.map((s) => cut(s, look, data.x.values, s.z[row], col, {}, true));
  const domains = look.narrow ? { x: [0, 1], y: [0.58, 0.92], x2: [0, 1], y2: [0, 0.34] } : { x: [0, 0.46], y: [0, 0.88], x2: [0.56, 1], y2: [0, 0.88] };
  const layout = {
    ...baseLayout(look),
    xaxis: axisOf(look, data.x, both ? { domain: domains.x } : {}),
    yaxis: uprightAxisOf(look, data.z, both ? { domain: domains.y } : {}),
  };
  if (!both) return { traces, layout };
  traces.push(...data.series.map((s) => cut(s, look, data.y.values, s.z.map((line) => line[col]), row, { xaxis: "x2", yaxis: "y2" }, false)));
  layout.xaxis2 = axisOf(look, data.y, { domain: domains.x2, anchor: "y2" });
  layout.yaxis2 = uprightAxisOf(look, data.z, { domain: domains.y2, anchor: "x2", matches: "y", ...(look.narrow ? {} : { title: { text: "" } }) });
  // The room of a heading: its plot's, less what the axes take of the whole.
  const head = ([from, to], y, axis, value) => ({ x: from, y, xref: "paper", yref: "paper", xanchor: "left", yanchor: "bottom", align: "left", showarrow: false, text: wrapped(`at ${axis.label} ${shown(value)} ${axis.unit}`, (look.width - look.size * 6) * (to - from), look.size), font: { size: look.size, color: look.ink } });
  layout.annotations = [head(domains.x, domains.y[1], data.y, data.y.values[row]), head(domains.x2, domains.y2[1], data.x, data.x.values[col])];
  return { traces, layout };
}

export function surface(data, look) {
  const { colorscale, cmin, cmax } = scaleOf(data, look);
  const trace = {
    type: "surface",
    x: data.x.values,
    y: data.y.values,
    z: data.z.values,
    colorscale,
    cmin,
    cmax,
    colorbar: barOf(data, look),
    contours: { x: { show: true, color: look.ink, width: 1 }, y: { show: true, color: look.ink, width: 1 } },
    lighting: { ambient: 0.85, diffuse: 0.3, specular: 0.05, roughness: 0.9 },
    hovertemplate: `${data.x.label} %{x} ${data.x.unit}<br>${data.y.label} %{y} ${data.y.unit}<br>${data.z.label} %{z} ${data.z.unit}<extra></extra>`,
  };
  const axis = (given) => ({
    title: { text: named(given), font: { size: look.size } },
    tickfont: { size: look.size * 0.85 },
    color: look.ink,
    gridcolor: fade(look.rule, 0.5),
    backgroundcolor: look.paper,
    showbackground: false,
    zerolinecolor: look.rule,
  });
  const layout = {
    ...baseLayout(look),
    dragmode: "orbit",
    scene: { xaxis: axis(data.x), yaxis: axis(data.y), zaxis: axis(data.z), camera: { eye: { x: -1.5, y: -1.6, z: 0.9 }, center: { x: 0, y: 0, z: -0.2 } }, aspectratio: { x: 1.4, y: 1.1, z: 0.7 } },
  };
  return { traces: [trace], layout };
}
