"""How much further than inks a dye is off in this photo, told from how the inks on the card are off.

Inks of the card and dyes of a pad are seen by one sensor in one lamp. What the colour fit leaves over on the card's
patches (a smooth field over CIELAB: *ink field*) tells how this sensor and lamp differ from those that the card's
values were learned with, and so how dyes will be off (*dye field*), which are purer and deeper than inks. The step from
one field to the other is linear, in a few modes; ``tests/design_dyes.py`` computes them from made-up spectra of inks,
dyes, phones and lamps and writes ``dye_modes.csv`` beside this file.
"""

from __future__ import annotations

import csv
from functools import cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

from stripread.tuned import tuned

Array = NDArray[np.float64]

TERMS = ("1", "L", "a", "b", "LL", "La", "Lb", "aa", "ab", "bb")
LOWEST, HIGHEST = np.array([0.0, -70.0, -70.0]), np.array([100.0, 70.0, 90.0])  # fields are held beyond these
_TUNED = tuned("stripread.correction")
RIDGE = _TUNED.number("dye_field_ridge")
INK_SHARE = _TUNED.number("ink_share")
SD_HALF = _TUNED.number("patch_sd_half")


def basis(lab: Array) -> Array:
    """Quadratic terms at colours (..., 3): (..., 10), each of the order of 1."""
    scaled = (np.clip(lab, LOWEST, HIGHEST) - [60.0, 0.0, 0.0]) / 30.0
    L, a, b = scaled[..., 0], scaled[..., 1], scaled[..., 2]
    return np.stack([np.ones_like(L), L, a, b, L * L, L * a, L * b, a * a, a * b, b * b], axis=-1)


def ink_field(lab: Array, miss: Array, sd: Array, weights: Array) -> Array:
    """Ridge-regularised quadratic field (10, 3) through what the patches are off by.

    Parameters
    ----------
    lab, miss
        CIELAB of the patches' values (N, 3), and that minus what the colour fit makes of them (N, 3).
    sd, weights
        Doubt of each value (N,) in CIELAB units, and how far each patch is trusted (N,), 0 to 1.
    """
    terms = basis(lab)
    share = (weights / (1.0 + (sd / SD_HALF) ** 2))[:, None]
    normal = (terms * share).T @ terms + RIDGE * np.eye(len(TERMS))
    return np.asarray(np.linalg.solve(normal, (terms * share).T @ miss))


def dye_field(ink: Array) -> Array:
    """The dye field (10, 3) that goes with an ink field (10, 3)."""
    from_ink, to_dye = modes()
    return np.asarray(np.einsum("mtc,muv,tc->uv", from_ink, to_dye, ink))


@cache
def modes() -> tuple[Array, Array]:
    """What picks each mode out of an ink field, and its dye field: (M, 10, 3) both."""
    text = resources.files("stripread.correction").joinpath("dye_modes.csv").read_text("utf-8")
    rows = list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))
    count = 1 + max(int(row["mode"]) for row in rows)
    parts = {name: np.zeros((count, len(TERMS), 3)) for name in ("ink", "dye")}
    for row in rows:
        parts[row["part"]][int(row["mode"]), TERMS.index(row["term"])] = [float(row[c]) for c in "Lab"]
    return parts["ink"], parts["dye"]
