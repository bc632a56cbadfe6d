"""Serial decantation: how much is left after each wash, and the best use of a given volume of water.

Each wash mixes what the solid holds back with fresh water and pours the clear part off. Ideally mixed, the share left
after n washes is the product of retained / (retained + added). Common practice, the algebra is ours; the same numbers
as the independent PHREEQC table in the tests.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from stripread.words import _


@dataclass(frozen=True)
class Split:
    """One way to use the water: ``washes`` portions of ``portion_l`` each leave ``share_left`` of the first liquid."""

    washes: int
    portion_l: float
    share_left: float
    share_left_high: float  # with the dead corners of a real bed: the retained share half as large again


def retained_share(retained_l: float, added_l: float) -> float:
    """Retained volume over the total after filling up (both in the same unit, both above 0).

    Raises
    ------
    ValueError
        For a volume that is not above 0.
    """
    if retained_l <= 0 or added_l <= 0:
        raise ValueError(_("retained and added volume must both be above 0"))
    return retained_l / (retained_l + added_l)


def share_left(shares: list[float]) -> float:
    """Share of the first liquid left after washes with these retained shares."""
    return math.prod(shares)


def washes_needed(share: float, factor: float) -> int:
    """Whole washes at retained share ``share`` until what is dissolved has fallen ``factor`` times.

    Raises
    ------
    ValueError
        For a share outside 0 to 1, or a factor that is not above 0.
    """
    if not 0.0 < share < 1.0 or factor <= 0:
        raise ValueError(_("the retained share lies between 0 and 1, and the factor above 0"))
    return max(0, math.ceil(math.log(factor) / -math.log(share) - 1e-9))


def splits(
    volume_l: float, retained_l: float, most: int = 12, least_portion_l: float | None = None
) -> tuple[Split, ...]:
    """Use ``volume_l`` of water in 1 to ``most`` equal portions: more portions always leave less.

    ``least_portion_l`` is the smallest portion that still stirs the solid up (default: as much as is held back).
    The gain shrinks towards exp(-volume / retained), which no number of portions beats.

    Raises
    ------
    ValueError
        For a volume that is not above 0.
    """
    if volume_l <= 0 or retained_l <= 0:
        raise ValueError(_("volume and retained volume must be above 0"))
    smallest = retained_l if least_portion_l is None else least_portion_l
    rows = []
    for n in range(1, most + 1):
        portion = volume_l / n
        if n > 1 and portion < smallest:
            break
        share = retained_share(retained_l, portion)
        worse = min(0.95, 1.5 * share)
        rows.append(Split(n, portion, share**n, worse**n))
    return tuple(rows)


def best_split(rows: tuple[Split, ...], worth: float = 2.0, enough: float = 1e-6) -> Split:
    """The first split that leaves ``enough`` even with dead corners, or where one more portion gains too little.

    Too little is less than ``worth`` times: beyond it, time is dearer than acid.
    """
    best = rows[0]
    for row in rows[1:]:
        if best.share_left_high <= enough or best.share_left / row.share_left < worth:
            break
        best = row
    return best


def portion_for(factor: float, washes: int, retained_l: float) -> float:
    """Litres of each of ``washes`` equal portions that bring the dissolved part down ``factor`` times.

    Raises
    ------
    ValueError
        For a factor not above 1, no wash, or a retained volume that is not above 0.
    """
    if factor <= 1 or washes < 1 or retained_l <= 0:
        raise ValueError(_("needs a factor above 1, at least one wash and a retained volume above 0"))
    return float(retained_l * (factor ** (1.0 / washes) - 1.0))
