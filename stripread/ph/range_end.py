"""At which end of the strip's range an interval stands: there the true pH may lie anywhere beyond."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from stripread.reasons import Bound

NEAR = 0.02  # pH; the posterior's grid is no finer


def range_end(interval: tuple[float, float], strip_range: tuple[float, float], rounding: float = 0.0) -> Bound | None:
    """ "at most" at the lower end, "at least" at the upper one, None inside.

    Parameters
    ----------
    interval, strip_range
        Both (low, high) in pH.
    rounding
        By how much the interval's ends may be off: half of the last digit of an interval that was written down.
    """
    if interval[0] <= strip_range[0] + NEAR + rounding:
        return "at most"
    return "at least" if interval[1] >= strip_range[1] - NEAR - rounding else None
