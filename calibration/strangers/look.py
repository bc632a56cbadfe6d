"""All that may be wrong with photos of a calibration, each photo named once: prints first, then liquids and strips."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from calibration.known_pads import KnownPads
from calibration.strangers.mixed_up import mixed_up
from calibration.strangers.one_liquid import apart
from calibration.strangers.other_print import other_prints
from calibration.strangers.suspicion import Suspicion

if TYPE_CHECKING:
    from stripread.card.patches import PatchSamples

SURE_PRINT = 0.95  # share of those named that are of another print: tests.strangers_study


def suspected(
    known: list[KnownPads], cards: Sequence[PatchSamples], ph_range: tuple[float, float]
) -> tuple[Suspicion, ...]:
    """What does not go together; ``cards``: the patches of each photo, in the order of ``known``.

    The colours of a photo of another print are off by that alone, so its liquid is not looked at; and what the curve
    accuses, the other photos of its liquid need not accuse again.
    """
    prints = [
        Suspicion("other_print", group, tuple(known[i].ph for i in group), (), SURE_PRINT)
        for group in other_prints(cards)
    ]
    strange = {i for one in prints for i in one.photos}
    left = [i for i in range(len(known)) if i not in strange]
    rest = [known[i] for i in left]
    by_curve = mixed_up(rest, ph_range)
    named = {i for one in by_curve for i in one.photos}
    by_liquid = [one for one in apart(rest) if not named & set(one.photos)]
    return (*prints, *(_renumbered(one, left) for one in (*by_curve, *by_liquid)))


def _renumbered(one: Suspicion, left: list[int]) -> Suspicion:
    return Suspicion(one.way, tuple(left[i] for i in one.photos), one.said, one.fits, one.chance)
