// The card's marks in a small grey picture, many times a second: which of the dark squares have a mark's bits, and the card
// that they agree on. No document, no words. Corners are those of the layout's order, in pixels.
import { at, mapOf } from "./live_map.js";
import { CARD, NUMBERS } from "./live_numbers.js";
import { squares } from "./live_squares.js";

const CELLS = 6; // 4 by 4 bits within a black border
const BITS_OFF = 1; // of 16: any two of the marks differ in four or more, at any turn
const FRAME_OFF = 3; // of the 20 cells of the border
const NEAR = [0.25, 0.5]; // how far a mark may lie from where another puts it: share of the way there, and of its side
const NEARER = [0.05, 0.3];

// Marks found: [{id, corners}]; an id may be there twice, where two cards are in the picture.
export function findMarks(picture) {
  return squares(picture).map((corners) => readBits(picture.grey, picture.width, picture.height, corners)).filter(Boolean);
}

// Which mark has these corners, and its corners beginning with the layout's first; null where the bits are of none.
function readBits(grey, width, height, corners) {
  const map = mapOf([[0, 0], [CELLS, 0], [CELLS, CELLS], [0, CELLS]], corners);
  if (!map) return null;
  const cells = new Float64Array(CELLS * CELLS);
  for (let r = 0; r < CELLS; r++)
    for (let c = 0; c < CELLS; c++) {
      let sum = 0;
      for (const dy of [0.35, 0.65])
        for (const dx of [0.35, 0.65]) {
          const [x, y] = at(map, c + dx, r + dy);
          sum += level(grey, width, height, x, y);
        }
      cells[r * CELLS + c] = sum / 4;
    }
  const inner = (n) => n % CELLS > 0 && n % CELLS < CELLS - 1 && n >= CELLS && n < CELLS * (CELLS - 1);
  const border = [...cells].filter((_, n) => !inner(n));
  const black = border.reduce((s, v) => s + v, 0) / border.length;
  const bits = [...cells].filter((_, n) => inner(n));
  const white = [...bits].sort((a, b) => b - a).slice(0, 4).reduce((s, v) => s + v, 0) / 4;
  if (white - black < NUMBERS.contrast * white + 2) return null;
  const middle = (white + black) / 2;
  if (border.filter((v) => v > middle).length > FRAME_OFF) return null;
  const seen = bits.map((v) => v > middle);
  for (const { id, bits: own } of CARD.marks)
    for (let turn = 0; turn < 4; turn++) {
      let off = 0;
      for (let r = 0; r < 4; r++) for (let c = 0; c < 4; c++) off += seen[4 * r + c] !== (turned(own, r, c, turn) === "1");
      if (off <= BITS_OFF) return { id, corners: [0, 1, 2, 3].map((n) => corners[(n + turn) % 4]) };
    }
  return null;
}

// The bit at row r and column c of a mark turned clockwise by so many quarters.
function turned(bits, r, c, turn) {
  for (let n = 0; n < turn; n++) [r, c] = [3 - c, r];
  return bits[4 * r + c];
}

// Grey between pixels; beyond the picture its rim.
export function level(grey, width, height, x, y) {
  const cx = x < 0 ? 0 : x > width - 1.001 ? width - 1.001 : x;
  const cy = y < 0 ? 0 : y > height - 1.001 ? height - 1.001 : y;
  const [i, j] = [cx | 0, cy | 0];
  const [u, v] = [cx - i, cy - j];
  const k = j * width + i;
  return (grey[k] * (1 - u) + grey[k + 1] * u) * (1 - v) + (grey[k + width] * (1 - u) + grey[k + width + 1] * u) * v;
}

// The card that most marks agree on: {map: card mm to pixels, ids, marks}, or null without a mark.
export function cardOf(marks) {
  let best = [];
  for (const seed of marks) {
    let chosen = [seed];
    for (const near of [NEAR, NEARER]) {
      const map = mapThrough(chosen);
      chosen = map ? agreeing(marks, map, seed, near) : [];
      if (!chosen.length) break;
    }
    if (chosen.length > best.length) best = chosen;
    if (best.length === CARD.marks.length) break;
  }
  const map = best.length ? mapThrough(best) : null;
  return map && { map, ids: best.map((m) => m.id), marks: best };
}

const placeOf = Object.fromEntries(CARD.marks.map((m) => [m.id, m.corners]));
const mapThrough = (marks) => mapOf(marks.flatMap((m) => placeOf[m.id]), marks.flatMap((m) => m.corners));

function agreeing(marks, map, seed, [ofWay, ofSide]) {
  const best = new Map();
  for (const mark of marks) {
    const [p, q] = [mark.corners[0], mark.corners[2]];
    const side = Math.hypot(p[0] - q[0], p[1] - q[1]) / Math.SQRT2;
    const way = Math.hypot(p[0] - seed.corners[0][0], p[1] - seed.corners[0][1]);
    let off = 0;
    for (let n = 0; n < 4; n++) {
      const [x, y] = at(map, ...placeOf[mark.id][n]);
      off = Math.max(off, Math.hypot(x - mark.corners[n][0], y - mark.corners[n][1]));
    }
    if (off < ofWay * way + ofSide * side && !(off >= best.get(mark.id)?.off)) best.set(mark.id, { off, mark });
  }
  return [...best.values()].map((one) => one.mark);
}
