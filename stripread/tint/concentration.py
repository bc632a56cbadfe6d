"""From absorbance to milligrams a litre, and what that means for the metal."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from stripread.words import _

if TYPE_CHECKING:
    from stripread.tint.estimate import TintEstimate
    from stripread.tint.profile import TintProfile

Array = NDArray[np.float64]

_POINTS = (np.arange(61) + 0.5) / 61.0  # of the response's distribution


@dataclass(frozen=True)
class Concentration:
    """Copper in mg/L, its 95 % interval, and the two limits in mg/L."""

    mg_per_l: float
    interval: tuple[float, float]
    decision_limit: float
    detection_limit: float


def concentration(estimate: TintEstimate, path_mm: float, profile: TintProfile, dilution: float = 1.0) -> Concentration:
    """Divide by response and path (Beer-Lambert, from memory), doubt of both included.

    ``dilution`` undoes the ammonia's volume.

    With the textbook default the posterior over absorbance, phones and lights included, is spread by the doubt of the
    absorptivity. With standards the phone's response is in the profile, so that only noise, the repeatability and the
    doubt of the response remain. Less than nothing is cut off at nothing.
    """
    scale = dilution / (profile.response * path_mm)
    factors = np.exp(-profile.response_sd * ndtri(_POINTS))
    if profile.learned:
        sd = float(np.hypot(max(estimate.noise_sd, profile.blank_sd), profile.repeat_sd * abs(estimate.absorbance)))
        points = estimate.absorbance + sd * ndtri((np.arange(201) + 0.5) / 201.0)
        weights = np.ones(201)
    else:
        points, weights = estimate.grid, estimate.density * np.gradient(estimate.grid)
    values = (points[:, None] * factors[None, :]).reshape(-1) * scale
    shares = np.repeat(weights, len(factors))
    order = np.argsort(values)
    cumulative = np.cumsum(shares[order])
    low, middle, high = np.interp(np.array([0.025, 0.5, 0.975]) * cumulative[-1], cumulative, values[order])
    sd0 = max(estimate.sd0, profile.blank_sd) / estimate.sd0
    return Concentration(
        max(float(middle), 0.0),
        (max(float(low), 0.0), max(float(high), 0.0)),
        estimate.decision_limit * sd0 * scale,
        estimate.detection_limit * sd0 * scale,
    )


def meaning(
    found: Concentration, decision: str, retained_ml: float | None, silver_g: float | None
) -> tuple[dict[str, float], str]:
    """Copper left in the retained liquid as mg and as parts per million of the silver, and the same in words.

    Without a finding the detection limit stands for what may still be there.
    """
    if retained_ml is None:
        return {}, ""
    litres = retained_ml / 1000.0
    table = {
        "copper_mg": found.mg_per_l * litres,
        "copper_mg_low": found.interval[0] * litres,
        "copper_mg_high": found.interval[1] * litres,
        "copper_mg_at_detection_limit": found.detection_limit * litres,
    }
    if silver_g is not None:
        for name in tuple(table):
            table[name.replace("copper_mg", "ppm_of_silver")] = table[name] / silver_g * 1000.0
    if decision == "copper":
        mg, share = table["copper_mg"], table.get("ppm_of_silver")
        if share is None:
            return table, _("The liquid kept holds about {mg:.2g} mg of copper.", mg=mg)
        return table, _(
            "The liquid kept holds about {mg:.2g} mg of copper, {share:.2g} parts per million of the silver.",
            mg=mg,
            share=share,
        )
    mg, share = table["copper_mg_at_detection_limit"], table.get("ppm_of_silver_at_detection_limit")
    if share is None:
        return table, _("Up to {mg:.2g} mg of copper could be left in the liquid kept unseen.", mg=mg)
    return table, _(
        "Up to {mg:.2g} mg of copper could be left in the liquid kept unseen, {share:.2g} parts per million of the "
        "silver.",
        mg=mg,
        share=share,
    )
