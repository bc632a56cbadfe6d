// What the capture assistant says: one short sentence for each thing that is wrong, and its sign.
import { STATES } from "./states.js";
import { t } from "./words.js";

const SAID = {
  no_card: t("Hold the phone close over the card"),
  covered: t("Keep the card's corners free"),
  out: t("All of the card into the picture"),
  near: t("Farther away"),
  far: t("Nearer"),
  tilted: t("Hold the phone flat over the card"),
  dark: t("More light, please"),
  bright: t("Too bright: less light on the card"),
  shine: t("A lamp shines on the strip: tilt the phone a little"),
  shadow: t("Take the shadow off the strip"),
  no_strip: t("Lay the strip in the lane"),
  moving: t("Hold still"),
  blurred: t("Not sharp: hold still"),
  again: t("That was not sharp enough: once more"),
  taking: t("Taking the photo"),
  good: t("Good: hold still"),
};
const GO = STATES.gate.open.sign;
const SIGNS = { good: GO, taking: GO, wait: "…" };

// {words, sign} of a code; `left`: seconds until the strip's time.
export function told(code, left) {
  const words = code === "wait" ? t("Wait: {n} s", { n: Math.max(1, Math.ceil(left)) }) : SAID[code ?? "good"];
  return { words, sign: SIGNS[code ?? "good"] || "!" };
}

// Why there is no live picture, by the name of the browser's error (Media Capture and Streams, a W3C recommendation).
export function whyNot(problem) {
  if (problem.name === "NotAllowedError") return t("The camera is not allowed on this page. Allow it in the browser's settings of this page, or go on with “Take photo”.");
  if (problem.name === "NotReadableError") return t("Another program has the camera. Close it, or go on with “Take photo”.");
  return t("The camera could not be opened ({trouble}). Go on with “Take photo”.", { trouble: problem.name });
}
