"""Unused strips of makes that nobody has seen before, described: `python -m tests.describe_study --strips 200`.

Is each pad there, and are both its edges within 0.4 mm of where they are, from the dipped end? Of those that are not,
how many were said to be unsure? A pad that was missed counts as said where the strip is said to have one that may hide.
Photos are rendered in two worlds by turns: made up, and the measured cameras, lamps and prints of ``--world``.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import click
import numpy as np

from stripread.describe.read import describe_strip
from stripread.describe.result import StripDescription
from tests.scenes.measured import WORLDS, World
from tests.scenes.photo import render
from tests.scenes.unused import Unused, unused_scene

NEAR_MM = 0.4
SIZE_MM = 0.5  # length and width likewise, which the reader leans on less


@dataclass(frozen=True)
class PadJudged:
    """One pad that there is, or that was told of where none is: whether found, how far off (mm), said to be unsure."""

    found: bool
    there: bool
    off_mm: float
    said: bool

    @property
    def right(self) -> bool:
        return self.found and self.there and self.off_mm <= NEAR_MM


def judged(strip: Unused, got: StripDescription) -> list[PadJudged]:
    """Each pad that there is, then those that were told of besides."""
    codes = {reason.code for reason in got.reasons}
    hidden, end = bool(codes & {"pad_may_hide", "no_pads_seen", "pads_miscounted"}), "dipped_end_unsure" in codes
    rows, taken = [], set()
    for pad in strip.pads:
        a, b = pad.offset_mm, pad.offset_mm + pad.length_mm
        over = [min(b, one.offset.mm + one.length.mm) - max(a, one.offset.mm) for one in got.pads]
        fits = [both > 0.5 * pad.length_mm > 0.25 * one.length.mm for both, one in zip(over, got.pads, strict=True)]
        best = max((n for n in range(len(over)) if fits[n] and n not in taken), key=over.__getitem__, default=None)
        if best is None:  # said as well where all that was found in its place is said to be unsure
            instead = [one.doubt for both, one in zip(over, got.pads, strict=True) if both > 0.0]
            rows.append(PadJudged(False, True, np.inf, hidden or (bool(instead) and None not in instead)))
            continue
        taken.add(best)
        one = got.pads[best]
        off = max(abs(one.offset.mm - a), abs(one.offset.mm + one.length.mm - b))
        rows.append(PadJudged(True, True, off, end or hidden or one.doubt is not None))
    rows += [PadJudged(True, False, np.inf, one.doubt is not None) for n, one in enumerate(got.pads) if n not in taken]
    return rows


def report(results: list[tuple[Unused, StripDescription]]) -> str:
    """The figures, line by line."""
    seen = [(strip, got) for strip, got in results if got.status != "refused"]
    rows = [row for strip, got in seen for row in judged(strip, got)]
    there = [row for row in rows if row.there]
    wrong = [row for row in rows if not row.right]
    right = sum(row.right for row in there)
    missed, besides = sum(not r.found for r in wrong), sum(not r.there for r in wrong)
    lines = [
        f"{len(results)} strips, {sum(len(strip.pads) for strip, _ in results)} pads; "
        f"{len(results) - len(seen)} strips refused",
        f"both edges within {NEAR_MM} mm: {right} of {len(there)} pads ({right / max(len(there), 1):.1%})",
        f"others: {len(wrong)} ({missed} missed, {besides} where none is), "
        f"{sum(row.said for row in wrong)} of them said to be unsure",
        f"right pads said to be unsure: {sum(row.said for row in there if row.right)}",
    ]
    off = np.array([row.off_mm for row in there if row.found])
    half, most = np.quantile(off, [0.5, 0.95])
    lines.append(f"worse edge of a pad: half within {half:.2f} mm, 95 % within {most:.2f} mm")
    for name in ("width", "length"):
        miss = [(getattr(got, name).mm - getattr(strip, f"{name}_mm"), getattr(got, name).sd) for strip, got in seen]
        near = np.mean([abs(m) <= SIZE_MM for m, _ in miss])
        sure = [abs(m) > SIZE_MM and sd < SIZE_MM / 2 for m, sd in miss]
        lines.append(f"{name} within {SIZE_MM} mm: {near:.1%}; off and not unsure: {sum(sure)}")
    roll = sum(strip.roll == got.roll for strip, got in seen)
    lines.append(f"roll paper or pads told apart: {roll} of {len(seen)}")
    codes = Counter(reason.code for _, got in results for reason in got.reasons)
    lines.append("reasons: " + ", ".join(f"{code} {n}" for code, n in codes.most_common()))
    return "\n".join(lines)


@click.command()
@click.option("--strips", default=60, show_default=True)
@click.option("--first", default=0, show_default=True, help="Number of the first strip.")
@click.option("--world", type=click.Choice(WORLDS), default="judging", show_default=True, help="Every other photo's.")
@click.option("--counted", is_flag=True, help="Say how many pads each strip has, as a user can.")
@click.option("--tell", is_flag=True, help="Name the strips with a pad that is wrong and not said to be unsure.")
def main(strips: int, first: int, world: World, counted: bool, tell: bool) -> None:
    """Print how many pads were measured rightly, and what was said of the others."""
    results = []
    for seed in range(first, first + strips):
        scene, strip, _laid = unused_scene(seed, world="made-up" if seed % 2 == 0 else world)
        got = describe_strip(render(scene).data, pads=None if strip.roll or not counted else len(strip.pads))
        results.append((strip, got))
        if tell:
            for n, row in enumerate(judged(strip, got)):
                if not row.right and (not row.said or not row.found):
                    print(f"  {seed} pad {n + 1}: {row}")
            if got.status == "refused":
                print(f"  {seed} refused: {got.reasons[0].code}")
    print(report(results))


if __name__ == "__main__":
    main()
