// A batch as one list, newest first: what is asked stands on top of it, and every entry is put right where it stands.
import { call } from "./api.js";
import { ask } from "./ask.js";
import { $, el, store } from "./dom.js";
import { correctFields, loadForms, nameOfKind } from "./notes.js";
import { line } from "./show.js";

const STEP = 30; // entries asked for at first, and more with each "Show older"
const SAYS = { opened: "Batch started", renamed: "Renamed", closed: "Closed", "opened again": "Opened again", details: "Rinse water set", "bench:move": "Stage" };
const grams = (g) => (g >= 100 ? g.toFixed(0) : g.toFixed(g >= 10 ? 1 : 2));
const when = (at) => new Date(at).toLocaleString([], { dateStyle: "medium", timeStyle: "short" });
const key = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("");

const state = { batch: null, many: STEP, found: null, done: null };

export async function showTimeline(batch, done, fresh = false) {
  if (state.batch !== batch.id) Object.assign(state, { batch: batch.id, many: STEP, found: null });
  state.done = done;
  if (fresh || !state.found) {
    try {
      await loadForms();
      const found = await call(`/api/batches/${batch.id}/timeline?limit=${state.many}`);
      if (state.batch !== batch.id) return null; // another was chosen meanwhile
      state.found = found;
      store.set(`timeline-${batch.id}`, found);
    } catch (problem) {
      if (problem.status === undefined) throw problem;
      state.found = state.found || store.get(`timeline-${batch.id}`);
    }
  }
  draw(batch);
  return state.found;
}

function draw(batch) {
  const found = state.found;
  $("log").hidden = !found;
  if (!found) return;
  const open = batch.closed_at === null;
  $("sums").replaceChildren(...sums(found).filter(Boolean));
  $("timeline").replaceChildren(...found.entries.map((item) => shown(item, open)));
  const older = found.total - found.entries.length;
  $("older").hidden = older <= 0;
  $("older").textContent = `Show older (${older} more)`;
  $("older").onclick = () => {
    state.many += STEP;
    return showTimeline(batch, state.done, true);
  };
}

// Balance and forecast, above the list.
function sums(found) {
  const b = found.balance;
  const spread = (s) => `${grams(s[1])} g (${grams(s[0])} to ${grams(s[2])})`;
  return [
    found.waiting > 0 && el("p", { role: "status", class: "waits" }, found.waiting === 1 ? "One entry waits for your answer and does not count until then." : `${found.waiting} entries wait for your answer and do not count until then.`),
    b && el("p", {}, el("b", {}, "Silver expected: "), spread(b.expected_g), b.weighed_g ? `; weighed ${spread(b.weighed_g)}` : ""),
    el("p", {}, el("b", {}, "Washes: "), found.forecast.message),
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
      el("p", { class: "meta" }, [when(item.at), item.source === "note" && `note ${item.number}`, item.who].filter(Boolean).join(" · ")),
      item.dangers.map((d) => el("p", { role: "alert" }, el("span", { class: "verdict refused" }, "⚠ Danger"), ` ${d}`)),
      mark(item),
      tail,
      acts,
    ),
  );
}

const mark = (item) =>
  item.standing === "counts"
    ? []
    : [el("p", { class: "meta" }, el("b", {}, { asked: "? Does not count yet", withdrawn: "✕ Withdrawn: it counts no longer", unreadable: "! Damaged: can't be read" }[item.standing]))];

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

function history(item) {
  if (!item.history.length) return null;
  const one = (c) => el("li", {}, el("b", {}, c.what[0].toUpperCase() + c.what.slice(1)), ` ${when(c.at)}${c.who ? `, by ${c.who}` : ""}${c.why ? `: ${c.why}` : ""}`, el("br"), `Before: ${c.before}`);
  return el("details", {}, el("summary", {}, `History (${item.history.length})`), el("ul", { class: "plain" }, item.history.map(one)));
}

const LABEL = { correct: "Correct", withdraw: "Withdraw", put_back: "Put back", undo: "Undo correction" };
const act = (item, what) => el("button", { type: "button", onclick: () => does(item, what) }, LABEL[what]);

// One POST with one JSON body and one key: it may be sent again.
async function post(item, body) {
  const where = item.source === "reading" ? `/api/readings/${item.number}/corrections` : `/api/batches/${state.batch}/notes/${item.number}/corrections`;
  if (body.by) store.set("who", body.by);
  await call(where, "POST", body, key());
  await state.done();
}

const who = () => ({ name: "by", label: "Who (kept on this phone; may stay empty)", value: store.get("who", ""), max: 100 });
const why = (value) => ({ name: "why", label: "Why", required: true, max: 500, value });

function answer(item, choice) {
  const fields = [who(), why(choice.label.replace(/ \(silver.*/, ""))];
  if (choice.do === "wash" && choice.wash === undefined) fields.unshift({ name: "wash", label: "Wash", required: true, mode: "numeric", max: 3 });
  return ask(choice.label, fields, ({ by, why: reason, wash }) => {
    const said = { by, why: reason };
    if (choice.do === "confirm") said.confirm = true;
    if (choice.do === "withdraw") said.withdraw = true;
    if (choice.do === "data") Object.assign(said, { data: choice.data, keep: true });
    if (choice.do === "wash") said.wash = choice.wash ?? Number(wash);
    return post(item, said);
  });
}

function does(item, what) {
  const plain = { withdraw: { withdraw: true }, put_back: { undo: true }, undo: { undo: true } }[what];
  if (plain) return ask(`${LABEL[what]}: ${item.words}`, [who(), why()], ({ by, why: reason }) => post(item, { by, why: reason, ...plain }));
  if (item.source === "note") return correctFields(item, [who(), why()], ({ by, why: reason }, data) => post(item, { by, why: reason, data, keep: true }));
  return correctReading(item.reading, state.done);
}

// A reading's wash number or word.
export function correctReading(entry, done) {
  state.done = done;
  const fields = [who(), why(), { name: "wash", label: "Wash", value: entry.log.wash, mode: "numeric", max: 3 }, { name: "note", label: "Note", value: entry.log.note, max: 2000 }, { name: "withdraw", label: "Withdraw it: it counts no longer", type: "checkbox" }];
  ask(`Correct entry ${entry.log.id}`, fields, ({ by, why: reason, wash, note, withdraw }) => {
    const said = { by, why: reason, withdraw: withdraw === "on" };
    if (wash.trim() && Number(wash) !== entry.log.wash) said.wash = Number(wash);
    if (note !== entry.log.note) said.note = note;
    return post({ source: "reading", number: entry.log.id }, said);
  });
}
