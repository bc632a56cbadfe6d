"""A melt worked out over HTTP: powder to bars, how fine they are, what stays in the slag."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query

from service.web.problems import responses
from service.web.routes.plan import TypedText, asked, typed_of
from stripread.words import say

router = APIRouter(prefix="/api/plan", tags=["bench"], responses=responses(401, 403, 421, 422, 429, 500, 503))
OneBar = Annotated[str, Query(min_length=1, max_length=60)]
Mass = Annotated[str | None, Query(max_length=60, description='In g, or with its unit: "1 lb".')]
BARS = Query(max_length=50, description='"195.2 g", "195.2:995 ‰" (declared), "195.2/176.6" (in air / in water).')


@router.get("/melt")
def plan_melt(  # noqa: PLR0917 - query parameters, given by name
    bar: Annotated[list[OneBar], BARS],
    powder_g: Mass = None,
    flux_g: Mass = None,
    slag_g: Mass = None,
    crucible_before_g: Mass = None,
    crucible_after_g: Mass = None,
    temp_c: TypedText = "20",
    other: Literal["copper", "zinc", "tin", "iron"] = "copper",
    scale_g: TypedText = "0.01 g",
) -> dict[str, Any]:
    """Powder to bars: what was lost, how fine the bars are by assay or density, what the slag may hold."""
    from service.bench.chemistry.reagents import RULES  # noqa: PLC0415
    from service.bench.melting.melt import Weighed  # noqa: PLC0415
    from service.bench.melting.plan import melt_plan  # noqa: PLC0415

    given = {
        "powder_g": powder_g,
        "flux_g": flux_g,
        "slag_g": slag_g,
        "crucible_before_g": crucible_before_g,
        "crucible_after_g": crucible_after_g,
    }
    masses = {name: typed_of(name, "grams", text) for name, text in given.items() if text}
    scale = typed_of("scale_g", "scale_g", scale_g)
    water = typed_of("temp_c", "temp_c", temp_c)
    plan = asked(lambda: melt_plan(Weighed(**masses, scale_g=scale), bar, temp_c=water, other=other, scale_g=scale))
    return {**plan.to_dict(), "lines": plan.lines, "cautions": [*plan.cautions, say(RULES)]}
