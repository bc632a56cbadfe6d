// The calculators: lye and sugar for a mass of chloride, and washes. The bench computer works it out; nothing is logged.
import { call } from "./api.js";
import { $, el, store } from "./dom.js";
import { amount, field, MASS, number, range, SIDE, VOLUME, WARMTH } from "./fields.js";
import { notesInForce } from "./notes.js";
import { warning } from "./stateword.js";
import { decimal, language, t } from "./words.js";

export const glued = (text) => text.replace(/(\d) %/g, "$1\u00a0%"); // a figure and its % stay on one line
export const list = (items, kind) => el("ul", { class: kind === "note" ? "reasons" : "plain" }, items.map((text) => el("li", { class: kind }, glued(text))));
export const warned = (cautions) => [el("p", {}, el("b", {}, warning("caution"))), list(cautions, "note")];
export const words = (rows) => el("dl", { class: "said" }, rows.flatMap(([what, how]) => [what ? el("dt", {}, what) : null, el("dd", {}, how)]));

// Weights of one thing, the oldest first, that count: the first one and those that add to it, else the last alone.
export const lotsOf = (weights) => {
  const added = weights.filter((n, place) => place === 0 || n.data.again === "adds");
  return weights.length < 2 || weights.at(-1).data.again === "adds" ? added : [weights.at(-1)];
};
// Three digits behind the point could be thousands: the bench computer would ask. A nought behind them says which.
export const figure = (value) => decimal(String(+value.toPrecision(6)).replace(/^(\d{1,2}\.\d{3})$/, "$10"));

const LYE = {
  fields: [
    { name: "chloride_g", label: t("Silver chloride, as weighed"), units: MASS, required: true },
    { name: "moisture", label: t("Water in it, % (empty: not known, 0 to 50; drained: often 20 to 50)"), range: true },
    { name: "temp_c", label: t("Temperature of the lye"), units: WARMTH, value: "80", unit: "degC" },
    { name: "portions", label: t("Portions of lye, decanted between"), mode: "numeric", value: "1", max: 3 },
    { name: "sugar", label: t("Sugar"), options: [["glucose", t("glucose")], ["glucose monohydrate", t("glucose with its water (monohydrate)")], ["inverted table sugar", t("table sugar, inverted")], ["table sugar", t("table sugar as it is")], ["none", t("none, lye alone")]], value: "glucose" },
    { name: "lye", label: t("Your own lye (30 %, 1.33 g/ml; empty: flakes of 97 %)"), max: 60 },
    { name: "sugar_purity", label: t("Of the sugar, % pure"), mode: "decimal", value: "100", max: 6 },
    { name: "lye_excess", label: t("Lye, times what is needed"), mode: "decimal", value: decimal("1.5"), max: 5 },
    { name: "sugar_excess", label: t("Sugar, times what is needed"), mode: "decimal", value: decimal("1.2"), max: 5 },
  ],
  query(v) {
    const wet = range(v, "moisture", 100);
    const warm = number(v.temp_c, t("Temperature"));
    return {
      chloride_g: amount(v, "chloride_g"),
      moisture_low: wet ? Math.min(...wet) : null,
      moisture_high: wet ? Math.max(...wet) : null,
      temp_c: v.temp_c_unit === "degF" && warm !== null ? Math.round((50 * (warm - 32)) / 9) / 10 : warm,
      portions: number(v.portions, t("Portions")),
      sugar: v.sugar,
      lye: v.lye.trim() || null,
      sugar_purity: number(v.sugar_purity, t("Of the sugar, % pure")),
      lye_excess: number(v.lye_excess, t("Lye")),
      sugar_excess: number(v.sugar_excess, t("Sugar")),
      unit: v.chloride_g_unit,
    };
  },
  told: (a) => [words(a.said), list(a.left), el("p", {}, a.proof), ...warned(a.cautions)],
  from: chlorideWeighed,
};

// The chloride as it was weighed last for the batch.
export function chlorideWeighed(notes) {
  const weighed = notes.find((n) => n.kind === "weight" && n.data.of === "chloride");
  if (!weighed) return {};
  const [low, high] = (weighed.data.moisture || ["", ""]).map((share) => (share === "" ? "" : decimal(+(100 * share).toFixed(3))));
  return { chloride_g: figure(weighed.data.grams), chloride_g_unit: "g", moisture: low, moisture_to: high };
}

const WASH = {
  fields: [
    { name: "retained_l", label: t("Liquid that stays with the solid"), units: VOLUME, unit: "ml", required: true },
    { name: "added_l", label: t("Water added in each wash"), units: VOLUME, unit: "ml" },
    { name: "volume_l", label: t("or all the water there is"), units: VOLUME, unit: "l" },
    { name: "water", label: t("The water"), options: [["air", t("pure, stood in air")], ["pure", t("pure and fresh")], ["tap", t("tap water")]], value: "air" },
    { name: "alkalinity", label: t("Tap water: alkalinity, mmol/L"), mode: "decimal", max: 6 },
    { name: "start", label: t("In the first liquid, mol/L"), units: SIDE, value: "1", unit: "acid", max: 6 },
  ],
  query(v) {
    const start = number(v.start, t("First liquid")) ?? 1;
    return {
      retained_l: amount(v, "retained_l"),
      added_l: amount(v, "added_l"),
      volume_l: amount(v, "volume_l"),
      water: v.water,
      alkalinity_mmol_l: v.water === "tap" ? number(v.alkalinity, t("Alkalinity")) : null,
      acid_mol_l: v.start_unit === "lye" ? -start : start,
    };
  },
  told: (a) => [...a.said.map((text, i) => el("p", { class: i ? null : "next" }, glued(text))), a.splits && splitTable(a), ...warned(a.cautions)],
  from(notes) {
    const held = notes.find((n) => n.kind === "vessel" && n.data.retained_l);
    return held ? { retained_l: figure(1000 * held.data.retained_l), retained_l_unit: "ml" } : {};
  },
};

function splitTable(a) {
  const head = [t("Washes"), t("L each"), t("leave one part in"), t("if it mixes badly")];
  const parts = (share) => {
    const n = Number((1 / share).toPrecision(2));
    return n < 1e6 ? n.toLocaleString(language) : n < 1e9 ? t("{n} million", { n: decimal(+(n / 1e6).toPrecision(2)) }) : t("over 1000 million");
  };
  const rows = a.splits.filter((s) => s.washes <= a.best + 2).map((s) => {
    const best = s.washes === a.best;
    const cells = [best ? `✓ ${s.washes}` : s.washes, decimal(+s.portion_l.toPrecision(3)), parts(s.share_left), parts(s.share_left_high)];
    return el("tr", { class: best && "best" }, cells.map((text, i) => el(i ? "td" : "th", { scope: i ? null : "row" }, String(text))));
  });
  return el("table", {}, el("caption", {}, t("All the water split up; ✓ is enough")), el("thead", {}, el("tr", {}, head.map((text) => el("th", { scope: "col" }, text)))), el("tbody", {}, rows));
}

function calculator(id, kind, chosen) {
  const box = $(`plan-${id}`);
  const answer = el("div", { class: "worked", role: "status" });
  const trouble = el("p", { class: "trouble", role: "alert" });
  const form = el("form", { "aria-label": box.querySelector("summary").textContent }, kind.fields.map(field), el("button", { class: "main" }, t("Work it out")));
  const all = () => [...form.elements].filter((e) => e.name);
  form.onsubmit = async (event) => {
    event.preventDefault();
    trouble.textContent = "";
    try {
      const said = Object.entries(kind.query(Object.fromEntries(new FormData(form)))).filter(([, value]) => value !== null);
      const asked = said.flatMap(([name, value]) => [value].flat().map((one) => [name, one])); // a list is asked one by one
      const found = await call(`/api/plan/${id}?${new URLSearchParams(asked)}`);
      answer.replaceChildren(...kind.told(found).filter(Boolean));
      store.set(`plan-${id}`, Object.fromEntries(all().map((e) => [e.name, e.value])));
      answer.scrollIntoView({ block: "start" });
    } catch (problem) {
      answer.replaceChildren(); // an older answer must not stand below what was asked now
      trouble.textContent = problem.message;
    }
  };
  form.oninput = () => answer.replaceChildren();
  const fill = (known) => {
    for (const e of all()) if (known[e.name] !== undefined && e.type !== "checkbox") e.value = known[e.name];
  };
  box.append(form, trouble, answer);
  const opened = async () => {
    if (!box.open || form.dataset.filled) return;
    form.dataset.filled = "yes";
    fill(store.get(`plan-${id}`, {}));
    const batch = chosen();
    if (!batch) return;
    try {
      const known = kind.from(await notesInForce(batch)); // what was weighed for this batch goes before what was asked last
      if (!answer.firstChild) fill(known);
    } catch {
      // without a connection the fields stay as they are
    }
  };
  box.addEventListener("toggle", opened);
  return opened();
}

// Its fields and words come when somebody opens it.
function later(id, chosen, fields = () => import("./plan_more.js")) {
  const box = $(`plan-${id}`);
  const load = async () => {
    if (!box.open || box.dataset.loaded) return;
    box.dataset.loaded = "yes";
    try {
      const { KINDS } = await fields();
      await calculator(id, KINDS[id], chosen);
    } catch {
      delete box.dataset.loaded; // without a connection: the next time that it is opened
    }
  };
  box.addEventListener("toggle", load);
}

export function calculators(chosen) {
  calculator("lye", LYE, chosen);
  calculator("wash", WASH, chosen);
  for (const id of ["volume", "expected", "portions", "melt", "acid"]) later(id, chosen, () => import("./plan_dose.js"));
  later("metal", chosen);
  later("yield", chosen);
  later("silver", chosen);
  later("waste", chosen);
}
