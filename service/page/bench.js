// The batch as a job: its stage and gate on top, what to do next, and what is written down beside the photos.
import { call } from "./api.js";
import { $, ask, el, store } from "./dom.js";

const GATE = { open: "✓ Open", hold: "✕ Hold", "cannot tell": "? Can't tell" };
const CLASS = { open: "ok", hold: "refused", "cannot tell": "doubtful" };

export async function showBench(batch, done) {
  let now;
  try {
    now = await call(`/api/batches/${batch.id}/bench`);
    store.set(`bench-${batch.id}`, now);
  } catch {
    now = store.get(`bench-${batch.id}`);
  }
  $("stage").hidden = !now;
  if (!now) return;
  const at = now.stages.findIndex((s) => s.id === now.stage.id);
  const open = batch.closed_at === null;
  $("stage").replaceChildren(
    ...[
      el("p", { class: "meta" }, `Stage ${at + 1} of ${now.stages.length}`),
      el("h2", { id: "stage-title" }, now.stage.title),
      el("p", { class: "next" }, now.next),
      el("p", {}, el("span", { class: `verdict ${CLASS[now.gate.state]}` }, GATE[now.gate.state]), ` ${now.gate.sentence}`),
      open &&
        el(
          "div",
          { class: "row wrap" },
          now.next_stage && el("button", { type: "button", onclick: () => goOn(batch, now, done) }, `Go on: ${now.next_stage.title}`),
          el("button", { type: "button", onclick: () => writeDown(batch, done) }, "Write down"),
        ),
      el(
        "details",
        {},
        el("summary", {}, "How, and what to be careful of"),
        el("p", {}, now.stage.do),
        el("ul", { class: "reasons" }, now.cautions.map((c) => el("li", { class: "note" }, el("b", {}, "⚠ Caution"), c))),
        now.can_go_wrong.length ? el("p", {}, "What can go wrong") : null,
        el("ul", { class: "plain" }, now.can_go_wrong.map((w) => el("li", {}, w))),
        el("ul", { class: "plain" }, now.worth_doing.map((w) => el("li", {}, `Worth doing: ${w}`))),
        now.stock && el("p", {}, now.stock.sentence),
      ),
    ].filter(Boolean),
  );
}

function goOn(batch, now, done) {
  const send = async (said) => {
    await call(`/api/batches/${batch.id}/stage`, "POST", said);
    await done();
  };
  if (now.gate.state === "open") return ask(`Go on to: ${now.next_stage.title}`, [], () => send({}));
  return ask(
    `The gate does not say go on. ${now.gate.sentence}`,
    [
      { name: "reason", label: "Why go on all the same? The log keeps it.", required: true, max: 1000 },
      { name: "who", label: "Who", value: store.get("who", ""), required: true, max: 100 },
    ],
    (said) => {
      store.set("who", said.who);
      return send(said);
    },
  );
}

const number = (text) => (text.trim() ? Number(text.trim().replace(",", ".")) : null);
const KINDS = {
  weight: {
    label: "A weight",
    fields: [
      { name: "of", label: "Of what", options: [["chloride", "chloride"], ["input", "metal at the start"], ["powder", "powder"], ["silver", "silver"]], value: "chloride" },
      { name: "grams", label: "Grams", mode: "decimal", required: true },
      { name: "scale_g", label: "The scale is right to ± g", mode: "decimal" },
    ],
    data: (v) => ({ of: v.of, grams: number(v.grams), scale_g: number(v.scale_g) }),
  },
  decant: {
    label: "A decant",
    fields: [
      { name: "name", label: "Which", required: true },
      { name: "litres", label: "Litres", mode: "decimal", required: true },
      { name: "settled_h", label: "Hours settled", mode: "decimal" },
      { name: "temp_c", label: "Temperature, °C", mode: "decimal" },
    ],
    data: (v) => ({ name: v.name, litres: number(v.litres), settled_h: number(v.settled_h), temp_c: number(v.temp_c) }),
  },
  used: {
    label: "A reagent used",
    fields: [
      { name: "what", label: "What", required: true },
      { name: "grams", label: "Grams", mode: "decimal" },
      { name: "litres", label: "or litres", mode: "decimal" },
    ],
    data: (v) => ({ what: v.what, grams: number(v.grams), litres: number(v.litres) }),
  },
  poured: {
    label: "Poured into the stock vessel",
    fields: [
      { name: "what", label: "What", required: true },
      { name: "litres", label: "Litres", mode: "decimal", required: true },
      { name: "ph", label: "pH, if read", mode: "decimal" },
    ],
    data: (v) => ({ what: v.what, litres: number(v.litres), ph: number(v.ph) }),
  },
};

function writeDown(batch, done) {
  const options = Object.entries(KINDS).map(([value, { label }]) => [value, label]);
  ask("Write down", [{ name: "kind", label: "What is it?", options, value: "weight" }], ({ kind }) => {
    // the next form opens when this one has closed
    setTimeout(() =>
      ask(KINDS[kind].label, KINDS[kind].fields, async (values) => {
        await call(`/api/batches/${batch.id}/notes`, "POST", { kind, data: KINDS[kind].data(values) });
        await done();
      }),
    );
  });
}
