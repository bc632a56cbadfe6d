"""Coverage setup by setup: what the setup that 95 of 100 surpass covers, without the chance of few photos each.

A setup's photos cover like a binomial draw of its own coverage; coverages of setups are taken as beta distributed
(beta-binomial: Skellam 1948, J. R. Stat. Soc. B 10, 257-261, from memory). The mean and the root of the intra-class
correlation 1 / (a + b + 1), which goes as the setups' standard deviation, have flat priors (0.5 to 1, and 0 to 0.7);
the 5th percentile of the beta distribution has their posterior. Shares seen in few photos scatter by chance alone:
their own 5th percentile would be far too low.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaln
from scipy.stats import beta

from tests.coverage_tables import ALLOWED, Share, answered, coverage, groups, table
from tests.judged import Judged

LOWEST = 0.05  # the setup that is told of: so many of a hundred do worse
FEWEST = 3  # setups below which nothing is said of a spread
STEPS = (120, 40)  # of the mean, of the correlation


@dataclass(frozen=True)
class SetupSpread:
    """How setups differ.

    ``each``: coverage of every setup. ``value``, ``interval``: median and 95 % interval of the true coverage that 5 %
    of setups do not reach.
    """

    each: tuple[Share, ...]
    value: float
    interval: tuple[float, float]

    @property
    def worst(self) -> Share:
        """The setup with the least coverage seen."""
        return min(self.each, key=lambda s: s.value)

    def verdict(self) -> str:
        """Whether 95 of 100 setups keep the least coverage wanted."""
        low, high = self.interval
        return "fits" if low >= ALLOWED[0] else "too narrow" if high < ALLOWED[0] else "too few to say"

    def __str__(self) -> str:
        low, high = self.interval
        return f"{self.value:.1%} ({low:.1%} to {high:.1%})"


def spread_of(each: Sequence[Share]) -> SetupSpread:
    """The spread of setups from each one's share.

    Raises
    ------
    ValueError
        If there are fewer than ``FEWEST`` setups.
    """
    if len(each) < FEWEST:
        raise ValueError(f"{len(each)} setups, at least {FEWEST} needed")
    a, b, lowest = _grid()
    log_like = np.zeros(len(a))
    for one, times in Counter(each).items():
        log_like += times * (betaln(one.hits + a, one.count - one.hits + b) - betaln(a, b))
    weight = np.exp(log_like - log_like.max())
    order = np.argsort(lowest)
    below = np.cumsum(weight[order]) / weight.sum()
    low, middle, high = np.interp([0.025, 0.5, 0.975], below, lowest[order])
    return SetupSpread(tuple(each), float(middle), (float(low), float(high)))


@cache
def _grid() -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Beta distributions a, b (N,) at equal steps of the two priors, and their 5th percentiles (N,)."""
    steps = [(np.arange(n) + 0.5) / n for n in STEPS]
    mean, root = (g.ravel() for g in np.meshgrid(0.5 + 0.5 * steps[0], 0.7 * steps[1], indexing="ij"))
    size = 1.0 / root**2 - 1.0
    a, b = mean * size, (1.0 - mean) * size
    return a, b, np.asarray(beta.ppf(LOWEST, a, b))


def of_setups(rows: Sequence[Judged]) -> list[Share]:
    """Coverage of every setup that answered something."""
    parts = groups(answered(rows), lambda r: f"{r.kind} {r.setup}").values()
    return [coverage(part) for part in parts]


def by_setup(parts: Mapping[str, Sequence[Judged]]) -> str:
    """Average over all photos beside the setup that 95 % of setups surpass, by who took them and by kind of strip."""
    head = ["strip", "photos by", "setups", "photos", "coverage of all", "of 95 % of setups at least", "90 % reached"]
    head.append("setup with the least seen")
    lines: list[list[object]] = []
    for name, rows in parts.items():
        for kind, part in {**groups(rows, lambda r: r.kind), "all": list(rows)}.items():
            each = of_setups(part)
            line: list[object] = [kind, name, len(each), len(part), coverage(part)]
            if len(each) < FEWEST:
                lines.append([*line, "-", "too few to say", "-"])
                continue
            spread = spread_of(each)
            worst = spread.worst
            lines.append([*line, spread, spread.verdict(), f"{worst.hits} of {worst.count}"])
    return table(head, lines)
