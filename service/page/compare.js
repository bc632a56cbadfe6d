// Batches beside each other: a table of figures, and pH by wash as a plot.
import { call } from "./api.js";
import { el } from "./dom.js";
import { sheet } from "./sheet.js";
import { t } from "./words.js";

const MOST = 8;
const COLOURS = ["#0072B2", "#D55E00", "#009E73", "#CC79A7", "#777777", "#E69F00", "#56B4E9", "#8a6d00"]; // Okabe and Ito, from memory
const SIGNS = ["●", "■", "▲", "◆", "○", "□", "△", "◇"]; // a batch is told by its sign too
const DASHES = [[], [8, 5], [3, 3], [10, 4, 2, 4]];

export function comparer(box, batches) {
  sheet();
  const old = box.querySelector("form");
  const ticked = old ? [...old.querySelectorAll("input:checked")].map((e) => e.value) : [];
  const form = el(
    "form",
    { "aria-label": t("Compare batches") },
    el("fieldset", { class: "ticks" }, el("legend", {}, t("Tick two to {most}", { most: MOST })), batches().slice(0, 200).map((b) => el("label", {}, el("input", { type: "checkbox", value: b.id, checked: ticked.includes(String(b.id)) }), b.closed_at ? t("{name} (closed)", b) : b.name))),
    el("button", { class: "main" }, t("Compare")),
  );
  if (old) old.replaceWith(form);
  else box.append(form, el("p", { class: "trouble", role: "alert" }), el("div", { class: "beside", role: "status" }));
  const [trouble, answer] = [box.querySelector(".trouble"), box.querySelector(".beside")];
  form.onsubmit = async (event) => {
    event.preventDefault();
    trouble.textContent = "";
    answer.replaceChildren();
    const asked = new URLSearchParams([...form.querySelectorAll("input:checked")].map((e) => ["batch", e.value]));
    try {
      if (asked.size < 2) throw new Error(t("Tick two batches or more."));
      const found = await call(`/api/compare?${asked}`);
      answer.append(...told(found, asked));
      plot(answer.querySelector(".drawn"), found.batches);
    } catch (problem) {
      trouble.textContent = problem.message;
    }
  };
}

function told(found, asked) {
  const [head, ...rows] = found.table;
  return [
    el("p", {}, el("b", {}, t("pH by wash, with 95 % intervals"))),
    el("ul", { class: "signs" }, found.batches.map((b, n) => el("li", {}, `${SIGNS[n]} ${b.number} ${b.points.length ? b.name : t("{name}: no pH of a wash was read", b)}`))),
    el("div", { class: "drawn", role: "img", "aria-label": t("pH against wash for each batch; the table below has their figures") }),
    el(
      "table",
      {},
      el("caption", {}, t("Value (range)")),
      el("thead", {}, el("tr", {}, head.map((text) => el("th", { scope: "col" }, text)))),
      el("tbody", {}, rows.map(([what, ...cells]) => el("tr", {}, el("th", { scope: "row" }, what), cells.map((text) => el("td", {}, text))))),
    ),
    el("p", {}, el("a", { class: "button", href: `/api/compare.csv?${asked}`, download: true }, "CSV")),
  ];
}

function plot(box, batches) {
  const points = batches.flatMap((b) => b.points);
  if (!points.length || typeof uPlot === "undefined") return;
  const washes = [...new Set(points.map((p) => p.wash))].sort((a, b) => a - b);
  const ink = getComputedStyle(box).color;
  const axis = { stroke: ink, font: "600 16px system-ui", labelFont: "600 16px system-ui", labelSize: 24, ticks: { stroke: ink } };
  const options = {
    width: box.clientWidth,
    height: 300,
    legend: { show: false },
    cursor: { show: false },
    scales: { x: { time: false, range: [washes[0] - 0.5, washes.at(-1) + 0.5] }, y: { range: [0, 14] } },
    axes: [{ ...axis, label: t("wash"), size: 38, incrs: [1, 2, 5, 10, 50], grid: { show: false } }, { ...axis, label: "pH", size: 38, incrs: [2], grid: { stroke: "#8884" } }],
    series: [{}, { paths: () => null, points: { show: false } }],
    hooks: { draw: [(u) => batches.forEach((b, n) => drawn(u, b.points, n, batches.length))] },
  };
  new uPlot(options, [washes, washes.map(() => null)], box);
}

function drawn(u, points, n, count) {
  const c = u.ctx, r = devicePixelRatio;
  const aside = (n - (count - 1) / 2) * 0.16; // beside each other where they would lie over each other
  const x = (p) => u.valToPos(p.wash + aside, "x", true), y = (ph) => u.valToPos(Math.min(14, Math.max(0, ph)), "y", true);
  c.save();
  c.strokeStyle = c.fillStyle = COLOURS[n];
  c.lineWidth = 2 * r;
  c.font = `${18 * r}px system-ui`;
  c.textAlign = "center";
  c.textBaseline = "middle";
  c.setLineDash(DASHES[n % 4].map((d) => d * r));
  for (const part of new Set(points.map((p) => p.part))) {
    c.beginPath();
    for (const p of points.filter((q) => q.part === part)) c.lineTo(x(p), y(p.ph));
    c.stroke();
  }
  c.setLineDash([]);
  for (const p of points) {
    c.beginPath();
    c.moveTo(x(p), y(p.low));
    c.lineTo(x(p), y(p.high));
    c.stroke();
    c.fillText(SIGNS[n], x(p), y(p.ph));
  }
  c.restore();
}
