// The batch as a job: its stage and gate on top, what to do next, and what is written down beside the photos.
import { call } from "./api.js";
import { ask } from "./ask.js";
import { $, el, store } from "./dom.js";
import { loadForms, writeDown } from "./notes.js";
import { send, waitingOf } from "./queue.js";
import { anotherProcedure, laterVersion, procedures } from "./procedure.js";
import { listReminders } from "./reminders.js";
import { chip, warning } from "./stateword.js";
import { clockAndZone } from "./strip.js";
import { t } from "./words.js";

// `still()`: whether it is the chosen one by now. What has not changed stays as it is: what was opened in it, the focus.
export async function showBench(batch, done, still) {
  let now;
  await loadForms();
  if (!store.get("procedures")) await procedures(); // which version there is by now
  if (!still()) return;
  if (batch.waiting) return showMade(batch, done);
  try {
    now = await call(`/api/batches/${batch.id}/bench`);
    store.set(`bench-${batch.id}`, now);
  } catch {
    now = store.get(`bench-${batch.id}`);
  }
  if (!still()) return;
  $("stage").hidden = !now;
  if (!now) return;
  const moving = waitingOf(batch.id, "stage").at(-1); // a second move before the first is made would go too far
  const at = now.stages.findIndex((s) => s.id === now.stage.id);
  const open = batch.closed_at === null;
  const later = laterVersion(now);
  const drawn = JSON.stringify([batch.id, batch.name, batch.zone, open, now, moving?.key, later?.version]);
  if ($("stage").drawn === drawn) return;
  Object.assign($("stage"), { drawn }).dataset.batch = batch.id;
  $("stage").replaceChildren(
    ...[
      el("p", { class: "meta" }, `${t("Batch {n}", { n: batch.id })} · ${t("Stage {n} of {all}", { n: at + 1, all: now.stages.length })}`),
      el("h2", { id: "stage-title" }, now.stage.title),
      ...(now.dangers || []).map((d) => el("p", { role: "alert" }, el("span", { class: "verdict tone-stop" }, warning("danger")), ` ${d}`)),
      listReminders(open ? now.reminders || [] : [], done),
      el("p", { class: "next" }, now.next),
      el("p", {}, chip("gate", now.gate.state), ` ${now.gate.sentence}`),
      (now.melts || []).some((m) => m.sentences.length) && el("ul", { id: "melts", class: "plain" }, now.melts.flatMap((m) => m.sentences).map((text) => el("li", { class: "meta" }, text))),
      now.portions && el("p", { id: "portions", class: "meta" }, now.portions.sentence),
      now.drying && el("p", { id: "drying", class: "meta" }, now.drying.sentence),
      open &&
        el(
          "div",
          { class: "row wrap" },
          moving ? el("p", { class: "note" }, t("{words}: waits on this phone", moving)) : now.next_stage && el("button", { type: "button", onclick: () => goOn(batch, now, done) }, t("Go on: {title}", now.next_stage)),
          !moving && now.past_optional && el("button", { type: "button", onclick: () => goOn(batch, { ...now, next_stage: now.past_optional }, done) }, t("Without it: {title}", now.past_optional)),
          el("button", { type: "button", onclick: () => writeDown(batch, done) }, t("Write down")),
        ),
      el(
        "details",
        {},
        el("summary", {}, t("How, and what to be careful of")),
        el("p", {}, now.stage.do),
        el("ul", { class: "reasons" }, now.cautions.map((c) => el("li", { class: "note" }, el("b", {}, warning("caution")), c))),
        now.can_go_wrong.length ? el("p", {}, t("What can go wrong")) : null,
        el("ul", { class: "plain" }, now.can_go_wrong.map((w) => el("li", {}, w))),
        el("ul", { class: "plain" }, now.worth_doing.map((w) => el("li", {}, t("Worth doing: {what}", { what: w })))),
        now.stock && el("p", {}, el("b", {}, t("Stock vessel, from this batch:"), " "), now.stock.sentence),
        el("p", { class: "meta" }, t("Procedure: {title}", { title: now.procedure })),
        open && later && el("p", { class: "note" }, t("This batch goes by version {before}; there is version {version} by now, with stages of its own for what was done by notes before. “Another procedure” moves the batch to it, with a reason.", { before: now.procedure_version, version: later.version })),
        open && el("div", { class: "row wrap" }, el("button", { type: "button", onclick: () => anotherProcedure(batch, now, done) }, t("Another procedure")), !moving && el("button", { type: "button", onclick: () => anotherStage(batch, now, done) }, t("Another stage"))),
      ),
    ].filter(Boolean),
  );
}

// A batch that was made here, and that the bench computer does not know of yet.
function showMade(batch, done) {
  $("stage").hidden = false;
  Object.assign($("stage"), { drawn: null }).dataset.batch = batch.id;
  $("stage").replaceChildren(
    el("h2", { id: "stage-title" }, batch.name),
    el("p", {}, t("This batch waits on this phone. What you enter goes with it; its stage is shown once the bench computer has it.")),
    el("div", { class: "row wrap" }, el("button", { type: "button", onclick: () => writeDown(batch, done) }, t("Write down"))),
  );
}

// Back, or past a stage: the log keeps why.
function anotherStage(batch, now, done) {
  const others = now.stages.filter((s) => s.id !== now.stage.id);
  const fields = [{ name: "to", label: t("Go on in"), options: others.map((s) => [s.id, s.title]), value: (now.next_stage || others[0]).id }, ...reasoned()];
  ask(t("Another stage"), fields, ({ to, ...said }) => {
    store.set("who", said.who);
    return move(batch, others.find((s) => s.id === to), said, done);
  });
}

const reasoned = () => [
  { name: "reason", label: t("Why? The log keeps it."), required: true, max: 1000 },
  { name: "who", label: t("Who"), value: store.get("who", ""), required: true, max: 100 },
];

async function move(batch, stage, said, done) {
  const body = { to: stage.id, reason: null, who: null, ...said, written_at: clockAndZone(new Date()) };
  await send({ what: "stage", path: "/api/batches/{batch}/stage", batch: batch.id, body, words: t("Go on: {title}", stage) });
  await done();
}

function goOn(batch, now, done) {
  if (now.gate.state === "open") return ask(t("Go on to: {title}", now.next_stage), [], () => move(batch, now.next_stage, {}, done));
  return ask(
    `${t("The gate does not say go on.")} ${now.gate.sentence}`,
    [
      { name: "reason", label: t("Why go on all the same? The log keeps it."), required: true, max: 1000 },
      { name: "who", label: t("Who"), value: store.get("who", ""), required: true, max: 100 },
    ],
    (said) => {
      store.set("who", said.who);
      return move(batch, now.next_stage, said, done);
    },
  );
}
