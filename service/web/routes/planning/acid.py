"""Dilute hydrochloric acid from a bottle, over HTTP."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query

from service.web.problems import responses
from service.web.routes.plan import Litres, TypedText, asked, typed_of
from stripread.words import say

router = APIRouter(prefix="/api/plan", tags=["bench"], responses=responses(401, 403, 421, 422, 429, 500, 503))


@router.get("/acid")
def plan_acid(
    litres: Litres,
    mol_l: TypedText = "0.1",
    bottle: Annotated[str | None, Query(max_length=60, description='Your own: "31 %, 1.15 g/ml", "2 mol/l".')] = None,
) -> dict[str, Any]:
    """Dilute hydrochloric acid out of a bottle: how much of it for so many litres, and what that can dissolve."""
    from dataclasses import asdict  # noqa: PLC0415

    from service.bench.chemistry.reagents import RULES  # noqa: PLC0415
    from service.bench.dosing.acid import acid_plan  # noqa: PLC0415

    volume, strength = typed_of("litres", "litres", litres), typed_of("mol_l", "acid_mol_l", mol_l)
    answer = asked(lambda: acid_plan(volume, strength, bottle or None))
    return {**asdict(answer), "cautions": [*answer.cautions, say(RULES)]}
