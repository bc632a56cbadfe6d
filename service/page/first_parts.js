// What the steps of the first day have in common: what this phone remembers, a photo asked for, and what became of it.
import { el, store } from "./dom.js";
import { drop, fitting, send, waiting } from "./queue.js";
import { unlock } from "./signals.js";
import { t, tn } from "./words.js";

const OURS = ["card", "unused", "kind", "draft", "buffer", "chart", "run", "current", "control", "profile"];
const PATIENCE_MS = 170000; // a photo over a weak Wi-Fi to a busy computer

// What was said on this phone: {kind, liquids, temperature, own, light, counted, ...}.
export const said = () => store.get("first-said", {});
export const remember = (more) => store.set("first-said", { ...said(), ...more });

export const p = (text, attributes) => el("p", attributes || {}, text);
export const items = (texts, attributes) => el("ul", { class: "plain", ...attributes }, texts.map((text) => el("li", {}, text)));
export const button = (text, act, attributes) => el("button", { type: "button", onclick: act, ...attributes }, text);

// A line that a screen reader says when it changes, and one for what went wrong.
export const spoken = () => el("p", { role: "status", class: "meta" });
export const alarm = () => el("div", { role: "alert", class: "alarm", hidden: true });

// Why, in the reason's own sentences, and what helps with most of them.
export function refuse(box, sentences) {
  box.hidden = false;
  box.replaceChildren(
    el("p", {}, el("b", {}, t("This photo can't be used.")), " ", t("Take it again:")),
    ...sentences.map((text) => p(text)),
    el("details", {}, el("summary", {}, t("Why was it refused?")), p(t("A photo counts only when the whole card is seen sharply in even light, with the strip flat in its lane. What is said above is what was missing in this one. The strip can be photographed again at once, if its time is not over."))),
  );
}

export function complain(box, problem) {
  box.hidden = false;
  box.replaceChildren(p(problem.status === 0 ? t("No connection to the bench computer.") : problem.message));
}

export const calm = (box) => { box.hidden = true; box.replaceChildren(); };

// A button for the camera and one for files: `take(file)` is given the photo. `what` names it for those who only hear it.
export function camera(id, words, what, take, small = false) {
  const input = (camera_) => el("input", {
    id: camera_ ? id : `${id}-file`, type: "file", accept: "image/*", capture: camera_ ? "environment" : null, class: "unseen", "aria-label": `${camera_ ? words : t("From files")}: ${what}`,
    onclick: unlock,
    onchange: (event) => { const [file] = event.target.files; event.target.value = ""; if (file) take(file); },
  });
  return el("div", { class: "row" }, el("label", { class: small ? "small" : "camera" }, input(true), el("span", {}, words)), el("label", { class: "gallery" }, input(false), el("span", {}, t("From files"))));
}

// Sends a photo by way of the queue, so that it stays on this phone until the bench computer has answered.
// Gives the answer, or null where it goes later; throws what the bench computer refuses it for.
export async function sendPhotoOf({ file, status, limit, ...action }) {
  status.textContent = t("The photo is sent and looked at …");
  try {
    const photo = await fitting(file, limit);
    const { answer } = await send({ ...action, photo, soon_ms: PATIENCE_MS });
    status.textContent = answer ? "" : t("The photo waits on this phone and is sent as soon as the bench computer is reached.");
    return answer ?? null;
  } catch (problem) {
    status.textContent = "";
    if (problem.name === "QuotaExceededError") problem.message = t("This phone could not keep the photo. Free some space on it and take it again.");
    throw problem;
  }
}

export function waitingHere(what) {
  const n = waiting().filter((item) => item.what === what).length;
  return n ? p(tn("{n} photo waits on this phone.", "{n} photos wait on this phone.", n), { class: "waits" }) : null;
}

// What was refused while nobody waited for it: said when somebody comes back, and thrown away by his own hand.
export function troubled(redraw) {
  const items_ = waiting().filter((item) => item.trouble && OURS.includes(item.what));
  return items_.map((item) => el("div", { class: "alarm" }, el("p", {}, el("b", {}, `${item.words}: `), item.trouble), button(t("Throw away"), async () => { await drop(item.key); redraw(); }, { "aria-label": `${t("Throw away")}: ${item.words}` })));
}
