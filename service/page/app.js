// The page: what is chosen, what is shown, and when it is asked for again.
import { call } from "./api.js";
import { showBench } from "./bench.js";
import { $, el, options, store } from "./dom.js";
import { newBatch, pairing, rename, rinseWater, story, toggleClosed, yourName } from "./manage.js";
import { calculators } from "./plan.js";
import { plot } from "./plot.js";
import * as queue from "./queue.js";
import { answer } from "./show.js";
import { askAgain, clockAndZone, showStrip, stripButtons, takeStrip } from "./strip.js";
import { correctReading, questions, showTimeline } from "./timeline.js";
import { showTint, takeTint, tintButtons } from "./tint.js";
import { loadWords } from "./words.js";

await loadWords();

const state = {
  about: store.get("about", { max_body: 0, kinds: { ph: true, tint: true, solid: true }, profiles: [], neutral: [6, 8], local: false }),
  batches: store.get("batches", []),
  batch: store.get("batch"),
  page: null,
  entries: [],
  whole: null, // the batch that `entries` holds all of
  proposed: "", // the wash number as last proposed
};

const chosen = () => state.batches.find((b) => b.id === state.batch);
const kind = () => document.querySelector("input[name=kind]:checked").value;

// --- what the service knows

function say(text) {
  $("link").hidden = !text;
  $("link").textContent = text || "";
}

function trouble(problem) {
  if (problem.status === 401) {
    $("join").hidden = false;
    say(null);
  } else if (problem.status === 0) say("No connection. Photos are kept on this phone and sent later.");
  else say(problem.message);
}

const nameOf = (page) => `${page.id} ${page.opened_at}`; // the time tells batches of different logs apart

// An entry never changes, so only new ones are asked for; a later one may correct it, and says so.
async function entriesOf(page) {
  const many = 100;
  const known = state.whole === nameOf(page) ? [...state.entries] : [];
  for (let more = null; !more || more.length === many; ) {
    const after = known.length ? known.at(-1).log.id : 0;
    more = await call(`/api/batches/${page.id}/readings?after=${after}&limit=${many}`);
    for (const entry of more) {
      const old = entry.log.corrects && known.find((e) => e.log.id === entry.log.corrects);
      if (old) old.log.corrected_by = entry.log.id;
      known.push(entry);
    }
  }
  return known;
}

async function refresh() {
  try {
    state.about = await call("/api/about");
    state.batches = await call("/api/batches");
    store.set("about", state.about);
    store.set("batches", state.batches);
    $("join").hidden = true;
    if (!chosen()) state.batch = (state.batches.find((b) => !b.closed_at) || state.batches[0] || {}).id ?? null;
    if (state.batch !== null) {
      const page = await call(`/api/batches/${state.batch}`);
      const entries = await entriesOf(page);
      Object.assign(state, { page, entries, whole: nameOf(page) });
      store.set(`log-${page.id}`, { page, entries: entries.slice(-60) });
    }
    say(null);
  } catch (problem) {
    if (problem.status === undefined) throw problem;
    const kept = store.get(`log-${state.batch}`);
    if (kept && (!state.page || state.page.id !== state.batch)) Object.assign(state, kept, { whole: null });
    trouble(problem);
  }
  show();
  if (chosen()) {
    await showBench(chosen(), refresh);
    await timeline(true);
  }
}

// The list, what is asked about the newest reading, and the wash number that it leads to.
async function timeline(fresh) {
  const found = await showTimeline(chosen(), refresh, fresh);
  if (!found) return;
  const entry = $("answer").dataset.entry;
  $("answer-asked")?.replaceChildren(...questions(found.entries.find((e) => e.source === "reading" && String(e.number) === entry)));
  const box = $("wash");
  if (document.activeElement === box || (box.value !== "" && box.value !== state.proposed)) return;
  box.value = state.proposed = String(found.next_wash);
}

// --- what is shown

function show() {
  const batch = chosen();
  options($("batch"), state.batches.map((b) => [b.id, b.name + (b.closed_at ? " (closed)" : "")]), state.batch);
  $("start").hidden = Boolean(batch) || !$("join").hidden;
  const open = Boolean(batch) && !batch.closed_at;
  for (const id of ["camera", "file"]) $(id).disabled = !open;
  $("camera-label").classList.toggle("off", !open);
  if (!batch || !state.page || state.page.id !== batch.id) {
    for (const id of ["stage", "forecast", "plot-section", "log", "manage", "answer", "batch-story"]) $(id).hidden = true;
    return;
  }
  $("manage").hidden = false;
  $("csv").href = `/api/batches/${batch.id}/export.csv`;
  $("report").href = `/api/batches/${batch.id}/report.pdf`;
  $("json").href = `/api/batches/${batch.id}/export.json`;
  $("close").textContent = batch.closed_at ? "Open again" : "Close";
  showStrip(state.page, state.about);
  const newest = [...state.entries].reverse();
  const act = { correct: (entry) => correctReading(entry, refresh) };
  story(state.page);
  const last = newest.find((e) => e.log.corrected_by === null && !e.log.withdrawn);
  $("answer").hidden = !last;
  if (last && $("answer").dataset.entry !== String(last.log.id)) {
    $("answer").replaceChildren(...answer(last, state.page.neutral, act).flat(3).filter(Boolean), el("div", { id: "answer-asked" }));
    $("answer").dataset.entry = last.log.id;
  }
  showForecast(state.page.forecast);
  $("plot-section").hidden = false; // before drawing: it takes its width from its box
  $("plot-section").hidden = plot($("plot"), state.entries, state.page.forecast, state.page.neutral) === 0;
  showTint(state.page, state.about, state.entries);
}

function showForecast(forecast) {
  $("forecast").hidden = !state.entries.some((e) => e.kind === "ph");
  const whole = forecast.whole;
  const figure = forecast.status === "cannot tell" ? "can't tell yet" : whole ? `${whole[0]} more` : forecast.status;
  const range = whole && whole[1] !== whole[2] ? ` (${whole[1]} to ${whole[2]})` : "";
  $("forecast-figure").textContent = forecast.status === "done" ? "done" : figure + range;
  $("forecast-text").textContent = forecast.message;
}

async function showQueue() {
  const waiting = await queue.all();
  $("queue").hidden = !waiting.length;
  $("queue-title").textContent = `Waiting on this phone: ${waiting.length}`;
  $("queue-list").replaceChildren(
    ...waiting.map((item) => {
      const name = (state.batches.find((b) => b.id === item.batch) || { name: `batch ${item.batch}` }).name;
      const wash = item.wash === null ? "" : `, wash ${item.wash}`;
      const act = (what, change) => el("button", { type: "button", onclick: async () => { await change(); await showQueue(); sender.run(); } }, what);
      return el(
        "li",
        {},
        el("p", {}, `${new Date(item.snapped_at).toLocaleTimeString()}, ${name}${wash}: `, item.trouble ? el("b", {}, item.trouble) : "will be sent"),
        item.trouble && act("Send to this batch", () => queue.again(item.key, { batch: state.batch, ...(item.batch === state.batch ? {} : { cells_entry: null }) })),
        item.trouble && item.cells_entry && act("Send without cell blank", () => queue.again(item.key, { cells_entry: null })),
        item.trouble && act("Throw away", () => queue.drop(item.key)),
      );
    }),
  );
}

// --- sending

const sender = new queue.Sender({
  progress(share, waiting) {
    $("progress").hidden = false;
    const bar = $("progress").querySelector("progress");
    if (share < 1) bar.value = 100 * share;
    else bar.removeAttribute("value"); // sent, being read
    $("progress-text").textContent = (share < 1 ? `sending ${Math.round(100 * share)} %` : "reading") + (waiting > 1 ? `, ${waiting} left` : "");
  },
  async sent() {
    state.proposed = $("wash").value; // it was used: the next one may take its place
    await refresh();
    $("answer").scrollIntoView({ block: "start" });
  },
  changed() {
    $("progress").hidden = true;
    showQueue();
  },
  link(problem) {
    if (problem) trouble(problem);
    else say(null);
  },
});

async function taken(input) {
  const [file] = input.files;
  input.value = ""; // the same photo may be chosen again
  if (!file || state.batch === null) return;
  const wash = $("wash").value.trim();
  const details = { batch: state.batch, kind: kind(), wash: /^\d+$/.test(wash) ? Number(wash) : null, note: $("note").value.trim(), who: store.get("who", ""), snapped_at: clockAndZone(new Date()) };
  if (details.kind === "ph") Object.assign(details, takeStrip());
  if (details.kind === "tint") Object.assign(details, takeTint());
  try {
    const fits = await queue.fitting(file, state.about.max_body - 65536);
    await queue.add(fits, details);
  } catch (problem) {
    say(`This phone could not keep the photo (${problem.name}). Free some space on it and take it again.`);
    return;
  }
  $("note").value = "";
  await showQueue();
  sender.run();
}

// --- the buttons

const drawTint = tintButtons();

function step(by) {
  const now = parseInt($("wash").value, 10);
  $("wash").value = Math.min(999, Math.max(0, (isNaN(now) ? 0 : now) + by));
  drawTint();
}

function choose(batch) {
  state.batch = Number(batch);
  store.set("batch", state.batch);
  delete $("answer").dataset.entry;
  $("wash").value = "";
  return refresh();
}

async function guarded(act) {
  try {
    await act();
  } catch (problem) {
    trouble(problem);
  }
}

$("camera").onclick = $("file").onclick = (event) => {
  if (kind() === "ph" && askAgain()) event.preventDefault();
};
$("camera").onchange = $("file").onchange = (event) => taken(event.target);
$("wash-less").onclick = () => step(-1);
$("wash-more").onclick = () => step(1);
$("batch").onchange = (event) => choose(event.target.value);
$("new-batch").onclick = () => newBatch((made) => choose(made.id));
$("rename").onclick = () => rename(chosen(), refresh);
$("water").onclick = () => rinseWater(state.page, state.entries, refresh);
$("close").onclick = () => guarded(() => toggleClosed(chosen(), refresh));
$("name").onclick = yourName;
for (const radio of document.querySelectorAll("input[name=kind]"))
  radio.onchange = () => {
    drawTint();
    $("strip-fields").hidden = kind() !== "ph";
    if (kind() !== "ph") $("strip-more").hidden = true;
  };
$("snap").onsubmit = (event) => event.preventDefault();
addEventListener("online", () => { refresh(); sender.run(); });
addEventListener("offline", () => trouble({ status: 0 }));
addEventListener("visibilitychange", () => document.visibilityState === "visible" && (refresh(), sender.run()));
let width = innerWidth;
addEventListener("resize", () => { if (innerWidth !== width) { width = innerWidth; show(); } });

// --- the start

async function join() {
  const token = location.hash.startsWith("#join=") ? location.hash.slice(6) : null;
  if (!token) return;
  history.replaceState(null, "", "/"); // the secret does not stay in the address bar
  await guarded(() => call("/api/join", "POST", { token }));
}

calculators(chosen);
// What looks over all batches comes when it is opened.
const again = () => {
  state.whole = null;
  delete $("answer").dataset.entry;
  return refresh();
};
for (const [id, file, start] of [["find", "./find.js", (m, box) => m.finder(box, choose)], ["compare", "./compare.js", (m, box) => m.comparer(box, () => state.batches)], ["phones", "./phones.js", (m, box) => m.phones(box, again)]])
  $(id).addEventListener("toggle", () => $(id).open && guarded(async () => start(await import(file).catch(() => Promise.reject({ status: 0 })), $(id))));
stripButtons(() => state.batch);
await join();
await refresh();
if (state.about.local) pairing();
await showQueue();
sender.run();
if ("serviceWorker" in navigator) navigator.serviceWorker.register("/sw.js").catch(() => {});
document.body.dataset.ready = "yes";
