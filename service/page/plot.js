// pH against wash: dots with their intervals, the neutral band, and the forecast's washes to come.
import { t } from "./words.js";

const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim(); // of the theme in force
let INK, MAIN;
let drawn = null;

export function plot(box, entries, forecast, neutral) {
  const counted = entries
    .filter((e) => e.kind === "ph" && e.ph !== null && e.log.wash !== null && e.log.corrected_by === null && !e.log.withdrawn)
    .sort((a, b) => a.log.wash - b.log.wash || a.log.id - b.log.id);
  [INK, MAIN] = [colour("ink"), colour("main")];
  if (drawn) drawn.destroy();
  drawn = null;
  if (!counted.length || typeof uPlot === "undefined") return 0;
  const first = counted[0].log.wash, last = counted.at(-1).log.wash;
  const curve = (forecast && forecast.curve) || [];
  const end = Math.max(last, ...curve.map((c) => c.wash));
  const options = {
    width: box.clientWidth,
    height: 280,
    legend: { show: false },
    cursor: { show: false },
    scales: { x: { time: false, range: [first - 0.5, end + 0.5] }, y: { range: [0, 14] } },
    axes: [
      { label: t("wash"), stroke: INK, font: "600 16px system-ui", labelFont: "600 16px system-ui", labelSize: 22, size: 36, space: 26, incrs: [1, 2, 5, 10, 50], grid: { show: false } },
      { label: "pH", stroke: INK, font: "600 16px system-ui", labelFont: "600 16px system-ui", labelSize: 22, size: 36, space: 20, incrs: [2], grid: { stroke: colour("grid") } },
    ],
    series: [{}, { stroke: INK, width: 2, points: { show: false }, paths: () => null }],
    hooks: {
      drawClear: [(u) => band(u, neutral)],
      draw: [(u) => future(u, curve), (u) => dots(u, counted)],
    },
  };
  const data = [counted.map((e) => e.log.wash), counted.map((e) => e.ph)];
  drawn = new uPlot(options, data, box);
  box.dataset.points = counted.length;
  return counted.length;
}

function band(u, [low, high]) {
  const c = u.ctx, top = u.valToPos(high, "y", true), bottom = u.valToPos(low, "y", true);
  const { left, width } = u.bbox;
  c.save();
  c.beginPath();
  c.rect(left, top, width, bottom - top);
  c.clip();
  c.strokeStyle = colour("hatch");
  c.lineWidth = devicePixelRatio;
  for (let x = left - (bottom - top); x < left + width; x += 8 * devicePixelRatio) {
    c.beginPath();
    c.moveTo(x, bottom);
    c.lineTo(x + bottom - top, top);
    c.stroke();
  }
  c.restore();
}

function future(u, curve) {
  if (!curve.length) return;
  const c = u.ctx, r = devicePixelRatio;
  c.save();
  c.beginPath();
  c.rect(u.bbox.left, u.bbox.top, u.bbox.width, u.bbox.height);
  c.clip();
  c.strokeStyle = MAIN;
  c.lineWidth = 3 * r;
  c.setLineDash([8 * r, 6 * r]);
  for (const key of ["low", "ph", "high"]) {
    c.globalAlpha = key === "ph" ? 1 : 0.5;
    c.beginPath();
    for (const p of curve) c.lineTo(u.valToPos(p.wash, "x", true), u.valToPos(p[key], "y", true));
    c.stroke();
  }
  c.restore();
}

function dots(u, counted) {
  const c = u.ctx, r = devicePixelRatio;
  c.save();
  c.strokeStyle = c.fillStyle = INK;
  c.lineWidth = 3 * r;
  for (const e of counted) {
    const x = u.valToPos(e.log.wash, "x", true), y = u.valToPos(e.ph, "y", true);
    const ends = e.interval.map((v) => u.valToPos(Math.min(14, Math.max(0, v)), "y", true));
    c.beginPath();
    c.moveTo(x, ends[0]);
    c.lineTo(x, ends[1]);
    for (const end of ends) {
      c.moveTo(x - 6 * r, end);
      c.lineTo(x + 6 * r, end);
    }
    c.stroke();
    c.beginPath();
    c.arc(x, y, 6 * r, 0, 7);
    if (e.status === "doubtful") {
      c.save();
      c.fillStyle = colour("paper"); // a ring: doubt is told by shape
      c.fill();
      c.restore();
      c.stroke();
    } else c.fill();
  }
  c.restore();
}
