"""Sample against blank: how much copper blue, is it copper's blue at all, and what could have been seen.

Everything is done on the ratio of sample to blank in the picture's linear channels, which a common light leaves
alone. Light is taken from the sRGB curve, whose doubt is in the curves: what is fitted to the card's ramp mixes the
phone's tone with the printer's. The ratio moves along copper's curve (``tintmodel``); a grey factor common to the
channels (glass, shade) is a nuisance with its own doubt; what is left across both says that this is some other colour.

Limits by Currie's definitions (from memory, not looked up; ISO 11843 uses the same ideas): the decision limit is
exceeded by a blank in 5 % of cases; what is really there at the detection limit is seen in 95 %. "Copper" is said only
above a stricter limit (1 in 100 blanks), and the detection limit is stated for that one; between the two limits the
answer is "undecided".
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from stripread.card import CardLayout
from stripread.colour import srgb_decode
from stripread.paper import paper_light
from stripread.tintmodel import copper_curves, nickel_curves
from stripread.vials import Vial, Vials
from stripread.view import CardView

Array = NDArray[np.float64]
Decision = Literal["copper", "none seen", "undecided"]

ONE_IN_20, ONE_IN_100 = 1.645, 2.6  # standard deviations; the second with a little for tails heavier than normal
GREY_SD = 0.02  # natural log: what glass, shade and filling differ between two like vials
FLOOR_SD = 0.0018  # natural log, each channel: what two photos of the same pair differ in colour, whatever the noise
FLARE, FLARE_SD = 0.006, 0.005  # of the blank's light: veil of lens and liquid, which no absorbance takes away
LOWEST_SD = 0.0005
SHAPE_SD = 0.04  # relative to the light taken away: how far copper's curve of a real system is from all drawn ones
RESPONSE_LOW = 1.2  # what a phone of weak response needs more
FREEDOM = 8.0
BLOCK_MM = 1.5
INDEPENDENT = 0.15  # share of pixels that count as independent after demosaicing, JPEG and resampling
ROUNDING = 0.0006  # of full scale: compression that averaging does not remove
MOST_PIXELS = 5000
OTHER_COLOUR = 5.5  # squared misfit to the nearest of all drawn curves; right ones stay well below
# Probability of nickel's band against copper's, both alike beforehand: a weak blue is never far from either
NICKEL_LIKELY, NICKEL_PLAIN, PLAIN = 0.62, 0.45, 8.0  # the second beyond the third, in standard deviations


@dataclass(frozen=True)
class TintSample:
    """Sample against blank. ratio (3,): linear light, sample over blank, at the same light. cov (3, 3): its covariance
    without the grey nuisance. parts: that covariance by cause. uneven: colour differences inside the sample in excess
    of the blank's, natural log. clarity: contrast of the printed ring, sample over blank; NaN when not seen in both.
    """

    ratio: Array
    cov: Array
    parts: dict[str, Array]
    uneven: float
    clarity: float


@dataclass(frozen=True)
class TintEstimate:
    """What the ratio means. Absorbances are decadic, at the band maximum, one passage.

    grid, density: posterior of the absorbance. signal: the estimate used for the decision and sd0 its standard
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
        return (ONE_IN_100 + ONE_IN_20) * RESPONSE_LOW * self.sd0


def sample_tint(view: CardView, vials: Vials, layout: CardLayout) -> TintSample:
    """Measure the ratio of sample to blank with its errors."""
    sample, blank = vials.sample, vials.blank
    assert sample is not None
    assert blank is not None
    s, b = _mean_of(view, sample), _mean_of(view, blank)
    avoid = [(c.centre_mm, c.radius_mm) for vial in (sample, blank) for c in vial.circles]
    log_light, light_cov = paper_light(view, layout, avoid).ratio(sample.centre_mm, blank.centre_mm)
    bottom = np.maximum(b.linear, 0.02)
    ratio = s.linear / bottom * np.exp(-log_light)
    ratio = np.maximum(ratio - FLARE, 0.0) / (1.0 - FLARE)
    parts: dict[str, Array] = {
        "noise": np.diag(s.noise / bottom**2 + b.noise * (ratio / bottom) ** 2),
        "texture": _scaled(s.texture, 1.0 / bottom) + _scaled(b.texture, ratio / bottom),
        "light": _scaled(light_cov, ratio),
        "floor": np.diag((FLOOR_SD * ratio) ** 2 + (FLARE_SD * (1.0 - np.minimum(ratio, 1.0))) ** 2 + LOWEST_SD**2),
    }
    clarity = sample.ring / blank.ring if blank.ring > 0.15 else float("nan")
    return TintSample(ratio, sum(parts.values(), np.zeros((3, 3))), parts, _excess(s, b), clarity)


@dataclass(frozen=True)
class _Mean:
    """Mean of one vial: encoded (3,), linear (3,), variance of the mean (3,), texture covariance (3, 3) of it, spread
    of the blocks' colour (natural log)."""

    encoded: Array
    linear: Array
    noise: Array
    texture: Array
    blocks: float


def _mean_of(view: CardView, vial: Vial) -> _Mean:
    pixels, places = vial.pixels(view), vial.places_mm(view)
    stride = max(1, len(pixels) // MOST_PIXELS)
    if stride % 2 == 0:  # an even stride would walk down columns and see half of them
        stride += 1
    pixels, places = pixels[::stride], places[::stride]
    linear = srgb_decode(pixels)
    centre = np.median(linear, axis=0)
    spread = 1.4826 * np.median(np.abs(linear - centre), axis=0) + 1e-4
    kept = (np.abs(linear - centre) < 4.0 * spread).all(axis=1)
    linear, places, encoded = linear[kept], places[kept], pixels[kept].mean(axis=0)
    slope = 2.2 * linear.mean(axis=0) / np.maximum(encoded, 0.03)
    noise = (slope * ROUNDING) ** 2
    cell = np.floor(places / BLOCK_MM).astype(int)
    cell -= cell.min(axis=0)
    which = cell[:, 0] * (cell[:, 1].max() + 1) + cell[:, 1]
    size = np.bincount(which)
    full = size >= max(3.0, 0.3 * float(np.median(size[size > 0])))
    means = np.stack([np.bincount(which, linear[:, k]) for k in range(3)], axis=1)[full] / size[full, None]
    texture, blocks = np.zeros((3, 3)), 0.0
    if len(means) >= 6:
        logs = np.log(np.maximum(means, 1e-3))
        blocks = float(np.std(logs[:, 0] - logs[:, 2]))
        texture = np.cov(means.T) / len(means) * (1.0 + 3.0 / len(means))  # pixel noise is in it
    else:
        noise = noise + linear.var(axis=0) / max(4.0, INDEPENDENT * kept.sum())
    return _Mean(encoded, linear.mean(axis=0), noise, texture, blocks)


def _excess(sample: _Mean, blank: _Mean) -> float:
    return float(np.sqrt(max(sample.blocks**2 - 1.5 * blank.blocks**2, 0.0)))


def _scaled(cov: Array, by: Array) -> Array:
    return np.asarray(by[:, None] * cov * by[None, :])


def estimate_tint(sample: TintSample) -> TintEstimate:
    """Place the ratio on copper's curves.

    The posterior over absorbance has a flat prior, Student's t tails and averages over the drawn phones and lights. The
    decision uses the linear estimate about nothing, whose error does not depend on the response.
    """
    curves = copper_curves()
    grey = GREY_SD**2 * np.outer(sample.ratio, sample.ratio)
    shape = np.diag((SHAPE_SD * (1.0 - np.clip(sample.ratio, 0.0, 1.0))) ** 2)
    whole = sample.cov + grey + shape
    precision = np.asarray(np.linalg.inv(whole), dtype=np.float64)
    error = sample.ratio - curves.ratio  # (S, G, 3)
    square = _square(error, precision)
    like = _likelihood(square)
    evidence = float(np.trapezoid(like, curves.absorbance))
    density = like / evidence
    violet = _likelihood(_square(sample.ratio - nickel_curves().ratio, precision))
    other = float(np.trapezoid(violet, curves.absorbance))
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
    return np.asarray(((error @ precision) * error).sum(axis=2))


def _likelihood(square: Array) -> Array:
    """Student's t likelihood, averaged over the systems: (G,)."""
    return np.asarray(((1.0 + square / FREEDOM) ** (-0.5 * (FREEDOM + 3.0))).mean(axis=0)) + 1e-300


def _decide(signal: float, sd0: float, misfit: float, nickel: float) -> Decision:
    if is_nickel(signal, sd0, nickel):
        return "undecided"
    if misfit > OTHER_COLOUR or signal < -3.5 * sd0:
        return "undecided"
    if signal > ONE_IN_100 * sd0:
        return "copper"
    return "none seen" if signal < ONE_IN_20 * sd0 else "undecided"


def is_nickel(signal: float, sd0: float, nickel: float) -> bool:
    """Whether a blue is nickel's rather than copper's."""
    plain = signal > PLAIN * sd0
    return signal > ONE_IN_100 * sd0 and nickel > (NICKEL_PLAIN if plain else NICKEL_LIKELY)


def _quantiles(grid: Array, density: Array, at: tuple[float, ...]) -> tuple[float, ...]:
    steps = np.diff(grid)
    cumulative = np.concatenate([[0.0], np.cumsum(0.5 * (density[1:] + density[:-1]) * steps)])
    return tuple(float(v) for v in np.interp(at, cumulative / cumulative[-1], grid))
