// What charts take from the page: colours out of tokens.css, the size of type, and the layout that all kinds share.

const SERIES = [1, 2, 3, 4, 5, 6].map((n) => `--chart-${n}`);
const DIFFERENCE = [
  "--diff-less-4", "--diff-less-3", "--diff-less-2", "--diff-less-1", "--diff-same",
  "--diff-more-1", "--diff-more-2", "--diff-more-3", "--diff-more-4",
];
const AMOUNT = [0, 1, 2, 3, 4].map((n) => `--amount-${n}`);

// A custom property keeps light-dark() unresolved; the colour of an element that uses it does not.
function reader(element, paper) {
  const probe = document.createElement("span");
  probe.hidden = true;
  if (paper) probe.style.colorScheme = "light";
  element.parentElement.append(probe);
  const read = (name) => {
    probe.style.color = `var(${name})`;
    return getComputedStyle(probe).color;
  };
  return { read, done: () => probe.remove() };
}

export function fade(colour, alpha) {
  const [r, g, b] = colour.match(/[\d.]+/g);
  return `rgba(${r}, ${g}, ${b}, ${alpha})`;
}

const stops = (colours) => colours.map((colour, at) => [at / (colours.length - 1), colour]);

export function lookOf(element, { paper = false } = {}) {
  const style = getComputedStyle(element);
  const { read, done } = reader(element, paper);
  const look = {
    ink: read("--ink"),
    soft: read("--ink-soft"),
    grid: read("--chart-grid"),
    rule: read("--rule-strong"),
    paper: read("--chart-paper"),
    attention: read("--attention"),
    roles: { before: read("--chart-before"), after: read("--chart-after"), limit: read("--chart-limit"), left: read("--ink-soft") },
    series: SERIES.map(read),
    states: { attention: read("--attention"), danger: read("--danger"), ok: read("--ok"), info: read("--info"), unknown: read("--unknown") },
    difference: stops(DIFFERENCE.map(read)),
    amount: stops(AMOUNT.map(read)),
    family: style.fontFamily,
    size: paper ? 11 : Number.parseFloat(style.fontSize),
    height: paper ? 332 : element.clientHeight,
    width: paper ? 672 : element.clientWidth,
    narrow: !paper && element.clientWidth < 600,
  };
  done();
  return look;
}

export const named = (axis) => (axis.unit ? `${axis.label} [${axis.unit}]` : axis.label);

// Titles do not wrap by themselves: a long one beside a low plot would be cut at both ends.
export function wrapped(text, room, size) {
  const limit = Math.max(8, Math.floor(room / (size * 0.58)));
  const rows = [""];
  for (const word of text.split(" ")) {
    const longer = rows.at(-1) ? `${rows.at(-1)} ${word}` : word;
    if (longer.length > limit && rows.at(-1)) rows.push(word);
    else rows[rows.length - 1] = longer;
  }
  return rows.join("<br>");
}

export function uprightAxisOf(look, axis, more = {}) {
  const [from, to] = more.domain ?? [0, 1];
  const title = { text: wrapped(named(axis), (look.height - look.size * 5) * (to - from), look.size), font: { size: look.size }, standoff: 8 };
  return axisOf(look, axis, { title, ...more });
}

export function axisOf(look, axis, more = {}) {
  return {
    title: { text: named(axis), font: { size: look.size }, standoff: 8 },
    color: look.ink,
    gridcolor: look.grid,
    linecolor: look.rule,
    zeroline: false,
    showline: true,
    ticks: "outside",
    tickcolor: look.rule,
    tickfont: { size: look.size },
    separatethousands: true,
    automargin: true,
    ...more,
  };
}

export function baseLayout(look) {
  return {
    paper_bgcolor: look.paper,
    plot_bgcolor: look.paper,
    font: { family: look.family, size: look.size, color: look.ink },
    margin: { l: look.narrow ? 8 : 16, r: look.narrow ? 8 : 16, t: 8, b: 8, pad: 0 },
    hoverlabel: { bgcolor: look.paper, bordercolor: look.rule, font: { family: look.family, size: look.size, color: look.ink } },
    modebar: { bgcolor: "rgba(0,0,0,0)", color: look.soft, activecolor: look.ink },
    legend: { orientation: "h", x: 0, y: 1.02, yanchor: "bottom", xanchor: "left", font: { size: look.size }, bgcolor: "rgba(0,0,0,0)" },
    separators: ".,",
    dragmode: matchMedia("(pointer: coarse)").matches ? false : "zoom",
    transition: { duration: 0 },
  };
}
