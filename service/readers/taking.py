"""How a tint was made, as it goes with its photo from the form to the reader and into the log."""

from __future__ import annotations

from collections.abc import Mapping

Taking = Mapping[str, str | float]


def taking_of(
    *, wash: str, water: str, ammonia_excess: str, ammonia_ph: float | None, flakes: str, dilution: float | None
) -> Taking:
    """What was told, JSON-ready; what was not is left out, so that entries of one test stay alike over versions."""
    found: dict[str, str | float] = {"wash": wash, "ammonia_excess": ammonia_excess}
    if water != "unknown":
        found["water"] = water
    if flakes != "unknown":
        found["flakes"] = flakes
    if ammonia_ph is not None:
        found["ammonia_ph"] = ammonia_ph
    if dilution is not None:
        found["dilution"] = dilution
    return found
