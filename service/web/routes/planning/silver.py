"""Silver back from the stock vessel over HTTP, planned without a log."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query

from service.web.problems import responses
from service.web.routes.plan import Litres, TypedText, asked, typed_of
from stripread.words import say

router = APIRouter(prefix="/api/plan", tags=["bench"], responses=responses(401, 403, 421, 422, 429, 500, 503))


@router.get("/silver")
def plan_silver(  # noqa: PLR0917 - query parameters, given by name
    litres: Litres,
    silver_mg_l: Annotated[str, Query(min_length=1, max_length=60, description='Dissolved in it: "120", "50-300".')],
    by: Literal["salt", "acid", "copper", "zinc", "iron"] = "salt",
    chloride_mol_l: TypedText = "0",
    contains: Annotated[list[Annotated[str, Query(max_length=100)]] | None, Query(max_length=50)] = None,
    ammonia: bool = False,
    bottle: Annotated[str | None, Query(max_length=60, description='Your own: "31 %, 1.16 g/ml", "2 mol/l".')] = None,
    unit: Annotated[str | None, Query(max_length=30, description="Masses in words are shown in it.")] = None,
) -> dict[str, Any]:
    """Salt, acid or metal that brings the silver down, how to see the end, and what stays dissolved; also in words.

    With ammonia in it `dose` is null until it was made acid, but for `by=acid`.
    """
    from dataclasses import asdict  # noqa: PLC0415

    from service.bench.chemistry.reagents import RULES  # noqa: PLC0415
    from service.bench.quantities import typed_range  # noqa: PLC0415
    from service.bench.silver_back.plan import silver_plan  # noqa: PLC0415

    answer = asked(
        lambda: silver_plan(
            typed_of("litres", "litres", litres),
            typed_range(silver_mg_l),
            by,
            chloride=typed_of("chloride_mol_l", "chloride_mol_l", chloride_mol_l),
            ammonia=ammonia,
            contains=tuple(contains or ()),
            bottle=bottle or None,
            unit=unit or None,
        )
    )
    return {**asdict(answer), "cautions": [*answer.cautions, say(RULES)]}
