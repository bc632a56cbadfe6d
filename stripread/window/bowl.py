"""Wells of a spot plate: hollows in opaque white, whose liquid grows shallow towards the edge.

There the tint falls from the middle outward, alike on all sides, and is gone at the edge. The depth that somebody can
measure is that of the middle, so the middle is read. A reflection is not alike on all sides, and a flat vessel over the
card shows the printed ring, which porcelain hides.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from stripread.tuned import tuned
from stripread.window.evenness import evenness
from stripread.window.vials import Vial, Vials

if TYPE_CHECKING:
    from stripread.card.view import CardView

_TUNED = tuned("stripread.window")
RING_SEEN = _TUNED.number("floor_ring_seen")
MIDDLE = _TUNED.number("bowl_middle")
LEAST_SHARE = _TUNED.number("bowl_least_share")
FALL = _TUNED.pair("bowl_fall")
SIDED = _TUNED.number("bowl_sided")
CLEAR = _TUNED.number("bowl_clear")


def as_read(view: CardView, vials: Vials) -> Vials:
    """The vessels with the liquid that is read: in bowls the middle, else all of it."""
    if vials.sample is None or vials.blank is None or not in_bowl(view, vials.sample, vials.blank):
        return vials
    return Vials(middle_of(view, vials.sample), middle_of(view, vials.blank))


def in_bowl(view: CardView, sample: Vial, blank: Vial) -> bool:
    """Whether the sample's tint falls outward as that of a bowl, in a vessel that hides the card."""
    if sample.ring > RING_SEEN or blank.ring > RING_SEEN:
        return False
    tint, none = evenness(view, sample), evenness(view, blank)
    if tint is None or none is None or abs(tint.outward) < CLEAR * tint.outward_sd:
        return False
    middle = tint.middle - none.mean
    if middle * tint.outward >= 0:
        return False
    alike = float(np.hypot(*tint.across)) < SIDED * abs(tint.outward)
    return alike and FALL[0] < -tint.outward / middle < FALL[1]


def middle_of(view: CardView, vial: Vial) -> Vial:
    """The same vessel with only the middle of its liquid."""
    rows, columns = np.nonzero(vial.mask)
    radius = np.sqrt(vial.mask.sum() / np.pi)
    y, x = np.ogrid[: vial.mask.shape[0], : vial.mask.shape[1]]
    kept = vial.mask & (np.hypot(y - rows.mean(), x - columns.mean()) < MIDDLE * radius)
    if kept.sum() < LEAST_SHARE * vial.mask.sum():  # a mirror image lies in the middle
        return vial
    return replace(vial, mask=kept, area_mm2=float(kept.sum()) / view.px_per_mm**2)
