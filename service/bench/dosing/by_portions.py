"""Portions of a reagent to an end point: what the fall of the pale share tells of the need, and when it stopped.

A picture sees the surface: the share of the area that is pale is taken as the share of the chloride that is left, no
more than that. While it falls it falls evenly with what was added; a line through the last pictures, with their own
intervals, says how much more would bring it to the end.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from service.bench.chemistry.reagents import Span, written
from stripread.words import _

Array = NDArray[np.float64]
MOST_LEFT = 0.1  # pale share above which nobody calls it an end: 10 typed for 10 % and 5 for 5 % are slips
DONE = 0.01  # pale share that counts as the end, as in the gate of the shipped procedure
LEAST_SD = 0.005  # of a pale share: its interval is rounded; common practice, no source
STILL = 0.5  # of the fall that was due by the portions before: less than this is no fall; common practice, no source
SURE = 1.645  # standard deviations, one-sided 95 %
LINE = 3  # pictures that the line goes through: the last ones, while it falls evenly
DRAWS, LEVEL = 4000, 0.9


@dataclass(frozen=True)
class Portion:
    """One portion, g, and the pale share after it (low, value, high), None where no picture was taken after it."""

    grams: float
    pale: Span | None


@dataclass(frozen=True)
class Portions:
    """Where the dosing stands.

    ``status``: "done" (nothing pale above the limit), "falling", "stopped" (more of it changes nothing), "cannot tell".
    ``added_g`` all that went in; ``left`` the share still pale (low, value, high); ``more_g`` what is still needed.
    """

    status: Literal["done", "falling", "stopped", "cannot tell"]
    sentence: str
    added_g: float
    left: Span | None = None
    more_g: Span | None = None


def by_portions(portions: Sequence[Portion], done: float = DONE) -> Portions:
    """Judge portions in the order in which they went in; the first may be of 0 g, with the picture before it began.

    Raises
    ------
    ValueError
        For a portion below 0 g, or a share outside 0 to 1.
    """
    for one in portions:
        if not one.grams >= 0.0 or (one.pale is not None and not 0.0 <= min(one.pale) <= max(one.pale) <= 1.0):
            raise ValueError(_("a portion is not below 0 g, and a pale share lies between 0 and 1"))
    added = float(sum(one.grams for one in portions))
    at = np.cumsum([one.grams for one in portions])
    seen = [(float(x), one.pale) for x, one in zip(at, portions, strict=True) if one.pale is not None]
    if not seen:
        text = _("No picture of the solid yet: stir, let it settle, photograph it, after each portion.")
        return Portions("cannot tell", text, added)
    left = seen[-1][1]
    if portions[-1].pale is None:
        text = _("The last portion has no picture after it: stir, wait, photograph the solid.")
        return Portions("cannot tell", text, added, left)
    if left[2] <= done:
        text = _(
            "At most {high:.1%} is pale: no more is needed by the picture. Crush clots, look once more.", high=left[2]
        )
        return Portions("done", text, added, left, (0.0, 0.0, 0.0))
    apart = [pair for place, pair in enumerate(seen) if place + 1 == len(seen) or seen[place + 1][0] > pair[0]]
    if len(apart) < 2:
        text = _("Between {low:.1%} and {high:.1%} is pale. One more portion with a picture tells how fast it falls.",
                 low=left[0], high=left[2])  # fmt: skip
        return Portions("cannot tell", text, added, left)
    return _judged(apart, added, left, done)


def _judged(seen: Sequence[tuple[float, Span]], added: float, left: Span, done: float) -> Portions:
    x = np.array([grams for grams, _pale in seen])
    p = np.array([pale[1] for _grams, pale in seen])
    sd = np.array([max((pale[2] - pale[0]) / 3.92, LEAST_SD) for _grams, pale in seen])
    if len(seen) >= 3 and _stopped(x, p, sd):
        text = _(
            "It has stopped falling: {low:.1%} to {high:.1%} stay pale, and the last portion changed nothing. More of "
            "it does not help: crush clots, stir, warm it, look again.",
            low=left[0],
            high=left[2],
        )
        return Portions("stopped", text, added, left)
    x, p, sd = x[-LINE:], p[-LINE:], sd[-LINE:]
    drawn = np.clip(p + sd * np.random.default_rng(1).standard_normal((DRAWS, len(p))), 0.0, 1.0)
    weight = 1.0 / sd**2
    mean_x = float((weight * x).sum() / weight.sum())
    mean_p = (drawn * weight).sum(axis=1) / weight.sum()
    slope = ((drawn - mean_p[:, None]) * (weight * (x - mean_x))).sum(axis=1) / (weight * (x - mean_x) ** 2).sum()
    falls = slope < 0.0
    if falls.mean() < 0.5 + LEVEL / 2:
        text = _(
            "Whether it still falls can't be told from these pictures ({low:.1%} to {high:.1%} pale): one more "
            "portion, stir, and take it closer.",
            low=left[0],
            high=left[2],
        )
        return Portions("cannot tell", text, added, left)
    to_go = np.maximum(0.0, mean_x + (done - mean_p[falls]) / slope[falls] - x[-1])
    low, value, high = (float(q) for q in np.quantile(to_go, [0.5 - LEVEL / 2, 0.5, 0.5 + LEVEL / 2]))
    text = _(
        "Between {low:.1%} and {high:.1%} is still pale and it falls: about {value} g more ({least} to {most} g), if "
        "it goes on evenly. In portions; the end of such a step takes more.",
        low=left[0],
        high=left[2],
        value=written(value, 2),
        least=written(low, 2),
        most=written(high, 2),
    )
    return Portions("falling", text, added, left, (low, value, high))


def _stopped(x: Array, p: Array, sd: Array) -> bool:
    """Whether the last portion, or the last two together, surely did less than ``STILL`` of what went before."""
    for back in (1, 2):
        if len(x) < back + 2:
            return False
        start, last = -back - 1, -1
        before = (p[0] - p[start]) / (x[start] - x[0])  # per gram
        due = min(float(before * (x[last] - x[start])), float(p[start]))
        fell, doubt = p[start] - p[last], SURE * np.hypot(sd[start], sd[last])
        if due > 0.0 and fell + doubt < STILL * due:
            return True
    return False
