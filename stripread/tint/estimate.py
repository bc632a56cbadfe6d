"""Sample against blank: how much copper blue, is it copper's blue at all, and what could have been seen.

The ratio of sample to blank (``sample``) moves along copper's curve (``spectra``); a grey factor common to the
channels (glass, shade) is a nuisance with its own doubt; what is left across both says that this is some other colour.

Limits by Currie's definitions (from memory, not looked up; ISO 11843 uses the same ideas): the decision limit is
exceeded by a blank in 5 % of cases; what is really there at the detection limit is seen in 95 %. "Copper" is said only
above a stricter limit, and the detection limit is stated for that one; between the two limits the
answer is "undecided".
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from stripread.tint.spectra import copper_curves, nickel_curves
from stripread.tuned import tuned

if TYPE_CHECKING:
    from stripread.tint.sample import TintSample

Array = NDArray[np.float64]
Decision = Literal["copper", "none seen", "undecided"]

ONE_IN_20 = 1.645  # standard deviations
_TUNED = tuned("stripread.tint")
CALLED = _TUNED.number("called")
GREY_SD = _TUNED.number("grey_sd")
SHAPE_SD = _TUNED.number("shape_sd")
CROSS_SD = _TUNED.number("cross_sd")
RESPONSE_LOW = _TUNED.number("response_low")
FREEDOM = _TUNED.number("tint_freedom")
OTHER_COLOUR = _TUNED.number("other_colour")
NICKEL_USUAL = _TUNED.number("nickel_usual")
FAINT = _TUNED.number("faint")
WEAK = _TUNED.number("weak")
PLAIN = _TUNED.number("plain")
NICKEL_EVEN = _TUNED.number("nickel_even")
NICKEL_LIKELY = _TUNED.number("nickel_likely")
NICKEL_PLAIN = _TUNED.number("nickel_plain")


@dataclass(frozen=True)
class TintEstimate:
    """What the ratio means. Absorbances are decadic, at the band maximum, one passage.

    grid, density (N,): posterior of the absorbance. signal: the estimate used for the decision and sd0 its standard
    deviation on a blank. misfit: squared distance to copper's curve (2 degrees of freedom). grey: ln of the factor
    common to the channels. probability: that there is more than nothing. nickel: that it is nickel rather than copper.
    """

    absorbance: float
    interval: tuple[float, float]
    grid: Array
    density: Array
    noise_sd: float
    signal: float
    sd0: float
    misfit: float
    grey: float
    probability: float
    nickel: float
    decision: Decision

    @property
    def decision_limit(self) -> float:
        """Absorbance that a blank exceeds in 5 % of cases."""
        return ONE_IN_20 * self.sd0

    @property
    def detection_limit(self) -> float:
        """True absorbance that is called copper in 95 % of cases, over the phones that may be."""
        return (CALLED + ONE_IN_20) * RESPONSE_LOW * self.sd0


def estimate_tint(sample: TintSample) -> TintEstimate:
    """Place the ratio on copper's curves.

    The posterior over absorbance has a flat prior, Student's t tails and averages over the drawn phones and lights. The
    decision uses the linear estimate about nothing, whose error does not depend on the response.
    """
    curves = copper_curves()
    grey = GREY_SD**2 * np.outer(sample.ratio, sample.ratio)
    left_of_it = np.clip(sample.ratio, 1e-3, 1.0)
    shape = np.diag((SHAPE_SD * left_of_it * np.log(left_of_it)) ** 2)
    cross = (CROSS_SD * (1.0 - float(left_of_it.min()))) ** 2 * np.eye(3)
    whole = sample.cov + grey + shape + cross
    precision = np.asarray(np.linalg.inv(whole), dtype=np.float64)
    error = sample.ratio - curves.ratio  # (S, G, 3)
    square = _square(error, precision)
    like = _likelihood(square)
    evidence = float(np.trapezoid(like, curves.absorbance))
    density = like / evidence
    violet = _likelihood(_square(sample.ratio - nickel_curves().ratio, precision))
    usual = np.exp(-np.maximum(curves.absorbance, 0.0) / NICKEL_USUAL)
    other = float(np.trapezoid(violet * usual, curves.absorbance))
    low, middle, high = _quantiles(curves.absorbance, density, (0.025, 0.5, 0.975))
    s, g = np.unravel_index(int(np.argmin(square)), square.shape)
    left = error[s, g]
    grey_now = float(GREY_SD * GREY_SD * sample.ratio @ precision @ left)
    step = np.gradient(curves.ratio[s], curves.absorbance, axis=0)[g]
    noise_sd = float((step @ precision @ step) ** -0.5)
    zero = sample.cov + GREY_SD**2 * np.ones((3, 3))
    q = curves.slope.mean(axis=0)
    weights = np.linalg.solve(zero, q)
    sd0 = float((q @ weights) ** -0.5)
    signal = float(weights @ (sample.ratio - 1.0) / (q @ weights))
    probability = float(np.trapezoid(np.where(curves.absorbance > 0, density, 0.0), curves.absorbance))
    misfit = float(square[s, g])
    return TintEstimate(
        middle,
        (low, high),
        curves.absorbance,
        density,
        noise_sd,
        signal,
        sd0,
        misfit,
        grey_now,
        probability,
        other / (other + evidence),
        _decide(signal, sd0, misfit, other / (other + evidence)),
    )


def _square(error: Array, precision: Array) -> Array:
    """Squared distance in standard deviations: (S, G) for errors (S, G, 3)."""
    first, second, third = error[..., 0], error[..., 1], error[..., 2]  # numpy is slow over so short an axis
    square = first * (precision[0, 0] * first + 2.0 * (precision[0, 1] * second + precision[0, 2] * third))
    square += second * (precision[1, 1] * second + 2.0 * precision[1, 2] * third)
    square += precision[2, 2] * third * third
    return np.asarray(square)


def _likelihood(square: Array) -> Array:
    """Student's t likelihood, averaged over the systems: (G,)."""
    return np.asarray(((1.0 + square / FREEDOM) ** (-0.5 * (FREEDOM + 3.0))).mean(axis=0)) + 1e-300


def _decide(signal: float, sd0: float, misfit: float, nickel: float) -> Decision:
    if is_nickel(signal, sd0, nickel):
        return "undecided"
    if misfit > OTHER_COLOUR or signal < -3.5 * sd0:
        return "undecided"
    if signal > CALLED * sd0:
        return "copper"
    return "none seen" if signal < ONE_IN_20 * sd0 else "undecided"


def is_nickel(signal: float, sd0: float, nickel: float) -> bool:
    """Whether a blue is nickel's rather than copper's."""
    limit = np.interp(signal / sd0, (FAINT, WEAK, PLAIN), (NICKEL_EVEN, NICKEL_LIKELY, NICKEL_PLAIN))
    return bool(signal > CALLED * sd0 and nickel > limit)


def _quantiles(grid: Array, density: Array, at: tuple[float, ...]) -> tuple[float, ...]:
    steps = np.diff(grid)
    cumulative = np.concatenate([[0.0], np.cumsum(0.5 * (density[1:] + density[:-1]) * steps)])
    return tuple(float(v) for v in np.interp(at, cumulative / cumulative[-1], grid))
