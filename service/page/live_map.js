// A flat thing seen by a camera: the map from its millimetres to the picture's pixels, and back. No document, no words.

// The map (9 numbers, rows of a 3 by 3 matrix) that takes points `from` to points `to`, each [x, y], four or more: exactly
// for four, else with the least squared error of the linear equations. Null where it can't be told.
export function mapOf(from, to) {
  const [a, b] = [evened(from), evened(to)];
  const sums = Array.from({ length: 8 }, () => new Float64Array(9));
  for (let n = 0; n < from.length; n++) {
    const [x, y] = a.points[n];
    const [u, v] = b.points[n];
    for (const row of [[x, y, 1, 0, 0, 0, -u * x, -u * y, u], [0, 0, 0, x, y, 1, -v * x, -v * y, v]])
      for (let i = 0; i < 8; i++) for (let j = 0; j < 9; j++) sums[i][j] += row[i] * row[j];
  }
  const h = solved(sums);
  return h && times(times(inverse(b.to), [...h, 1]), a.to);
}

// Points moved about their middle and scaled to about one, so that squares of pixels do not eat the digits.
function evened(points) {
  const n = points.length;
  const mx = points.reduce((s, p) => s + p[0], 0) / n;
  const my = points.reduce((s, p) => s + p[1], 0) / n;
  const size = points.reduce((s, p) => s + Math.hypot(p[0] - mx, p[1] - my), 0) / n || 1;
  return { points: points.map(([x, y]) => [(x - mx) / size, (y - my) / size]), to: [1 / size, 0, -mx / size, 0, 1 / size, -my / size, 0, 0, 1] };
}

// Gauss with pivots, rows of 8 with their right side.
function solved(rows) {
  for (let i = 0; i < 8; i++) {
    let best = i;
    for (let k = i + 1; k < 8; k++) if (Math.abs(rows[k][i]) > Math.abs(rows[best][i])) best = k;
    if (Math.abs(rows[best][i]) < 1e-10) return null;
    [rows[i], rows[best]] = [rows[best], rows[i]];
    for (let k = i + 1; k < 8; k++) {
      const share = rows[k][i] / rows[i][i];
      for (let j = i; j < 9; j++) rows[k][j] -= share * rows[i][j];
    }
  }
  const out = new Array(8).fill(0);
  for (let i = 7; i >= 0; i--) {
    let left = rows[i][8];
    for (let j = i + 1; j < 8; j++) left -= rows[i][j] * out[j];
    out[i] = left / rows[i][i];
  }
  return out;
}

export function times(a, b) {
  const out = new Array(9).fill(0);
  for (let i = 0; i < 3; i++) for (let j = 0; j < 3; j++) for (let k = 0; k < 3; k++) out[3 * i + j] += a[3 * i + k] * b[3 * k + j];
  return out;
}

export function inverse([a, b, c, d, e, f, g, h, i]) {
  const [p, q, r] = [e * i - f * h, f * g - d * i, d * h - e * g];
  const det = a * p + b * q + c * r;
  return [p, c * h - b * i, b * f - c * e, q, a * i - c * g, c * d - a * f, r, b * g - a * h, a * e - b * d].map((v) => v / det);
}

export function at(m, x, y) {
  const w = m[6] * x + m[7] * y + m[8];
  return [(m[0] * x + m[1] * y + m[2]) / w, (m[3] * x + m[4] * y + m[5]) / w];
}

// How a small step in x and one in y move the picture's point: [[du/dx, du/dy], [dv/dx, dv/dy]].
export function stepAt(m, x, y) {
  const w = m[6] * x + m[7] * y + m[8];
  const [u, v] = at(m, x, y);
  return [
    [(m[0] - u * m[6]) / w, (m[1] - u * m[7]) / w],
    [(m[3] - v * m[6]) / w, (m[4] - v * m[7]) / w],
  ];
}

// Largest and smallest stretch of a step in any direction.
export function stretches([[a, b], [c, d]]) {
  const sum = a * a + b * b + c * c + d * d;
  const det = Math.abs(a * d - b * c);
  const root = Math.sqrt(Math.max(0, sum * sum - 4 * det * det));
  return [Math.sqrt((sum + root) / 2), Math.sqrt(Math.max(0, (sum - root) / 2))];
}
