"""Dosing without a dry weight, over HTTP: by volume, by portions with pictures, by the metal expected."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query

from service.bench.dosing.plan import DosePlan
from service.web.problems import responses
from service.web.routes.plan import Grams, TypedText, asked, typed_amount, typed_of
from stripread.words import say

router = APIRouter(prefix="/api/plan", tags=["bench"], responses=responses(401, 403, 421, 422, 429, 500, 503))
By = Literal["lye", "zinc", "iron"]
Unit = Annotated[str | None, Query(max_length=30, description="Masses in words are shown in it.")]
OneOrRange = Annotated[str | None, Query(max_length=60, description='One number or a range: "1.00-1.02".')]
OnePortion = Annotated[str, Query(min_length=1, max_length=60)]


@router.get("/volume")
def plan_volume(  # noqa: PLR0917 - query parameters, given by name
    water_g: Grams,
    sludge_g: Grams,
    empty_g: Annotated[str | None, Query(max_length=60)] = None,
    temp_c: TypedText = "20",
    liquid: OneOrRange = None,
    dirt: OneOrRange = None,
    scale_g: TypedText = "0.1 g",
    mark_ml: TypedText = "1 ml",
    by: By = "lye",
    unit: Unit = None,
) -> dict[str, Any]:
    """Silver chloride by its volume: a vessel filled to a mark with water, then with the sludge to the same mark."""
    from service.bench.dosing.plan import volume_plan  # noqa: PLC0415
    from service.bench.quantities import typed_range  # noqa: PLC0415

    filled, sludge = typed_of("water_g", "grams", water_g), typed_of("sludge_g", "grams", sludge_g)
    empty = typed_of("empty_g", "grams", empty_g) if empty_g else None
    plan = asked(
        lambda: volume_plan(
            filled,
            sludge,
            empty_g=empty,
            temp_c=typed_of("temp_c", "temp_c", temp_c),
            liquid=typed_range(liquid) if liquid else None,
            dirt=typed_range(dirt) if dirt else None,
            scale_g=typed_of("scale_g", "scale_g", scale_g),
            mark_ml=typed_of("mark_ml", "ml", mark_ml),
            by=by,
            unit=unit or None,
        )
    )
    return told(plan)


@router.get("/portions")
def plan_portions(
    portion: Annotated[list[OnePortion], Query(max_length=100, description='In order: "0:0.95", "20 g:0.55-0.65".')],
    until: Annotated[str, Query(max_length=20, description="Pale share that counts as the end.")] = "1 %",
) -> dict[str, Any]:
    """Portions of a reagent with a picture of the solid after each: what is left, and whether it still falls."""
    from service.bench.dosing.plan import portions_plan  # noqa: PLC0415
    from service.bench.quantities import typed_range  # noqa: PLC0415

    return told(asked(lambda: portions_plan(portion, typed_range(until)[1])))


@router.get("/expected")
def plan_expected(  # noqa: PLR0917 - query parameters, given by name
    metal_g: Grams,
    fineness: Annotated[str, Query(max_length=60)] = "0.925",
    through: OneOrRange = None,
    scale_g: TypedText = "0.1 g",
    by: By = "lye",
    unit: Unit = None,
) -> dict[str, Any]:
    """Silver chloride by the metal that was dissolved, where nothing of it was weighed since."""
    from service.bench.dosing.plan import CAME_THROUGH, expected_plan  # noqa: PLC0415
    from service.bench.quantities import typed_range  # noqa: PLC0415

    mass, scale = typed_amount("metal_g", metal_g), typed_of("scale_g", "scale_g", scale_g)
    assert mass is not None
    plan = asked(
        lambda: expected_plan(
            mass,
            typed_range(fineness),
            through=typed_range(through) if through else CAME_THROUGH,
            scale_g=scale,
            by=by,
            unit=unit or None,
        )
    )
    return told(plan)


def told(plan: DosePlan) -> dict[str, Any]:
    """A plan as the page and others take it: figures, words, and the rule above all plans."""
    from service.bench.chemistry.reagents import RULES  # noqa: PLC0415

    return {**plan.to_dict(), "lines": plan.lines, "cautions": [*plan.cautions, say(RULES)]}
