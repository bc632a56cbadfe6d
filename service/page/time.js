// One notion of time: a moment with its zone. Times of a batch are shown in the batch's zone, with the offset.

// Where this phone is, as an IANA name; undefined where it does not say: the bench computer's zone is taken then.
export function ownZone() {
  const name = Intl.DateTimeFormat().resolvedOptions().timeZone;
  return name && name !== "Etc/Unknown" ? name : undefined;
}

export function shownTime(text, zone) {
  const at = new Date(text);
  if (isNaN(at)) return "";
  const how = { hour: "2-digit", minute: "2-digit", timeZoneName: "longOffset" };
  try {
    return at.toLocaleTimeString("en-GB", { ...how, timeZone: zone || ownZone() });
  } catch {
    return at.toLocaleTimeString("en-GB", how); // a zone that this browser does not know
  }
}

let zone; // of the batch that is shown
export const showZone = (name) => (zone = name);

// Day and time in the shown batch's zone, with the offset.
export function shownAt(text) {
  const at = new Date(text);
  if (isNaN(at)) return "";
  const day = (timeZone) => at.toLocaleDateString("sv-SE", { timeZone });
  try {
    return `${day(zone || ownZone())} ${shownTime(text, zone)}`;
  } catch {
    return `${day(undefined)} ${shownTime(text)}`;
  }
}
