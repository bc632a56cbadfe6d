// What is written down at the bench beside the photos: every kind of entry that the log takes.
import { call } from "./api.js";
import { ask } from "./ask.js";
import { store } from "./dom.js";
import { amount, MASS, number, range, TIME, VOLUME, WARMTH } from "./fields.js";

const LOOKS = [["", "didn't look"], ["clear", "clear"], ["hazy", "hazy"], ["cloudy", "cloudy"], ["milky", "milky"]];
const KINDS = {
  weight: {
    label: "A weight",
    fields: [
      { name: "of", label: "Of what", options: [["chloride", "chloride"], ["input", "metal at the start"], ["powder", "powder"], ["silver", "silver"]], value: "chloride" },
      { name: "grams", label: "Mass", units: MASS, required: true },
      { name: "scale_g", label: "The scale is right to ±", units: MASS, unit: "g" },
      { name: "moisture", label: "Water in wet chloride, % (drained: often 20 to 50)", range: true },
      { name: "fineness", label: "Fineness of the metal at the start, ‰ (as 925)", range: true },
    ],
    data: (v) => ({
      of: v.of,
      grams: amount(v, "grams"),
      scale_g: amount(v, "scale_g"),
      moisture: v.of === "chloride" ? range(v, "moisture", 100) : null,
      fineness: v.of === "input" ? range(v, "fineness", 1000) : null,
    }),
  },
  decant: {
    label: "A decant",
    fields: [
      { name: "name", label: "Which (as wash 3)", required: true },
      { name: "litres", label: "How much", units: VOLUME, required: true },
      { name: "settled_h", label: "It had settled for", units: TIME },
      { name: "looks", label: "It looked", options: LOOKS, value: "" },
      { name: "temp_c", label: "Temperature", units: WARMTH },
      { name: "liquid", label: "The liquid was", options: [["acid", "acid or plain water"], ["salt", "salt or lye"]], value: "acid" },
      { name: "chloride", label: "Chloride in it, mol/L, if known", mode: "decimal" },
      { name: "solid", label: "Over", options: [["chloride", "chloride"], ["metal", "metal or oxide"]], value: "chloride" },
    ],
    data: (v) => ({
      name: v.name,
      litres: amount(v, "litres"),
      settled_h: amount(v, "settled_h"),
      looks: v.looks || null,
      temp_c: amount(v, "temp_c"),
      acid: v.liquid === "salt" ? false : null,
      chloride: number(v.chloride, "Chloride"),
      solid: v.solid === "metal" ? "metal" : null,
    }),
  },
  used: {
    label: "A reagent used",
    fields: [
      { name: "what", label: "What", required: true },
      { name: "grams", label: "Mass", units: MASS },
      { name: "litres", label: "or volume", units: VOLUME },
    ],
    data: (v) => ({ what: v.what, grams: amount(v, "grams"), litres: amount(v, "litres") }),
  },
  vessel: {
    label: "The batch's vessel",
    fields: [
      { name: "retained_l", label: "Liquid that stays with the solid", units: VOLUME },
      { name: "papers", label: "Filter papers used", mode: "numeric" },
      { name: "glasses", label: "Glasses and beakers used", mode: "numeric" },
    ],
    data: (v) => ({ retained_l: amount(v, "retained_l"), papers: number(v.papers, "Papers"), glasses: number(v.glasses, "Glasses") }),
  },
  ammonia_test: {
    label: "A test with ammonia",
    fields: [
      { name: "ml", label: "Ammonia and liquid together", units: [["ml", "mL"], ["l", "L"]], required: true },
      { name: "mol_l", label: "Ammonia in it, mol/L", mode: "decimal", required: true },
      { name: "on_solid", label: "It touched the solid", type: "checkbox" },
    ],
    data: (v) => ({ ml: amount(v, "ml"), mol_l: number(v.mol_l, "Ammonia"), on_solid: v.on_solid === "on" }),
  },
  acid_rinse: {
    label: "A rinse with acid",
    fields: [
      { name: "acid_mol", label: "Hydrochloric acid in it, mol", mode: "decimal", required: true },
      { name: "oxide_silver_g", label: "Silver that was still oxide, at most", units: MASS, required: true },
    ],
    data: (v) => ({ acid_mol: number(v.acid_mol, "Acid"), oxide_silver_g: amount(v, "oxide_silver_g") }),
  },
  poured: {
    label: "Poured into the stock vessel",
    fields: [
      { name: "what", label: "What", required: true },
      { name: "litres", label: "How much", units: VOLUME, required: true },
      { name: "ph", label: "pH, if read", mode: "decimal" },
      { name: "interval", label: "and the reading's interval", range: true },
      { name: "mol", label: "or mol in it, if known", units: [["acid", "acid"], ["lye", "lye"]], unit: "acid" },
      { name: "metals", label: "Metals in it (as silver, copper)" },
      { name: "ammonia", label: "Ammonia in it", type: "checkbox" },
    ],
    data(v) {
      const metals = v.metals.split(",").map((m) => m.trim()).filter(Boolean);
      const mol = number(v.mol, "mol");
      return {
        what: v.what,
        litres: amount(v, "litres"),
        ph: number(v.ph, "pH"),
        interval: range(v, "interval"),
        mol: mol === null ? null : v.mol_unit === "lye" ? -mol : mol,
        metals: metals.length ? metals : null,
        ammonia: v.ammonia === "on" ? true : null,
      };
    },
  },
  mixed: {
    label: "The stock vessel's pH, stirred and read",
    fields: [
      { name: "ph", label: "pH", mode: "decimal", required: true },
      { name: "interval", label: "and the reading's interval", range: true },
      { name: "litres", label: "It holds (empty: what went in)", units: VOLUME },
    ],
    data: (v) => ({ ph: number(v.ph, "pH"), interval: range(v, "interval"), litres: amount(v, "litres") }),
  },
  emptied: {
    label: "The stock vessel was handed over",
    fields: [{ name: "what", label: "To whom, and how much", required: true }],
    data: (v) => ({ what: v.what }),
  },
  strike: {
    label: "Strike something out",
    fields: [
      { name: "note", label: "Which", options: [] },
      { name: "why", label: "Why", required: true, max: 500 },
      { name: "who", label: "Who", max: 100 },
    ],
    data(v) {
      store.set("who", v.who);
      return { note: number(v.note), why: v.why, who: v.who.trim() || null };
    },
  },
};

// Notes that still count, newest first: what was struck out, and what strikes out, is left away.
export async function notesInForce(batch) {
  const all = await call(`/api/batches/${batch.id}/notes`);
  const out = new Set(all.filter((n) => n.kind === "strike").map((n) => n.data.note));
  return all.filter((n) => KINDS[n.kind] && n.kind !== "strike" && !out.has(n.id)).reverse();
}

const inWords = (n) => `${KINDS[n.kind].label}: ${Object.values(n.data).flat().filter((v) => typeof v !== "boolean").join(", ")}`;

async function fieldsOf(kind, batch) {
  if (kind !== "strike") return KINDS[kind].fields;
  const found = await notesInForce(batch);
  if (!found.length) throw new Error("Nothing is written down yet.");
  const [note, why, who] = KINDS.strike.fields;
  return [{ ...note, options: found.map((n) => [String(n.id), inWords(n).slice(0, 80)]) }, why, { ...who, value: store.get("who", "") }];
}

export function writeDown(batch, done) {
  const options = Object.entries(KINDS).map(([value, { label }]) => [value, label]);
  ask("Write down", [{ name: "kind", label: "What is it?", options, value: "weight" }], async ({ kind }) => {
    const fields = await fieldsOf(kind, batch);
    // the next form opens when this one has closed
    setTimeout(() =>
      ask(KINDS[kind].label, fields, async (values) => {
        await call(`/api/batches/${batch.id}/notes`, "POST", { kind, data: KINDS[kind].data(values) });
        await done();
      }),
    );
  });
}
