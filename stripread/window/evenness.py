"""How a liquid's tint runs over its vessel: even, one-sided as a reflection makes it, or falling outward as in a bowl.

A dissolved colour seen through one depth is the same all over. A reflection, or liquid that was not stirred, is not; a
smooth curve through all of it shows that long before the scatter of single places does.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stripread.colour import srgb_decode

if TYPE_CHECKING:
    from stripread.card.view import CardView
    from stripread.window.vials import Vial

Array = NDArray[np.float64]

CELL_MM = 1.0
LEAST_CELLS = 12


@dataclass(frozen=True)
class Evenness:
    """ln of red over blue as a smooth function of the place: middle, outward (change from the middle to one radius),
    across (2,) (slopes, a radius); outward_sd. mean: over the liquid. drift: scatter of the smooth part, noise taken
    off. clear: mean square of the smooth part over that of noise, 1 for noise alone. cells: how many places.
    """

    mean: float
    middle: float
    outward: float
    outward_sd: float
    across: Array
    drift: float
    clear: float
    cells: int


def evenness(view: CardView, vial: Vial) -> Evenness | None:
    """Fit the smooth function by least squares over square cells; None where there are too few of them."""
    if not vial.mask.any():
        return None
    places, light = vial.places_mm(view), srgb_decode(vial.pixels(view))
    radius = max(float(np.sqrt(vial.area_mm2 / np.pi)), 0.5)
    cell = np.floor(places / CELL_MM).astype(int)
    cell -= cell.min(axis=0)
    which = cell[:, 0] * (int(cell[:, 1].max()) + 1) + cell[:, 1]
    size = np.bincount(which).astype(np.float64)
    full = size >= 0.5 * float(np.median(size[size > 0]))
    if int(full.sum()) < LEAST_CELLS:
        return None
    means = np.stack([np.bincount(which, light[:, k]) for k in range(3)], axis=1)[full] / size[full, None]
    at = np.stack([np.bincount(which, places[:, k]) for k in range(2)], axis=1)[full] / size[full, None]
    at = (at - places.mean(axis=0)) / radius
    tint = np.log(np.maximum(means[:, 0], 1e-3)) - np.log(np.maximum(means[:, 2], 1e-3))
    square = (at**2).sum(axis=1)
    basis = np.column_stack([np.ones(len(at)), square - square.mean(), at])
    solution, *_ = np.linalg.lstsq(basis, tint, rcond=None)
    smooth = basis[:, 1:] @ solution[1:]
    noise = float((tint - basis @ solution).var(ddof=4)) + 1e-12
    inverse = np.linalg.inv(basis.T @ basis)
    return Evenness(
        float(tint.mean()),
        float(solution[0] - solution[1] * square.mean()),
        float(solution[1]),
        float(np.sqrt(noise * inverse[1, 1])),
        solution[2:],
        float(np.sqrt(max(smooth.var() - 3.0 * noise / len(at), 0.0))),
        float(smooth @ smooth / 3.0 / noise),
        len(at),
    )
