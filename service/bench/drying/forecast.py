"""What a series of weighings foretells: hours of drying to go, water still in it, in one sentence; or that it can't."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import numpy as np

from service.bench.chemistry.reagents import Span
from service.bench.drying.fit import Array, Fitted, fitted
from service.bench.gates.weight import Weighing, doubt_of, same_series
from stripread.words import _

LEVEL = 0.9  # of the ranges
SURE = (
    0.3  # a time is said where its range is within this share of the whole time of drying; chosen, tests.drying_study
)
FITS = 6.0  # chi² for each weighing beyond three from which it is no drying; chosen, tests.drying_study


@dataclass(frozen=True)
class DryingForecast:
    """When it will be dry. ``hours`` of drying to go and ``water_g`` still in it, (low, value, high); None: not told.

    ``status``: "ok", "wide" (a range only, no time), "done" (no more water in it than counts), "cannot tell".
    """

    status: Literal["ok", "wide", "done", "cannot tell"]
    sentence: str
    hours: Span | None = None
    water_g: Span | None = None
    within_g: float | None = None  # what counted as dry


def drying_forecast(weighings: Sequence[Weighing], within_g: float) -> DryingForecast:
    """Foretell a drying; dry is what holds ``within_g`` of water or less. ``weighings`` in the order of their time."""
    same = same_series(weighings)
    if len(same) < 3:
        text = _("Three weights of the same thing as it dries are needed to foretell when it is dry.")
        return DryingForecast("cannot tell", text)
    doubts = [doubt_of(w) for w in same]
    known = [doubt for doubt in doubts if doubt is not None]
    if len(known) < len(same):
        text = _("When it will be dry can't be told: nobody said how far the scale is right.")
        return DryingForecast("cannot tell", text)
    start = datetime.fromisoformat(same[0].at)
    hours = np.array([(datetime.fromisoformat(w.at) - start).total_seconds() / 3600.0 for w in same])
    grams = np.array([w.grams for w in same])
    # Anything within the scale's doubt is as likely: a standard deviation of its half width over √3 (JCGM 100, 4.3.7).
    sd = np.maximum(np.array(known), 1e-6) / np.sqrt(3.0)
    if hours[-1] <= 0.0 or len(np.unique(hours)) < 3:
        text = _("Three weights of the same thing as it dries are needed to foretell when it is dry.")
        return DryingForecast("cannot tell", text)
    return _told(fitted(hours, grams, sd), hours, grams, sd, within_g)


def _told(found: Fitted, hours: Array, grams: Array, sd: Array, within_g: float) -> DryingForecast:
    fell = grams[0] - grams[-1] > 2.0 * float(np.hypot(sd[0], sd[-1]))
    if found.misfit > FITS or (not fell and grams[-1] > grams[0] + 2.0 * float(np.hypot(sd[0], sd[-1]))):
        text = _(
            "When it will be dry can't be told: it does not fall as a drying does. Was the dish tared, was all of it "
            "weighed, was it drying all the time?"
        )
        return DryingForecast("cannot tell", text)
    to_go = found.hours_to(within_g)
    water, time = _span(found.water, found.weight), _span(to_go, found.weight)
    if water[2] <= within_g:
        text = _("By its course it is dry: at most {high:.2g} g of water are in it.", high=water[2])
        return DryingForecast("done", text, (0.0, 0.0, time[2]), water)
    whole = _span(to_go + found.dried, found.weight)
    told = {"water": water[1], "water_low": water[0], "water_high": water[2], "low": time[0], "high": time[2]}
    if max(whole[2] - whole[1], whole[1] - whole[0]) <= SURE * whole[1]:
        text = _(
            "Dry after about {hours:.2g} h more of drying ({low:.2g} to {high:.2g} h); about {water:.2g} g of water "
            "are still in it ({water_low:.2g} to {water_high:.2g} g).",
            hours=time[1],
            **told,
        )
        return DryingForecast("ok", text, time, water)
    text = _(
        "When it will be dry can't be told yet: {low:.2g} to {high:.2g} h more of drying; {water_low:.2g} to "
        "{water_high:.2g} g of water are still in it. Weigh again later.",
        low=time[0],
        high=time[2],
        water_low=water[0],
        water_high=water[2],
    )
    return DryingForecast("wide", text, time, water)


def _span(values: Array, weight: Array) -> Span:
    """(low, middle, high) of weighted values: the middle one, and between the ends the share ``LEVEL``."""
    order = np.argsort(values)
    below = np.cumsum(weight[order]) - 0.5 * weight[order]
    low, middle, high = np.interp([0.5 - LEVEL / 2, 0.5, 0.5 + LEVEL / 2], below, values[order])
    return float(low), float(middle), float(high)
