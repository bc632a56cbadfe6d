// Whether a picture of the card would be a good photo: what is measured on one frame, and the first thing that is wrong
// with it. No document, no words. A frame is small, as live_frame.js makes it; `fine(box)` gives a piece of the same frame
// in the camera's full resolution as {grey, width, height, x, y, scale}: the piece's rim lies at (x, y) of the frame's,
// `scale` of its pixels take one of the frame's.
import { cardOf, findMarks, level } from "./live_find.js";
import { at, stepAt, stretches } from "./live_map.js";
import { CARD, NUMBERS } from "./live_numbers.js";

const [WIDE, HIGH] = CARD.size;
const MIDDLE = [WIDE / 2, HIGH / 2];
const BURNT = 251; // of 255: a channel that has reached the end of its scale; some phones let none come so far
const FLAT = 0.03; // as a logarithm: a grey that is no darker than the paper is burnt out, too, wherever the scale ends
const HALF_MM = 2.2; // an edge is looked at so far to both sides: the mark's border is 2.5 mm wide
const STEP_MM = 0.1;
const COLOURED_NEAR = 2; // of a cell's four neighbours are coloured, too, or it is noise
const BAND_MM = [4.5, 9]; // bare paper is looked at so far from the strip's middle line
const CARRIER_MM = 2; // its bare parts lie within this of that line
const [GAP, MEAN] = [1, 3]; // mm on each side of an edge: left out, and compared

// What is seen of the card: no `ids` without one. Places are in the frame's pixels, lengths in mm on the card.
export function lookAt(frame, fine) {
  const found = cardOf(findMarks(frame));
  if (!found) return { ids: [], bright: brightest(frame.grey) };
  const { map, ids, marks } = found;
  const corners = [[0, 0], [WIDE, 0], [WIDE, HIGH], [0, HIGH]].map(([x, y]) => at(map, x, y));
  const [most, least] = stretches(stepAt(map, ...MIDDLE));
  const long = Math.max(frame.width, frame.height);
  const seen = {
    ids,
    map,
    corners,
    margin: Math.min(...corners.flatMap(([x, y]) => [x, y, frame.width - 1 - x, frame.height - 1 - y])) / long,
    share: (WIDE * Math.sqrt(most * least)) / long,
    tilt: (Math.acos(Math.min(1, least / most)) * 180) / Math.PI, // of a distant camera the short way is the long one's cosine
    bright: brightest(frame.grey),
  };
  const whites = meansAt(frame, map, CARD.whites);
  const planes = [0, 1, 2].map((c) => planeThrough(whites.map((one) => [one.x, one.y, Math.log(one.rgb[c] + 2)])));
  seen.white = middleOf(whites.map((w) => Math.max(...w.rgb)));
  seen.burnt = Math.max(share(whites, ({ rgb }) => Math.max(...rgb) >= BURNT), share(meansAt(frame, map, CARD.greys), (one) => one.rgb.some((v, c) => Math.log(v + 2) > planes[c](one.x, one.y) - FLAT)));
  if (seen.margin > -0.02) {
    Object.assign(seen, sharpness(marks, fine, Math.sqrt(most * least)));
    Object.assign(seen, laneOf(frame, map, planes));
  }
  return seen;
}

const middleOf = (values) => (values.length ? Float32Array.from(values).sort()[values.length >> 1] : 0);

function brightest(grey) {
  const counts = new Uint32Array(256);
  for (let n = 0; n < grey.length; n += 7) counts[grey[n]]++;
  let left = (0.02 * grey.length) / 7;
  for (let v = 255; v > 0; v--) if ((left -= counts[v]) < 0) return v;
  return 0;
}

const colour3 = [0, 0, 0];

function rgbAt(frame, x, y) {
  const [i, j] = [Math.round(x), Math.round(y)];
  if (i < 0 || j < 0 || i >= frame.width || j >= frame.height) return null;
  frame.rgb(i, j, colour3);
  return colour3;
}

const share = (all, holds) => all.filter(holds).length / Math.max(all.length, 1);

// Means of patches of the card, those that are wholly seen.
function meansAt(frame, map, places) {
  const out = [];
  for (const [x, y] of places) {
    const sum = [0, 0, 0];
    let n = 0;
    for (const dy of [-1.5, 0, 1.5])
      for (const dx of [-1.5, 0, 1.5]) {
        const rgb = rgbAt(frame, ...at(map, x + dx, y + dy));
        if (!rgb) continue;
        n++;
        for (const c of [0, 1, 2]) sum[c] += rgb[c];
      }
    if (n === 9) out.push({ x, y, rgb: sum.map((v) => v / 9) });
  }
  return out;
}

// --- sharpness

// 10 to 90 % width of the marks' outer edges, mm on the card, in the direction in which it is larger.
function sharpness(marks, fine, pxPerMm) {
  const across = [[], []];
  let scale = 1;
  for (const mark of [marks[0], marks[marks.length - 1]]) {
    const xs = mark.corners.map((c) => c[0]);
    const ys = mark.corners.map((c) => c[1]);
    const more = HALF_MM * 1.5 * pxPerMm;
    const piece = fine({ x0: Math.min(...xs) - more, y0: Math.min(...ys) - more, x1: Math.max(...xs) + more, y1: Math.max(...ys) + more });
    scale = piece.scale;
    for (let n = 0; n < 4; n++) {
      const width = edgeWidth(piece, mark.corners[n], mark.corners[(n + 1) % 4], pxPerMm);
      if (width !== null) across[n % 2].push(width);
    }
  }
  const means = across.filter((a) => a.length).map((a) => a.reduce((s, v) => s + v, 0) / a.length);
  return { edge: means.length ? Math.max(...means) : Infinity, scale, pxPerMm: pxPerMm * scale };
}

// Across one side of a mark, clockwise: outside lies to the left of the way from a to b as the picture is seen, y down.
function edgeWidth(piece, [ax, ay], [bx, by], pxPerMm) {
  const long = Math.hypot(bx - ax, by - ay);
  const [nx, ny] = [(by - ay) / long, -(bx - ax) / long];
  const count = Math.round((2 * HALF_MM) / STEP_MM) + 1;
  const profile = new Float64Array(count);
  for (let s = 0.15; s < 0.86; s += 0.07)
    for (let k = 0; k < count; k++) {
      const away = (HALF_MM - k * STEP_MM) * pxPerMm;
      const [x, y] = [ax + s * (bx - ax) + away * nx, ay + s * (by - ay) + away * ny];
      profile[k] += level(piece.grey, piece.width, piece.height, (x + 0.5 - piece.x) * piece.scale - 0.5, (y + 0.5 - piece.y) * piece.scale - 0.5);
    }
  const end = Math.round(0.4 / STEP_MM);
  const mean = (from) => profile.slice(from, from + end).reduce((s, v) => s + v, 0) / end;
  const [light, dark] = [mean(0), mean(count - end)];
  if (light - dark < 0.15 * light) return null;
  const reached = (share) => {
    const wanted = light - share * (light - dark);
    for (let k = 1; k < count; k++) if (profile[k] <= wanted) return k - (wanted - profile[k]) / Math.max(profile[k - 1] - profile[k], 1e-9);
    return count;
  };
  return Math.max(0, reached(0.9) - reached(0.1)) * STEP_MM;
}

// --- the lane: strip, shine, a shadow's edge

// The lane in cells of 1 mm: logarithms of its light over that of the card's white there, the lane's own middle being zero.
// Of each cell the smallest channel, their mean, and how far they lie apart; NaN where it can't be seen.
function laneCells(frame, map, planes) {
  const [x0, y0, w, h] = CARD.lane;
  const { width, height } = frame;
  const count = w * h;
  const ratio = [0, 1, 2].map(() => new Float32Array(count).fill(NaN));
  for (let r = 0; r < h; r++)
    for (let q = 0; q < w; q++) {
      let [n, red, green, blue] = [0, 0, 0, 0];
      for (let k = 0; k < 4; k++) {
        const x = x0 + q + (k & 1 ? 0.75 : 0.25);
        const y = y0 + r + (k & 2 ? 0.75 : 0.25);
        const d = map[6] * x + map[7] * y + map[8];
        const i = Math.round((map[0] * x + map[1] * y + map[2]) / d);
        const j = Math.round((map[3] * x + map[4] * y + map[5]) / d);
        if (i < 0 || j < 0 || i >= width || j >= height) continue;
        frame.rgb(i, j, colour3);
        n++;
        red += colour3[0];
        green += colour3[1];
        blue += colour3[2];
      }
      if (n < 4) continue;
      const at = r * w + q;
      ratio[0][at] = Math.log(red / 4 + 2) - planes[0](x0 + q + 0.5, y0 + r + 0.5);
      ratio[1][at] = Math.log(green / 4 + 2) - planes[1](x0 + q + 0.5, y0 + r + 0.5);
      ratio[2][at] = Math.log(blue / 4 + 2) - planes[2](x0 + q + 0.5, y0 + r + 0.5);
    }
  const [a, b, c] = ratio.map((values) => middleOf(values.filter((v) => v === v)));
  const [low, mean, colour] = [0, 1, 2].map(() => new Float32Array(count).fill(NaN));
  for (let n = 0; n < count; n++) {
    const [red, green, blue] = [ratio[0][n] - a, ratio[1][n] - b, ratio[2][n] - c];
    low[n] = Math.min(red, green, blue);
    mean[n] = (red + green + blue) / 3;
    colour[n] = Math.max(red, green, blue) - low[n];
  }
  return { w, h, low, mean, colour };
}

// z over x and y by least squares, twice: the second time without what is far off (a white that is covered or shines).
function planeThrough(points) {
  let use = points;
  let plane = () => middleOf(points.map((p) => p[2]));
  for (let round = 0; round < 2 && use.length >= 4; round++) {
    const sums = [0, 1, 2].map(() => [0, 0, 0, 0]);
    for (const [x, y, z] of use) {
      const row = [1, x / WIDE, y / HIGH, z];
      for (let i = 0; i < 3; i++) for (let j = 0; j < 4; j++) sums[i][j] += row[i] * row[j];
    }
    for (let i = 0; i < 3; i++)
      for (let k = 0; k < 3; k++) {
        if (k === i || !sums[i][i]) continue;
        const share = sums[k][i] / sums[i][i];
        for (let j = 0; j < 4; j++) sums[k][j] -= share * sums[i][j];
      }
    const [a, b, c] = [0, 1, 2].map((i) => sums[i][3] / sums[i][i]);
    if (![a, b, c].every(Number.isFinite)) break;
    plane = (x, y) => a + (b * x) / WIDE + (c * y) / HIGH;
    const now = plane;
    use = points.filter(([x, y, z]) => Math.abs(z - now(x, y)) < 0.15);
  }
  return plane;
}

function laneOf(frame, map, planes) {
  const lane = laneCells(frame, map, planes);
  const { w, h, colour } = lane;
  const coloured = (k) => k >= 0 && k < w * h && colour[k] > NUMBERS.coloured;
  const strip = [];
  for (let n = 0; n < w * h; n++) {
    if (!coloured(n)) continue;
    const near = (n % w && coloured(n - 1)) + (n % w < w - 1 && coloured(n + 1)) + coloured(n - w) + coloured(n + w);
    if (near >= COLOURED_NEAR) strip.push(n);
  }
  const line = lineThrough(w, h, strip);
  const beside = paperBeside(lane, line);
  return { strip: strip.length, shine: shineOn(lane, line, beside), shadow: shadowOn(beside) };
}

const along = (n, w, line) => ((n % w) + 0.5 - line.x) * line.ux + (((n / w) | 0) + 0.5 - line.y) * line.uy;
const across = (n, w, line) => (((n / w) | 0) + 0.5 - line.y) * line.ux - ((n % w) + 0.5 - line.x) * line.uy;

// Light of the bare paper on the two sides of the strip, by the mm along it: two maps.
function paperBeside({ w, h, mean, colour }, line) {
  const bands = [new Map(), new Map()];
  for (let n = 0; n < w * h; n++) {
    if (!(colour[n] <= NUMBERS.coloured)) continue;
    const away = across(n, w, line);
    if (Math.abs(away) < BAND_MM[0] || Math.abs(away) > BAND_MM[1]) continue;
    const [band, s] = [bands[away > 0 ? 1 : 0], Math.round(along(n, w, line))];
    if (!band.has(s)) band.set(s, []);
    band.get(s).push(mean[n]);
  }
  return bands.map((band) => new Map([...band].filter(([, v]) => v.length >= 2).map(([s, v]) => [s, middleOf(v)])));
}

// Square mm that are brighter in all channels than the paper beside them and than the strip's own bare carrier.
function shineOn({ w, low, colour }, line, beside) {
  const bare = [];
  for (let n = 0; n < low.length; n++) if (colour[n] <= NUMBERS.coloured && Math.abs(across(n, w, line)) < CARRIER_MM) bare.push(low[n]);
  const least = Math.max(0, middleOf(bare));
  let shine = 0;
  for (let n = 0; n < low.length; n++) {
    if (!(low[n] > least + NUMBERS.brighter)) continue;
    const s = Math.round(along(n, w, line));
    let paper = least;
    for (const band of beside) for (let k = -4; k <= 4; k += 2) paper = Math.max(paper, band.get(s + k) ?? least);
    if (low[n] > paper + NUMBERS.brighter) shine++;
  }
  return shine;
}

// The largest step of light on that paper, along the strip or from one side to the other, as a logarithm.
function shadowOn(beside) {
  let most = 0;
  for (const band of beside)
    for (const s of band.keys()) {
      const mean = (from) => {
        const there = Array.from({ length: MEAN }, (_, n) => band.get(from + n)).filter((v) => v !== undefined);
        return there.length === MEAN ? there.reduce((a, v) => a + v, 0) / MEAN : null;
      };
      const [before, after] = [mean(s - GAP - MEAN), mean(s + GAP)];
      if (before !== null && after !== null) most = Math.max(most, Math.abs(after - before));
    }
  const sides = beside.map((band) => middleOf([...band.values()]));
  return beside.every((band) => band.size > 5) ? Math.max(most, Math.abs(sides[1] - sides[0])) : most;
}

// Middle and direction of what is coloured; the lane's own where there is nothing.
function lineThrough(w, h, strip) {
  if (strip.length < 4) return { x: w / 2, y: h / 2, ux: 1, uy: 0 };
  const [xs, ys] = [strip.map((n) => (n % w) + 0.5), strip.map((n) => ((n / w) | 0) + 0.5)];
  const mean = (v) => v.reduce((s, one) => s + one, 0) / v.length;
  const [x, y] = [mean(xs), mean(ys)];
  const [xx, xy, yy] = [mean(xs.map((v) => (v - x) ** 2)), mean(xs.map((v, n) => (v - x) * (ys[n] - y))), mean(ys.map((v) => (v - y) ** 2))];
  const turn = 0.5 * Math.atan2(2 * xy, xx - yy);
  return { x, y, ux: Math.cos(turn), uy: Math.sin(turn) };
}

// --- the verdict

// The first thing that is wrong, as a code, or null: the card first, then the hand, then what lies on it.
// `speed`: mm a second on the card; `wait`: whether the dip's time has not come yet.
export function wrongWith(seen, { kind, speed = 0, wait = false }) {
  if (!seen.ids.length) return seen.bright < NUMBERS.black ? "dark" : "no_card";
  if (seen.share < NUMBERS.share) return "far";
  if (seen.margin < NUMBERS.margin) return seen.share > NUMBERS.near ? "near" : "out";
  if (seen.ids.length < NUMBERS.marks) return seen.white < NUMBERS.white ? "dark" : seen.edge > NUMBERS.edge ? "blurred" : "covered";
  if (seen.tilt > NUMBERS.tilt) return "tilted";
  if (seen.white < NUMBERS.white) return "dark";
  if (seen.burnt > NUMBERS.burnt) return "bright";
  if (seen.pxPerMm < NUMBERS.resolution) return "far";
  if (kind === "ph") {
    if (seen.strip < NUMBERS.strip) return seen.shine > NUMBERS.shine ? "shine" : "no_strip";
    if (seen.shine > NUMBERS.shine) return "shine";
    if (seen.shadow > NUMBERS.shadow) return "shadow";
  }
  if (speed > NUMBERS.speed) return "moving";
  if (seen.edge > NUMBERS.edge) return "blurred";
  return kind === "ph" && wait ? "wait" : null;
}
