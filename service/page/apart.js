// Screens with an address of their own: the first day, the profiles, the benches. Each is loaded when it is opened.
import { $, el, store } from "./dom.js";

const SCREENS = { "#first-day": "./first.js", "#profiles": "./profiles.js", "#benches": "./benches.js" };
const labelled = /^#(batch|vessel)=/.test(location.hash); // by the code on a vessel's label: that one is wanted
let shown = null;
let opening = null;

// `of`: {about(), refresh(), newBatch()} of the page.
export function apart(of) {
  const file = SCREENS[location.hash];
  if (shown && shown !== location.hash) of.refresh();
  const before = shown;
  shown = file ? location.hash : null;
  document.body.classList.toggle("apart", Boolean(file));
  $("apart").hidden = !file;
  if (before === shown) return opening;
  const box = el("section", {}); // each its own: one that is still being opened must not come over the next
  $("apart").replaceChildren(...(file ? [box] : []));
  opening = file && import(file).catch(() => Promise.reject({ status: 0 })).then((screen) => screen.open(box, of));
  return opening;
}

export function leave() {
  if (shown === "#first-day") store.set("first-left", true);
  history.pushState(null, "", "/");
  dispatchEvent(new HashChangeEvent("hashchange"));
}

// Without a profile no strip can be read: the page begins with the first day, until somebody leaves it.
export function callFirst(about) {
  const lacks = !about.kinds.ph && $("join").hidden && !about.bench; // a bench is handed its profiles
  $("first-call").hidden = !lacks;
  if (lacks && !labelled && !location.hash && !store.get("first-left", false)) location.hash = "#first-day";
}
