// A batch as one list, newest first: what is asked stands on top of it, and every entry is put right where it stands.
import { call } from "./api.js";
import { ask } from "./ask.js";
import { $, el, store } from "./dom.js";
import { correctFields, loadForms, nameOfKind } from "./notes.js";
import { send } from "./queue.js";
import { line } from "./show.js";
import { signed, warning } from "./stateword.js";
import { shownAt as when } from "./time.js";
import { drawWaiting } from "./waiting.js";
import { number, t, tn } from "./words.js";

const STEP = 30; // entries asked for at first, and more with each "Show older"
const SAYS = { opened: t("Batch started"), renamed: t("Renamed"), closed: t("Closed"), "opened again": t("Opened again"), details: t("Rinse water set"), "bench:move": t("Stage") };
const grams = (g) => number(g, g >= 100 ? 0 : g >= 10 ? 1 : 2);

const state = { batch: null, many: STEP, found: null, done: null, drawn: null, asked: 0 };

// What is known of it at once, whatever the Wi-Fi does.
export function recallTimeline(batch, done) {
  state.done = done;
  if (state.batch === batch.id) return drawWaiting(batch.id);
  Object.assign(state, { batch: batch.id, many: STEP, found: batch.waiting ? null : store.get(`timeline-${batch.id}`) });
  return draw(batch);
}

export async function showTimeline(batch, done, fresh = false) {
  recallTimeline(batch, done);
  if (!batch.waiting && (fresh || !state.found)) {
    try {
      await loadForms();
      const asked = ++state.asked;
      const found = await call(`/api/batches/${batch.id}/timeline?limit=${state.many}`);
      store.set(`timeline-${batch.id}`, found);
      if (state.batch !== batch.id || asked !== state.asked) return null; // another was chosen meanwhile, or more asked for
      state.found = found;
    } catch (problem) {
      if (problem.status === undefined) throw problem;
      if (state.batch !== batch.id) return null;
      state.found = state.found || store.get(`timeline-${batch.id}`);
    }
  }
  draw(batch);
  return state.found;
}

function draw(batch) {
  const found = state.found;
  $("log").hidden = !found;
  if (!found) {
    state.drawn = null;
    for (const id of ["sums", "timeline"]) $(id).replaceChildren();
    $("older").hidden = true;
    return drawWaiting(batch.id);
  }
  const open = batch.closed_at === null;
  // What has not changed stays as it is: what was opened in it, and the button under a finger.
  const now = JSON.stringify([found, open, batch.id, batch.zone, nameOfKind("weight")]);
  if (now === state.drawn) return drawWaiting(batch.id);
  state.drawn = now;
  $("sums").replaceChildren(...sums(found).filter(Boolean));
  $("timeline").replaceChildren(...found.entries.map((item) => shown(item, open)));
  drawWaiting(batch.id);
  const older = found.total - found.entries.length;
  $("older").hidden = older <= 0;
  $("older").textContent = t("Show older ({n} more)", { n: older });
  $("older").onclick = () => {
    state.many += STEP;
    return showTimeline(batch, state.done, true);
  };
  return null;
}

// Balance and forecast, above the list.
function sums(found) {
  const b = found.balance;
  const spread = (s) => `${grams(s[1])} g (${t("{low} to {high}", { low: grams(s[0]), high: grams(s[2]) })})`;
  return [
    found.waiting > 0 && el("p", { role: "status", class: "waits" }, tn("One entry waits for your answer and does not count until then.", "{n} entries wait for your answer and do not count until then.", found.waiting)),
    b && el("p", {}, el("b", {}, `${t("Silver expected")}: `), spread(b.expected_g), b.weighed_g ? `; ${t("weighed {mass}", { mass: spread(b.weighed_g) })}` : ""),
    el("p", {}, el("b", {}, `${t("Washes")}: `), found.forecast.message),
  ];
}

function shown(item, open) {
  const acts = el("div", { class: "row wrap" }, open || item.source === "reading" ? item.actions.map((what) => act(item, what)) : []);
  const tail = [...questions(item), history(item)].filter(Boolean);
  if (item.source === "reading") {
    const li = line(item.reading, {});
    li.querySelector(".text").append(...mark(item), ...tail, acts);
    li.classList.toggle("asked", item.standing === "asked");
    li.classList.toggle("old", item.standing === "withdrawn");
    return li;
  }
  const title = item.source === "batch" ? SAYS[item.kind] || item.kind : nameOfKind(item.kind);
  return el(
    "li",
    { id: `${item.source}-${item.number}`, class: `note ${item.standing === "withdrawn" ? "old" : item.standing}` },
    el(
      "div",
      { class: "text" },
      el("p", { class: "value" }, `${title}${item.words ? `: ${item.words}` : ""}`),
      el("p", { class: "meta" }, [when(item.at), item.source === "note" && t("note {n}", { n: item.number }), item.who].filter(Boolean).join(" · ")),
      item.dangers.map((d) => el("p", { role: "alert" }, el("span", { class: "verdict tone-stop" }, warning("danger")), ` ${d}`)),
      mark(item),
      tail,
      acts,
    ),
  );
}

const mark = (item) =>
  item.standing === "counts"
    ? []
    : [el("p", { class: "meta" }, el("b", {}, signed("entry", item.standing)))];

function asked(item, question) {
  return el(
    "div",
    { class: "question" },
    el("p", {}, el("b", {}, question.sentence)),
    el("div", { class: "row wrap" }, question.choices.map((choice) => el("button", { type: "button", onclick: () => answer(item, choice) }, choice.label))),
  );
}

// What is asked about an entry, with its answers; nothing where nothing is.
export const questions = (item) => (item ? item.asked.map((q) => asked(item, q)) : []);

const DONE = { corrected: t("Corrected"), withdrawn: t("Withdrawn"), "put back": t("Put back then"), answered: t("Answered"), "read again": t("Read again") };

function history(item) {
  if (!item.history.length) return null;
  const one = (c) => el("li", {}, el("b", {}, DONE[c.what] || c.what), ` ${when(c.at)}${c.who ? `, ${t("by {who}", c)}` : ""}${c.why ? `: ${c.why}` : ""}`, el("br"), t("Before: {what}", { what: c.before }));
  return el("details", {}, el("summary", {}, t("History ({n})", { n: item.history.length })), el("ul", { class: "plain" }, item.history.map(one)));
}

const LABEL = { correct: t("Correct"), withdraw: t("Withdraw"), put_back: t("Put back"), undo: t("Undo correction") };
const act = (item, what) => el("button", { type: "button", onclick: () => does(item, what) }, LABEL[what]);

// `words`: what is done to it, as it is shown while it waits.
async function post(item, body, words, forms = {}) {
  const path = item.source === "reading" ? `/api/readings/${item.number}/corrections` : `/api/batches/{batch}/notes/${item.number}/corrections`;
  if (body.by) store.set("who", body.by);
  await send({ what: "correction", path, batch: state.batch, body, words: `${words}: ${body.why}`, forms });
  await state.done();
}

const its = (item) => (item.source === "reading" ? t("entry {n}", { n: item.number }) : t("note {n}", { n: item.number }));

const who = () => ({ name: "by", label: t("Who (kept on this phone; may stay empty)"), value: store.get("who", ""), max: 100 });
const why = (value) => ({ name: "why", label: t("Why"), required: true, max: 500, value });

function answer(item, choice) {
  const fields = [who(), why(choice.label.split(" (")[0])];
  if (choice.do === "wash" && choice.wash == null) fields.unshift({ name: "wash", label: t("Wash"), required: true, mode: "numeric", max: 3 });
  return ask(choice.label, fields, ({ by, why: reason, wash }) => {
    const said = { by, why: reason };
    if (choice.do === "confirm") said.confirm = true;
    if (choice.do === "withdraw") said.withdraw = true;
    if (choice.do === "data") Object.assign(said, { data: choice.data, keep: true });
    if (choice.do === "wash") said.wash = choice.wash ?? Number(wash);
    return post(item, said, `${choice.label} (${its(item)})`);
  });
}

function does(item, what) {
  const plain = { withdraw: { withdraw: true }, put_back: { undo: true }, undo: { undo: true } }[what];
  if (plain) return ask(`${LABEL[what]}: ${item.words}`, [who(), why()], ({ by, why: reason }) => post(item, { by, why: reason, ...plain }, `${LABEL[what]}: ${its(item)}`));
  if (item.source === "note") return correctFields(item, [who(), why()], ({ by, why: reason }, data, forms) => post(item, { by, why: reason, data, keep: true }, `${LABEL.correct}: ${its(item)}`, forms));
  return correctReading(item.reading, state.done);
}

// A reading's wash number or word.
export function correctReading(entry, done) {
  state.done = done;
  const fields = [who(), why(), { name: "wash", label: t("Wash"), value: entry.log.wash, mode: "numeric", max: 3 }, { name: "note", label: t("Note"), value: entry.log.note, max: 2000 }, { name: "withdraw", label: t("Withdraw it: it counts no longer"), type: "checkbox" }];
  ask(t("Correct entry {n}", { n: entry.log.id }), fields, ({ by, why: reason, wash, note, withdraw }) => {
    const said = { by, why: reason, withdraw: withdraw === "on" };
    if (wash.trim() && Number(wash) !== entry.log.wash) said.wash = Number(wash);
    if (note !== entry.log.note) said.note = note;
    return post({ source: "reading", number: entry.log.id }, said, `${said.withdraw ? LABEL.withdraw : LABEL.correct}: ${t("entry {n}", { n: entry.log.id })}`);
  });
}
