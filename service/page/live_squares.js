// Dark squares in a small grey picture: pixels darker than what is around them, joined to patches, and of those patches the
// corners that have four straight sides. No document, no words. A picture is {grey: Uint8Array, width, height}; pixels have
// their centres at whole numbers.
import { NUMBERS } from "./live_numbers.js";

const LEAST_SIDE = 9; // pixels: a mark's cell is then one and a half
const MOST_SIDE = 2048; // pixels of a frame
const MOST_BLACK = 0.93; // of a mark's square: the blackest of the six has 30 of 36 cells so
const MOST_TRIED = 400; // dark patches looked at in a picture: gravel has thousands
const MOST_PATCHES = 20000; // of all sizes; grain beyond them is left alone

let kept = { size: 0 };

// Room for one size of picture, made once: what is thrown away at each frame makes a slow phone stop to tidy up.
function rooms(width, height) {
  if (kept.size !== width * height)
    kept = { size: width * height, sums: new Uint32Array((width + 1) * (height + 1)), label: new Int32Array(width * height), parent: new Int32Array(MOST_PATCHES), x0: new Int32Array(MOST_PATCHES), x1: new Int32Array(MOST_PATCHES), y0: new Int32Array(MOST_PATCHES), y1: new Int32Array(MOST_PATCHES), count: new Int32Array(MOST_PATCHES) };
  return kept;
}

// Corners of each dark square, clockwise as seen: (4, 2) each.
export function squares({ grey, width, height }) {
  const { label } = rooms(width, height);
  darkPlaces(grey, width, height, label);
  return patches(label, width, height).slice(0, MOST_TRIED).map((patch) => fourCorners(label, width, patch)).filter(Boolean);
}

// label: -1 where a pixel is clearly darker than the mean around it, else 0. Sums over boxes by the summed-area table
// (Crow 1984, from memory).
function darkPlaces(grey, width, height, label) {
  const { sums } = kept;
  const wide = width + 1;
  for (let y = 0; y < height; y++) {
    let row = 0;
    for (let x = 0; x < width; x++) {
      row += grey[y * width + x];
      sums[(y + 1) * wide + x + 1] = sums[y * wide + x + 1] + row;
    }
  }
  const reach = Math.round(NUMBERS.window * Math.max(width, height));
  const { dark } = NUMBERS;
  for (let y = 0; y < height; y++) {
    const top = Math.max(0, y - reach) * wide;
    const bottom = Math.min(height, y + reach + 1) * wide;
    const rows = (bottom - top) / wide;
    const line = y * width;
    for (let x = 0; x < width; x++) {
      const left = x > reach ? x - reach : 0;
      const right = x + reach + 1 < width ? x + reach + 1 : width;
      const sum = sums[bottom + right] - sums[bottom + left] - sums[top + right] + sums[top + left];
      const area = rows * (right - left);
      label[line + x] = (grey[line + x] + 1) * area < dark * sum ? -1 : 0;
    }
  }
}

function root(parent, n) {
  while (parent[n] !== n) n = parent[n] = parent[parent[n]];
  return n;
}

// Connected dark patches of a mark's size, the squarest first. Runs of a row are joined with those of the row above.
function patches(label, width, height) {
  const { parent, x0, x1, y0, y1, count } = kept;
  let last = 0;
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      if (!label[y * width + x]) continue;
      const begin = x;
      let mine = 0;
      for (; x < width && label[y * width + x]; x++) {
        const above = y ? label[(y - 1) * width + x] : 0;
        if (!above || above === mine) continue;
        const other = root(parent, above);
        if (!mine || mine === other) {
          mine = other;
          continue;
        }
        const [keep, gone] = mine < other ? [mine, other] : [other, mine];
        parent[gone] = keep;
        x0[keep] = Math.min(x0[keep], x0[gone]);
        x1[keep] = Math.max(x1[keep], x1[gone]);
        y0[keep] = Math.min(y0[keep], y0[gone]);
        y1[keep] = Math.max(y1[keep], y1[gone]);
        count[keep] += count[gone];
        mine = keep;
      }
      if (!mine) {
        if (last + 1 >= MOST_PATCHES) {
          label.fill(0, y * width + begin, y * width + x);
          continue;
        }
        mine = ++last;
        parent[mine] = mine;
        [x0[mine], x1[mine], y0[mine], y1[mine], count[mine]] = [begin, x - 1, y, y, 0];
      }
      x0[mine] = Math.min(x0[mine], begin);
      x1[mine] = Math.max(x1[mine], x - 1);
      y1[mine] = y;
      count[mine] += x - begin;
      label.fill(mine, y * width + begin, y * width + x);
    }
  }
  const found = [];
  const most = 0.5 * Math.min(width, height);
  for (let n = 1; n <= last; n++) {
    if (parent[n] !== n) continue;
    const [w, h] = [x1[n] - x0[n] + 1, y1[n] - y0[n] + 1];
    const [long, short] = [Math.max(w, h), Math.min(w, h)];
    if (long < LEAST_SIDE || long > most || short < 0.3 * long || count[n] < 0.2 * w * h) continue;
    if (x0[n] > 0 && y0[n] > 0 && x1[n] < width - 1 && y1[n] < height - 1) found.push({ of: n, x0: x0[n], x1: x1[n], y0: y0[n], y1: y1[n], count: count[n], square: short / long });
  }
  return found.sort((a, b) => b.square - a.square);
}

// The rim of a patch: where it begins and ends in each row and each column, half a pixel beyond the last dark ones.
const [rimX, rimY] = [new Float32Array(4 * MOST_SIDE), new Float32Array(4 * MOST_SIDE)];
let rim = 0;

function rimPoint(x, y) {
  rimX[rim] = x;
  rimY[rim++] = y;
}

function rimOf(label, width, { of, x0, x1, y0, y1 }) {
  const { parent } = kept; // parent[0] is 0: where nothing is dark
  rim = 0;
  for (let y = y0; y <= y1; y++) {
    let [a, b] = [x0, x1];
    while (a <= x1 && root(parent, label[y * width + a]) !== of) a++;
    while (b >= a && root(parent, label[y * width + b]) !== of) b--;
    if (a > b) continue;
    rimPoint(a - 0.5, y);
    rimPoint(b + 0.5, y);
  }
  for (let x = x0; x <= x1; x++) {
    let [a, b] = [y0, y1];
    while (a <= y1 && root(parent, label[a * width + x]) !== of) a++;
    while (b >= a && root(parent, label[b * width + x]) !== of) b--;
    if (a > b) continue;
    rimPoint(x, a - 0.5);
    rimPoint(x, b + 0.5);
  }
}

// The rim's point that is farthest from a place.
function farthestFrom(x, y) {
  let [best, most] = [0, -1];
  for (let n = 0; n < rim; n++) {
    const far = (rimX[n] - x) ** 2 + (rimY[n] - y) ** 2;
    if (far > most) [best, most] = [n, far];
  }
  return [rimX[best], rimY[best]];
}

// Corners of a patch that has four straight sides, clockwise as seen; null of any other.
function fourCorners(label, width, patch) {
  const { x0, x1, y0, y1, count } = patch;
  rimOf(label, width, patch);
  const first = farthestFrom((x0 + x1) / 2, (y0 + y1) / 2);
  const third = farthestFrom(...first);
  const [ux, uy] = [third[0] - first[0], third[1] - first[1]];
  let [low, high, least, most] = [0, 0, 0, 0];
  for (let n = 0; n < rim; n++) {
    const off = ux * (rimY[n] - first[1]) - uy * (rimX[n] - first[0]);
    if (off < least) [low, least] = [n, off];
    if (off > most) [high, most] = [n, off];
  }
  if (!least || !most) return null;
  const rough = [first, [rimX[low], rimY[low]], third, [rimX[high], rimY[high]]];
  const lines = [];
  for (let n = 0; n < 4; n++) {
    const line = sideThrough(rough[n], rough[(n + 1) % 4]);
    if (!line) return null;
    lines.push(line);
  }
  const corners = [3, 0, 1, 2].map((before, n) => crossing(lines[before], lines[n]));
  if (corners.some((c) => !c)) return null;
  for (let n = 0; n < 4; n++) {
    if (Math.hypot(corners[n][0] - rough[n][0], corners[n][1] - rough[n][1]) > 0.25 * (x1 - x0 + y1 - y0)) return null;
    const [a, b, c] = [corners[n], corners[(n + 1) % 4], corners[(n + 2) % 4]];
    if ((b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0]) <= 0) return null; // y goes down: clockwise is positive
  }
  const [a, b, c, d] = corners;
  const area = 0.5 * Math.abs((c[0] - a[0]) * (d[1] - b[1]) - (c[1] - a[1]) * (d[0] - b[0]));
  return count < MOST_BLACK * area ? corners : null;
}

// The straight line {x, y, dx, dy} through the rim between two corners, null where the rim is not straight there.
function sideThrough([ax, ay], [bx, by]) {
  const long = Math.hypot(bx - ax, by - ay);
  if (long < 0.5 * LEAST_SIDE) return null;
  const [ux, uy] = [(bx - ax) / long, (by - ay) / long];
  const off = Math.max(1.6, 0.08 * long);
  let [n, sx, sy, sxx, sxy, syy] = [0, 0, 0, 0, 0, 0];
  for (let k = 0; k < rim; k++) {
    const [px, py] = [rimX[k], rimY[k]];
    const along = (px - ax) * ux + (py - ay) * uy;
    const across = (py - ay) * ux - (px - ax) * uy;
    if (along < 0.12 * long || along > 0.88 * long || Math.abs(across) > off) continue;
    n++;
    sx += px;
    sy += py;
    sxx += px * px;
    sxy += px * py;
    syy += py * py;
  }
  if (n < 0.5 * long) return null;
  const [mx, my] = [sx / n, sy / n];
  const [vx, vxy, vy] = [sxx / n - mx * mx, sxy / n - mx * my, syy / n - my * my];
  const turn = 0.5 * Math.atan2(2 * vxy, vx - vy);
  const [dx, dy] = [Math.cos(turn), Math.sin(turn)];
  const spread = vx * dy * dy - 2 * vxy * dx * dy + vy * dx * dx;
  return Math.sqrt(Math.max(0, spread)) > Math.max(0.7, 0.035 * long) ? null : { x: mx, y: my, dx, dy };
}

function crossing(a, b) {
  const det = a.dx * b.dy - a.dy * b.dx;
  if (Math.abs(det) < 0.3) return null; // sides nearly in one line
  const s = ((b.x - a.x) * b.dy - (b.y - a.y) * b.dx) / det;
  return [a.x + s * a.dx, a.y + s * a.dy];
}
