// Two rules under the figures: where in the band, and where in the megahertz; and the level's bar.

const EDGE = 14, LINE = 16;
const SVG = "http://www.w3.org/2000/svg";

export const kilohertz = (hertz) => {
  const [whole, part] = (hertz / 1000).toFixed(3).split(".");
  const grouped = whole.replace(/\B(?=(\d{3})+$)/g, "\u2009");
  const rest = part.replace(/0+$/, "");
  return rest ? `${grouped}.${rest}` : grouped;
};

export const decibels = (value) => (Math.round(value) || 0).toFixed(0).replace("-", "\u2212");

function put(parent, name, attributes, text) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  if (text !== undefined) element.textContent = text;
  parent.append(element);
}

// Drawn in pixels as wide as it is shown, so that its letters are the page's.
const widthOf = (svg) => Math.max(svg.clientWidth, 200);

function rule(svg, low, high, tick, here, label) {
  svg.replaceChildren();
  const WIDTH = widthOf(svg);
  const x = (hertz) => EDGE + (hertz - low) / (high - low) * (WIDTH - 2 * EDGE);
  put(svg, "path", { class: "rule", d: `M${EDGE} ${LINE}H${WIDTH - EDGE}` });
  const first = Math.ceil(low / tick) * tick;
  for (let hertz = first; hertz <= high; hertz += tick) {
    const long = Math.round(hertz / tick) % 5 === 0;
    put(svg, "path", { class: "tick", d: `M${x(hertz)} ${LINE}v${long ? 9 : 5}` });
  }
  for (const [hertz, anchor] of [[low, "start"], [high, "end"]]) {
    const at = anchor === "start" ? EDGE - 8 : WIDTH - EDGE + 8;
    put(svg, "text", { x: at, y: 42, "text-anchor": anchor }, kilohertz(hertz));
  }
  put(svg, "text", { x: WIDTH / 2, y: 42, "text-anchor": "middle" }, label);
  if (here !== null) put(svg, "circle", { class: "here", cx: x(here), cy: LINE, r: 6.5 });
}

// A tick so wide that there are neither too few nor too many.
function spacing(svg, span) {
  const most = widthOf(svg) / 9;
  for (const tick of [1e3, 2e3, 5e3, 10e3, 20e3, 50e3, 100e3, 500e3, 1e6, 5e6, 10e6]) {
    if (span / tick <= most) return tick;
  }
  return 50e6;
}

export function coarse(svg, dial, band) {
  if (dial === null || !band) {
    svg.replaceChildren();
    put(svg, "text", { x: widthOf(svg) / 2, y: 28, "text-anchor": "middle" },
      dial === null ? "" : "between the bands");
    svg.setAttribute("aria-label", "Not in a band");
    return;
  }
  rule(svg, band.low, band.high, spacing(svg, band.high - band.low), dial, band.name);
  const share = Math.round((dial - band.low) / (band.high - band.low) * 100);
  svg.setAttribute("aria-label", `${share} percent up the ${band.name} band, `
    + `${kilohertz(band.low)} to ${kilohertz(band.high)} kilohertz`);
}

export function fine(svg, dial) {
  if (dial === null) { svg.replaceChildren(); return; }
  const low = Math.floor(dial / 1e6) * 1e6;
  rule(svg, low, low + 1e6, spacing(svg, 1e6), dial, `${low / 1e6} MHz`);
  svg.setAttribute("aria-label",
    `${kilohertz(dial - low)} kilohertz above ${low / 1e6} megahertz`);
}

export function meter(svg, level, floor, unit) {
  svg.replaceChildren();
  if (level === null) { svg.setAttribute("aria-label", "No level measured"); return; }
  const WIDTH = widthOf(svg);
  const base = floor === null ? level - 20 : floor;
  const low = Math.floor((Math.min(base, level) - 6) / 10) * 10;
  const high = Math.max(low + 70, Math.ceil(level / 10) * 10);
  const x = (db) => EDGE + (db - low) / (high - low) * (WIDTH - 2 * EDGE);
  put(svg, "rect", { class: "area", x: EDGE, y: 6, width: WIDTH - 2 * EDGE, height: 12 });
  put(svg, "rect", { class: "over", x: EDGE, y: 6, width: Math.max(x(level) - EDGE, 1),
    height: 12 });
  if (floor !== null) {
    put(svg, "path", { class: "tick", d: `M${x(floor)} 2v20` });
    put(svg, "text", { x: Math.max(x(floor), EDGE + 85), y: 36, "text-anchor": "middle" }, "floor");
  }
  for (const db of [low, high]) {
    put(svg, "text", { x: db === low ? EDGE : WIDTH - EDGE, y: 36,
      "text-anchor": db === low ? "start" : "end" }, `${decibels(db)} ${unit}`);
  }
  svg.setAttribute("aria-label", `Level ${decibels(level)} ${unit}`);
}
