"""What the colour fit leaves over, as a model in CIELAB chosen by cross-validation on the card's own patches.

After ``fit`` a patch still misses its reference value: inks and sensor do not mix linearly, and two colours that
look alike to the eye do not to the camera (metamerism). Three candidates for the rest: none, a root-polynomial of
degree 2 (Finlayson, Mackiewicz and Hurlbert, IEEE Trans. Image Process. 24, 2015: terms keep
their meaning at any exposure), ridge-regularised, and a Gaussian process over CIELAB. Each predicts every
patch from the others in closed form; the best wins. Its covariance, with the nugget that no model removes, is the doubt
of a corrected colour.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stripread.colour import lab_to_rgb
from stripread.gauss import gaussian_between
from stripread.tuned import tuned

Array = NDArray[np.float64]

_TUNED = tuned("stripread.correction")
LENGTH_LAB = _TUNED.number("length_lab")
NUGGET_FLOOR = _TUNED.number("nugget_floor")
MONOCHROME_SD = _TUNED.number("monochrome_sd")
FOREIGN_COLOURANT = _TUNED.number("foreign_colourant")
FOREIGN_BASE = np.array(_TUNED.numbers("foreign_base"))
LOCAL_LAB = _TUNED.number("local_lab")
LOCAL_FEW = _TUNED.number("local_few")
FOREIGN_SHARED = _TUNED.number("foreign_shared")
FOREIGN_LENGTH_LAB = _TUNED.number("foreign_length_lab")
_RIDGES = (3e-3, 3e-2, 3e-1)
_RATIOS = (0.3, 1.0, 3.0)  # variance of the smooth part over that of the nugget


@dataclass(frozen=True)
class ResidualModel:
    """Expected miss at a colour: ``kind`` none, root-polynomial or process.

    train (M, 3): CIELAB of the patches. solved (M or T, 3): weights. inverse: the kernel's or normal matrix's inverse.
    nugget (3,), amplitude (3,): standard deviations per CIELAB channel. rms_cv: leave-one-out Delta E*ab.
    missed (M, 3): what each patch is off by when the others predict it; empty when nothing was learned.
    """

    kind: str
    train: Array
    solved: Array
    inverse: Array
    amplitude: Array
    nugget: Array
    rms_cv: float
    tried: dict[str, float]
    missed: Array

    def local_variance(self, lab: Array) -> Array:
        """Mean square miss (P, 3) of the patches about colours (P, 3), each predicted from all the others.

        Some hues are harder than others for this sensor in this light; the patches of that hue show it.
        """
        if len(self.missed) == 0:
            return np.tile(self.nugget**2, (len(lab), 1))
        near = gaussian_between(lab, self.train, LOCAL_LAB)
        few = LOCAL_FEW * self.nugget**2
        return np.asarray((near @ self.missed**2 + few) / (near.sum(axis=1, keepdims=True) + LOCAL_FEW))

    def at(self, lab: Array) -> tuple[Array, Array]:
        """Shift to add at colours (P, 3), and its covariance (3P, 3P) with the nugget in it."""
        count = len(lab)
        shift, smooth = np.zeros((count, 3)), np.zeros((count, 3, count, 3))
        if self.kind == "process":
            k = gaussian_between(lab, self.train, LENGTH_LAB)
            shift = k @ self.solved
            shared = gaussian_between(lab, lab, LENGTH_LAB) - k @ self.inverse @ k.T
            smooth = shared[:, None, :, None] * np.diag(self.amplitude**2)[None, :, None, :]
        elif self.kind == "root-polynomial":
            terms = _terms(lab)
            shift = terms @ self.solved
            reach = terms @ self.inverse @ terms.T
            smooth = reach[:, None, :, None] * np.diag(self.nugget**2)[None, :, None, :]
        alike = FOREIGN_SHARED * gaussian_between(lab, lab, FOREIGN_LENGTH_LAB) + (1.0 - FOREIGN_SHARED) * np.eye(count)
        spread = np.sqrt(FOREIGN_COLOURANT**2 * self.local_variance(lab) + FOREIGN_BASE**2)  # (P, 3)
        for c in range(3):
            smooth[:, c, :, c] += alike * np.outer(spread[:, c], spread[:, c])
        return shift, smooth.reshape(3 * count, 3 * count)


def fit_residual(lab: Array, miss: Array, trusted: NDArray[np.bool_], *, monochrome: bool = False) -> ResidualModel:
    """Choose and fit the model of what is left over.

    Parameters
    ----------
    lab, miss
        CIELAB of the patches as fitted (N, 3), and reference minus that (N, 3).
    trusted
        Patches to learn from (N,).
    monochrome
        The card was printed without colour: learn nothing about colours, and say so by a wide nugget.
    """
    x, y = lab[trusted], miss[trusted]
    none_rms = float(np.sqrt((y**2).sum(axis=1).mean())) if len(x) else MONOCHROME_SD
    if monochrome or len(x) < 20:
        nugget = np.array([2.0, MONOCHROME_SD, MONOCHROME_SD])
        return ResidualModel(
            "none", x, np.zeros((0, 3)), np.zeros((0, 0)), np.zeros(3), nugget, none_rms, {"none": none_rms}, y[:0]
        )
    tried = {"none": none_rms}
    best: ResidualModel | None = None
    floor = np.full(3, NUGGET_FLOOR)
    rms = np.sqrt((y**2).mean(axis=0))
    best = ResidualModel(
        "none", x, np.zeros((0, 3)), np.zeros((0, 0)), np.zeros(3), np.maximum(rms, floor), none_rms, tried, y
    )
    terms = _terms(x)
    for ridge in _RIDGES:
        inverse: Array = np.asarray(
            np.linalg.inv(terms.T @ terms + ridge * len(x) * np.eye(terms.shape[1])), np.float64
        )
        hat = terms @ inverse @ terms.T
        left_out = (y - hat @ y) / (1.0 - np.diag(hat))[:, None]
        score = float(np.sqrt((left_out**2).sum(axis=1).mean()))
        tried[f"root-polynomial {ridge:g}"] = score
        if score < 0.97 * best.rms_cv:
            nugget = np.maximum(np.sqrt((left_out**2).mean(axis=0)), floor)
            best = ResidualModel(
                "root-polynomial", x, inverse @ terms.T @ y, inverse, np.zeros(3), nugget, score, tried, left_out
            )
    K = gaussian_between(x, x, LENGTH_LAB)
    for ratio in _RATIOS:
        inverse = np.asarray(np.linalg.inv(K + np.eye(len(x)) / ratio), np.float64)
        left_out = (inverse @ y) / np.diag(inverse)[:, None]
        score = float(np.sqrt((left_out**2).sum(axis=1).mean()))
        tried[f"process {ratio:g}"] = score
        if score < 0.97 * best.rms_cv:
            # Leave-one-out variance is nugget * ratio / diag(inverse): solve for the scale of this channel.
            scale = np.sqrt((left_out**2 * np.diag(inverse)[:, None]).mean(axis=0))  # kernel in units of amplitude 1
            amplitude = np.maximum(scale, floor * np.sqrt(ratio))
            best = ResidualModel(
                "process", x, inverse @ y, inverse, amplitude, amplitude / np.sqrt(ratio), score, tried, left_out
            )
    return best


def _terms(lab: Array) -> Array:
    """Root-polynomial terms of degree 2 at colours (N, 3), relative to white so that white stays white: (N, 6)."""
    rgb = np.maximum(lab_to_rgb(lab), 0.0)
    r, g, b = rgb[:, 0], rgb[:, 1], rgb[:, 2]
    mean = (r + g + b) / 3.0
    return np.stack(
        [r - mean, b - mean, np.sqrt(r * g) - mean, np.sqrt(g * b) - mean, np.sqrt(r * b) - mean, mean * (1.0 - mean)],
        axis=1,
    )
