"""The chemistry of one pad: dyes turn with pH (Henderson-Hasselbalch) and add up in K/S (Kubelka-Munk).

For m transitions with pKa_1 < ... < pKa_m and a common steepness s, the share that has passed transition i is

    a_i(pH) = 1 / (1 + 10^(s (pKa_i - pH)))

and between transitions each of three reflectance channels c has a level of K/S, q_0c ... q_mc, all positive:

    K/S_c(pH) = q_0c + sum_i a_i(pH) (q_ic - q_(i-1)c)

s is 1 for a dye in water; on paper the sites differ and it is a little lower. The parameters have a Gaussian prior,
wide but proper, so that many transitions may be offered and the data decide how many of them show.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stripread.ph.kubelka import channels_to_lab, lab_by_channels, reflectance, reflectance_slope
from stripread.tuned import tuned

Array = NDArray[np.float64]

LN10 = float(np.log(10.0))
_TUNED = tuned("calibration")
PKA_SD = _TUNED.number("pka_sd")
GAP_SD = _TUNED.number("gap_sd")
STEEPNESS = _TUNED.number("steepness")
STEEPNESS_SD = _TUNED.number("steepness_sd")
LEVEL = _TUNED.number("pad_level")
LEVEL_SD = _TUNED.number("pad_level_sd")
STEP_SD = _TUNED.number("pad_step_sd")
_TINY = 1e-5


@dataclass(frozen=True)
class PadPrior:
    """Gaussian prior of one pad's parameters: mean (K,) and a square root (K, K) of its precision."""

    mean: Array
    root: Array

    @property
    def factor(self) -> Array:
        """F (K, K) with prior covariance F F'."""
        return np.asarray(np.linalg.inv(self.root), dtype=np.float64)


def size(transitions: int) -> int:
    """Number of parameters: first pKa, log gaps, log steepness, log levels."""
    return transitions + 1 + 3 * (transitions + 1)


def transitions_of(theta: Array) -> int:
    """Number of transitions that parameters (K,) describe."""
    return (len(theta) - 4) // 4


def prior(transitions: int, low: float, high: float) -> PadPrior:
    """Prior for a pad whose strip covers pH ``low`` to ``high``."""
    m = transitions
    mean = np.zeros(size(m))
    gap = (high - low) / (m + 1)
    mean[0] = low + gap
    mean[1:m] = np.log(gap)
    mean[m] = np.log(STEEPNESS)
    mean[m + 1 :] = np.log(LEVEL)
    root = np.zeros((size(m), size(m)))
    root[0, 0] = 1.0 / PKA_SD
    root[range(1, m), range(1, m)] = 1.0 / GAP_SD
    root[m, m] = 1.0 / STEEPNESS_SD
    for k in range(m + 1, size(m)):
        first = k < m + 4
        root[k, k] = 1.0 / (LEVEL_SD if first else STEP_SD)
        if not first:
            root[k, k - 3] = -1.0 / STEP_SD
    return PadPrior(mean, root)


def pkas(theta: Array) -> Array:
    """The transitions' pKa (m,), rising."""
    m = transitions_of(theta)
    return np.asarray(theta[0] + np.concatenate([[0.0], np.cumsum(np.exp(theta[1:m]))]))


def steepness(theta: Array) -> float:
    """The common steepness s of parameters ``theta`` (K,)."""
    return float(np.exp(theta[transitions_of(theta)]))


def levels(theta: Array) -> Array:
    """K/S between the transitions (m + 1, 3)."""
    m = transitions_of(theta)
    return np.asarray(np.exp(theta[m + 1 :]).reshape(m + 1, 3))


def pack(pka: Array, s: float, level: Array) -> Array:
    """Parameters (K,) from pKa (m,) rising, steepness and levels (m + 1, 3)."""
    gaps = np.maximum(np.diff(pka), 0.05)
    return np.concatenate([[pka[0]], np.log(gaps), [np.log(s)], np.log(np.maximum(level, 1e-4)).ravel()])


def pad_lab(theta: Array, ph: Array) -> Array:
    """CIELAB of the pad at pH (N,): (N, 3)."""
    _, passed = _passed(theta, ph)
    level = levels(theta)
    return channels_to_lab(reflectance(np.maximum(level[0] + passed @ np.diff(level, axis=0), _TINY)))


def _passed(theta: Array, ph: Array) -> tuple[Array, Array]:
    """Distance of pH (N,) past each transition times the steepness, and the share that has passed it: both (N, m)."""
    z = steepness(theta) * (ph[:, None] - pkas(theta))
    return z, 1.0 / (1.0 + 10.0 ** np.clip(-z, -12.0, 12.0))


def pad_lab_and_slope(theta: Array, ph: Array) -> tuple[Array, Array]:
    """CIELAB (N, 3) of the pad at pH (N,), and its derivative by the parameters (N, 3, K)."""
    m = transitions_of(theta)
    s, level = steepness(theta), levels(theta)
    z, passed = _passed(theta, ph)
    steps = np.diff(level, axis=0)  # (m, 3)
    raw = level[0] + passed @ steps
    k = np.maximum(raw, _TINY)
    channels = reflectance(k)
    lab = channels_to_lab(channels)
    by_k = lab_by_channels(channels) * (reflectance_slope(k) * (raw > _TINY))[:, None, :]  # (N, 3 Lab, 3 channels)
    slope = LN10 * passed * (1.0 - passed)  # da/dz
    k_by = np.zeros((len(ph), 3, size(m)))
    by_pka = -s * slope[:, None, :] * steps.T  # (N, 3, m): dK/dpKa_i
    k_by[:, :, 0] = by_pka.sum(axis=2)
    for g in range(1, m):  # a gap moves every later transition
        k_by[:, :, g] = by_pka[:, :, g:].sum(axis=2) * np.exp(theta[g])
    k_by[:, :, m] = (slope * z) @ steps
    share = np.concatenate([np.ones((len(ph), 1)), passed], axis=1) - np.concatenate(
        [passed, np.zeros((len(ph), 1))], axis=1
    )  # (N, m + 1): weight of each level
    for j in range(m + 1):
        for c in range(3):
            k_by[:, c, m + 1 + 3 * j + c] = share[:, j] * level[j, c]
    return lab, by_k @ k_by
