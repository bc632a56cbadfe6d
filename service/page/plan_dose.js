// The calculators of dosing without a dry weight (by volume, by the metal dissolved, by portions), and of the melt.
import { el } from "./dom.js";
import { amount, MASS, number, range, SMALL, VOLUME as VOLUMES, WARMTH } from "./fields.js";
import { figure, list, lotsOf, warned, words } from "./plan.js";
import { sheet } from "./sheet.js";
import { decimal, t } from "./words.js";

sheet();

const BY = { name: "by", label: t("It is turned to metal by"), options: [["lye", t("lye and sugar")], ["zinc", t("zinc")], ["iron", t("iron")]], value: "lye" };
const SCALE = { name: "scale_g", label: t("The scale may be off by, g"), mode: "decimal", value: decimal("0.1"), max: 8 };
const scale = (v) => (v.scale_g.trim() ? `${number(v.scale_g, t("The scale"))} g` : null);
const ends = (v, name, parts) => {
  const found = range(v, name, parts);
  return found && `${+Math.min(...found).toFixed(5)}-${+Math.max(...found).toFixed(5)}`;
};
const told = (a) => [words(a.said), list(a.rests_on), ...warned(a.cautions)];

const VOLUME = {
  fields: [
    { name: "water_g", label: t("The vessel, filled to a mark with clean water"), units: MASS, unit: "g", required: true },
    { name: "sludge_g", label: t("The same with the sludge, to the same mark"), units: MASS, unit: "g", required: true },
    { name: "empty_g", label: t("The vessel empty and dry (may stay empty)"), units: MASS, unit: "g" },
    { name: "temp_c", label: t("Temperature of both"), units: WARMTH, value: "20", unit: "degC" },
    { name: "liquid", label: t("Density of the liquid in it, g/mL (empty: rinse water)"), range: true },
    { name: "dirt", label: t("Of the solid by volume, % dirt (empty: 0 to 2)"), range: true },
    { name: "mark_ml", label: t("The mark is met to ±"), units: SMALL, value: "1", unit: "ml" },
    SCALE,
    BY,
  ],
  query: (v) => ({
    water_g: amount(v, "water_g"),
    sludge_g: amount(v, "sludge_g"),
    empty_g: amount(v, "empty_g"),
    temp_c: amount(v, "temp_c")?.replace("degC", "°C").replace("degF", "°F"),
    liquid: ends(v, "liquid", 1),
    dirt: ends(v, "dirt", 100),
    mark_ml: amount(v, "mark_ml"),
    scale_g: scale(v),
    by: v.by,
    unit: v.water_g_unit === "kg" ? "g" : v.water_g_unit,
  }),
  told,
  from: () => ({}),
};

const EXPECTED = {
  fields: [
    { name: "metal_g", label: t("The metal that was dissolved"), units: MASS, required: true },
    { name: "fineness", label: t("Metal: fineness ({one}, or {range})", { one: decimal("0.925"), range: decimal("0.90-0.93") }), value: decimal("0.925"), max: 20 },
    { name: "through", label: t("Of its silver came through to the chloride, % (empty: 90 to 100)"), range: true },
    SCALE,
    BY,
  ],
  query: (v) => ({ metal_g: amount(v, "metal_g"), fineness: v.fineness.trim() || null, through: ends(v, "through", 100), scale_g: scale(v), by: v.by, unit: v.metal_g_unit }),
  told,
  from(notes) {
    const lots = lotsOf(notes.filter((n) => n.kind === "weight" && n.data.of === "input").reverse());
    if (!lots.length) return {};
    const fine = lots.at(-1).data.fineness;
    return { metal_g: figure(lots.reduce((sum, n) => sum + n.data.grams, 0)), metal_g_unit: "g", ...(fine ? { fineness: fine.map((x) => decimal(x)).join("-") } : {}) };
  },
};

const PORTIONS = {
  fields: [
    { name: "portion", label: t("Portions in order, as grams:pale share ({example}); grams alone without a picture after it", { example: decimal("0:95 %; 20:60-68 %; 20:31-40 %") }), required: true, max: 1000 },
    { name: "until", label: t("It is enough at, % pale"), mode: "decimal", value: "1", max: 6 },
  ],
  query: (v) => ({ portion: v.portion.split(";").map((one) => one.trim()).filter(Boolean), until: `${number(v.until, t("It is enough at, % pale")) ?? 1} %` }),
  told: (a) => [el("p", { class: "next" }, a.portions.sentence), words(a.said.slice(0, 1)), list(a.rests_on), ...warned(a.cautions)],
  from: () => ({}),
};

const MELT = {
  fields: [
    { name: "powder_g", label: t("Powder into the crucible"), units: MASS },
    { name: "bar", label: t("Bars: mass, mass:fineness declared, or mass/hanging in water ({example})", { example: decimal("195.2; 80.1:995 ‰; 61.3/55.4") }), required: true, max: 1000 },
    { name: "temp_c", label: t("Temperature of that water"), units: WARMTH, value: "20", unit: "degC" },
    { name: "other", label: t("What else is in it, most likely"), options: [["copper", t("copper")], ["zinc", t("zinc")], ["tin", t("tin")], ["iron", t("iron")]], value: "copper" },
    { name: "flux_g", label: t("Flux"), units: MASS },
    { name: "slag_g", label: t("Slag that came off"), units: MASS },
    { name: "crucible_before_g", label: t("The crucible before, empty"), units: MASS },
    { name: "crucible_after_g", label: t("The crucible after"), units: MASS },
    { ...SCALE, value: decimal("0.01") },
  ],
  query: (v) => ({
    powder_g: amount(v, "powder_g"),
    bar: v.bar.split(";").map((one) => one.trim()).filter(Boolean),
    temp_c: amount(v, "temp_c")?.replace("degC", "°C").replace("degF", "°F"),
    other: v.other,
    flux_g: amount(v, "flux_g"),
    slag_g: amount(v, "slag_g"),
    crucible_before_g: amount(v, "crucible_before_g"),
    crucible_after_g: amount(v, "crucible_after_g"),
    scale_g: scale(v),
  }),
  told: (a) => [list(a.melt.sentences), ...warned(a.cautions)],
  from(notes) {
    const melt = notes.find((n) => n.kind === "melt");
    // Newest first: the bars since the newest melt, of each name the last one written down.
    const since = melt ? notes.slice(0, notes.indexOf(melt)) : notes;
    const named = new Map(since.filter((n) => n.kind === "bar").reverse().map((n) => [n.data.name.trim().toLowerCase(), n]));
    const bars = [...named.values()];
    const one = ({ data: d }) => {
      const fine = d.assay ? ":" + d.assay.map((x) => decimal(x)).join("-") : d.in_water_g ? "/" + figure(d.in_water_g) : "";
      return figure(d.grams) + fine;
    };
    const masses = melt ? ["powder_g", "flux_g", "slag_g", "crucible_before_g", "crucible_after_g"].filter((name) => melt.data[name] != null) : [];
    return { ...Object.fromEntries(masses.flatMap((name) => [[name, figure(melt.data[name])], [name + "_unit", "g"]])), ...(bars.length ? { bar: bars.map(one).join("; ") } : {}) };
  },
};

const ACID = {
  fields: [
    { name: "litres", label: t("Dilute acid to make"), units: VOLUMES, required: true },
    { name: "mol_l", label: t("How strong, mol/L (a rinse: {example})", { example: decimal("0.1") }), mode: "decimal", value: decimal("0.1"), max: 6 },
    { name: "bottle", label: t("Your own acid (31 %, 1.16 g/ml; empty: as it is sold)"), max: 60 },
  ],
  query: (v) => ({ litres: amount(v, "litres"), mol_l: number(v.mol_l, t("How strong")), bottle: v.bottle.trim() || null }),
  told: (a) => [words(a.said), ...warned(a.cautions)],
  from: () => ({}),
};

export const KINDS = { acid: ACID, volume: VOLUME, expected: EXPECTED, portions: PORTIONS, melt: MELT };
