// From frame to frame: how fast the hand moves, which one thing is said, and when the photo is taken. No document, no words.
import { wrongWith } from "./live_judge.js";
import { CARD, NUMBERS } from "./live_numbers.js";

const LONGEST_S = 0.5; // between two frames that tell a speed

export function release() {
  let before = null; // the last frame with a card: {seen, at}
  let fresh = null; // what was found lately, and since when: not yet said
  let said = { code: "no_card", since: 0 };
  let good = null; // since when nothing was wrong, and the frames since
  return {
    // One frame: what was seen at `at` (ms). Gives {code, spoken, ready}: what to say (null: hold still, it is good), whether
    // it has stood long enough to be spoken aloud, and whether to take the photo.
    step(seen, at, { kind, wait }) {
      const speed = seen.ids.length ? speedOf(before, seen, at) : 0;
      if (seen.ids.length) before = { seen, at };
      const code = wrongWith(seen, { kind, speed, wait });
      good = code ? null : good || { since: at, frames: 0 };
      if (good) good.frames++;
      if (code === said.code) fresh = null;
      else if (fresh?.code !== code) fresh = { code, since: at };
      if (fresh && at - fresh.since >= NUMBERS.shown_ms) {
        said = { code, since: at };
        fresh = null;
      }
      const ready = Boolean(good) && at - good.since >= NUMBERS.hold_ms && good.frames >= NUMBERS.hold_frames;
      return { now: code, code: ready ? null : said.code, spoken: at - said.since >= NUMBERS.spoken_ms, ready, speed };
    },
  };
}

// How fast the card's fastest corner moves, mm a second on the card. Infinite for the first frame: nobody knows yet.
export function speedOf(before, seen, at) {
  if (!before || at <= before.at || at - before.at > 1000 * LONGEST_S) return Infinity;
  const pxPerMm = Math.hypot(seen.corners[1][0] - seen.corners[0][0], seen.corners[1][1] - seen.corners[0][1]) / CARD.size[0];
  const moved = Math.max(...seen.corners.map(([x, y], n) => Math.hypot(x - before.seen.corners[n][0], y - before.seen.corners[n][1])));
  return moved / pxPerMm / ((at - before.at) / 1000);
}
