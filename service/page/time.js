// One notion of time: a moment with its zone. Times of a batch are shown in the batch's zone, with the offset.
import { call } from "./api.js";
import { ask } from "./ask.js";
import { clockAndZone } from "./strip.js";

// Where this phone is, as an IANA name; undefined where it does not say: the bench computer's zone is taken then.
export function ownZone() {
  const name = Intl.DateTimeFormat().resolvedOptions().timeZone;
  return name && name !== "Etc/Unknown" ? name : undefined;
}

// The camera's photo is of this moment; one from the gallery has the file's own time, and its EXIF goes before that.
export function whenSnapped(input, file) {
  if (input.id === "camera" || !file.lastModified) return { snapped_at: clockAndZone(new Date()), snapped_by: "phone" };
  return { snapped_at: clockAndZone(new Date(file.lastModified)), snapped_by: "file" };
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

export function zoneAsked(batch, done) {
  const fields = [{ name: "zone", label: "Zone of this batch's times, such as Europe/Lisbon", value: batch.zone, required: true, max: 60 }];
  ask("Zone", fields, async ({ zone }) => done(await call(`/api/batches/${batch.id}`, "PATCH", { zone: zone.trim() })));
}
