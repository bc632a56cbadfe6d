// What is said of a strip before its photo: which kind, when it was dipped, how warm, in rinse water or not.
import { $, el, options, store } from "./dom.js";
import { liquidCode, nameLiquids } from "./liquids.js";
import { keepAwake, signal, unlock } from "./signals.js";
import { decimal, t } from "./words.js";

const FORGET_MS = 15 * 60 * 1000; // nobody photographs a strip so long after
let batch = null;
let profiles = [];
let blank = null; // the rinse water's own entry
let other = null; // a second button with the same clock
let told = null; // the part of the dip's time that was signalled last

const pad = (n) => String(n).padStart(2, "0");

// The phone's own clock, without zone, as photos carry it.
export function clock(at) {
  const day = `${at.getFullYear()}-${pad(at.getMonth() + 1)}-${pad(at.getDate())}`;
  return `${day}T${pad(at.getHours())}:${pad(at.getMinutes())}:${pad(at.getSeconds())}`;
}

// The same to the millisecond, which keeps photos in order, and with its zone, so that it names one moment.
export function clockAndZone(at) {
  const east = -at.getTimezoneOffset();
  return `${clock(at)}.${String(at.getMilliseconds()).padStart(3, "0")}${east < 0 ? "-" : "+"}${pad(Math.floor(Math.abs(east) / 60))}:${pad(Math.abs(east) % 60)}`;
}

const dipped = () => {
  const at = store.get("dipped"); // stored: some phones throw the page away while the camera is open
  return at !== null && Date.now() - at < FORGET_MS && Date.now() >= at ? at : null;
};

const chosen = () => profiles.find((p) => p.name === $("profile").value) || profiles[0] || null;

// Shown by the bar's button, and by one of a screen of its own while that is there.
const show = (bold, small) => {
  for (const face of [$("dip"), other?.button]) if (face) face.replaceChildren(el("b", {}, bold), el("small", {}, small));
};

function tick() {
  const at = dipped();
  if (other && !other.button.isConnected) other = null;
  for (const face of [$("dip"), other?.button]) face?.classList.toggle("on", at !== null);
  keepAwake(at !== null);
  if (at === null) {
    told = null;
    show(t("Dipped now"), t("start the clock"));
    return;
  }
  const seconds = Math.floor((Date.now() - at) / 1000);
  const [low, high] = (other ? other.window : chosen() && chosen().read_after_s) || [null, null];
  const shown = seconds < 120 ? `${seconds} s` : `${Math.floor(seconds / 60)} min ${pad(seconds % 60)}`;
  const when = low === null ? t("since the dip") : seconds < low ? t("wait until {n} s", { n: low }) : seconds <= high ? t("photo now, to {n} s", { n: high }) : t("late: over {n} s", { n: high });
  const part = low === null ? "none" : seconds < low ? "wait" : seconds <= high ? "now" : "late";
  if (part !== told && told !== null && part === "now") signal("now", t("Photo now"));
  if (part === "late" && told === "now") signal("late", t("Late: the time is over"));
  told = part;
  show(shown, when);
}

// The same clock on another button, for a strip that is read after `window` (s; null: nobody said).
export function shareDip(button, window) {
  other = { button, window };
  button.onclick = dip;
  tick();
}

// Seconds from now until the dipped strip can be read (less than none: it can); null where no clock runs or nobody said when.
export function untilRead() {
  const [at, window] = [dipped(), chosen()?.read_after_s];
  return at === null || !window ? null : window[0] - (Date.now() - at) / 1000;
}

export function endDip() {
  store.set("dipped", null);
  tick();
}

function dip() {
  unlock();
  told = null;
  store.set("dipped", Date.now());
  tick();
}

function warmth() {
  const box = $("temperature");
  return box.value.trim() === "" || !box.validity.valid ? null : Number(box.value.trim().replace(",", "."));
}

const beside = () => $("beside").value.trim();
const unsaid = () => [$("temperature"), $("beside")].find((box) => !box.validity.valid);

// Before a photo is taken: a liquid or a temperature that nobody can read is asked for again, where it stands.
export function askAgain() {
  const box = unsaid();
  if (!box) return false;
  $("strip-more").hidden = false;
  more();
  box.reportValidity();
  return true;
}

function more() {
  const words = [warmth() === null ? !$("temperature").validity.valid && "°C?" : `${decimal(warmth())} °C`, $("rinse").checked && t("rinse"), beside() && t("beside {liquid}", { liquid: beside() + ($("beside").validity.valid ? "" : "?") })].filter(Boolean);
  $("more").firstChild.textContent = words.join(", ") || t("More");
  $("more").setAttribute("aria-expanded", String(!$("strip-more").hidden));
}

// A batch is shown: its own kind of strip, as chosen the last time.
export function showStrip(now, about) {
  profiles = about.profiles || [];
  blank = (now && now.water && now.water.blank_entry) || null;
  $("profile-field").hidden = profiles.length < 2;
  if (now && batch !== now.id) {
    batch = now.id;
    $("rinse").checked = store.get(`rinse-${batch}`, false);
  }
  const kept = store.get(`profile-${batch}`);
  const name = profiles.some((p) => p.name === kept) ? kept : profiles.length ? profiles[0].name : "";
  options($("profile"), profiles.map((p) => [p.name, p.name]), name);
  $("rinse-text").textContent = blank === null ? t("Rinse water") : t("Rinse water, compare with entry {n}", { n: blank });
  tick();
  more();
}

// What goes with photos, as it is said now: a function of their times (null: nobody knows when), one object each. The
// temperature is spent with them, the dip only by a photo that was taken after it.
export function takeStrip() {
  const at = dipped();
  const after = (time) => at !== null && time !== null && time >= at;
  const said = {
    profile: profiles.length > 1 ? $("profile").value : null,
    temperature_c: warmth(),
    rinse: $("rinse").checked ? "true" : null,
    blank_entry: $("rinse").checked && !beside() ? blank : null,
    beside: liquidCode(beside()) || null,
  };
  $("temperature").value = $("beside").value = "";
  $("strip-more").hidden = true;
  more();
  return (times) => {
    if (times.some(after)) store.set("dipped", null);
    tick();
    return times.map((time) => ({ ...said, dipped_at: after(time) ? clock(new Date(at)) : null }));
  };
}

// `of()`: the batch that is chosen, which may not have been shown yet.
export function stripButtons(of) {
  $("dip").onclick = dip;
  $("more").onclick = () => {
    $("strip-more").hidden = !$("strip-more").hidden;
    more();
  };
  $("profile").onchange = () => {
    store.set(`profile-${of()}`, $("profile").value);
    tick();
  };
  $("rinse").onchange = () => {
    store.set(`rinse-${of()}`, $("rinse").checked);
    more();
  };
  nameLiquids();
  $("temperature").oninput = $("beside").oninput = more;
  setInterval(tick, 500);
}
