"""A reading beside its truth: what every study that counts intervals asks of a row, rendered photo or real one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from stripread.ph.posterior import PhEstimate, _shortest
from stripread.ph.read import PhTrace
from stripread.reasons import Reason

NAN = float("nan")
CAUSES = ("noise", "texture", "tone", "light", "correction", "strip_lot", "calibration", "curve_shape")
LEVELS = (0.50, 0.80, 0.95, 0.99)
FAR_OFF = 0.5  # pH


@dataclass(frozen=True, kw_only=True)
class Judged:
    """What a photo came to, and what follows from it. Numbers that there are none of are NaN.

    ``read``, ``low``, ``high``: the value and the interval shown. ``pit``: the posterior's share below the truth
    (probability integral transform). ``lows``, ``highs``: its shortest intervals at LEVELS. ``budget``: variances in pH
    by CAUSES. A row adds what the photo is: ``truth``, ``kind``, ``setup``, ``lamp``, ``hard`` (the light was made bad
    on purpose) and ``trouble`` (how).
    """

    status: str
    reasons: str = ""
    misfit: float = NAN
    read: float = NAN
    low: float = NAN
    high: float = NAN
    pit: float = NAN
    lows: tuple[float, ...] = (NAN,) * len(LEVELS)
    highs: tuple[float, ...] = (NAN,) * len(LEVELS)
    budget: tuple[float, ...] = (NAN,) * len(CAUSES)

    @property
    def answered(self) -> bool:
        """Whether there is a value."""
        return self.read == self.read

    @property
    def error(self) -> float:
        """Value minus truth."""
        return self.read - self.truth

    @property
    def covered(self) -> bool:
        """Whether the interval shown holds the truth."""
        return self.low <= self.truth <= self.high

    @property
    def wrong(self) -> bool:
        """Confidently wrong: status ok, off by more than 0.5, truth outside the interval."""
        return self.status == "ok" and abs(self.error) > FAR_OFF and not self.covered

    def holds(self, level: float) -> bool:
        """Whether the posterior's shortest interval of a level holds the truth."""
        at = LEVELS.index(level)
        return self.lows[at] <= self.truth <= self.highs[at]


def integral_to(estimate: PhEstimate, ph: float) -> float:
    """Share of the posterior below a pH: the probability integral transform."""
    mass = estimate.density / estimate.density.sum()
    cumulative = np.cumsum(mass) - 0.5 * mass
    return float(np.interp(ph, estimate.grid, cumulative, left=0.0, right=1.0))


def codes(reasons: Sequence[Reason]) -> str:
    """Codes of the reasons that refuse or doubt; notes do neither."""
    return " ".join(r.code for r in reasons if r.severity != "note")


def outcome(trace: PhTrace, truth: float) -> dict[str, Any]:
    """What came of reading a photo whose pH is known: the fields of a row that are the reading's own, by name."""
    got, estimate = trace.reading, None if trace.first is None else trace.first.estimate
    assert got is not None
    low, high = got.interval or (NAN, NAN)
    pit, lows, highs = NAN, [NAN] * len(LEVELS), [NAN] * len(LEVELS)
    if estimate is not None:
        pit = integral_to(estimate, truth)
        mass = estimate.density / estimate.density.sum()
        lows, highs = zip(*(_shortest(estimate.grid, mass, level) for level in LEVELS), strict=True)
    return {
        "status": got.status,
        "reasons": codes(got.reasons),
        "misfit": NAN if got.misfit is None else got.misfit,
        "read": NAN if got.ph is None else got.ph,
        "low": low,
        "high": high,
        "pit": pit,
        "lows": tuple(lows),
        "highs": tuple(highs),
        "budget": tuple(got.budget.get(cause, NAN) for cause in CAUSES),
    }
