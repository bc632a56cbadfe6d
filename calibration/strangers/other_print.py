"""Photos of another print of the card among a calibration's: their patches are not those that the others agree on.

The card's values are estimated from the others alone, and the photo is held against them as a reading's is
(``stripread.correction.same_card``). Here the others lie beside it, so it is compared with how well they fit
themselves: phone, light and printer are then in both. One stranger among many pulls the common values less than it is
off itself; of two prints with several photos each the common values lie between, and the photos fall to two sides of
them along the direction in which they differ most (principal components: Jolliffe 2002, ch. 1, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from calibration.card_estimate import estimate_card
from stripread.correction.fit import ColourFix, fix_colour
from stripread.correction.same_card import card_misfit, clear_patches, patch_cov, patch_errors
from stripread.tuned import tuned

if TYPE_CHECKING:
    from stripread.card.patches import PatchSamples
    from stripread.card.values import CardValues

Array = NDArray[np.float64]

_TUNED = tuned("calibration.strangers")
OTHER_PRINT = _TUNED.number("other_print")
FEWEST_PHOTOS = 8  # fewer agree too little on what is common: of six, one set in ten is off by as much as a stranger
FEWEST_REST = 3  # photos that the values of the common print are taken from
MOST_PRINTS = 3  # besides the common one: whoever prints more often prints each time


def other_prints(samples: Sequence[PatchSamples]) -> list[tuple[int, ...]]:
    """Numbers of the photos (N) that show another print than most, a group for each other print; usually none."""
    left = list(range(len(samples)))
    out: list[tuple[int, ...]] = []
    while len(out) < MOST_PRINTS and len(left) >= FEWEST_PHOTOS:
        group, worse = most_apart([samples[i] for i in left])
        if not worse > OTHER_PRINT:
            break
        named = tuple(left[i] for i in group)
        out.append(named)
        left = [i for i in left if i not in named]
    return out


def most_apart(samples: list[PatchSamples]) -> tuple[tuple[int, ...], float]:
    """The photos that fit a card of the others worst, and how many times worse the best of them fits than the others.

    Those others count by their median. Nothing and NaN where the photos can't be compared.
    """
    card = estimate_card(samples)
    fixes = [fix_colour(one, card) for one in samples]
    alone = np.array([card_misfit(fix, one, card) for fix, one in zip(fixes, samples, strict=True)])
    if np.isnan(alone).any():  # a grey card, or one that is hidden: nothing tells its print
        return (), float("nan")
    best: tuple[tuple[int, ...], float] = ((), float("nan"))
    for group in {(int(alone.argmax()),), _smaller_side(fixes, samples, card)}:
        rest = [i for i in range(len(samples)) if i not in group]
        if not group or len(rest) < FEWEST_REST:
            continue
        common = estimate_card([samples[i] for i in rest])
        misfit = np.array([card_misfit(fix_colour(one, common), one, common) for one in samples])
        worse = float(misfit[list(group)].min() / np.median(misfit[rest]))
        if not worse <= best[1]:
            best = group, worse
    return best


def _smaller_side(fixes: list[ColourFix], samples: list[PatchSamples], card: CardValues) -> tuple[int, ...]:
    """The smaller of the two heaps that errors from the common card fall into; of equals the later photos."""
    clear = np.all([clear_patches(fix, one) for fix, one in zip(fixes, samples, strict=True)], axis=0)
    if clear.sum() < 3:
        return ()
    root = np.linalg.inv(np.linalg.cholesky(patch_cov(card, clear)))
    errors = np.array(
        [(root @ patch_errors(fix, one, card, clear)).ravel() for fix, one in zip(fixes, samples, strict=True)]
    )
    along = np.linalg.svd(errors - errors.mean(axis=0), full_matrices=False)[0][:, 0]
    order = np.argsort(along)
    run = np.cumsum(along[order])[:-1]
    count = np.arange(1, len(along))
    between = run**2 / (count * (len(along) - count))  # of the mean squares of two heaps, up to a factor: mean is 0
    cut = int(between.argmax()) + 1
    low, high = sorted(order[:cut].tolist()), sorted(order[cut:].tolist())
    return tuple(low if (len(low), -low[0]) < (len(high), -high[0]) else high)
