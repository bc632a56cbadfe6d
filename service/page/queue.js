// Everything that is to be logged waits here from the moment it is entered until the log has it: photos, batches, notes,
// stages, corrections. It leaves only when the service has acknowledged it, or when the user throws it away.
//
//   const { answer } = await send({ what: "note", path: "/api/batches/{batch}/notes", batch: 7, body, words: "Weight: 412 g" });
//
// `what`: a word of one's own; `method`: POST if not said; `path` with {batch} where the batch's number goes; `batch`: that
// number, or the local key of a batch made here (`draft` and {draft} the same of a calibration); `body`: the JSON; `words`: how it is shown while it waits; `forms`: of the
// body's fields by name {label, choices: [[value, text]], parts: 100 of a range in percent}, for mending. Comes back with {answer} from the service, or
// with {waiting: true} when it goes later; throws a Trouble when the service refuses it: then it is not kept, since
// whoever asked still has what was typed, but with `keep: true` it stays and can be mended. `photo`: a file that goes with
// it (in the form's field `file_field`, photo if not said); `soon_ms`: how long is waited; `holds`: where this phone keeps the answer.
import { call, sendPhoto, Trouble } from "./api.js";
import { store } from "./dom.js";
import { alter, inTurn, pictureOf, put, waitingNow } from "./kept_queue.js";
import { clockAndZone } from "./strip.js";
import { t } from "./words.js";

const SOON_MS = 4000; // a form is not kept open any longer; what was entered goes on waiting
const READINGS = "/api/batches/{batch}/readings";

// randomUUID exists only on secure pages
const newKey = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("");

let on = { progress() {}, sent() {}, changed() {}, link() {} };
export const hearing = new Set(); // screens that want to know what became of what they sent before they were opened
const asking = new Map(); // key -> whoever waits for what becomes of it
const tabs = typeof BroadcastChannel === "undefined" ? null : new BroadcastChannel("stripread-queue");

let known = { items: [], numbers: {} };
export const waiting = () => known.items;
// A batch's number in the log, once it has one: before that its local key.
export const real = (batch) => known.numbers[batch] ?? batch;
export const waitingOf = (batch, what) => known.items.filter((i) => real(i.batch) === batch && (!what || i.what === what));
// Batches that wait to be made, as the page shows batches.
export const newBatches = () => known.items.filter((i) => i.what === "batch").map((i) => ({ id: i.makes, name: i.body.name, closed_at: null, waiting: true, water: { water: "unknown" }, zone: i.body.zone })).reverse();

export async function look() {
  known = await waitingNow();
  return known;
}

// --- putting in

export async function send({ method = "POST", batch = null, keep = false, photo = null, soon_ms = SOON_MS, ...action }) {
  const item = { ...action, method, batch, key: newKey(), at: clockAndZone(new Date()), trouble: null };
  if (photo) Object.assign(item, await carried(photo));
  if (["batch", "draft"].includes(item.what)) item.makes = `new-${item.key}`;
  await put([item]);
  await look();
  const outcome = new Promise((done) => {
    asking.set(item.key, done);
    setTimeout(() => done({ waiting: true }), soon_ms);
  });
  changed();
  run();
  const { refused, answer } = await outcome;
  asking.delete(item.key);
  if (refused && !keep) {
    await drop(item.key);
    throw new Trouble(refused.status, refused.code, refused.message);
  }
  return answer === undefined ? { waiting: true, key: item.key, makes: item.makes } : { answer };
}

// Not the file: some phones let it vanish.
const carried = async (file) => ({ name: file.name || "photo.jpg", type: file.type || "image/jpeg", photo: await file.arrayBuffer() });

// Photos with what goes with each: kept all or none. Nobody waits for them.
export async function addPhotos(photos) {
  const items = [];
  for (const { file, batch, body, words } of photos)
    items.push({
      what: "photo", method: "POST", path: READINGS, batch, body, words, key: newKey(), at: body.snapped_at, trouble: null,
      ...(await carried(file)),
    });
  await put(items);
  changed();
}

// --- mending and throwing away, both by the user's own hand

export const mend = (key, changes) => alter(key, (item) => (item.trouble ? { ...item, trouble: null, ...changes } : item)).then(changed);
export const drop = (key) => alter(key, () => null).then(changed);

// --- sending

let busy = false;
let more = false;
let timer = null;

export function start(handlers) {
  on = handlers;
  if (tabs) tabs.onmessage = ({ data }) => heard(data);
  return run();
}

export async function run() {
  clearTimeout(timer);
  if (busy) {
    more = true;
    return;
  }
  busy = true;
  try {
    do {
      more = false;
      if (!(await inTurn(round))) again(1); // another tab is sending
    } while (more);
  } finally {
    busy = false;
    changed();
  }
}

function again(seconds) {
  clearTimeout(timer);
  timer = setTimeout(run, seconds * 1000);
}

async function round() {
  const passed = new Set(); // met trouble that the others may not meet
  for (;;) {
    const { items, numbers } = await waitingNow();
    const next = items.find((i) => !i.trouble && !passed.has(i.key) && !items.some((made) => made.makes && [i.batch, i.draft].includes(made.makes)));
    if (!next) return;
    const [batch, draft] = [next.batch, next.draft].map((one) => (typeof one === "string" ? numbers[one] : one ?? null));
    if (draft === undefined) await refuse(next, new Trouble(404, "no_such_draft", t("The calibration that this belongs to was thrown away. Throw it away, too, and take the photo again.")));
    else if (batch === undefined) await refuse(next, new Trouble(404, "no_such_batch", t("The batch that this belongs to was thrown away. Send it to another batch, or throw it away, too.")));
    else {
      const met = await one(next, next.path.replace("{batch}", batch).replace("{draft}", draft), items.length);
      if (met && met.code !== "readers_ended") return; // the others would meet the same
      if (met) passed.add(next.key); // it may be this one that eats all memory: the others go on
    }
  }
}

// Sends it; gives back the trouble that will pass.
async function one(item, path, count) {
  try {
    const answer = await (item.photo ? sendPhoto(path, { ...item, photo: await pictureOf(item.key) }, (share) => on.progress(share, count)) : call(path, item.method, item.body, item.key));
    if (item.holds) store.set(item.holds, answer); // before it is let go: who waits for it may have closed the page
    await alter(item.key, () => null, item.makes ? answer.id : null);
    await look();
    on.link(null);
    tell({ key: item.key, what: item.what, answer });
  } catch (problem) {
    if (problem.later === undefined) throw problem;
    if (problem.later) {
      on.link(problem);
      again(problem.retry || 5);
      tell({ later: true });
      return problem;
    }
    await refuse(item, problem);
  }
  return null;
}

async function refuse(item, { status, code, message }) {
  await alter(item.key, (found) => ({ ...found, trouble: message }));
  tell({ key: item.key, what: item.what, refused: { status, code, message } });
}

// --- telling this tab and the others

function tell(news) {
  heard(news);
  if (tabs) tabs.postMessage(news);
}

function changed() {
  if (tabs) tabs.postMessage({});
  return on.changed();
}

function heard(news) {
  if (news.later) for (const done of asking.values()) done({ waiting: true });
  else if (asking.has(news.key)) asking.get(news.key)(news);
  if (news.answer !== undefined) on.sent(news);
  for (const hear of hearing) hear(news);
  on.changed();
}

// Make a photo smaller only if the service would not take it.
export async function fitting(file, limit) {
  if (!limit || file.size <= limit) return file;
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  for (let share = Math.sqrt(limit / file.size) * 0.9; share > 0.1; share *= 0.8) {
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(picture.width * share);
    canvas.height = Math.round(picture.height * share);
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    const blob = await new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.93));
    if (blob && blob.size <= limit) return new File([blob], (file.name || "photo").replace(/\.\w+$/, "") + ".jpg", { type: "image/jpeg" });
  }
  return file;
}
