// A learned curve: each pad's colours over pH, and below them its doubt and the photos that were read without themselves.
import { el, svg } from "./dom.js";
import { t } from "./words.js";

const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
const BAND = 22, HIGH = 260;

// `evidence`: of a run. Gives the drawing; what it shows stands in the report, too.
export function curve(evidence) {
  const { ph, colours, doubt } = evidence.curve;
  const pads = colours[0].length, step = 600 / ph.length;
  const bands = svg("svg", { viewBox: `0 0 600 ${pads * (BAND + 4)}`, class: "bands", role: "img", "aria-label": t("Colour of each pad over pH, from the dipped end") });
  for (let pad = 0; pad < pads; pad += 1)
    ph.forEach((_, n) => bands.append(svg("rect", { x: n * step, y: pad * (BAND + 4), width: step + 0.5, height: BAND, fill: colours[n][pad] })));
  const box = el("div", { class: "doubt-plot", role: "img", "aria-label": t("Doubt of the curve over pH, and how far each photo was off when it was left out; the report says the same") });
  const figure = el("figure", { class: "curve" }, bands, box, el("figcaption", { class: "meta" }, t("Line: doubt that the curve brings to a reading, pH. Dots: how far a photo was off when it was left out, pH.")));
  requestAnimationFrame(() => draw(box, evidence, ph, doubt));
  return figure;
}

function draw(box, evidence, ph, doubt) {
  if (typeof uPlot === "undefined" || !box.isConnected) return;
  const INK = colour("ink"), MAIN = colour("main");
  const off = evidence.photos.filter((photo) => photo.read_left_out !== undefined).map((photo) => [photo.ph, Math.abs(photo.read_left_out - photo.ph)]);
  const top = Math.max(1, ...doubt, ...off.map(([, miss]) => miss));
  const axis = { stroke: INK, font: "600 16px system-ui", labelFont: "600 16px system-ui", labelSize: 22 };
  const dots = (u) => {
    u.ctx.fillStyle = INK;
    for (const [at, miss] of off) {
      u.ctx.beginPath();
      u.ctx.arc(u.valToPos(at, "x", true), u.valToPos(miss, "y", true), 5 * devicePixelRatio, 0, 7);
      u.ctx.fill();
    }
  };
  const drawn = new uPlot({
    width: box.clientWidth, height: HIGH, legend: { show: false }, cursor: { show: false },
    scales: { x: { time: false, range: [ph[0], ph.at(-1)] }, y: { range: [0, 1.1 * top] } },
    axes: [{ ...axis, label: "pH", size: 36, space: 30, incrs: [1, 2], grid: { show: false } }, { ...axis, label: t("doubt, pH"), size: 50, space: 26, grid: { stroke: colour("grid") } }],
    series: [{}, { stroke: MAIN, width: 3, points: { show: false } }],
    hooks: { draw: [dots] },
  }, [ph, doubt], box);
  new ResizeObserver(() => box.clientWidth && drawn.setSize({ width: box.clientWidth, height: HIGH })).observe(box);
}
