// When a photo was taken: by its own EXIF (2.32, tables 4 and 7) with its zone, else by its file, else when it was chosen.
// The bench computer looks at the EXIF itself; here it puts photos in order, and tells which a dip belongs to.
import { clockAndZone } from "./strip.js";

const HEAD = 256 * 1024; // EXIF stands in a JPEG's first segments
const EXIF_IFD = 0x8769;
const TAKEN = 36867;
const OFFSET = 36881;
const LATELY_MS = 5000; // a file as young as this has the time at which the phone handed it over

// The TIFF block of a JPEG's EXIF segment, or null.
function exifOf(view) {
  if (view.byteLength < 4 || view.getUint16(0) !== 0xffd8) return null;
  for (let at = 2; at + 10 < view.byteLength && view.getUint8(at) === 0xff; at += 2 + view.getUint16(at + 2)) {
    const mark = view.getUint8(at + 1);
    if (mark === 0xda) return null;
    if (mark === 0xe1 && view.getUint32(at + 4) === 0x45786966) return new DataView(view.buffer, at + 10);
  }
  return null;
}

function tags(tiff, at, little) {
  const found = {};
  for (let n = 0; n < tiff.getUint16(at, little); n++) found[tiff.getUint16(at + 2 + 12 * n, little)] = at + 2 + 12 * n;
  return found;
}

function text(tiff, place, little) {
  if (place === undefined) return "";
  const count = Math.min(tiff.getUint32(place + 4, little), 64);
  const at = count > 4 ? tiff.getUint32(place + 8, little) : place + 8;
  return Array.from({ length: count }, (_, n) => String.fromCharCode(tiff.getUint8(at + n))).join("").replaceAll("\0", "").trim();
}

async function ownTime(file) {
  try {
    const tiff = exifOf(new DataView(await file.slice(0, HEAD).arrayBuffer()));
    if (!tiff) return null;
    const little = tiff.getUint16(0) === 0x4949;
    const first = tags(tiff, tiff.getUint32(4, little), little);
    const detail = tags(tiff, tiff.getUint32(first[EXIF_IFD] + 8, little), little);
    const parts = /^(\d{4}):(\d\d):(\d\d) (\d\d:\d\d:\d\d)$/.exec(text(tiff, detail[TAKEN], little));
    if (!parts) return null;
    const local = `${parts[1]}-${parts[2]}-${parts[3]}T${parts[4]}`;
    const zone = text(tiff, detail[OFFSET], little);
    const said = /^[+-]\d\d:\d\d$/.test(zone) ? local + zone : clockAndZone(new Date(local)); // no zone: the phone's own
    return isNaN(new Date(said)) ? null : { at: new Date(said), snapped_at: said, snapped_by: "file" };
  } catch {
    return null; // a broken block says nothing
  }
}

// {at, snapped_at, snapped_by: "file" or "upload"}; with "upload" nobody knows when it was taken.
export async function photoTime(file, chosen) {
  const own = await ownTime(file);
  if (own) return own;
  const filed = file.lastModified ? new Date(file.lastModified) : null;
  if (filed && filed < chosen - LATELY_MS) return { at: filed, snapped_at: clockAndZone(filed), snapped_by: "file" };
  return { at: chosen, snapped_at: clockAndZone(chosen), snapped_by: "upload" };
}
