// Kinds drawn from series: lines, gain, control, bars.

import { axisOf, baseLayout, fade, uprightAxisOf, wrapped } from "./chart-look.js";

const DASHES = ["solid", "dash", "dot", "dashdot", "longdash", "longdashdot"];

function penOf(series, place, look) {
  const { role } = series;
  const index = series.pen ?? place;
  if (role === "pull") {
    const colour = look.roles[series.of] ?? look.series[index % look.series.length];
    return { color: fade(colour, 0.6), width: 1.25, dash: series.dash ?? "solid" };
  }
  const dash = series.dash ?? { before: "dash", after: "solid", limit: "dot" }[role] ?? DASHES[index % DASHES.length];
  return { color: look.roles[role] ?? look.series[index % look.series.length], width: role === "limit" ? 2 : 3, dash };
}

function bandOf(series, pen, axes) {
  const at = series.x.map((_, i) => i).filter((i) => series.low[i] != null && series.high[i] != null);
  const edge = { x: at.map((i) => series.x[i]), mode: "lines", line: { width: 0 }, hoverinfo: "skip", showlegend: false, legendgroup: series.name, ...axes };
  return [
    { ...edge, y: at.map((i) => series.low[i]) },
    { ...edge, y: at.map((i) => series.high[i]), fill: "tonexty", fillcolor: fade(pen.color, 0.2) },
  ];
}

function tracesOf(list, look, unit, axes = {}, shownInLegend = () => true) {
  const traces = [];
  list.forEach((series, index) => {
    const on = series.axis === "y2" ? { yaxis: "y2" } : axes;
    const pen = penOf(series, index, look);
    const pull = series.role === "pull";
    if (series.low && series.high) traces.push(...bandOf(series, pen, on));
    const spread = series.low && series.high ? series.low.map((low, i) => [low, series.high[i]]) : null;
    const range = spread ? " (%{customdata[0]:.1f} to %{customdata[1]:.1f})" : "";
    traces.push({
      name: look.narrow ? wrapped(series.name, look.width - 72, look.size) : series.name,
      legendgroup: series.name,
      x: series.x,
      y: series.y,
      customdata: spread,
      mode: "lines",
      line: pen,
      connectgaps: false,
      showlegend: !pull && shownInLegend(series.name),
      hovertemplate: `${series.name}: %{y:.1f}${range} ${series.axis === "y2" ? "" : unit}<extra></extra>`,
      ...(pull ? { hoverinfo: "skip", hovertemplate: undefined } : {}),
      ...on,
    });
  });
  return traces;
}

// Marks are upright lines with a word at the top; spans are shaded stretches of the x axis.
function marksOf(data, look) {
  const shapes = [];
  const annotations = [];
  const word = (x, text) => annotations.push({ x, y: 1, yref: "paper", yanchor: "bottom", xanchor: "center", text, showarrow: false, font: { size: look.size, color: look.ink } });
  for (const span of data.spans ?? []) {
    const colour = look.states[span.state] ?? look.soft;
    shapes.push({ type: "rect", x0: span.from, x1: span.to, y0: 0, y1: 1, yref: "paper", fillcolor: fade(colour, span.state ? 0.16 : 0.08), line: { width: 0 }, layer: "below" });
    if (span.label) word((span.from + span.to) / 2, span.label);
  }
  for (const mark of data.marks ?? []) {
    shapes.push({ type: "line", x0: mark.x, x1: mark.x, y0: 0, y1: 1, yref: "paper", line: { color: look.ink, width: 1.5, dash: "dot" } });
    if (mark.label) word(mark.x, mark.label);
  }
  const lifted = annotations.length ? { legend: { ...baseLayout(look).legend, y: 1 + (look.size * 1.9) / look.height } } : {};
  return { shapes, annotations, ...lifted };
}

const runningAxisOf = (look, axis, more = {}) => axisOf(look, axis, { unifiedhovertitle: { text: `%{x:,} ${axis.unit}` }, ...more });

export function lines(data, look) {
  const layout = {
    ...baseLayout(look),
    ...marksOf(data, look),
    hovermode: "x unified",
    xaxis: runningAxisOf(look, data.x),
    yaxis: uprightAxisOf(look, data.y, { rangemode: data.y.from_zero ? "tozero" : "normal" }),
  };
  if (data.y2) {
    // Ticks of its own: taken over from the left axis they would fall on odd numbers.
    const rangemode = data.y2.from_zero ? "tozero" : "normal";
    layout.yaxis2 = uprightAxisOf(look, data.y2, { overlaying: "y", side: "right", showgrid: false, tickmode: "auto", rangemode });
  }
  return { traces: tracesOf(data.series, look, data.y.unit), layout };
}

export function gain(data, look) {
  const layout = {
    ...baseLayout(look),
    ...marksOf(data, look),
    hovermode: "x unified",
    hoversubplots: "axis",
    xaxis: runningAxisOf(look, data.x, { anchor: "y2" }),
    yaxis: uprightAxisOf(look, data.y, { domain: [0.44, 1] }),
    yaxis2: uprightAxisOf(look, data.gain, { domain: [0, 0.38], rangemode: "tozero", zeroline: true, zerolinecolor: look.ink, zerolinewidth: 2 }),
  };
  const upper = tracesOf(data.series, look, data.y.unit);
  const named = new Set(data.series.map((series) => series.name));
  const lower = tracesOf(data.gain.series, look, data.gain.unit, { yaxis: "y2" }, (name) => !named.has(name));
  return { traces: [...upper, ...lower], layout };
}

export function control(data, look) {
  const { centre, lower, upper } = data.limits;
  const series = data.series[0];
  const outside = new Set(data.outside ?? []);
  const far = series.x.map((_, i) => outside.has(i));
  const level = (y, dash, width) => ({ type: "line", x0: 0, x1: 1, xref: "paper", y0: y, y1: y, line: { color: look.ink, width, dash } });
  const word = (y, text) => ({ x: 1, xref: "paper", xanchor: "right", y, yanchor: "bottom", text, showarrow: false, font: { size: look.size * 0.9, color: look.soft } });
  const trace = {
    name: series.name,
    x: series.x,
    y: series.y,
    mode: "lines+markers",
    line: { color: look.series[0], width: 2 },
    marker: {
      opacity: 1,
      color: far.map((is) => (is ? look.attention : look.series[0])),
      symbol: far.map((is) => (is ? "diamond" : "circle")),
      size: far.map((is) => (is ? 16 : 9)),
      line: { color: look.paper, width: 1 },
    },
    text: far.map((is) => (is ? "outside the limits" : "within the limits")),
    hovertemplate: `%{x}: %{y:.1f} ${data.y.unit}, %{text}<extra></extra>`,
  };
  const layout = {
    ...baseLayout(look),
    showlegend: false,
    shapes: [level(centre, "solid", 1.5), level(lower, "dash", 1.5), level(upper, "dash", 1.5)],
    annotations: [word(upper, "upper limit"), word(centre, "centre"), word(lower, "lower limit")],
    xaxis: axisOf(look, data.x, { type: typeof series.x[0] === "string" ? "category" : undefined }),
    yaxis: uprightAxisOf(look, data.y),
  };
  return { traces: [trace], layout };
}

export function bars(data, look) {
  const several = data.series.length > 1;
  const traces = data.series.map((series, index) => {
    const colours = several
      ? look.roles[series.role] ?? look.series[index % look.series.length]
      : series.y.map((value) => (value < 0 ? look.series[1] : look.series[0]));
    return {
      type: "bar",
      name: series.name,
      x: series.x,
      y: series.y,
      marker: {
        color: colours,
        pattern: { shape: several ? (index % 2 ? "/" : "") : series.y.map((value) => (value < 0 ? "/" : "")), fgcolor: look.paper, solidity: 0.35 },
      },
      error_y: series.low && {
        type: "data",
        symmetric: false,
        array: series.high.map((high, i) => high - series.y[i]),
        arrayminus: series.low.map((low, i) => series.y[i] - low),
        color: look.ink,
        thickness: 2,
        width: 7,
      },
      hovertemplate: `%{x}: %{y:.1f} ${data.y.unit}<extra>${several ? series.name : ""}</extra>`,
    };
  });
  const layout = {
    ...baseLayout(look),
    showlegend: several,
    bargap: 0.45,
    xaxis: axisOf(look, data.x, { type: "category", showgrid: false }),
    yaxis: uprightAxisOf(look, data.y, { zeroline: true, zerolinecolor: look.ink, zerolinewidth: 2 }),
  };
  return { traces, layout };
}
