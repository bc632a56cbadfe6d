// The page: what is chosen, what is shown, and when it is asked for again.
import { apart, callFirst } from "./apart.js";
import { call, unanswered } from "./api.js";
import { OLDER, listBatches, olderChoice, oneBatch, showOlder } from "./batches.js";
import { showBench } from "./bench.js";
import { $, el, options, store } from "./dom.js";
import { newBatch, pairing, rename, rinseWater, story, toggleClosed, yourName, zoneAsked } from "./manage.js";
import { calculators } from "./plan.js";
import { place } from "./place.js";
import { photoTime } from "./photo_time.js";
import { plot } from "./plot.js";
import { procedures } from "./procedure.js";
import * as queue from "./queue.js";
import { askReminders, withDue } from "./reminders.js";
import { answer, sentence } from "./show.js";
import { say as aloud, signal, signalButtons, unlock } from "./signals.js";
import { nameStates, stateWord } from "./stateword.js";
import { askAgain, clockAndZone, showStrip, stripButtons, takeStrip, untilRead } from "./strip.js";
import { showZone } from "./time.js";
import { correctReading, questions, recallTimeline, showTimeline } from "./timeline.js";
import { showTint, takeTint, tintButtons } from "./tint.js";
import { keepTyped, mine } from "./typed.js";
import { drawQueue, drawWaiting } from "./waiting.js";
import { choose as speak, language, languages, t } from "./words.js";

const state = {
  about: store.get("about", { max_body: 0, kinds: { ph: true, tint: true, solid: true }, profiles: [], neutral: [6, 8], local: false }),
  batches: store.get("batches", []),
  batch: mine.get("batch"),
  page: null,
  entries: [],
  whole: null, // the batch that `entries` holds all of
  proposed: mine.get("proposed", ""), // the wash number as last proposed, or as a photo was taken with: the next one may take its place
};
const KIND_WORDS = { ph: "pH", tint: t("copper tint"), solid: t("solid"), cells: t("pair of vials") };

let asked = null; // the shipped procedures, once
// Those that wait to be made on this phone, too, the newest first.
const batches = () => [...queue.newBatches(), ...state.batches];
const chosen = () => batches().find((b) => b.id === state.batch);
const whose = (b) => (b.bench && !state.about.bench ? `${b.name} · ${b.bench}` : b.name); // who sees all is told
const kind = () => document.querySelector("input[name=kind]:checked").value;

// --- what the service knows

function say(text) {
  $("link").hidden = !text;
  $("link").textContent = text || "";
}

// Said once what is asked for just now is there: its end takes away what stood here.
async function sayLast(text) {
  await refresh();
  say(text);
}

function trouble(problem) {
  if (problem.status === 401) {
    $("join").hidden = false;
    say(null);
  } else if (problem.status === 0) say(t("No connection. What you enter is kept on this phone and sent later."));
  else say(problem.message);
}

const nameOf = (page) => `${page.id} ${page.opened_at} ${page.zone}`; // the time tells logs apart; entries show their times in the zone

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

// Only a list that was asked for the chosen batch may say that there is none: an older one does not know of a batch that
// was made since, and what is entered next must not go to another batch.
function choice(asked = false) {
  state.batch = queue.real(state.batch);
  if (!chosen() && (asked || typeof state.batch !== "number")) state.batch = (batches().find((b) => !b.closed_at) || batches()[0] || {}).id ?? null;
  if (state.batch !== mine.get("batch")) mine.set("batch", state.batch);
  return typeof state.batch === "number";
}

function recall() {
  const kept = store.get(`log-${state.batch}`);
  if (kept && (!state.page || state.page.id !== state.batch)) Object.assign(state, kept, { whole: null });
}

// One at a time, and whoever asks meanwhile has one more after it: an older answer never takes the place of a newer one.
const SOON = 5; // s
let running = null;
let next = null;

function refresh() {
  if (!running) return (running = guarded(fetched).finally(() => (running = null))); // what it met is said; who waits goes on
  next ??= running.then(() => {
    next = null;
    return refresh();
  });
  return next;
}

let later = null;
let patience = SOON;

// Asks again by itself where a question had no answer, less often the longer that lasts.
function askAnew(missed) {
  clearTimeout(later);
  if (!missed) patience = SOON;
  else {
    later = setTimeout(() => document.visibilityState === "visible" && refresh(), patience * 1000);
    patience = Math.min(2 * patience, 60);
  }
}

async function fetched() {
  const before = unanswered();
  try {
    await look();
  } finally {
    askAnew(unanswered() > before);
  }
}

async function look() {
  await queue.look();
  try {
    state.about = await call("/api/about");
    await askReminders();
    let wanted;
    do {
      wanted = queue.real(state.batch);
      state.batches = await listBatches(wanted);
    } while (queue.real(state.batch) !== wanted); // it was made meanwhile; nothing is waited for until it is chosen
    if (!asked) asked = procedures(); // the form of a new batch has them without waiting
    store.set("about", state.about);
    place(state.about);
    store.set("batches", state.batches);
    $("join").hidden = true;
    callFirst(state.about);
    if (choice(true)) {
      const page = await call(`/api/batches/${state.batch}`);
      const entries = await entriesOf(page);
      Object.assign(state, { page, entries, whole: nameOf(page) });
      store.set(`log-${page.id}`, { page, entries: entries.slice(-60) });
    }
    if (store.get("spoken") !== language) delete $("answer").dataset.entry; // what was kept is told anew
    store.set("spoken", language);
    say(null);
  } catch (problem) {
    if (problem.status === undefined) throw problem;
    choice();
    recall();
    trouble(problem);
  }
  show();
  const batch = chosen();
  const still = () => chosen()?.id === batch.id; // another that is chosen meanwhile has its own turn after this one
  if (!batch) return;
  await showBench(batch, refresh, still);
  if (still()) await timeline(true);
  if (still()) await guarded(silver);
}

// Where the batch's silver is, while that is open.
async function silver() {
  if ($("vessels").open) await (await import("./vessels.js").catch(() => Promise.reject({ status: 0 }))).vessels($("vessels"), chosen(), showLabel);
}

// What a label's code names, from its address or from a photo.
const showLabel = async (read) => (await import("./label.js").catch(() => Promise.reject({ status: 0 }))).showLabelled(read, { batch: () => state.batch, choose, silver: () => guarded(silver), say: sayLast });

// The list, what is asked about the newest reading, and the wash number that it leads to.
async function timeline(fresh) {
  const found = await showTimeline(chosen(), refresh, fresh);
  if (!found) return;
  const entry = $("answer").dataset.entry;
  $("answer-asked")?.replaceChildren(...questions(found.entries.find((e) => e.source === "reading" && String(e.number) === entry)));
  const box = $("wash");
  if (document.activeElement === box || (box.value !== "" && box.value !== state.proposed)) return;
  if (queue.waitingOf(state.batch, "photo").length) return; // the log does not know of it yet
  box.value = String(found.next_wash);
  propose();
}

function propose() {
  state.proposed = $("wash").value;
  mine.set("proposed", state.proposed);
}

// --- what is shown

function show() {
  const batch = chosen();
  showZone(batch && batch.zone);
  const silver = $("vessels").querySelector(".worked");
  if (silver && silver.dataset.batch !== String(batch?.id)) silver.replaceChildren(); // another batch's stands nowhere
  if ($("stage").dataset.batch !== String(batch?.id)) $("stage").hidden = true;
  options($("batch"), batches().map((b) => [b.id, b.closed_at ? t("{name} (closed)", { name: whose(b) }) : b.waiting ? t("{name} (waits on this phone)", b) : withDue(b.id, whose(b))]).concat(olderChoice()), state.batch);
  $("start").hidden = Boolean(batch) || !$("join").hidden;
  const open = Boolean(batch) && !batch.closed_at;
  for (const id of ["camera", "file", "guided"]) $(id).disabled = !open;
  $("camera-label").classList.toggle("off", !open);
  if (!batch || !state.page || state.page.id !== batch.id) {
    for (const id of ["stage", "forecast", "plot-section", "manage", "answer", "batch-story"]) $(id).hidden = true;
    if (batch) recallTimeline(batch, refresh);
    else $("log").hidden = true;
    return;
  }
  $("manage").hidden = false;
  $("csv").href = `/api/batches/${batch.id}/export.csv`;
  $("report").href = `/api/batches/${batch.id}/report.pdf`;
  $("labels").href = `/api/batches/${batch.id}/labels.pdf${store.get("first-said", {}).paper === "letter" ? "?paper=letter" : ""}`; // as the card was printed
  $("json").href = `/api/batches/${batch.id}/export.json`;
  $("close").textContent = batch.closed_at ? t("Open again") : t("Close");
  showStrip(state.page, state.about);
  const newest = [...state.entries].reverse();
  const act = { correct: (entry) => correctReading(entry, refresh) };
  story(state.page);
  recallTimeline(batch, refresh);
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
  const figure = whole && !["cannot tell", "done"].includes(forecast.status) ? t("{n} more", { n: whole[0] }) : stateWord("forecast", forecast.status).word;
  const range = whole && whole[1] !== whole[2] ? ` (${t("{low} to {high}", { low: whole[1], high: whole[2] })})` : "";
  $("forecast-figure").textContent = forecast.status === "done" ? figure : figure + range;
  $("forecast-text").textContent = forecast.message;
}

async function showQueue() {
  await queue.look();
  drawQueue(() => state.batch, (batch) => (batches().find((b) => b.id === queue.real(batch)) || { name: t("batch {number}", { number: batch }) }).name);
  if (chosen()) drawWaiting(state.batch);
}

// --- sending

const sending = {
  progress(share, waiting) {
    $("progress").hidden = false;
    const bar = $("progress").querySelector("progress");
    if (share < 1) bar.value = 100 * share;
    else bar.removeAttribute("value"); // sent, being read
    aloud(share < 1 ? t("Sending the photo") : t("Reading the photo"));
    $("progress-text").textContent = (share < 1 ? t("sending {percent} %", { percent: Math.round(100 * share) }) : t("reading")) + (waiting > 1 ? t(", {n} left", { n: waiting }) : "");
  },
  async sent({ what, answer: read }) {
    await refresh();
    if (what !== "photo") return;
    signal(read.status === "ok" && !read.log.asked.length ? "done" : "look", sentence(read));
    $("answer").scrollIntoView({ block: "start" });
  },
  changed() {
    $("progress").hidden = true;
    return showQueue();
  },
  link(problem) {
    if (problem) trouble(problem);
    else say(null);
  },
};

// One photo from the camera, taken at that moment, or several from files, each with its own time.
// Gives back why it could not be kept, "" where it was. What goes with it is that of the batch that is chosen now.
async function taken(files, at) {
  const { batch } = state;
  if (!files.length || batch === null) return "";
  const wash = $("wash").value.trim();
  const chosenAt = new Date();
  const about = { kind: kind(), wash: /^\d+$/.test(wash) ? Number(wash) : null, note: $("note").value.trim(), who: store.get("who", "") };
  const fromCamera = at && { at, snapped_at: clockAndZone(at), snapped_by: "phone" };
  const strip = about.kind === "ph" ? takeStrip() : () => [];
  const tint = about.kind === "tint" ? takeTint() : {};
  try {
    const times = await Promise.all(files.map((file) => fromCamera || photoTime(file, chosenAt)));
    const fits = [];
    for (const file of files) fits.push(await queue.fitting(file, state.about.max_body - 65536));
    const strips = strip(times.map(({ at, snapped_by }) => (snapped_by === "upload" ? null : at.getTime())));
    const photos = fits.map((file, n) => {
      const { snapped_at, snapped_by } = times[n];
      const body = { ...about, ...(strips[n] || {}), ...tint, snapped_at, snapped_by };
      const words = [t("Photo"), KIND_WORDS[body.kind], about.wash !== null && t("wash {n}", { n: about.wash }), about.note].filter(Boolean).join(", ");
      return { file, batch, body, words };
    });
    await queue.addPhotos(photos.sort((a, b) => new Date(a.body.snapped_at) - new Date(b.body.snapped_at)));
  } catch (problem) {
    const why = t("This phone could not keep the photo ({trouble}). Free some space on it and take it again.", { trouble: problem.name });
    say(why);
    return why;
  }
  $("note").value = "";
  propose();
  typed.keep();
  queue.run();
  return "";
}

// --- the buttons

const drawTint = tintButtons();

function step(by) {
  const now = parseInt($("wash").value, 10);
  $("wash").value = Math.min(999, Math.max(0, (isNaN(now) ? 0 : now) + by));
  drawTint();
  typed.keep();
}

function choose(batch) {
  state.batch = /^\d+$/.test(batch) ? Number(batch) : batch;
  mine.set("batch", state.batch);
  delete $("answer").dataset.entry;
  $("wash").value = "";
  typed.keep();
  recall();
  show(); // at once, whatever the Wi-Fi does
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
  unlock();
  if (kind() === "ph" && askAgain()) event.preventDefault();
};
$("camera").onchange = $("file").onchange = ({ target }) => {
  const files = [...target.files];
  target.value = ""; // the same photo may be chosen again
  return taken(files, target.id === "camera" ? new Date() : null);
};
// The guided photo, where the browser lets a page look through the camera and there is one.
$("guided").onclick = () => {
  unlock();
  if (kind() === "ph" && askAgain()) return;
  guarded(async () => (await import("./live.js").catch(() => Promise.reject({ status: 0 }))).open({ kind: kind(), dip: untilRead, taken: (file, at) => taken([file], at) }));
};
async function offerGuided() {
  const all = isSecureContext && navigator.mediaDevices?.getUserMedia ? await navigator.mediaDevices.enumerateDevices().catch(() => []) : [];
  $("guided").hidden = !all.some((one) => one.kind === "videoinput");
}
$("wash-less").onclick = () => step(-1);
$("wash-more").onclick = () => step(1);
$("batch").onchange = (event) => (event.target.value === OLDER ? (showOlder(), refresh()) : choose(event.target.value));
$("new-batch").onclick = () => newBatch((made) => choose(made.id));
$("rename").onclick = () => rename(chosen(), refresh);
$("water").onclick = () => rinseWater(state.page, state.entries, refresh);
$("zone").onclick = () => zoneAsked(chosen(), refresh);
$("close").onclick = () => guarded(() => toggleClosed(chosen(), refresh));
$("name").onclick = yourName;
function drawKind() {
  drawTint();
  $("strip-fields").hidden = $("dip").hidden = kind() !== "ph";
  if (kind() !== "ph") $("strip-more").hidden = true;
}
for (const radio of document.querySelectorAll("input[name=kind]")) radio.onchange = drawKind;
$("snap").onsubmit = $("bar").onsubmit = (event) => event.preventDefault();
addEventListener("online", () => { refresh(); queue.run(); });
addEventListener("offline", () => trouble({ status: 0 }));
addEventListener("visibilitychange", () => document.visibilityState === "visible" && (refresh(), queue.run()));
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => show());
let width = innerWidth;
addEventListener("resize", () => { if (innerWidth !== width) { width = innerWidth; show(); } });

// How an entry was read has an address of its own, so that the phone's way back leads back.
async function how() {
  const entry = state.entries.find((e) => location.hash === `#how-${e.log.id}`);
  if ($("how").open) $("how").close();
  if (entry) (await import("./how.js")).showHow(entry, () => $("how").close());
}
addEventListener("hashchange", how);

// The code on a label names its vessel, or on older ones its batch. Where the page can't know yet (not joined, no
// connection) the address stays.
async function labelled() {
  const [, n, of, log, vessel] = location.hash.match(/^#(?:batch=(\d{1,15})|vessel=(?:(\d{1,15})\.)?([a-z2-7]{4})\.(~?[a-z0-9]{1,12}))$/) || [];
  if (vessel) {
    const read = await (await import("./label.js").catch(() => Promise.reject({ status: 0 }))).named(of, log, vessel);
    if (!read) return;
    history.replaceState(null, "", "/");
    await showLabel(read);
  }
  if (!n) return;
  const known = batches().some((b) => String(b.id) === n) || (await oneBatch(n).catch(() => undefined)); // undefined: can't tell
  if (known) {
    history.replaceState(null, "", "/");
    await choose(n);
    $("batch").scrollIntoView({ block: "start" });
  } else if (known === null) sayLast(t("There is no batch {n} in this log: the label may be of another one.", { n }));
}
addEventListener("hashchange", () => guarded(labelled));
const screens = () => guarded(() => apart({ about: () => state.about, refresh, newBatch: () => newBatch((made) => choose(made.id)) }));
addEventListener("hashchange", screens);
$("how").addEventListener("close", () => location.hash.startsWith("#how-") && history.replaceState(null, "", "/"));

// --- the start

async function join() {
  const token = location.hash.startsWith("#join=") ? location.hash.slice(6) : null;
  if (!token) return;
  history.replaceState(null, "", "/"); // the secret does not stay in the address bar
  await guarded(() => call("/api/join", "POST", { token }));
}

nameStates();
calculators(chosen);
// What looks over all batches comes when it is opened.
const again = () => {
  state.whole = null;
  delete $("answer").dataset.entry;
  return refresh();
};
for (const [id, file, start] of [["find", "./find.js", (m, box) => m.finder(box, choose)], ["compare", "./compare.js", (m, box) => m.comparer(box, () => state.batches)], ["phones", "./phones.js", (m, box) => m.phones(box, again)]])
  $(id).addEventListener("toggle", () => $(id).open && guarded(async () => start(await import(file).catch(() => Promise.reject({ status: 0 })), $(id))));
$("vessels").addEventListener("toggle", () => guarded(silver));
signalButtons();
$("language-now").textContent = `: ${Object.fromEntries(languages)[language]}`;
$("languages").replaceChildren(...languages.map(([name, own]) => el("button", { type: "button", lang: name, "aria-pressed": String(name === language), onclick: () => speak(name) }, own)));
stripButtons(() => state.batch);
offerGuided();
const typed = keepTyped($("snap"), "typed", ["profile", "rinse", "cells"]); // those are kept by batch
keepTyped($("bar"), "typed-kind");
drawKind();
await join();
await queue.look();
choice();
recall(); // what was known last is there at once, whatever the Wi-Fi does
show();
await refresh();
await guarded(labelled);
if (state.about.local) pairing();
await showQueue();
queue.start(sending);
if ("serviceWorker" in navigator) navigator.serviceWorker.register("/sw.js").catch(() => {});
await how();
await screens();
document.body.dataset.ready = "yes";
