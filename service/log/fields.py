"""Fields that several models of the log share: text without NUL, a wash's number, a pair, a row's number, a zone."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, StringConstraints

from service.bench.typed_fields import Typed
from service.moments import checked_zone
from stripread.errors import CallError

Text = Annotated[str, StringConstraints(strip_whitespace=True, pattern=r"^[^\x00]*$")]
Two = Annotated[list[float], Field(min_length=2, max_length=2)]
Pair = Two | None
MAX_ID = 2**31 - 1
Id = Annotated[int, Field(ge=1, le=MAX_ID)]
Wash = Annotated[int, Typed("wash", whole=True)]
TypedPh = Annotated[float, Typed("ph")]
PhInterval = Annotated[list[float], Typed("ph", pair=True)]
Alkalinity = Annotated[float, Typed("alkalinity_mmol_l")]  # mmol/L


def zone_asked(name: str) -> str:
    """For models: the name of a zone that there is.

    Raises
    ------
    ValueError
        If there is none.
    """
    try:
        return checked_zone(name)
    except CallError as wrong:
        raise ValueError(str(wrong)) from None
