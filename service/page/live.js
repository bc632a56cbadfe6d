// The capture assistant: a live picture, one instruction at a time, and the photo taken by itself when nothing is wrong.
import { el, svg } from "./dom.js";
import { help } from "./help.js";
import { keeper, looker, openCamera } from "./live_camera.js";
import { shrink } from "./live_frame.js";
import { lookAt, wrongWith } from "./live_judge.js";
import { CARD } from "./live_numbers.js";
import { release } from "./live_release.js";
import { told, whyNot } from "./live_words.js";
import { sheet } from "./sheet.js";
import { signal } from "./signals.js";
import { t } from "./words.js";

const REST = 0.2; // of a frame's work is left to the page before the next
const LEAST_MS = 10;

let dialog = null;

// `of`: {kind, dip(): seconds until the strip's time or null, taken(file, at): a promise of why it could not be kept, "" where it was}.
export async function open(of) {
  sheet("/live.css");
  sheet("/first.css"); // its question mark
  if (dialog) return;
  const video = el("video", { playsinline: true, muted: true, "aria-hidden": "true" });
  video.muted = true; // the attribute alone comes too late for some browsers
  const outline = svg("svg", { class: "outline", "aria-hidden": "true" }, svg("polygon", { class: "casing" }), svg("polygon", { class: "none" }));
  const says = el("p", { id: "live-says", "aria-hidden": "true" }, "");
  const spoken = el("p", { id: "live-spoken", class: "unseen", role: "status" });
  const trouble = el("p", { id: "live-trouble", class: "trouble", role: "alert" });
  const now = el("button", { type: "button", id: "live-now", disabled: true }, t("Take it as it is"));
  const close = el("button", { type: "button", id: "live-close", autofocus: true }, t("Cancel"));
  dialog = el("dialog", { id: "live", "aria-labelledby": "live-title" }, el("div", { class: "head" }, el("h2", { id: "live-title" }, t("Guided photo")), help("live")), el("div", { class: "picture" }, video, outline), says, spoken, trouble, el("div", { class: "row" }, close, now));
  document.body.append(dialog);
  const session = { of, video, outline, says, spoken, trouble, ended: false, asked: false, camera: null };
  const end = () => !session.ended && dialog.close();
  dialog.addEventListener("close", () => finish(session), { once: true });
  close.onclick = end;
  now.onclick = () => (session.asked = true);
  session.hidden = () => document.visibilityState === "hidden" && end(); // a phone takes the camera away then
  document.addEventListener("visibilitychange", session.hidden);
  dialog.showModal();
  try {
    session.camera = await openCamera(video);
  } catch (problem) {
    trouble.textContent = whyNot(problem);
    return;
  }
  if (session.ended) return session.camera.close();
  now.disabled = false;
  await watch(session);
}

function finish(session) {
  session.ended = true;
  session.camera?.close();
  session.video.srcObject = null;
  document.removeEventListener("visibilitychange", session.hidden);
  dialog.remove();
  dialog = null;
}

const nextFrame = (video) => new Promise((done) => (video.requestVideoFrameCallback ? video.requestVideoFrameCallback(done) : requestAnimationFrame(done)));
const rest = (ms) => new Promise((done) => setTimeout(done, ms));

async function watch(session) {
  const { camera, video, of } = session;
  const kept = keeper(video);
  let steps = release();
  let held = false;
  while (!session.ended) {
    await Promise.race([nextFrame(video), rest(500)]);
    if (session.ended || !camera.ready()) continue;
    const began = performance.now();
    const left = of.kind === "ph" ? of.dip() : null;
    const seen = await camera.look(lookAt);
    if (session.ended) return;
    const step = steps.step(seen, began, { kind: of.kind, wait: left !== null && left > 0 });
    if (step.now) kept.forget();
    else if (!camera.takes()) kept.offer(seen.edge);
    if (held !== !step.now) camera.hold((held = !step.now)); // not waited for: the frames go on
    show(session, step.code, left, seen, camera.size());
    if (step.spoken) speak(session, step.code, left);
    if (step.ready || session.asked) {
      if (await take(session, kept, session.asked)) return;
      session.asked = false;
      kept.forget();
      steps = release();
    }
    const spent = performance.now() - began;
    document.body.dataset.liveMs = spent.toFixed(1); // measured by tests/live/speed.py
    document.body.dataset.liveFrames = Number(document.body.dataset.liveFrames || 0) + 1;
    await rest(Math.max(LEAST_MS, REST * spent));
  }
}

// Takes it, looks at what was taken as at a frame, and hands it over. `anyway`: the user wants it as it is.
async function take(session, kept, anyway) {
  const { camera, of } = session;
  show(session, "taking", null, null, camera.size());
  const at = new Date();
  let blob = camera.takes() ? await camera.photo() : await kept.blob();
  if (!blob && anyway) {
    kept.offer(0); // the frame of this moment
    blob = await kept.blob();
  }
  if (session.ended) return true;
  const good = blob && (anyway || (await isGood(blob, of.kind)));
  if (session.ended) return true;
  if (!good) {
    show(session, "again", null, null, camera.size());
    speak(session, "again", null);
    await rest(700);
    return false;
  }
  const file = new File([blob], "photo.jpg", { type: blob.type || "image/jpeg" });
  const why = await of.taken(file, at);
  if (why) session.trouble.textContent = why; // it stays open and says so: nothing was kept
  else {
    signal("done", t("Photo taken"));
    if (!session.ended) dialog.close();
  }
  return true;
}

async function isGood(blob, kind) {
  const picture = await createImageBitmap(blob, { imageOrientation: "from-image" }).catch(() => null);
  if (!picture) return false;
  const wrong = wrongWith(looker()(picture, picture.width, picture.height, lookAt), { kind });
  picture.close();
  return wrong === null;
}

// --- shown and spoken

function show({ outline, says }, code, left, seen, [width, height]) {
  const { words, sign } = told(code, left);
  if (says.textContent !== `${sign} ${words}`) says.textContent = `${sign} ${words}`;
  const good = code === null || code === "taking";
  const tone = good ? "good" : code === "wait" ? "wait" : "wrong";
  if (says.className !== tone) says.className = tone;
  const box = `0 0 ${width || 4} ${height || 3}`;
  if (outline.getAttribute("viewBox") !== box) outline.setAttribute("viewBox", box);
  if (!seen) return;
  const scale = shrink(width, height);
  const points = seen.corners ? seen.corners.map(([x, y]) => `${((x + 0.5) * scale).toFixed(1)},${((y + 0.5) * scale).toFixed(1)}`).join(" ") : target(width, height);
  const [casing, line] = outline.children;
  casing.setAttribute("points", points);
  line.setAttribute("points", points);
  line.setAttribute("class", seen.corners ? tone : "none");
}

// The card's outline in the middle of the picture, upright or lying as the picture is.
function target(width, height) {
  const size = Math.min(width / CARD.size[0], height / CARD.size[1]) * 0.8;
  const [w, h] = CARD.size.map((mm) => mm * size);
  const [x, y] = [(width - w) / 2, (height - h) / 2];
  return `${x},${y} ${x + w},${y} ${x + w},${y + h} ${x},${y + h}`;
}

// A screen reader hears what has stood for a while, once; seconds that are counted are not spoken each.
function speak({ spoken }, code, left) {
  if (spoken.dataset.code === String(code)) return;
  spoken.dataset.code = String(code);
  spoken.textContent = told(code, left).words;
}
