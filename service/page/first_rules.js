// What the first day works out by itself, without the page: nothing here shows or asks anything.

// pH values in a line: "4.01 7,00; 10.01". null where one can't be read.
export function typedPhs(text) {
  const parts = (text || "").split(/[;\s]+/).map((part) => part.replace(/,$/, "").replace(",", ".")).filter(Boolean);
  const values = parts.map((part) => (/^(\d{1,2})(\.\d+)?$/.test(part) ? Number(part) : NaN));
  return values.every((ph) => ph >= 0 && ph <= 14) ? [...new Set(values)] : null;
}

// Liquids ({key, ph}) in the order in which to photograph them: those without a photo first, each time the one farthest
// in pH from all that are there; then those with one photo; then the others. `photos`: {liquid} or {ph} of each.
export function inOrder(liquids, photos, [low, high]) {
  const count = (l) => photos.filter((p) => p.liquid === l.key).length;
  const within = (l) => l.ph !== null && l.ph >= low - 0.5 && l.ph <= high + 0.5;
  const known = photos.map((p) => p.ph);
  const left = liquids.filter((l) => within(l) && !count(l)).sort((a, b) => a.ph - b.ph);
  const found = [];
  while (left.length) {
    const far = (l) => (known.length ? Math.min(...known.map((ph) => Math.abs(ph - l.ph))) : low - l.ph);
    const next = left.reduce((best, l) => (far(l) > far(best) ? l : best));
    left.splice(left.indexOf(next), 1);
    known.push(next.ph);
    found.push(next);
  }
  const rest = liquids.filter((l) => within(l) && count(l)).sort((a, b) => count(a) - count(b) || a.ph - b.ph);
  return [...found, ...rest, ...liquids.filter((l) => !within(l))];
}

// Pads {start, end} (mm from the dipped end) in a strip of this length: null where they fit, else the first that does not
// with what is wrong: "order" (no length), "out" (beyond the strip) or "over" (it overlaps the one before).
export function misfit(pads, length) {
  for (const [n, { start, end }] of pads.entries()) {
    if (!(end - start >= 0.5)) return { n, why: "order" };
    if (start < 0 || end > length + 1e-9) return { n, why: "out" };
    if (n && start < pads[n - 1].end) return { n, why: "over" };
  }
  return null;
}

// An edge pulled to x mm, kept between its neighbours; in tenths of a millimetre.
export function pulled(pads, n, side, x, length) {
  const low = side === "start" ? (n ? pads[n - 1].end : 0) : pads[n].start + 0.5;
  const high = side === "start" ? pads[n].end - 0.5 : n + 1 < pads.length ? pads[n + 1].start : length;
  return Math.round(10 * Math.min(Math.max(x, low), high)) / 10;
}

// The affine map from a photo's pixels to mm along and across a strip, [a, b, c, d, e, f] as SVG and canvas take it.
// `outline`: its corners (px), those of the dipped end first and last, `length` and `width` in mm.
export function toStrip(outline, length, width) {
  const [p, q, r, s] = outline;
  const u = [0, 1].map((k) => (q[k] + r[k] - p[k] - s[k]) / 2 / length); // px for each mm along
  const v = [0, 1].map((k) => (s[k] + r[k] - p[k] - q[k]) / 2 / width);
  const middle = [0, 1].map((k) => (p[k] + q[k] + r[k] + s[k]) / 4);
  const det = u[0] * v[1] - u[1] * v[0];
  const [a, b, c, d] = [v[1] / det, -u[1] / det, -v[0] / det, u[0] / det];
  return [a, b, c, d, length / 2 - a * middle[0] - c * middle[1], width / 2 - b * middle[0] - d * middle[1]];
}

// Where the fields of a chart lie in its photo: {ph, pad, across, down} as shares of its width and height. `corners` are the
// middles of the fields of the first pH and pad 1, the last pH and pad 1, the last pH and last pad, the first pH and last
// pad; of the first two alone with one pad. A flat chart seen from anywhere is a homography of the unit square (Heckbert,
// Fundamentals of Texture Mapping and Image Warping, 1989, 2.2.3, from memory).
export function chartPlaces(phs, pads, corners) {
  const [[x0, y0], [x1, y1], [x2, y2], [x3, y3]] = pads > 1 ? corners : [corners[0], corners[1], corners[1], corners[0]];
  const last = Math.max(phs.length - 1, 1);
  let place = (u) => [x0 + u * (x1 - x0), y0 + u * (y1 - y0)];
  if (pads > 1) {
    const [ex, ey] = [x0 - x1 + x2 - x3, y0 - y1 + y2 - y3];
    const det = (x1 - x2) * (y3 - y2) - (x3 - x2) * (y1 - y2);
    const [g, h] = [(ex * (y3 - y2) - (x3 - x2) * ey) / det, ((x1 - x2) * ey - ex * (y1 - y2)) / det];
    place = (u, v) => {
      const w = 1 + g * u + h * v;
      return [(x0 + (x1 - x0 + g * x1) * u + (x3 - x0 + h * x3) * v) / w, (y0 + (y1 - y0 + g * y1) * u + (y3 - y0 + h * y3) * v) / w];
    };
  }
  const share = (value) => Math.round(1e5 * Math.min(1, Math.max(0, value))) / 1e5;
  return phs.flatMap((ph, n) => Array.from({ length: pads }, (_, pad) => {
    const [across, down] = place(n / last, pads > 1 ? pad / (pads - 1) : 0).map((value) => (Number.isFinite(value) ? share(value) : 0));
    return { ph, pad, across, down };
  }));
}
