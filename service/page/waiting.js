// What waits, as people see it: where it will stand in the log, and in a list of its own with ways to mend what was refused.
import { ask } from "./ask.js";
import { $, el } from "./dom.js";
import { number } from "./fields.js";
import * as queue from "./queue.js";
import { shownAt } from "./time.js";
import { decimal, t } from "./words.js";

const when = (item) => shownAt(item.at);

// The lines of a batch's log that are still to come, the newest first.
export const waitingLines = (batch) =>
  queue.waitingOf(batch).reverse().map((item) =>
    el(
      "li",
      { class: "waiting", "data-key": item.key },
      el("div", { "aria-hidden": "true" }, "…"),
      el("div", {}, el("p", { class: "value" }, item.words), el("p", { class: "meta" }, `${when(item)} · ${item.trouble ? t("refused: {why}", { why: item.trouble }) : t("waits on this phone, not in the log yet")}`)),
    ),
  );

// What is below the entries of the log stays as it is.
export function drawWaiting(batch) {
  for (const old of document.querySelectorAll("#timeline > .waiting")) old.remove();
  const lines = waitingLines(batch);
  $("timeline").prepend(...lines);
  if (lines.length) $("log").hidden = false;
}

// `here()`: the batch that is chosen; `name(batch)`: in words.
export function drawQueue(here, name) {
  const items = queue.waiting();
  $("queue").hidden = !items.length;
  $("queue-title").textContent = t("Waiting on this phone: {n}", { n: items.length });
  $("queue-list").replaceChildren(...items.map((item) => line(item, here, name)));
}

function line(item, here, name) {
  const act = (what, change) => el("button", { type: "button", onclick: async () => { await change(); queue.run(); } }, what);
  const elsewhere = item.trouble && item.batch !== null && !item.path.endsWith("/corrections") && here() !== null && queue.real(item.batch) !== here();
  return el(
    "li",
    {},
    el("p", {}, `${when(item)}, ${item.batch === null || item.makes ? "" : `${name(item.batch)}, `}${item.words}: `, item.trouble ? el("b", {}, item.trouble) : t("will be sent")),
    item.trouble && act(t("Send again"), () => queue.mend(item.key, {})),
    item.trouble && el("button", { type: "button", onclick: () => edit(item) }, t("Mend")),
    elsewhere && act(t("Send to this batch"), () => queue.mend(item.key, { batch: here(), body: item.body.cells_entry ? { ...item.body, cells_entry: null } : item.body })),
    item.trouble && item.body.cells_entry && act(t("Send without cell blank"), () => queue.mend(item.key, { body: { ...item.body, cells_entry: null } })),
    item.trouble && act(t("Throw away"), () => queue.drop(item.key)),
  );
}

// --- mending: every field of what was to be sent, by its name for people where one is known

const NAMES = {
  wash: t("Wash"), note: t("Note"), who: t("Who"), by: t("Who"), why: t("Why"), name: t("Name"), reason: t("Why"), zone: t("Zone"), path_mm: t("Depth, mm"), temperature_c: t("Sample, °C"),
  profile: t("Kind of strip"), rinse: t("Rinse water"), beside: t("A strip below it, in"), dipped_at: t("Dipped at"), flakes: t("Flakes?"), liquid: t("Liquid"), ammonia_excess: t("Ammonia?"),
  ammonia_ph: t("Drop's pH"), sample_ml: t("Sample, mL"), drops: t("Drops added"), withdraw: t("Withdraw"), cells_entry: t("Vials measured by"), blank_entry: t("Compared with entry"),
  ph: "pH", light: t("Light"), measured_mm: t("Length of the bar, mm"),
};
const FIXED = ["written_at", "snapped_at", "snapped_by", "kind", "to", "keep", "confirm", "undo", "closed", "pads", "roll", "replace", "picture"];

function leaves(body, path = []) {
  return Object.entries(body).flatMap(([name, value]) => {
    if (FIXED.includes(name) && !path.length) return [];
    if (value !== null && typeof value === "object" && !Array.isArray(value)) return leaves(value, [...path, name]);
    return [{ path: [...path, name], value }];
  });
}

const span = (ends) => t("{low} to {high}", { low: decimal(ends[0]), high: decimal(ends.at(-1)) });
const BETWEEN = t("{low} to {high}", { low: "", high: "" }).trim(); // "to"

function shown(value, { parts } = {}) {
  if (parts && Array.isArray(value)) return span(value.map((v) => +(v * parts).toPrecision(12)));
  if (Array.isArray(value)) return typeof value[0] === "number" ? span(value) : value.join(", ");
  return value === null || value === undefined ? "" : typeof value === "number" ? decimal(value) : String(value);
}

// What was typed, in the form of what it was; numbers and amounts as text are the service's to read.
function typed(text, before, form) {
  if (text === shown(before, form)) return before;
  if (!text.trim()) return null;
  if (typeof before === "boolean") return text === "true";
  if (form.parts) {
    const ends = text.split(new RegExp(`to|${BETWEEN}|–|(?<=\\d)-`)).map((end) => number(end, form.label));
    return [ends[0] / form.parts, ends.at(-1) / form.parts];
  }
  if (Array.isArray(before) && typeof before[0] === "string") return text.split(",").map((part) => part.trim()).filter(Boolean);
  if (typeof before === "number" && /^[+-]?\d+([.,]\d+)?$/.test(text.trim())) return Number(text.trim().replace(",", "."));
  return text.trim();
}

function edit(item) {
  const found = leaves(item.body);
  const form = ({ path }) => ({ label: NAMES[path.at(-1)] || path.at(-1).replaceAll("_", " "), ...((item.forms || {})[path.at(-1)] || {}) });
  const choices = (leaf) => (typeof leaf.value === "boolean" ? [["true", t("yes")], ["false", t("no")]] : form(leaf).choices || []);
  const fields = found.map((leaf, n) =>
    choices(leaf).length
      ? { name: `f${n}`, label: form(leaf).label, options: [...(leaf.value === null ? [["", "–"]] : []), ...choices(leaf)], value: shown(leaf.value) }
      : { name: `f${n}`, label: form(leaf).label, value: shown(leaf.value, form(leaf)), max: 2000 },
  );
  ask(t("Mend: {words}", item), fields, async (values) => {
    const body = structuredClone(item.body);
    found.forEach((leaf, n) => {
      const { path, value } = leaf;
      const into = path.slice(0, -1).reduce((inner, name) => inner[name], body);
      into[path.at(-1)] = typed(values[`f${n}`], value, form(leaf));
    });
    const words = item.makes ? t("New batch: {name}", body) : JSON.stringify(body) === JSON.stringify(item.body) || item.words.endsWith(t("(mended)")) ? item.words : `${item.words} ${t("(mended)")}`;
    await queue.mend(item.key, { body, words });
    queue.run();
  });
}
