// Signals for hands in gloves: a big word, vibration, sound, and the screen kept on while the clock runs.
import { $, store } from "./dom.js";
import { t } from "./words.js";

const CHOSEN = { word: true, shake: true, sound: false, awake: true, ...store.get("signals", {}) };
const SHOWN_MS = 6000;
const BEEPS = { now: [880, 880], late: [330, 330, 330], done: [660, 880], look: [440, 330] };
let audio = null;
let lock = null;
let running = false;
let hiding = null;

// What a screen reader says, once: the answer in a sentence, never its cautions.
export function say(words) {
  if ($("said").textContent !== words) $("said").textContent = words;
}

// `sort`: now, late, done or look, each with a sound and a pattern of its own.
export function signal(sort, words) {
  say(words);
  if (CHOSEN.word) {
    $("word").textContent = words;
    $("word").className = sort;
    $("word").hidden = false;
    clearTimeout(hiding);
    hiding = setTimeout(() => ($("word").hidden = true), SHOWN_MS);
  }
  // Browsers let a page shake only after a touch, and complain of one that tries before.
  if (CHOSEN.shake && navigator.vibrate && navigator.userActivation?.hasBeenActive !== false) navigator.vibrate(BEEPS[sort].flatMap((tone) => [tone < 500 ? 400 : 200, 120]));
  if (CHOSEN.sound) beep(BEEPS[sort]);
}

// Browsers let a page sound only after a touch: the one on the clock, on the camera or on the setting.
export function unlock() {
  if (!CHOSEN.sound || typeof AudioContext === "undefined") return;
  audio = audio || new AudioContext();
  audio.resume().catch(() => {});
}

function beep(tones) {
  unlock();
  if (!audio) return;
  tones.forEach((tone, n) => {
    const wave = audio.createOscillator(), loud = audio.createGain(), at = audio.currentTime + 0.3 * n;
    wave.frequency.value = tone;
    loud.gain.setValueAtTime(0.4, at);
    loud.gain.exponentialRampToValueAtTime(0.001, at + 0.25);
    wave.connect(loud).connect(audio.destination);
    wave.start(at);
    wave.stop(at + 0.26);
  });
}

// The screen stays on from the dip until the photo, where the browser can (Screen Wake Lock, a W3C draft).
export async function keepAwake(clock) {
  running = clock;
  const wanted = running && CHOSEN.awake && document.visibilityState === "visible";
  try {
    if (wanted && !lock && navigator.wakeLock) {
      lock = await navigator.wakeLock.request("screen");
      lock.addEventListener("release", () => (lock = null));
      if (!running) await lock.release();
    } else if (!wanted && lock) await lock.release();
  } catch {
    lock = null; // refused, say by a low battery: a convenience is lost
  }
}

export function signalButtons() {
  for (const name of Object.keys(CHOSEN)) {
    const box = $(`signal-${name}`);
    box.checked = CHOSEN[name];
    box.onchange = () => {
      CHOSEN[name] = box.checked;
      store.set("signals", CHOSEN);
      unlock();
      keepAwake(running);
    };
  }
  const lacks = [!navigator.vibrate && t("This browser can't vibrate here."), !navigator.wakeLock && t("This browser can't keep the screen on here.")];
  $("signal-lacks").textContent = lacks.filter(Boolean).join(" ");
  $("signal-try").onclick = () => signal("now", t("Photo now"));
  addEventListener("pointerdown", () => ($("word").hidden = true)); // wherever the finger lands, which it never holds up
  document.addEventListener("visibilitychange", () => keepAwake(running));
}
