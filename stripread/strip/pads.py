"""Pads as numbers: the mean encoded colour of each pad's usable pixels and the doubt of that mean, then CIELAB."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stripread.card.patches import INDEPENDENT_SHARE, NOISE_FLOOR
from stripread.errors import Refused
from stripread.reasons import Reason, because
from stripread.robust import MAD_TO_SD, medians
from stripread.words import _

if TYPE_CHECKING:
    from stripread.card.view import CardView
    from stripread.correction.fit import ColourFix
    from stripread.strip.one_strip import FoundStrip

Array = NDArray[np.float64]

MIN_PIXELS = 12
OF_PHONE = ("tone", "light", "correction", "cross")  # causes that phone and light bring; the rest is the picture's
BLOCKS = 4  # a pad is cut into 4 x 4 blocks: the scatter of their means is its texture


@dataclass(frozen=True)
class PadSamples:
    """Pads as the phone wrote them: rgb (P, 3) encoded means 0 to 1; noise and texture (P, 3), variances of the mean.

    at_mm (P, 2) centres, corners_mm (P, 4, 2), uneven (P,) contrast inside each pad, reasons found on the way.
    """

    rgb: Array
    noise: Array
    texture: Array
    at_mm: Array
    corners_mm: Array
    uneven: Array
    reasons: tuple[Reason, ...]


@dataclass(frozen=True)
class PadSet:
    """Corrected pads: lab (P, 3) and cov (3P, 3P), errors shared through the light fix kept.

    parts: the covariances by cause that add up to ``cov``. scale: factor that they were widened by. share: what is left
    in them of the variance that a stranger's phone and light bring.
    """

    lab: Array
    cov: Array
    parts: dict[str, Array]
    corners_mm: Array
    reasons: tuple[Reason, ...]
    scale: float = 1.0
    share: float = 1.0

    def widened(self, scale: float) -> PadSet:
        """The same pads, their covariances times ``scale``."""
        parts = {name: cov * scale for name, cov in self.parts.items()}
        return replace(self, cov=self.cov * scale, parts=parts, scale=self.scale * scale)

    def by_known_phone(self, share: float) -> PadSet:
        """The same pads, what phone and light bring to their covariance times ``share``: noise and texture stay."""
        if share == 1.0:
            return self
        parts = {name: cov * share if name in OF_PHONE else cov for name, cov in self.parts.items()}
        less = np.sum([(1.0 - share) * cov for name, cov in self.parts.items() if name in OF_PHONE], axis=0)
        return replace(self, cov=self.cov - less, parts=parts, share=self.share * share)

    @property
    def of_phone(self) -> Array:
        """Covariance (3P, 3P) of what phone and light bring: tone, light, correction, and how these hang together."""
        return np.asarray(np.sum([cov for name, cov in self.parts.items() if name in OF_PHONE], axis=0))

    @property
    def sd(self) -> Array:
        """Standard deviations (P, 3)."""
        return np.asarray(np.sqrt(np.diag(self.cov)).reshape(-1, 3))


def sample_pads(view: CardView, strip: FoundStrip) -> PadSamples:
    """Average each pad over its mask.

    The variance of a mean has two parts: pixel noise over the pixels that count, and texture (mottle, wet edges),
    taken from the scatter of block means, which noise alone would make small.

    Raises
    ------
    Refused
        ``blown_out`` or ``too_dark`` when a pad is clipped.
    """
    count = len(strip.pads)
    rgb, noise, texture = np.zeros((count, 3)), np.zeros((count, 3)), np.zeros((count, 3))
    at, corners, uneven = np.zeros((count, 2)), np.zeros((count, 4, 2)), np.zeros(count)
    for p, pad in enumerate(strip.pads):
        y0, x0 = pad.origin
        height, width = pad.mask.shape
        pixels = view.rgb[y0 : y0 + height, x0 : x0 + width].astype(np.float64) / 255.0
        inside = pixels[pad.mask]
        if len(inside) < MIN_PIXELS:
            raise Refused(because("too_small", _("pad {p} covers {n_inside} pixels", p=p + 1, n_inside=len(inside))))
        if (inside > 0.995).mean() > 0.25:
            raise Refused(because("blown_out"))
        if inside.max(axis=1).mean() < 0.02:
            raise Refused(because("too_dark"))
        centre = medians(inside)
        spread = MAD_TO_SD * medians(np.abs(inside - centre)) + 0.002
        kept = np.asarray((np.abs(inside - centre) < 4.0 * spread).all(axis=1))
        if kept.sum() < MIN_PIXELS:
            kept = np.ones(len(inside), dtype=bool)
        rgb[p] = inside[kept].mean(axis=0)
        noise[p] = inside[kept].var(axis=0) / max(2.0, INDEPENDENT_SHARE * kept.sum()) + NOISE_FLOOR**2
        means = _block_means(pixels, pad.mask)
        if len(means) >= 4:
            texture[p] = np.maximum(means.var(axis=0, ddof=1) / len(means) - noise[p], 0.0)
            uneven[p] = float(np.sqrt(means.var(axis=0, ddof=1)).max())
        corners[p] = pad.quad_mm
        at[p] = pad.quad_mm.mean(axis=0)
    return PadSamples(rgb, noise, texture, at, corners, uneven, strip.reasons)


def _block_means(pixels: Array, mask: NDArray[np.bool_]) -> Array:
    """Mean colour of each block of the pad that is mostly usable: (B, 3)."""
    height, width = mask.shape
    if min(height, width) < BLOCKS:
        return np.zeros((0, 3))
    starts = [np.arange(BLOCKS) * side // BLOCKS for side in (height, width)]
    ones = np.ones(mask.shape)
    stack = np.concatenate([pixels * mask[:, :, None], mask[:, :, None], ones[:, :, None]], axis=2)
    sums = np.add.reduceat(np.add.reduceat(stack, starts[0], axis=0), starts[1], axis=1).reshape(-1, 5)
    full = sums[:, 3] >= np.maximum(3.0, 0.5 * sums[:, 4])
    return np.asarray(sums[full, :3] / sums[full, 3:4])


def pads_to_lab(pads: PadSamples, fix: ColourFix, *, dye: bool = True) -> PadSet:
    """Correct the pads to CIELAB relative to the card. dye: they are a strip's, not the fields of a printed chart."""
    lab, cov, parts = fix.to_lab(pads.rgb, pads.at_mm, pads.noise, dye=dye)
    parts["texture"] = fix.noise_cov(pads.rgb, pads.at_mm, pads.texture)
    return PadSet(lab, cov + parts["texture"], parts, pads.corners_mm, pads.reasons)
