// What is said of a tint before its photo: how it was made, and by which photo its pair of vials is measured.
import { $, options, store } from "./dom.js";
import { number as shown, t } from "./words.js";

const HOURS = { blank: 8, swapped: 1 }; // until the service has said how long such a photo counts
let batch = null;
let entries = [];
let hours = HOURS;

const HELP = {
  tint: t("Undecided: a second photo would likely settle it. Both vials with the same blank in the same places (cell blank), then the tint again."),
  again: t("Undecided: the vials are measured now, so take the tint again."),
  blank: (h) => t("Both vials with the same blank, same depth, same places, same lamp as the tint. Counts for {h} h.", { h }),
  swapped: (h) => t("The tint's two vials exchanged. Then put them back and take the tint again, within {h} h.", { h }),
};
const SHOWN = { blank: t("cell blank"), swapped: t("swapped vials") };

export const matchingOf = (entry) => (entry.matching === "swapped" ? "swapped" : "blank");
export const shownBy = (entry) => SHOWN[matchingOf(entry)];

const number = (id) => {
  const text = $(id).value.trim().replace(",", ".");
  return text !== "" && Number(text) >= 0 ? Number(text) : null;
};

const washNow = () => (/^\d+$/.test($("wash").value.trim()) ? Number($("wash").value) : null);

// When it was taken: what corrects an entry has its photo.
const takenAt = (entry) => new Date(entry.log.snapped_at || entry.log.received_at);
const hoursOld = (entry) => Math.max(0, (Date.now() - takenAt(entry)) / 3.6e6);

// The photos of vials that count now, the newest first: well read, young enough, exchanged vials only of the same wash.
function usable() {
  const counts = (e) =>
    e.kind === "cells" && e.status === "ok" && e.log.corrected_by === null && !e.log.withdrawn && !e.log.unreadable &&
    hoursOld(e) <= hours[matchingOf(e)] && (matchingOf(e) === "blank" || e.log.wash === washNow());
  return entries.filter(counts).sort((a, b) => takenAt(b) - takenAt(a)).slice(0, 4);
}

// Whether the newest tint was left undecided, and not for want of vials that were measured.
function unsettled() {
  const last = entries.findLast((e) => e.kind === "tint" && e.log.corrected_by === null && !e.log.withdrawn);
  return Boolean(last) && last.decision === "undecided" && last.status !== "refused" && (last.cells || "none") === "none";
}

function age(entry) {
  const minutes = Math.round(60 * hoursOld(entry));
  return minutes < 60 ? `${minutes} min` : `${shown(minutes / 60, 1)} h`;
}

const tint = () => document.querySelector("input[name=kind]:checked").value === "tint";

function draw() {
  const shows = $("shows").value;
  const found = usable();
  const kept = store.get(`cells-${batch}`, "newest"); // "newest", "none", or a number that was chosen
  const named = found.find((e) => String(e.log.id) === String(kept));
  const chosen = kept === "none" || !found.length ? "" : (named || found[0]).log.id;
  options($("cells"), [...found.map((e) => [e.log.id, `${matchingOf(e) === "swapped" ? t("swapped {n}", { n: e.log.id }) : t("entry {n}", { n: e.log.id })}, ${age(e)}`]), ["", t("not measured")]], chosen);
  $("cells-field").hidden = shows !== "tint" || !found.length;
  $("tint-fields").hidden = !tint() || shows !== "tint";
  $("tint-cells").hidden = !tint();
  const help = HELP[shows === "tint" && chosen !== "" ? "again" : shows];
  $("tint-help").textContent = typeof help === "string" ? help : help(hours[shows]);
  $("tint-help").hidden = !tint() || (shows === "tint" && !unsettled());
}

// A batch is shown, or another kind of photo chosen.
export function showTint(now, about, found) {
  hours = { ...HOURS, ...(about.cells_hours || {}) };
  entries = found;
  batch = now ? now.id : null;
  draw();
}

// What goes with the photo.
export function takeTint() {
  const shows = $("shows").value;
  if (shows !== "tint") {
    $("shows").value = "tint"; // the next one is the tint itself
    draw();
    return { kind: "cells", matching: shows };
  }
  const depth = number("path");
  return {
    path_mm: depth > 0 ? depth : null,
    ammonia_excess: $("excess").value,
    liquid: $("liquid").value,
    flakes: $("flakes").value,
    ammonia_ph: number("drop-ph"),
    sample_ml: number("sample-ml"),
    drops: number("drops"),
    cells_entry: $("cells-field").hidden ? null : $("cells").value || null,
  };
}

export function tintButtons() {
  $("shows").onchange = draw;
  $("wash").addEventListener("input", draw);
  $("cells").onchange = () => {
    const first = usable()[0];
    const value = $("cells").value;
    store.set(`cells-${batch}`, value === "" ? "none" : first && String(first.log.id) === value ? "newest" : value);
    draw();
  };
  setInterval(draw, 20000); // it ages while nobody touches anything
  return draw;
}
