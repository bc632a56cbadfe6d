// What is written down at the bench beside the photos. The bench computer says what there is and how to ask for it.
import { call } from "./api.js";
import { ask } from "./ask.js";
import { store } from "./dom.js";
import { send } from "./queue.js";
import { clockAndZone } from "./strip.js";
import { amount, MASS, number, range, SIDE, SMALL, TIME, VOLUME, WARMTH } from "./fields.js";

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
  const plain = { name: f.name, label: f.label, required: f.required, value: f.value ?? undefined, max: f.longest ?? undefined };
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

// Notes that still count, newest first: what was struck out, and what strikes out, is left away.
export async function notesInForce(batch) {
  let all = [];
  if (!batch.waiting)
    try {
      all = await call(`/api/batches/${batch.id}/notes`);
      store.set(`notes-${batch.id}`, all);
    } catch (problem) {
      if (problem.status !== 0) throw problem;
      all = store.get(`notes-${batch.id}`, []);
    }
  const out = new Set(all.filter((n) => n.kind === "strike").map((n) => n.data.note));
  const inner = ["strike", "move", "procedure"]; // withdrawals, and what the stages write themselves
  return all.filter((n) => !inner.includes(n.kind) && !out.has(n.id)).reverse();
}

const inWords = (label, n) => `${label}: ${Object.values(n.data).flat().filter((v) => typeof v !== "boolean").join(", ")}`;

// The form of a kind; those that are about another note ask for one of the notes that there are.
async function fieldsOf(form, batch) {
  if (form.kind !== "strike" && form.kind !== "made_safe") return form.fields;
  const found = (await notesInForce(batch)).filter((n) => form.kind === "strike" || ["poured", "mixed", "used", "ammonia_test"].includes(n.kind));
  if (!found.length) throw new Error("Nothing is written down yet.");
  const label = Object.fromEntries(known.map((k) => [k.kind, k.label]));
  const options = found.map((n) => [String(n.id), inWords(label[n.kind] ?? n.kind, n).slice(0, 80)]);
  return form.fields.map((f) => (f.name === "note" ? { ...f, options } : f.name === "who" ? { ...f, value: store.get("who", "") } : f));
}

export function writeDown(batch, done) {
  const options = known.map(({ kind, label }) => [kind, label]);
  ask("Write down", [{ name: "kind", label: "What is it?", options, value: "weight" }], async ({ kind }) => {
    const form = known.find((k) => k.kind === kind);
    const fields = await fieldsOf(form, batch);
    // the next form opens when this one has closed
    setTimeout(() =>
      ask(form.label, fields.map(drawn), async (values) => {
        const data = Object.fromEntries(fields.map((f) => [f.name, filled(f, values)]));
        if (data.who) store.set("who", data.who);
        await send({
          what: "note",
          path: "/api/batches/{batch}/notes",
          batch: batch.id,
          body: { kind, data, written_at: clockAndZone(new Date()) },
          words: inWords(form.label, { data: Object.fromEntries(Object.entries(data).filter(([, v]) => v !== null)) }),
          forms: Object.fromEntries(fields.map(({ name, label, options: choices, form: shape, parts }) => [name, { label, choices, parts: shape === "range" ? parts : null }])),
        });
        await done();
      }),
    );
  });
}
