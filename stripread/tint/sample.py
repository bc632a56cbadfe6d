"""Sample against blank as a ratio of light, with its errors, and whether the paper was seen through both at all.

Everything is done on the ratio of sample to blank in the picture's linear channels, which a common light leaves
alone. Light is taken from the sRGB curve, whose doubt is in the curves of ``spectra``: what is fitted to the card's
ramp mixes the phone's tone with the printer's.

A tall vessel seen from the side shows its wall where the paper should be. Clear liquid over paper is nearly as bright
as the paper beside it, whatever copper does to red: that tells the two apart.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from stripread.tuned import tuned
from stripread.window.evenness import evenness
from stripread.window.liquid import LiquidMean, excess, liquid_mean
from stripread.window.paper import paper_light

if TYPE_CHECKING:
    from stripread.card.layout import CardLayout
    from stripread.card.view import CardView
    from stripread.window.vials import Vial, Vials

Array = NDArray[np.float64]
Hidden = Literal["", "blank", "sample", "both"]

_TUNED = tuned("stripread.tint")
FLOOR_SD = _TUNED.number("floor_sd")
FLARE = _TUNED.number("flare")
FLARE_SD = _TUNED.number("flare_sd")
LOWEST_SD = _TUNED.number("lowest_sd")
THROUGH = _TUNED.number("through")
THROUGH_SD = _TUNED.number("through_sd")
GLASS_SD = _TUNED.number("glass_sd")
PAPER_SEEN = _TUNED.number("paper_seen")
DARKER = _TUNED.number("darker")
SURELY = _TUNED.number("surely")
LEAST_TINT = _TUNED.number("least_tint")
RING_SEEN = _TUNED.number("liquid_ring_seen")
# Natural log, each channel: what two vials of one sort and their places differ in colour. Nobody measured vials: it is
# the assumption of outside measurements. A second photo measures it (``cells``).
CELL_SD = _TUNED.number("cell_sd")
CELLS = "cells"


@dataclass(frozen=True)
class TintSample:
    """Sample against blank. ratio (3,): linear light, sample over blank, at the same light. cov (3, 3): its covariance
    without the grey nuisance. parts: that covariance by cause. uneven: colour differences inside the sample in excess
    of the blank's, natural log. sided: how much of the tint is smoothly uneven, 0 where noise could be all of it.
    clarity: contrast of the printed ring, sample over blank; NaN when not seen in both.
    guessed: no rim of the sample was seen, so that bare paper may have been read.
    hidden: in which vessel the paper was not seen; bare paper then stands in for a blank.
    yellow: natural log, how much less of the blue than of red and green the blank lets through; 0 where not seen.
    log_light (3,): natural log of the light at the sample over that at the blank, divided out of the ratio.
    patches (N, 3): natural log of the light of the card's patches, by which another lamp is told; empty if not asked.
    """

    ratio: Array
    cov: Array
    parts: dict[str, Array]
    uneven: float
    clarity: float
    hidden: Hidden = ""
    sided: float = 0.0
    guessed: bool = False
    yellow: float = 0.0
    log_light: Array = field(default_factory=lambda: np.zeros(3))
    patches: Array = field(default_factory=lambda: np.zeros((0, 3)))


def sample_tint(view: CardView, vials: Vials, layout: CardLayout) -> TintSample:
    """Measure the ratio of sample to blank with its errors."""
    sample, blank = vials.sample, vials.blank
    assert sample is not None
    assert blank is not None
    s, b = liquid_mean(view, sample), liquid_mean(view, blank)
    avoid = [(c.centre_mm, c.radius_mm) for vial in (sample, blank) for c in vial.circles]
    paper = paper_light(view, layout, avoid)
    at = paper.at(np.array([sample.centre_mm, blank.centre_mm]))
    hidden = _hidden((float((s.linear / at[0]).max()), float((b.linear / at[1]).max())), (sample.ring, blank.ring))
    log_light, light_cov = paper.ratio(sample.centre_mm, blank.centre_mm)
    glass = np.zeros((3, 3))
    if hidden == "blank":
        b = replace(b, linear=THROUGH * at[0], noise=np.zeros(3), texture=np.zeros((3, 3)))
        log_light, light_cov = np.zeros(3), paper.spread * paper.doubt(sample.centre_mm)
        glass = GLASS_SD**2 * np.eye(3) + THROUGH_SD**2
    bottom = np.maximum(b.linear, 0.02)
    ratio = s.linear / bottom * np.exp(-log_light)
    ratio = np.maximum(ratio - FLARE, 0.0) / (1.0 - FLARE)
    parts = _parts(s, b, ratio, bottom)
    parts["light"] = scaled_cov(light_cov, ratio)
    parts["glass"] = scaled_cov(glass, ratio)
    parts[CELLS] = scaled_cov(CELL_SD**2 * np.eye(3), ratio)
    clarity = sample.ring / blank.ring if blank.ring > RING_SEEN and hidden != "blank" else float("nan")
    cov = sum(parts.values(), np.zeros((3, 3)))
    sided = _sided(view, sample, blank)
    yellow = 0.0 if hidden in {"blank", "both"} else _yellow(bottom / at[1])
    return TintSample(ratio, cov, parts, excess(s, b), clarity, hidden, sided, yellow=yellow, log_light=log_light)


def _yellow(through: Array) -> float:
    """How much less of the blue than of red and green comes through, natural log, from what comes through (3,)."""
    red, green, blue = np.log(through)
    return float(0.5 * (red + green) - blue)


def _sided(view: CardView, sample: Vial, blank: Vial) -> float:
    """Smooth part of the sample's unevenness over its tint against the blank."""
    tint, none = evenness(view, sample), evenness(view, blank)
    if tint is None or none is None or tint.clear < SURELY or tint.clear < SURELY * none.clear:
        return 0.0
    return tint.drift / max(abs(tint.mean - none.mean), LEAST_TINT)


def _hidden(levels: tuple[float, float], rings: tuple[float, float]) -> Hidden:
    """In which of sample and blank the paper is not seen, from their brightest channels against paper.

    Haze and colours that take light from every channel are dark too: a sample is called hidden only beside a blank that
    is not, and then only what is said about it changes.
    """
    dark = [level < PAPER_SEEN and not ring > RING_SEEN for level, ring in zip(levels, rings, strict=True)]
    if all(dark):
        return "both"
    if dark[1] and levels[1] < DARKER * levels[0]:
        return "blank"
    return "sample" if dark[0] and levels[0] < DARKER * levels[1] else ""


def _parts(s: LiquidMean, b: LiquidMean, ratio: Array, bottom: Array) -> dict[str, Array]:
    """Covariances (3, 3) of the ratio by cause."""
    return {
        "noise": np.diag(s.noise / bottom**2 + b.noise * (ratio / bottom) ** 2),
        "texture": scaled_cov(s.texture, 1.0 / bottom) + scaled_cov(b.texture, ratio / bottom),
        "floor": np.diag((FLOOR_SD * ratio) ** 2 + (FLARE_SD * (1.0 - np.minimum(ratio, 1.0))) ** 2 + LOWEST_SD**2),
    }


def scaled_cov(cov: Array, by: Array) -> Array:
    """Covariance (3, 3) of channels that are each multiplied by ``by`` (3,)."""
    return np.asarray(by[:, None] * cov * by[None, :])
