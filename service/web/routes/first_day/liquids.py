"""Liquids of known pH over HTTP: what may be at hand to calibrate with, each with its pH, its width and its caution."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import BaseModel, Field

from calibration.liquids.table import AtHand, Sort, liquids
from calibration.liquids.warmth import warmth_question
from service.bench.typed_fields import Typed
from service.web.problems import responses
from stripread.words import say

router = APIRouter(prefix="/api/liquids", tags=["calibrations"], responses=responses(401, 403, 421, 422, 429, 500, 503))
Warmth = Annotated[float, Typed("temp_c")]


class LiquidOut(BaseModel):
    """A liquid of known pH. ``ph`` is null where its table does not reach to the temperature asked for."""

    key: str = Field(examples=["limewater"])
    sort: Sort
    name: str
    made: str = Field(description="How it is made, in a sentence.")
    need: str = Field(description="What it is made of: the same in all liquids that one owner can make.")
    ph: float | None
    ph_sd: float | None = Field(description="Standard deviation in pH, from how people measure it out.")
    temperatures_c: tuple[float, float] = Field(description="Lowest and highest temperature of its table.")
    source: str
    caution: str = Field(description="Empty where it is harmless.")
    temperature_question: str = Field(description="What to ask about the temperature; empty where a room may have it.")


@router.get("")
def list_liquids(temperature_c: Annotated[Warmth, Query(description="Of the liquids, °C.")] = 20.0) -> list[LiquidOut]:
    """Liquids of known pH, standard buffers first, then household ones by rising pH."""
    return [_out(liquid, temperature_c) for liquid in liquids().values()]


def _out(liquid: AtHand, temp_c: float) -> LiquidOut:
    low, high = liquid.rows[0][0], liquid.rows[-1][0]
    ph, sd = liquid.ph(temp_c) if low <= temp_c <= high else (None, None)
    return LiquidOut(
        key=liquid.key,
        sort=liquid.sort,
        name=say(liquid.name),
        made=say(liquid.made),
        need=say(liquid.need),
        ph=None if ph is None else round(ph, 3),
        ph_sd=None if sd is None else round(sd, 3),
        temperatures_c=(low, high),
        source=liquid.source,
        caution=say(liquid.caution) if liquid.caution else "",
        temperature_question=warmth_question(temp_c),
    )
