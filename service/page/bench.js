// The batch as a job: its stage and gate on top, what to do next, and what is written down beside the photos.
import { call } from "./api.js";
import { ask } from "./ask.js";
import { $, el, store } from "./dom.js";
import { loadForms, writeDown } from "./notes.js";
import { chip, warning } from "./stateword.js";

export async function showBench(batch, done) {
  let now;
  await loadForms();
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
      ...(now.dangers || []).map((d) => el("p", { role: "alert" }, el("span", { class: "verdict tone-stop" }, warning("danger")), ` ${d}`)),
      el("p", { class: "next" }, now.next),
      el("p", {}, chip("gate", now.gate.state), ` ${now.gate.sentence}`),
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
        el("ul", { class: "reasons" }, now.cautions.map((c) => el("li", { class: "note" }, el("b", {}, warning("caution")), c))),
        now.can_go_wrong.length ? el("p", {}, "What can go wrong") : null,
        el("ul", { class: "plain" }, now.can_go_wrong.map((w) => el("li", {}, w))),
        el("ul", { class: "plain" }, now.worth_doing.map((w) => el("li", {}, `Worth doing: ${w}`))),
        now.stock && el("p", {}, el("b", {}, "Stock vessel, from this batch: "), now.stock.sentence),
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
