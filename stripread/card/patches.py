"""The card's patches as numbers: mean encoded RGB of each, its variance, and whether it can be trusted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import PATCH_MM, CardLayout

if TYPE_CHECKING:
    from stripread.card.view import CardView
from stripread.tuned import tuned

Array = NDArray[np.float64]

MARGIN_MM = 1.2  # left out along each border: blur, sharpening halo and a small misplacement stay outside
MAX_SIDE = 16  # at most this many samples along a side: more would add time, not certainty
CLIP_LOW, CLIP_HIGH = 1.5, 253.5
_TUNED = tuned("stripread.card")
NOISE_FLOOR = _TUNED.number("noise_floor")
INDEPENDENT_SHARE = _TUNED.number("independent_share")


CLEAN = 0.02  # share of clipped pixels above which a patch's mean is no mean of its light


@dataclass(frozen=True)
class PatchSamples:
    """All patches of one photo, in the order of the layout.

    rgb (N, 3): mean encoded value, 0 to 1. var (N, 3): variance of that mean. clipped (N, 3): share of clipped pixels.
    texture (N,): standard deviation inside the patch over all channels. usable (N,): inside the picture and of one
    colour. centre_mm (N, 2). low, high: the picture's black and white level as written.
    """

    rgb: Array
    var: Array
    clipped: Array
    texture: Array
    usable: NDArray[np.bool_]
    centre_mm: Array

    @property
    def clean(self) -> NDArray[np.bool_]:
        """Which patches (N,) say something of the colours: whole, of one colour, and hardly clipped."""
        return np.asarray(self.usable & (self.clipped.max(axis=1) < CLEAN))


def sample_patches(view: CardView, layout: CardLayout) -> PatchSamples:
    """Average every patch of the rectified card over its inner square.

    A patch that leaves the picture, or whose four quarters differ by far more than its pixels do (something lies over
    half of it), is marked unusable instead of being averaged.
    """
    corners = np.array([p.rect_mm[:2] for p in layout.patches])
    centre = corners + PATCH_MM / 2
    inner = PATCH_MM - 2 * MARGIN_MM
    side = int(min(MAX_SIDE, max(4, round(inner * view.px_per_mm))))
    side -= side % 2
    step = (np.arange(side) + 0.5) / side * inner - inner / 2
    origin = view.mm_to_view(centre)  # (N, 2) view pixels
    cols = np.rint(origin[:, 0, None] + step * view.px_per_mm).astype(int)
    rows = np.rint(origin[:, 1, None] + step * view.px_per_mm).astype(int)
    cols = np.clip(cols, 0, view.rgb.shape[1] - 1)
    rows = np.clip(rows, 0, view.rgb.shape[0] - 1)
    block = view.rgb[rows[:, :, None], cols[:, None, :]].astype(np.float32)  # (N, side, side, 3)
    inside = view.inside[rows[:, :, None], cols[:, None, :]].mean(axis=(1, 2)) > 0.999
    clipped = ((block >= CLIP_HIGH) | (block <= CLIP_LOW)).mean(axis=(1, 2))
    half = side // 2
    quarters = block.reshape(len(block), 2, half, 2, half, 3).mean(axis=(2, 4)).reshape(len(block), 4, 3) / 255.0
    mean = quarters.mean(axis=1)
    sd = block.std(axis=(1, 2)) / 255.0
    spread = (quarters.max(axis=1) - quarters.min(axis=1)).max(axis=1)
    texture = sd.mean(axis=1)
    even = spread < 0.05 + 0.12 * mean.max(axis=1)
    n_eff = max(4.0, INDEPENDENT_SHARE * side * side)
    var = sd.astype(np.float64) ** 2 / n_eff + NOISE_FLOOR**2
    return PatchSamples(
        rgb=mean.astype(np.float64),
        var=var,
        clipped=clipped.astype(np.float64),
        texture=texture.astype(np.float64),
        usable=inside & even,
        centre_mm=centre,
    )
