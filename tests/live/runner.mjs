// Runs the assistant's own modules on frames from the standard input; one line of JSON for each.
// Each message: a line of JSON, then the bytes it announces: rgba of the small frame, then the grey full-resolution frame.
import { lookAt, wrongWith } from "./live_judge.js";
import { cardOf, findMarks } from "./live_find.js";
import { ofPixels, ofPlanes, pieceOf } from "./live_frame.js";
import { release } from "./live_release.js";

let held = Buffer.alloc(0);
let wanted = null;
let steps = release();

const fineOf = (grey, width, height, scale) => (box) => pieceOf(grey, width, height, { offset: 0, stride: width }, scale, box);

function answer({ does, width, height, full, at, kind, wait, speed }, bytes) {
  if (does === "marks") {
    const marks = findMarks({ grey: bytes, width, height });
    return { marks, card: cardOf(marks) };
  }
  if (does === "planes") {
    const frame = ofPlanes({ ...kind, data: bytes, width, height });
    const rgb = [];
    for (let n = 0, out = [0, 0, 0]; n < frame.grey.length; n++) {
      frame.rgb(n % frame.width, (n / frame.width) | 0, out);
      rgb.push(...out.map(Math.round));
    }
    return { width: frame.width, height: frame.height, rgb };
  }
  if (does === "begin") {
    steps = release();
    return {};
  }
  const small = 4 * width * height;
  const frame = ofPixels({ rgba: bytes.subarray(0, small), width, height });
  const began = performance.now();
  const seen = lookAt(frame, fineOf(bytes.subarray(small), full[0], full[1], full[0] / width));
  const told = does === "look" ? { code: wrongWith(seen, { kind, wait, speed }) } : steps.step(seen, at, { kind, wait });
  delete seen.map;
  return { ...told, seen, ms: performance.now() - began };
}

process.stdin.on("data", (chunk) => {
  held = held.length ? Buffer.concat([held, chunk]) : chunk;
  for (;;) {
    if (!wanted) {
      const end = held.indexOf(10);
      if (end < 0) return;
      wanted = JSON.parse(held.subarray(0, end).toString());
      held = held.subarray(end + 1);
    }
    if (held.length < wanted.bytes) return;
    const bytes = new Uint8Array(held.subarray(0, wanted.bytes));
    held = held.subarray(wanted.bytes);
    process.stdout.write(`${JSON.stringify(answer(wanted, bytes))}\n`);
    wanted = null;
  }
});
