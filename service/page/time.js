// One notion of time: a moment with its zone. Times of a batch are shown in the batch's zone, with the offset.
import { language } from "./words.js";

const DAY = { en: "sv-SE" }[language] || language; // English dates as ISO 8601: day and month of others are read in two ways
const HOUR = { en: "en-GB" }[language] || language;

// Where this phone is, as an IANA name; undefined where it does not say: the bench computer's zone is taken then.
export function ownZone() {
  const name = Intl.DateTimeFormat().resolvedOptions().timeZone;
  return name && name !== "Etc/Unknown" ? name : undefined;
}

export function shownTime(text, zone) {
  const at = new Date(text);
  if (isNaN(at)) return "";
  const how = { hour: "2-digit", minute: "2-digit", timeZoneName: "longOffset" };
  const bare = (text) => text.replace(/GMT$/, "GMT+00:00").replace("GMT", ""); // as everywhere else: 14:05 +01:00
  try {
    return bare(at.toLocaleTimeString(HOUR, { ...how, timeZone: zone || ownZone() }));
  } catch {
    return bare(at.toLocaleTimeString(HOUR, how)); // a zone that this browser does not know
  }
}

let zone; // of the batch that is shown
export const showZone = (name) => (zone = name);

// Day and time in the shown batch's zone, with the offset.
export function shownAt(text) {
  const at = new Date(text);
  if (isNaN(at)) return "";
  const day = (timeZone) => at.toLocaleDateString(DAY, { year: "numeric", month: "2-digit", day: "2-digit", timeZone });
  try {
    return `${day(zone || ownZone())} ${shownTime(text, zone)}`;
  } catch {
    return `${day(undefined)} ${shownTime(text)}`;
  }
}
