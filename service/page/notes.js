// What is written down at the bench beside the photos. The bench computer says what there is and how to ask for it.
import { call } from "./api.js";
import { ask } from "./ask.js";
import { store } from "./dom.js";
import { send } from "./queue.js";
import { clockAndZone } from "./strip.js";
import { amount, MASS, number, range, SIDE, SMALL, TIME, VOLUME, WARMTH } from "./fields.js";
import { decimal, language, t } from "./words.js";

const ARTICLE = { en: /^An? /, de: /^Eine?n? /, es: /^Una? / }[language];

const UNITS = { mass: MASS, volume: VOLUME, time: TIME, warmth: WARMTH, "small volume": SMALL, "acid or lye": SIDE };

// The kinds of notes with their fields, in the order in which they are offered. Asked for once, before anybody writes.
let known = [];
export async function loadForms() {
  if (known.length) return;
  try {
    known = await call("/api/note-forms");
    store.set("note-forms", known);
  } catch {
    known = store.get("note-forms") || [];
  }
}

// One field as fields.js draws it.
function drawn(f) {
  const plain = { name: f.name, label: f.label, required: f.required, value: f.value ?? undefined, max: f.longest ?? undefined, vessel: f.vessel, batch: ["from_batch", "into_batch"].includes(f.name), only: f.only_if };
  if (f.options.length) return { ...plain, options: f.options };
  if (f.form === "flag") return { ...plain, type: "checkbox" };
  if (f.form === "range") return { ...plain, range: true };
  if (f.units) return { ...plain, units: UNITS[f.units], unit: f.unit };
  if (f.form === "number") return { ...plain, mode: f.whole ? "numeric" : "decimal" };
  return plain;
}

// What a note says in this field by the form's values; null where nothing was said.
function filled(f, values) {
  const given = values[f.name] ?? "";
  if (f.only_if && values[f.only_if[0]] !== f.only_if[1]) return null;
  if (f.options.length) {
    if (f.omit && given === f.value) return null;
    return f.form === "flag" ? given === "true" : f.form === "number" ? Number(given) : given;
  }
  if (f.form === "flag") return given === "on" ? true : f.unticked ? false : null;
  if (f.form === "range") return range(values, f.name, f.parts);
  if (f.form === "words") {
    const parts = given.split(",").map((part) => part.trim()).filter(Boolean);
    return parts.length ? parts : null;
  }
  if (f.units === "acid or lye") {
    const found = number(given, f.name);
    return found !== null && values[`${f.name}_unit`] === "lye" ? -found : found;
  }
  if (f.units) return amount(values, f.name);
  return f.form === "number" ? number(given, f.label.split(",")[0]) : given.trim() || null;
}

// Notes that still count, newest first.
export async function notesInForce(batch) {
  let notes = [];
  if (!batch.waiting)
    try {
      const { entries } = await call(`/api/batches/${batch.id}/timeline?limit=1000`);
      notes = entries.filter((e) => e.source === "note" && e.standing !== "withdrawn" && !["move", "procedure"].includes(e.kind));
      store.set(`notes-${batch.id}`, notes);
    } catch (problem) {
      if (problem.status !== 0) throw problem;
      notes = store.get(`notes-${batch.id}`, []);
    }
  return notes;
}

export const nameOfKind = (kind) => (known.find((k) => k.kind === kind) || { label: { move: t("Stage"), procedure: t("Procedure") }[kind] || kind }).label.replace(ARTICLE, "").replace(/^./, (first) => first.toUpperCase());

// How the fields of a form are asked for once more, where what was typed has to be mended.
const forMending = (fields) => Object.fromEntries(fields.map(({ name, label, options: choices, form: shape, parts }) => [name, { label, choices, parts: shape === "range" ? parts : null }]));

// The form of a note's kind filled with what it says; `more` fields come first. `act(values, data, forms)`.
export function correctFields(item, more, act) {
  const form = known.find((k) => k.kind === item.kind);
  const said = item.data;
  const fields = form.fields.map((f) => {
    const value = said[f.name];
    const d = drawn(f);
    if (value === undefined || value === null) return { ...d, value: f.omit ? f.value : f.options.length ? d.value : undefined };
    if (f.form === "range") return { ...d, from: decimal(+(value[0] * f.parts).toPrecision(12)), to: decimal(+(value[1] * f.parts).toPrecision(12)) };
    if (f.units === "acid or lye") return { ...d, value: decimal(Math.abs(value)), unit: value < 0 ? "lye" : "acid" };
    if (f.units) return { ...d, value: decimal(value), unit: UNITS[f.units][0][0] };
    if (f.form === "words") return { ...d, value: value.join(", ") };
    return { ...d, value: f.form === "number" && !f.options.length ? decimal(value) : String(value), checked: value === true };
  });
  ask(t("Correct note {n}", { n: item.number }), [...more, ...fields], (values) => act(values, Object.fromEntries(form.fields.map((f) => [f.name, filled(f, values)])), forMending(form.fields)));
}

const inWords = (label, n) => `${label}: ${Object.values(n.data).flat().filter((v) => typeof v !== "boolean").join(", ")}`;

// The form of a kind; those that are about another note ask for one of the notes that there are.
async function fieldsOf(form, batch) {
  if (form.kind !== "strike" && form.kind !== "made_safe") return form.fields;
  const found = (await notesInForce(batch)).filter((n) => form.kind === "strike" || ["poured", "mixed", "used", "ammonia_test"].includes(n.kind));
  if (!found.length) throw new Error(t("Nothing is written down yet."));
  const label = Object.fromEntries(known.map((k) => [k.kind, k.label]));
  const options = found.map((n) => [String(n.number), inWords(label[n.kind] ?? n.kind, n).slice(0, 80)]);
  return form.fields.map((f) => (f.name === "note" ? { ...f, options } : f.name === "who" ? { ...f, value: store.get("who", "") } : f));
}

const WHO = () => ({ name: "who", label: t("Who (kept on this phone; may stay empty)"), value: store.get("who", ""), max: 100 });

// What was saved is shown where it stands, with all that can be done to it.
function saved(made) {
  const li = document.getElementById(`note-${made.id}`) || document.getElementById(`note-${made.data.note}`);
  if (!li) return;
  for (const old of document.querySelectorAll("#timeline .saved")) old.remove();
  const text = document.createElement("p");
  text.className = "saved";
  text.setAttribute("role", "status");
  text.textContent = made.asked ? `✓ ${t("Saved. It waits for your answer:")}` : `✓ ${t("Saved")}`;
  li.querySelector(".text").prepend(text);
  li.scrollIntoView({ block: "center" });
}

export function writeDown(batch, done) {
  const options = known.map(({ kind, label }) => [kind, label]);
  ask(t("Write down"), [{ name: "kind", label: t("What is it?"), options, value: "weight" }], async ({ kind }) => {
    const form = known.find((k) => k.kind === kind);
    const fields = await fieldsOf(form, batch);
    // the next form opens when this one has closed
    setTimeout(() =>
      ask(form.label, [...fields.map(drawn), ...(fields.some((f) => f.name === "who") ? [] : [WHO()])], async (values) => {
        const data = Object.fromEntries(fields.map((f) => [f.name, filled(f, values)]));
        if (data.who) store.set("who", data.who);
        const who = (values.who ?? "").trim();
        store.set("who", who);
        const { answer } = await send({
          what: "note",
          path: "/api/batches/{batch}/notes",
          batch: batch.id,
          body: { kind, data, who: who || null, keep: true, written_at: clockAndZone(new Date()) },
          words: inWords(nameOfKind(kind), { data: Object.fromEntries(Object.entries(data).filter(([, v]) => v !== null)) }),
          forms: forMending(fields),
        });
        await done();
        if (answer) saved(answer);
      }),
    );
  });
}
