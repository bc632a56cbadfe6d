"""A photo measured without a profile, for calibration: the card's patches and the strip's pads, or a chart's spots."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stripread.card.find import CardTrace, find_card
from stripread.strip.find import find_strips
from stripread.strip.one_strip import FoundStrip
from stripread.strip.pads import PadSamples, sample_pads
from stripread.strip.pixels import PadRegion, cover

if TYPE_CHECKING:
    from stripread.card.patches import PatchSamples
    from stripread.card.view import CardView
    from stripread.kind import StripKind
    from stripread.reasons import Reason

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Measured:
    """One photo measured without a profile: the card's patches and the strip's pads (or chart points), uncorrected."""

    samples: PatchSamples
    pads: PadSamples
    sha256: str
    taken_at: str | None
    reasons: tuple[Reason, ...]
    phone: str | None = None  # which phone and lens took it, by its file


def measure(data: bytes, kind: StripKind) -> Measured:
    """Measure a strip photo for calibration.

    Raises
    ------
    Refused
        As ``find_card``, ``find_strips`` and ``sample_pads`` do.
    """
    card = CardTrace()
    view = find_card(data, card)
    pads = sample_pads(view, find_strips(view, kind)[0])
    return _measured(card, pads, tuple(pads.reasons))


def measure_points(data: bytes, points_mm: Array, radius_mm: float = 1.5) -> Measured:
    """Measure spots (N, 2) mm of something lying on the card: the maker's chart.

    The chart hides patches of the card; the robust fit drops those that no longer look like themselves.

    Raises
    ------
    Refused
        As ``find_card`` does.
    """
    card = CardTrace()
    view = find_card(data, card)
    return _measured(card, sample_pads(view, _spots(view, points_mm, radius_mm)), ())


def places_on_card(data: bytes, shares: Array) -> Array:
    """Where places of a photo lie on its card, (N, 2) mm; ``shares`` (N, 2): of the upright photo's width and height.

    Raises
    ------
    Refused
        As ``find_card`` does.
    """
    card = CardTrace()
    find_card(data, card)
    assert card.pose is not None
    assert card.photo is not None
    return card.pose.to_mm(card.photo.to_working(shares * np.array(card.photo.full_size) - 0.5))


def _measured(card: CardTrace, pads: PadSamples, reasons: tuple[Reason, ...]) -> Measured:
    assert card.samples is not None
    assert card.photo is not None
    return Measured(card.samples, pads, card.photo.sha256, card.photo.taken_at, reasons, card.photo.phone)


def _spots(view: CardView, points_mm: Array, radius_mm: float) -> FoundStrip:
    """Round spots of the card dressed as the pads of a strip, so that they are averaged by the same code."""
    regions = []
    for x, y in points_mm:
        quad = np.array([[x - radius_mm, y - radius_mm], [x + radius_mm, y - radius_mm]])
        quad = np.concatenate([quad, [[x + radius_mm, y + radius_mm], [x - radius_mm, y + radius_mm]]])
        mask, origin = cover(view, quad, 0.0)
        rows, cols = np.indices(mask.shape)
        at = view.view_to_mm(np.stack([cols + origin[1], rows + origin[0]], axis=-1).reshape(-1, 2).astype(np.float64))
        round_mask = mask & (np.hypot(*(at - (x, y)).T) <= radius_mm).reshape(mask.shape)
        regions.append(PadRegion(quad, round_mask, origin, 0.0, 0.0, 0.0, False, 1.0, np.ones(3)))
    return FoundStrip(np.zeros((4, 2)), "left", tuple(regions), 1.0, 2 * radius_mm, ())
