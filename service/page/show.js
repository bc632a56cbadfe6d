// A reading as people see it: the answer in big figures, and its line in the log.
import { el, svg } from "./dom.js";
import { chip, heading as named, stateWord, warning } from "./stateword.js";
import { liquidWords } from "./liquids.js";
import { shownBy } from "./tint.js";
import { decimal, number, t } from "./words.js";

const KIND = { ph: "pH", tint: t("Copper tint"), solid: t("Solid"), cells: t("Pair of vials") };

const fixed = (value, digits) => (value === null || value === undefined ? "–" : number(value, digits));
const percent = (value) => (value === null || value === undefined ? "–" : `${number(100 * value, 1)} %`);
const between = (low, high) => t("between {low} and {high} (95 %)", { low, high });
const span = (interval, each) => t("{low} to {high}", { low: each(interval[0]), high: each(interval[1]) });
export const verdict = (entry) => chip("reading", entry.status);

// [figure, unit, range in words]
export function figures(entry) {
  if (entry.kind === "ph") {
    const range = entry.interval && between(fixed(entry.interval[0], 2), fixed(entry.interval[1], 2));
    return [fixed(entry.ph, 1), "pH", range];
  }
  if (entry.kind === "tint") {
    const range = entry.interval ? `${span(entry.interval, (v) => fixed(v, 0))} mg/L (95\u00a0%)` : "";
    return [entry.decision ? t(entry.decision) : "–", "", [entry.mg_per_l !== null && t("copper {amount} mg/L", { amount: fixed(entry.mg_per_l, 0) }), range].filter(Boolean).join(", ")];
  }
  if (entry.kind === "cells") return [shownBy(entry), "", t("no copper test")];
  const pale = entry.pale_interval && between(percent(entry.pale_interval[0]), percent(entry.pale_interval[1]));
  return [percent(entry.pale_fraction), t("still pale"), pale];
}

// The scale carries no colour on purpose: place, ticks and words tell it to any eye.
export function scale(entry, neutral) {
  const x = (ph) => 14 + (Math.min(14, Math.max(0, ph)) / 14) * 332;
  const ticks = [0, 2, 4, 6, 7, 8, 10, 12, 14];
  const [low, high] = entry.interval;
  const figured = { ph: fixed(entry.ph, 1), low: fixed(low, 2), high: fixed(high, 2), from: decimal(neutral[0]), to: decimal(neutral[1]) };
  const words = t("pH scale from 0 to 14: {ph}, between {low} and {high}; neutral from {from} to {to}", figured);
  return svg(
    "svg",
    { class: "scale", viewBox: "0 0 360 104", role: "img", "aria-label": words },
    svg("defs", {}, svg("pattern", { id: "stripes", width: 6, height: 6, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" }, svg("rect", { width: 2, height: 6, class: "hatching" }))),
    svg("rect", { x: x(neutral[0]), y: 24, width: x(neutral[1]) - x(neutral[0]), height: 34, fill: "url(#stripes)" }),
    svg("rect", { x: 14, y: 24, width: 332, height: 34, class: "frame", "stroke-width": 2 }),
    svg("rect", { x: x(low), y: 32, width: Math.max(3, x(high) - x(low)), height: 18, class: "span", rx: 3 }),
    svg("path", { d: `M${x(entry.ph) - 9} 8h18l-9 14z`, class: "pointer" }),
    svg("path", { d: `M${x(entry.ph)} 20v40`, class: "tick", "stroke-width": 3 }),
    ...ticks.map((t) => svg("path", { d: `M${x(t)} 58v6`, class: "tick", "stroke-width": 2 })),
    ...ticks.map((t) => svg("text", { x: x(t), y: 82, "text-anchor": "middle" }, String(t))),
    svg("text", { x: 14, y: 19 }, t("acid")),
    svg("text", { x: 346, y: 19, "text-anchor": "end" }, t("lye")),
    svg("text", { x: x((neutral[0] + neutral[1]) / 2), y: 101, "text-anchor": "middle" }, t("neutral")),
  );
}

export function swatches(entry) {
  const colours = entry.log.colours;
  if (!colours.length) return null;
  const lab = (l) => `L ${l[0].toFixed(0)}, a ${l[1].toFixed(0)}, b ${l[2].toFixed(0)}`;
  const one = (c, n) =>
    el(
      "figure",
      {},
      svg(
        "svg",
        { viewBox: "0 0 80 64", preserveAspectRatio: "none", role: "img", "aria-label": `${t("Pad {n}:", { n: n + 1 })} ${c.curve_lab ? t("seen {seen}; on the curve at this pH {curve}", { seen: lab(c.seen_lab), curve: lab(c.curve_lab) }) : t("seen {seen}", { seen: lab(c.seen_lab) })}` },
        svg("rect", { width: 80, height: c.curve ? 32 : 64, fill: c.seen }),
        c.curve && svg("rect", { y: 32, width: 80, height: 32, fill: c.curve }),
      ),
      el("figcaption", {}, t("Pad {n}", { n: n + 1 })),
    );
  const words = colours[0].curve ? t("Colours: above as seen, below as on the curve at this pH") : t("Colours as seen");
  return [el("p", {}, words), el("div", { class: "swatches" }, colours.map(one))];
}

export function reasons(entry) {
  const caution = (r) => r.code.startsWith("caution_");
  const rank = (r) => ["refuse", "doubt"].indexOf(r.severity) + 1 || (caution(r) ? 3 : 4); // what matters most comes first
  const items = [...entry.reasons]
    .sort((a, b) => rank(a) - rank(b))
    .map((r) => el("li", { class: r.severity }, el("b", {}, caution(r) ? warning("caution") : named("reason", r.severity)), r.message));
  const care = entry.log.cautions.map((c) => el("li", { class: "note" }, el("b", {}, warning("caution")), c));
  const others = (entry.alternatives || []).map((a) =>
    el("li", { class: "doubt" }, el("b", {}, t("Also possible")), t("pH {ph} ({percent} % of the weight)", { ph: fixed(a.ph, 1), percent: Math.round(100 * a.weight) })),
  );
  return el("ul", { class: "reasons" }, [...items, ...others, ...care]);
}

export const heading = (entry) => [KIND[entry.kind], entry.log.wash !== null && t("wash {n}", { n: entry.log.wash })].filter(Boolean).join(", ");

// Figure and unit in one line.
export function shownValue(entry) {
  const [figure, unit] = figures(entry);
  return unit === "pH" ? `pH ${figure}` : unit ? `${figure} ${unit}` : figure;
}

// The answer in a sentence, to be said aloud or shown across the screen.
export function sentence(entry) {
  const [, , range] = figures(entry);
  if (entry.status === "refused") return t("{what}: no value", { what: named("reading", "refused") });
  return [shownValue(entry), entry.status === "doubtful" && stateWord("reading", "doubtful").word, range].filter(Boolean).join(", ");
}

export function answer(entry, neutral, act) {
  const [figure, unit, range] = figures(entry);
  const refused = entry.status === "refused";
  return [
    el("h2", { id: "answer-title" }, heading(entry)),
    el("p", { class: `big ${refused || ["tint", "cells"].includes(entry.kind) ? "words" : ""}` }, refused ? t("No value") : figure, unit && !refused ? el("small", {}, ` ${unit}`) : null),
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
export function circumstances(entry) {
  const said = [];
  const waited = entry.waited_s;
  if (waited !== undefined && waited !== null && waited >= 0) said.push(t("Read {n} s after the dip", { n: Math.round(waited) }));
  const { temperature_c: warmth } = entry.log.said || {};
  if (warmth !== undefined) said.push(t("Sample at {warmth} °C", { warmth: decimal(warmth) }));
  if (entry.log.phone) said.push(t("Photo by {phone}", entry.log));
  if (entry.comparison) said.push(besideIt(entry.comparison));
  if (entry.log.cells_entry) {
    const which = { n: entry.log.cells_entry };
    said.push(entry.cells === "none" ? t("Vials not measured: entry {n} was left out", which) : t("Vials measured by entry {n}", which));
  };
  const water = entry.blank;
  if (!water) return said.length ? [said.join(" · ")] : [];
  const compared =
    water.difference === null
      ? t("Not compared with the rinse water: one of the two has no value")
      : `${more(water.difference, t("the rinse water's {ph}", { ph: fixed(water.ph, 2) }), water.difference_interval)}; ` +
        t("differs by more than {tolerance}: {percent} %", { tolerance: decimal(water.tolerance), percent: Math.round(100 * water.probability_differs) });
  return [said.join(" · "), compared].filter(Boolean);
}

const signed = (v) => `${v < 0 ? "−" : "+"}${fixed(Math.abs(v), 2)}`;

function more(by, than, interval) {
  const places = { by: fixed(Math.abs(by), 2), than };
  return `${by < 0 ? t("{by} more acid than {than}", places) : t("{by} more alkaline than {than}", places)} (${span(interval, signed)})`;
}

// How the sample's strip stands to the one below it in the same photo.
function besideIt(told) {
  const liquid = liquidWords(told.liquid);
  if (told.delta_ph === null) return t("Not compared with {liquid} beside it: one of the two strips has no value", { liquid });
  return (
    `${more(told.delta_ph, t("{liquid} beside it", { liquid }), told.delta_interval)}; ` +
    t("within {tolerance} of it: {percent} %", { tolerance: decimal(told.tolerance), percent: Math.round(100 * told.same_probability) })
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
    el("a", { class: "button", href: `#how-${entry.log.id}` }, t("How it was read")),
    el("a", { class: "button", href: `${at}/photo`, target: "_blank", rel: "noopener" }, t("Photo")),
    el("button", { type: "button", onclick: (event) => share(entry, event.target) }, t("Share")),
    newest && !entry.log.withdrawn && act.correct ? el("button", { type: "button", onclick: () => act.correct(entry) }, t("Correct")) : null,
  ];
}

export function line(entry, act) {
  const log = entry.log;
  const [figure, unit, range] = figures(entry);
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
      el("p", { class: "value" }, entry.status === "refused" ? `${t("{what}: no value", { what: KIND[entry.kind] })} ` : `${unit === "pH" ? "pH " : ""}${figure} `, verdict(entry)),
      el("p", { class: "meta" }, [log.wash !== null && t("wash {n}", { n: log.wash }), range, log.moment && `${log.moment.text}, ${log.moment.told}`, log.note, !log.corrects && log.made_by].filter(Boolean).join(" · ")),
      el("details", {}, el("summary", {}, t("Details of entry {n}", { n: log.id })), circumstances(entry).map((words) => el("p", {}, words)), reasons(entry), swatches(entry), el("div", { class: "row wrap" }, links(entry, act))),
    ),
  );
}
