"""Rims too faint for one angle to tell from noise: the step across a circle, with its sign, over all angles at once.

A rim that is drawn in noise of its own height vanishes when steps are taken without their sign. Lighter inside than
outside, or darker, all the way round: then the median over the angles grows above its noise as the root of their
number. Straight edges, patches and shadows give no such median.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from stripread.tuned import tuned

Array = NDArray[np.float64]

ANGLES = 48
REACH_MM, STEP_MM = 4.5, 0.5  # a faint rim is looked for near its window's middle only: it is not lifted high
RADII_MM = np.arange(3.25, 14.76, 0.25)  # from the narrowest vial to where the card's patches begin
HALF_EDGE_MM = 0.5
_TUNED = tuned("stripread.window")
LEAST = _TUNED.number("faint_rim_least")
SURE = _TUNED.number("faint_rim_sure")
LOOKED_AT = 400
MEDIAN_LOSS = 1.25  # standard error of a median over that of a mean (normal errors)


def faint_rim(
    planes: Sequence[NDArray[np.float32]], origin: Array, middle_mm: tuple[float, float]
) -> tuple[tuple[float, float], float, float] | None:
    """The clearest such circle near a place: centre (mm), radius (mm), step (of full scale); None where there is none.

    ``planes``: smoothed channels (h, w); ``origin``: card place (mm) of their first pixel, and mm a pixel.
    """
    shift = np.arange(-REACH_MM, REACH_MM + 0.01, STEP_MM)
    centres = np.stack(np.meshgrid(shift, shift), axis=-1).reshape(-1, 2)
    centres = centres[np.hypot(centres[:, 0], centres[:, 1]) <= REACH_MM] + np.array(middle_mm)
    turn = np.arange(ANGLES) * (2 * np.pi / ANGLES)
    hop = round(2 * HALF_EDGE_MM / 0.25)
    ends = RADII_MM[0] - HALF_EDGE_MM + 0.25 * np.arange(len(RADII_MM) + hop)
    start = (centres - origin[:2]) / origin[2] + 0.5
    h, w = planes[0].shape
    x = np.clip(start[:, 0, None, None] + np.cos(turn) * ends[:, None] / origin[2], 0, w - 1).astype(np.int32)
    y = np.clip(start[:, 1, None, None] + np.sin(turn) * ends[:, None] / origin[2], 0, h - 1).astype(np.int32)
    index = y * w + x
    best: tuple[float, int, int] | None = None
    height = 0.0
    for plane in planes:
        lines = plane.ravel().take(index)
        steps = (lines[:, hop:] - lines[:, :-hop]).reshape(-1, ANGLES)  # circle by circle
        # Medians are slow: only of circles of which even the mean says something
        mean = steps.mean(axis=1)
        rough = mean * mean / (np.einsum("ca,ca->c", steps, steps) / ANGLES - mean * mean + 1e-6)
        few = np.argpartition(rough, -LOOKED_AT)[-LOOKED_AT:]
        step = steps[few]
        middle = np.median(step, axis=1)
        spread = 1.4826 * np.median(np.abs(step - middle[:, None]), axis=1) + 0.001
        score = np.abs(middle) / (MEDIAN_LOSS * spread / np.sqrt(ANGLES))
        score[np.abs(middle) < LEAST] = 0.0
        k = int(np.argmax(score))
        if best is None or score[k] > best[0]:
            c, r = np.unravel_index(int(few[k]), (len(centres), len(RADII_MM)))
            best, height = (float(score[k]), int(c), int(r)), float(abs(middle[k]))
    if best is None or best[0] < SURE:
        return None
    place = centres[best[1]]
    return (float(place[0]), float(place[1])), float(RADII_MM[best[2]]), height
