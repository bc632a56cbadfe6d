// The calculators of the yield and of the stock vessel: their fields, how they are asked, and the answer in words.
import { el } from "./dom.js";
import { amount, MASS, number, range, VOLUME } from "./fields.js";
import { chlorideWeighed, figure, glued, list, lotsOf, warned, words } from "./plan.js";
import { sheet } from "./sheet.js";
import { warning } from "./stateword.js";
import { decimal, number as shown, t } from "./words.js";

sheet();

const parts = (text) => (text || "").split(";").map((part) => part.trim()).filter(Boolean);
const lots = (v, name) => parts(v[name]).map((one) => amount({ [name]: one, [`${name}_unit`]: v[`${name}_unit`] }, name));
const short = (grams) => (grams === 0 ? "0" : decimal(+grams.toPrecision(3)));
const span = ([low, value, high], unit) => `${short(value)} ${unit} (${t("{low} to {high}", { low: short(low), high: short(high) })} ${unit})`;
const percent = ([low, value, high]) => `${shown(100 * value, 1)} % (${t("{low} to {high}", { low: shown(100 * low, 1), high: shown(100 * high, 1) })} %)`;

const YIELD = {
  fields: [
    { name: "of", label: t("It starts from"), options: [["chloride_g", t("silver chloride")], ["metal_g", t("metal that holds silver")]], value: "chloride_g" },
    { name: "start", label: t("As weighed (several lots: 200; 212)"), units: MASS, required: true },
    { name: "moisture", label: t("Chloride: water in it, % (empty: not known)"), range: true },
    { name: "fineness", label: t("Metal: fineness ({one}, or {range})", { one: decimal("0.925"), range: decimal("0.90-0.93") }), value: decimal("0.925"), max: 20 },
    { name: "weighed_g", label: t("Silver weighed at the end (empty: not yet)"), units: MASS },
    { name: "scale_g", label: t("The scale may be off by, g"), mode: "decimal", value: decimal("0.1"), max: 8 },
    { name: "decant", label: t("Decants as litres:hours settled ({example})", { example: decimal("0.9:12; 0.9:6") }), max: 1000 },
    { name: "papers", label: t("Filter papers"), mode: "numeric", value: "1", max: 3 },
    { name: "glasses", label: t("Vessels"), mode: "numeric", value: "2", max: 3 },
    { name: "lye_wash_l", label: t("Water of each lye wash ({example})", { example: decimal("0.9; 0.9") }), units: VOLUME },
    { name: "alkalinity", label: t("That water's alkalinity, mmol/L (pure: 0)"), mode: "decimal", max: 6 },
  ],
  query(v) {
    const wet = v.of === "chloride_g" ? range(v, "moisture", 100) : null;
    return {
      [v.of]: lots(v, "start"),
      moisture: wet && `${+Math.min(...wet).toFixed(5)}-${+Math.max(...wet).toFixed(5)}`,
      fineness: v.fineness.trim() || null,
      weighed_g: amount(v, "weighed_g"),
      scale_g: v.scale_g.trim() ? `${number(v.scale_g, t("The scale"))} g` : null,
      decant: parts(v.decant),
      papers: number(v.papers, t("Filter papers")),
      glasses: number(v.glasses, t("Vessels")),
      lye_wash_l: lots(v, "lye_wash_l"),
      alkalinity_mmol_l: number(v.alkalinity, t("Alkalinity")),
    };
  },
  told(a) {
    return [
      words([[t("Silver expected"), span(a.expected_g, "g")], ...(a.yield ? [[t("Yield"), percent(a.yield)]] : [])]),
      el("p", { class: "next" }, glued(a.verdict)),
      list([...a.notes, ...a.tips].filter(Boolean)),
      el(
        "table",
        {},
        el("caption", {}, t("Where some of it may be")),
        el("thead", {}, el("tr", {}, [t("Where"), "g", t("between")].map((text) => el("th", { scope: "col" }, text)))),
        el("tbody", {}, [...a.losses.map((x) => [`${x.name}; ${x.where}${x.note ? ` (${x.note})` : ""}`, x.silver_g]), [t("together"), a.explained_g]].map(([name, [low, value, high]]) =>
          el("tr", {}, el("th", { scope: "row", class: "wide" }, name), el("td", {}, short(value)), el("td", {}, `${short(low)}–${short(high)}`)))),
      ),
      ...warned(a.cautions),
    ];
  },
  from(notes) {
    const of = (kind) => notes.filter((n) => n.kind === kind).reverse();
    const weights = of("weight");
    const chloride = weights.filter((n) => n.data.of === "chloride");
    const silver = weights.filter((n) => ["powder", "silver"].includes(n.data.of)).at(-1);
    const settled = of("decant").filter((n) => n.data.settled_h !== undefined && n.data.settled_h !== null);
    const found = {};
    if (chloride.length) {
      Object.assign(found, { of: "chloride_g", start: lotsOf(chloride).map((n) => figure(n.data.grams)).join("; "), start_unit: "g" });
      const wet = chloride.at(-1).data.moisture;
      if (wet) Object.assign(found, { moisture: decimal(+(100 * wet[0]).toFixed(3)), moisture_to: decimal(+(100 * wet[1]).toFixed(3)) });
    }
    if (silver) Object.assign(found, { weighed_g: figure(silver.data.grams), weighed_g_unit: "g" });
    if (settled.length) found.decant = settled.map((n) => `${figure(n.data.litres)}:${figure(n.data.settled_h)}`).join("; ");
    return found;
  },
};

const WASTE = {
  fields: [
    { name: "poured", label: t("What went in, as litres:pH ({example})", { example: decimal("2:1.5; 0.9:6") }), required: true, max: 1000 },
    { name: "contains", label: t("What is in it, with commas (silver, copper, salt, sugar; or none)"), max: 300 },
    { name: "ammonia", label: t("Ammonia went in"), type: "checkbox" },
    { name: "bottle", label: t("Your own bottles (soda lye: 2 mol/l; muriatic acid: 20 %, 1.10 g/ml)"), max: 300 },
  ],
  query: (v) => ({
    poured: parts(v.poured),
    contains: (v.contains || "").split(",").map((word) => word.trim()).filter(Boolean),
    ammonia: v.ammonia === "on",
    bottle: parts(v.bottle),
  }),
  told: (a) => [
    ...a.stock.first.map((text) => el("p", { role: "alert" }, el("span", { class: "verdict tone-stop" }, warning("danger")), ` ${text}`)),
    el("p", { class: "next" }, glued(`${short(a.stock.litres)} L. ${a.stock.sentence}`)),
    a.ways.length ? el("p", {}, el("b", {}, t("To neutralise, one of:"))) : el("p", {}, el("b", {}, a.stock.first.length ? t("No way to neutralise it is given: what stands above comes first.") : t("Nothing is added to neutralise it."))),
    list(a.ways.map((way) => way.sentence)),
    list(a.recover.slice(0, -1)),
    ...warned(a.cautions),
  ],
  from(notes) {
    const since = notes.slice(0, notes.findIndex((n) => n.kind === "emptied") >= 0 ? notes.findIndex((n) => n.kind === "emptied") : notes.length);
    const poured = since.filter((n) => n.kind === "poured").reverse();
    if (!poured.length) return {};
    return {
      poured: poured.map((n) => [n.data.litres, n.data.ph].filter((x) => x !== undefined && x !== null).map(figure).join(":")).join("; "),
      contains: [...new Set(poured.flatMap((n) => [...(n.data.metals || []), ...(n.data.contents || [])]))].join(", "),
    };
  },
};

const METAL = {
  fields: [
    { name: "chloride_g", label: t("Silver chloride, as weighed"), units: MASS, required: true },
    { name: "moisture", label: t("Water in it, % (empty: not known, 0 to 50; drained: often 20 to 50)"), range: true },
    { name: "metal", label: t("Metal"), options: [["zinc", t("zinc")], ["iron", t("iron")]], value: "zinc" },
    { name: "excess", label: t("Metal, times what is needed"), mode: "decimal", value: decimal("1.3"), max: 5 },
    { name: "purity", label: t("Of the metal, % pure"), mode: "decimal", value: "98", max: 6 },
    { name: "acid", label: t("Acid"), options: [["hydrochloric", t("hydrochloric (muriatic)")], ["sulfuric", t("sulfuric (battery acid)")]], value: "hydrochloric" },
    { name: "bottle", label: t("Your own acid (31 %, 1.16 g/ml; empty: as it is sold)"), max: 60 },
  ],
  query(v) {
    const wet = range(v, "moisture", 100);
    return {
      chloride_g: amount(v, "chloride_g"),
      moisture: wet && `${+Math.min(...wet).toFixed(5)}-${+Math.max(...wet).toFixed(5)}`,
      metal: v.metal,
      excess: number(v.excess, t("Metal")),
      purity: number(v.purity, t("Purity")),
      acid: v.acid,
      bottle: v.bottle.trim() || null,
      unit: v.chloride_g_unit,
    };
  },
  told: (a) => [words(a.said), ...warned(a.cautions)],
  from: chlorideWeighed,
};

const SILVER = {
  fields: [
    { name: "litres", label: t("Liquid in the stock vessel"), units: VOLUME, unit: "l", required: true },
    { name: "silver_mg_l", label: t("Silver dissolved in it, mg/L ({example})", { example: "50-200" }), required: true, max: 20 },
    { name: "by", label: t("What brings it down"), options: [["salt", t("table salt")], ["acid", t("hydrochloric acid")], ["copper", t("copper")], ["zinc", t("zinc")], ["iron", t("iron")]], value: "salt" },
    { name: "chloride_mol_l", label: t("Chloride in it already, mol/L"), mode: "decimal", value: "0", max: 6 },
    { name: "contains", label: t("What else is in it, with commas (nitrate, copper, sugar)"), max: 300 },
    { name: "ammonia", label: t("Ammonia went in"), type: "checkbox" },
    { name: "bottle", label: t("Your own acid (31 %, 1.16 g/ml; empty: as it is sold)"), max: 60 },
  ],
  query: (v) => ({
    litres: amount(v, "litres"),
    silver_mg_l: v.silver_mg_l.trim(),
    by: v.by,
    chloride_mol_l: number(v.chloride_mol_l, t("Chloride")),
    contains: (v.contains || "").split(",").map((word) => word.trim()).filter(Boolean),
    ammonia: v.ammonia === "on",
    bottle: v.bottle.trim() || null,
  }),
  told: (a) => [
    ...a.first.map((text) => el("p", { role: "alert" }, el("span", { class: "verdict tone-stop" }, warning("danger")), ` ${text}`)),
    words(a.said),
    list(a.notes),
    a.finished.length > 0 && el("p", {}, el("b", {}, t("To see the end:"))),
    list(a.finished),
    ...warned(a.cautions),
  ],
  from: () => ({}),
};

export const KINDS = { silver: SILVER, metal: METAL, yield: YIELD, waste: WASTE };
