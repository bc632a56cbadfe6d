// A reading as people see it: the answer in big figures, and its line in the log.
import { el, svg } from "./dom.js";
import { shownBy } from "./tint.js";

const VERDICT = { ok: "✓ well read", doubtful: "! doubtful", refused: "✕ not read" };
const KIND = { ph: "pH", tint: "Copper tint", solid: "Solid", cells: "Pair of vials" };

const fixed = (value, digits) => (value === null || value === undefined ? "–" : value.toFixed(digits));
const percent = (value) => (value === null || value === undefined ? "–" : `${(100 * value).toFixed(1)} %`);
export const verdict = (entry) => el("span", { class: `verdict ${entry.status}` }, VERDICT[entry.status]);

// [figure, unit, range in words]
export function figures(entry) {
  if (entry.kind === "ph") {
    const range = entry.interval && `between ${fixed(entry.interval[0], 2)} and ${fixed(entry.interval[1], 2)} (95\u00a0%)`;
    return [fixed(entry.ph, 1), "pH", range];
  }
  if (entry.kind === "tint") {
    const range = entry.interval ? `${fixed(entry.interval[0], 0)} to ${fixed(entry.interval[1], 0)} mg/L (95\u00a0%)` : "";
    return [entry.decision || "–", "", [entry.mg_per_l !== null && `copper ${fixed(entry.mg_per_l, 0)} mg/L`, range].filter(Boolean).join(", ")];
  }
  if (entry.kind === "cells") return [shownBy(entry), "", "no copper test"];
  const pale = entry.pale_interval && `between ${percent(entry.pale_interval[0])} and ${percent(entry.pale_interval[1])} (95\u00a0%)`;
  return [percent(entry.pale_fraction), "still pale", pale];
}

// The scale carries no colour on purpose: place, ticks and words tell it to any eye.
export function scale(entry, neutral) {
  const x = (ph) => 14 + (Math.min(14, Math.max(0, ph)) / 14) * 332;
  const ticks = [0, 2, 4, 6, 7, 8, 10, 12, 14];
  const [low, high] = entry.interval;
  const words = `pH scale from 0 to 14: ${entry.ph.toFixed(1)}, between ${low.toFixed(2)} and ${high.toFixed(2)}; neutral from ${neutral[0]} to ${neutral[1]}`;
  return svg(
    "svg",
    { class: "scale", viewBox: "0 0 360 92", role: "img", "aria-label": words },
    svg("defs", {}, svg("pattern", { id: "stripes", width: 6, height: 6, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" }, svg("rect", { width: 2, height: 6, fill: "#777" }))),
    svg("rect", { x: x(neutral[0]), y: 24, width: x(neutral[1]) - x(neutral[0]), height: 34, fill: "url(#stripes)" }),
    svg("rect", { x: 14, y: 24, width: 332, height: 34, fill: "none", stroke: "#111", "stroke-width": 2 }),
    svg("rect", { x: x(low), y: 32, width: Math.max(3, x(high) - x(low)), height: 18, fill: "#0b3d91", rx: 3 }),
    svg("path", { d: `M${x(entry.ph) - 9} 8h18l-9 14z`, fill: "#111" }),
    svg("path", { d: `M${x(entry.ph)} 20v40`, stroke: "#111", "stroke-width": 3 }),
    ...ticks.map((t) => svg("path", { d: `M${x(t)} 58v6`, stroke: "#111", "stroke-width": 2 })),
    ...ticks.map((t) => svg("text", { x: x(t), y: 78, "text-anchor": "middle" }, String(t))),
    svg("text", { x: 14, y: 18 }, "acid"),
    svg("text", { x: 346, y: 18, "text-anchor": "end" }, "lye"),
    svg("text", { x: x((neutral[0] + neutral[1]) / 2), y: 91, "text-anchor": "middle", "font-size": "11" }, "neutral"),
  );
}

function swatches(entry) {
  const colours = entry.log.colours;
  if (!colours.length) return null;
  const lab = (l) => `L ${l[0].toFixed(0)}, a ${l[1].toFixed(0)}, b ${l[2].toFixed(0)}`;
  const one = (c, n) =>
    el(
      "figure",
      {},
      svg(
        "svg",
        { viewBox: "0 0 80 64", preserveAspectRatio: "none", role: "img", "aria-label": `pad ${n + 1}: seen ${lab(c.seen_lab)}${c.curve_lab ? `, curve ${lab(c.curve_lab)}` : ""}` },
        svg("rect", { width: 80, height: c.curve ? 32 : 64, fill: c.seen }),
        c.curve && svg("rect", { y: 32, width: 80, height: 32, fill: c.curve }),
      ),
      el("figcaption", {}, `Pad ${n + 1}`),
    );
  const words = colours[0].curve ? "Colours: above as seen, below as on the curve at this pH" : "Colours as seen";
  return [el("p", {}, words), el("div", { class: "swatches" }, colours.map(one))];
}

export function reasons(entry) {
  const heads = { refuse: "Not read", doubt: "Doubtful", note: "Note" };
  const caution = (r) => r.code.startsWith("caution_");
  const rank = (r) => ["refuse", "doubt"].indexOf(r.severity) + 1 || (caution(r) ? 3 : 4); // what matters most comes first
  const items = [...entry.reasons]
    .sort((a, b) => rank(a) - rank(b))
    .map((r) => el("li", { class: r.severity }, el("b", {}, caution(r) ? "⚠ Caution" : heads[r.severity]), r.message));
  const care = entry.log.cautions.map((c) => el("li", { class: "note" }, el("b", {}, "⚠ Caution"), c));
  const others = (entry.alternatives || []).map((a) =>
    el("li", { class: "doubt" }, el("b", {}, "Also possible"), `pH ${a.ph.toFixed(1)} (${Math.round(100 * a.weight)} % of the weight)`),
  );
  return el("ul", { class: "reasons" }, [...items, ...others, ...care]);
}

export function answer(entry, neutral, act) {
  const [figure, unit, range] = figures(entry);
  const refused = entry.status === "refused";
  const wash = entry.log.wash === null ? "" : `, wash ${entry.log.wash}`;
  return [
    el("h2", { id: "answer-title" }, `${KIND[entry.kind]}${wash}`),
    el("p", { class: `big ${refused || ["tint", "cells"].includes(entry.kind) ? "words" : ""}` }, refused ? "No value" : figure, unit && !refused ? el("small", {}, ` ${unit}`) : null),
    range && !refused ? el("p", { class: "range" }, range) : null,
    ...circumstances(entry).map((words) => el("p", {}, words)),
    el("p", {}, verdict(entry)),
    entry.kind === "ph" && entry.ph !== null ? scale(entry, neutral) : null,
    reasons(entry),
    swatches(entry),
    el("div", { class: "row wrap" }, links(entry, act)),
  ];
}

// When it was read, in what, and how it compares with the rinse water.
function circumstances(entry) {
  const said = [];
  const waited = entry.waited_s;
  if (waited !== undefined && waited !== null && waited >= 0) said.push(`Read ${Math.round(waited)} s after the dip`);
  const { temperature_c: warmth } = entry.log.said || {};
  if (warmth !== undefined) said.push(`Sample at ${warmth} °C`);
  if (entry.log.phone) said.push(`Photo by ${entry.log.phone}`);
  if (entry.comparison) said.push(besideIt(entry.comparison));
  if (entry.log.cells_entry) said.push(entry.cells === "none" ? `Vials not measured: entry ${entry.log.cells_entry} was left out` : `Vials measured by entry ${entry.log.cells_entry}`);
  const water = entry.blank;
  if (!water) return said.length ? [said.join(" · ")] : [];
  const compared =
    water.difference === null
      ? "Not compared with the rinse water: one of the two has no value"
      : `${Math.abs(water.difference).toFixed(2)} more ${water.difference < 0 ? "acid" : "alkaline"} than the rinse water's ${fixed(water.ph, 2)} ` +
        `(${water.difference_interval.map(signed).join(" to ")}); ` +
        `differs by more than ${water.tolerance}: ${Math.round(100 * water.probability_differs)} %`;
  return [said.join(" · "), compared].filter(Boolean);
}

const signed = (v) => `${v < 0 ? "−" : "+"}${Math.abs(v).toFixed(2)}`;

// How the sample's strip stands to the one below it in the same photo.
function besideIt(told) {
  if (told.delta_ph === null) return `Not compared with ${told.liquid} beside it: one of the two strips has no value`;
  return (
    `${Math.abs(told.delta_ph).toFixed(2)} more ${told.delta_ph < 0 ? "acid" : "alkaline"} than ${told.liquid} beside it ` +
    `(${told.delta_interval.map(signed).join(" to ")}); within ${told.tolerance} of it: ${Math.round(100 * told.same_probability)} %`
  );
}

async function share(entry, button) {
  try {
    await (await import("./share.js")).share(entry, button);
  } catch (problem) {
    button.after(el("p", { role: "alert" }, problem.message));
  }
}

function links(entry, act) {
  const at = `/api/readings/${entry.log.id}`;
  const newest = entry.log.corrected_by === null;
  return [
    el("a", { class: "button", href: `${at}/overlay`, target: "_blank", rel: "noopener" }, "How it was read"),
    el("a", { class: "button", href: `${at}/photo`, target: "_blank", rel: "noopener" }, "Photo"),
    el("button", { type: "button", onclick: (event) => share(entry, event.target) }, "Share"),
    newest && !entry.log.withdrawn && act.correct ? el("button", { type: "button", onclick: () => act.correct(entry) }, "Correct") : null,
  ];
}

export function line(entry, act) {
  const log = entry.log;
  const [figure, unit, range] = figures(entry);
  const when = new Date(log.snapped_at || log.received_at);
  const old = log.corrected_by !== null || log.withdrawn;
  const image = el("img", { src: `/api/readings/${log.id}/thumbnail`, alt: "", loading: "lazy", width: 72, height: 72 });
  image.addEventListener("error", () => image.remove(), { once: true });
  return el(
    "li",
    { id: `entry-${log.id}`, class: old ? "old" : "" },
    el("div", {}, image),
    el(
      "div",
      { class: "text" },
      el("p", { class: "value" }, entry.status === "refused" ? `${KIND[entry.kind]}: no value ` : `${unit === "pH" ? "pH " : ""}${figure} `, verdict(entry)),
      el("p", { class: "meta" }, [log.wash !== null && `wash ${log.wash}`, range, isNaN(when) ? "" : when.toLocaleString(), log.note, !log.corrects && log.made_by].filter(Boolean).join(" · ")),
      el("details", {}, el("summary", {}, `Details of entry ${log.id}`), circumstances(entry).map((words) => el("p", {}, words)), reasons(entry), swatches(entry), el("div", { class: "row wrap" }, links(entry, act))),
    ),
  );
}
