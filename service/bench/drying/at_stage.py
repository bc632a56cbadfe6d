"""The forecast of a drying at its stage, and the gate held where the course says that water must still be in it."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from service.bench.drying.forecast import DryingForecast, drying_forecast
from service.bench.gates.verdict import Verdict
from service.bench.gates.weight import Weighing, doubt_of, same_series, within_of
from service.bench.stages.gate_kinds import Gate, WeightConstant
from stripread.words import _


@lru_cache(maxsize=64)
def drying_of(gate: Gate, weighings: tuple[Weighing, ...], _language: str) -> DryingForecast | None:
    """The forecast towards a gate's own tolerance; None where nothing dries or nothing was weighed.

    ``weighings`` in the order of their time. Kept for the language it is told in: the page asks again and again.
    """
    same = same_series(weighings)
    if not isinstance(gate, WeightConstant) or not same:
        return None
    doubts = [doubt for w in same if (doubt := doubt_of(w)) is not None]
    within = within_of(gate, same[-1].grams, max(doubts) if doubts else None)
    return replace(drying_forecast(same, within), within_g=within)


def not_open_over_water(verdict: Verdict, drying: DryingForecast | None) -> Verdict:
    """A weight that stands still while its course says that water is in it was not dried: the oven was off."""
    if verdict.state != "open" or drying is None or drying.water_g is None or drying.within_g is None:
        return verdict
    low, value, _high = drying.water_g
    if low <= 2.0 * drying.within_g:
        return verdict
    text = _(
        "The last weights agree, but by the course before about {water:.2g} g of water should still be in it: was it "
        "drying between them? Dry on, then weigh again.",
        water=value,
    )
    return Verdict("hold", text)
