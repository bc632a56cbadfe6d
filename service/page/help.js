// Help on a screen: a question mark that opens two or three sentences and a drawing.
import { el, svg } from "./dom.js";
import { t } from "./words.js";

const rect = (x, y, width, height, cls = "line") => svg("rect", { x, y, width, height, class: cls });
const path = (d, cls = "line") => svg("path", { d, class: cls });
const text = (x, y, words) => svg("text", { x, y }, words);

// 160 by 80 each; the sentences say the same.
const DRAWN = {
  card: () => [rect(10, 5, 60, 70), rect(15, 10, 50, 24), rect(15, 38, 50, 24), ...[18, 54].flatMap((x) => [13, 26, 41, 54].map((y) => rect(x, y, 7, 6, "full"))), path("M15 69H65M15 66V72M65 66V72"), path("M84 58H152V72H84ZM90 58V64M100 58V64M110 58V64M120 58V64M130 58V64M140 58V64"), text(92, 48, "100 mm")],
  strip: () => [rect(5, 12, 150, 56), rect(20, 32, 110, 14), ...[26, 46, 66].map((x) => rect(x, 32, 13, 14, "full")), path("M14 20V58M14 58L10 52M14 58L18 52"), text(8, 78, "0 mm"), text(112, 78, "75 mm")],
  liquids: () => [path("M14 22V66Q14 72 20 72H50Q56 72 56 66V22M14 36H56"), rect(32, 6, 6, 48), rect(32, 40, 6, 6, "full"), svg("circle", { cx: 84, cy: 44, r: 18, class: "line" }), path("M84 44V30M84 44L94 50"), rect(112, 26, 42, 32), rect(118, 40, 30, 6, "full"), path("M126 26V20H140V26")],
  learn: () => [path("M14 6V66H154"), path("M18 56C50 56 60 20 90 22S130 14 152 12", "thick"), ...[[30, 54], [62, 38], [90, 24], [120, 20], [146, 11]].map(([x, y]) => svg("circle", { cx: x, cy: y, r: 4, class: "full" })), text(120, 78, "pH")],
  live: () => [rect(8, 6, 60, 68), rect(14, 14, 48, 34), path("M22 60H54", "thick"), path("M86 40L96 50L114 26", "thick"), path("M130 20V44", "thick"), svg("circle", { cx: 130, cy: 56, r: 4, class: "full" })],
  profiles: () => [rect(10, 10, 34, 22), rect(10, 46, 34, 22), path("M16 60L24 66L38 50", "thick"), path("M62 40H152M62 18H152M62 62H152", "dashes"), ...[[72, 38], [92, 44], [112, 34], [132, 42]].map(([x, y]) => svg("circle", { cx: x, cy: y, r: 4, class: "full" }))],
};
const SAID = {
  card: t("The card tells size and light in every photo. So it must have its true size, and all its colours. Measure the bar on the printed sheet with a ruler; photograph the card flat, with nothing on it, without a shadow or a mirrored lamp."),
  strip: t("A strip kind says where the pads lie, in mm from the end that is dipped. Lay one dry, unused strip in the card's lane: dipped end left, pads up, bare paper around it. Each edge can be pulled on the picture or typed below it; a ruler beside the strip decides."),
  liquids: t("Dip a new strip into a liquid of known pH, shake off the drop, lay it in the lane, photograph it within its time. Every liquid twice, spread over the strip's range: with the phone and in the light that you will read with, or in different light where several will. Wear goggles and gloves with acids, lye and limewater; never mix leftovers of acid and bleach or of acid and lye."),
  learn: t("The bench computer draws the curve of colour over pH through your photos, and tests it by leaving photos out. The verdict says how far such readings were off. More liquids where the curve is unsure make it better, at any time."),
  live: t("Hold the phone over the card and do what is said, one thing at a time. A dashed line means not yet; a whole line means hold still, and the photo is taken by itself. The live picture stays on this phone, only the photo is sent. “Take it as it is” takes it at once; whether it can be read, the bench computer says."),
  profiles: t("A profile is what was learned of one kind of strip. Old versions stay, for readings made with them. A control strip now and then, in a liquid of known pH, tells whether the current one still holds: beyond the outer lines, calibrate again."),
};

export function help(topic) {
  const drawing = svg("svg", { viewBox: "0 0 160 82", class: "drawing", "aria-hidden": "true" }, DRAWN[topic]());
  return el("details", { class: "help" }, el("summary", { "aria-label": t("Help") }, "?"), el("div", {}, drawing, el("p", {}, SAID[topic])));
}
