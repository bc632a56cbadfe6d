"""The bench's arithmetic over HTTP, without a log: lye, sugar and water for a mass of chloride; washes.

Masses and volumes come bare, in the unit of their name, or with their own: `chloride_g=1 lb`, `retained_l=80 ml`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any, Literal, TypeVar

from fastapi import APIRouter, Query

from service.bench.quantities import WrongQuantity, typed_number
from service.bench.typed_fields import Typed
from service.bench.vessel.hazards import PouringStopped
from service.errors import StandsAgainst
from service.log.notes import AskedFirst
from service.web.problems import ServiceProblem, of_quantity, responses
from stripread.errors import CallError
from stripread.words import _, say

router = APIRouter(prefix="/api/plan", tags=["bench"], responses=responses(401, 403, 421, 422, 429, 500, 503))
T = TypeVar("T")
Grams = Annotated[str, Query(min_length=1, max_length=60, description='In g, or with its unit: "1 lb".')]
Litres = Annotated[str, Query(min_length=1, max_length=60, description='In L, or with its unit: "80 ml".')]
Water = Annotated[str | None, Query(max_length=60)]
Share = Annotated[float, Typed("moisture", share=True)]
Portions = Annotated[int, Typed("portions", whole=True)]
Pieces = Annotated[int, Typed("pieces", whole=True)]
FirstLiquid = Annotated[str, Query(min_length=1, max_length=60, description="mol/L of acid; below 0: lye.")]
TypedText = Annotated[str, Query(min_length=1, max_length=60)]


def asked(ask: Callable[[], T]) -> T:
    """What ``ask`` gives; a wrong call becomes a problem detail."""
    try:
        return ask()
    except WrongQuantity as wrong:
        raise of_quantity(wrong) from None
    except AskedFirst as first:
        raise ServiceProblem(422, "asked", str(first)) from None
    except PouringStopped as stopped:
        raise ServiceProblem(409, stopped.code, str(stopped)) from None
    except (CallError, ValueError) as wrong:
        raise ServiceProblem(409 if isinstance(wrong, StandsAgainst) else 422, "bench", str(wrong)) from None


def typed_amount(name: str, text: str | None) -> float | None:
    """What was typed, in the unit that ``name`` ends in; None stays None.

    Raises
    ------
    ServiceProblem
        422, naming the parameter, with the choices where it may mean two things.
    """
    return typed_of(name, name, text) if text else None


def typed_of(name: str, field: str, text: str) -> float:
    """What was typed for the parameter ``name``, by the rule of ``field``; errors as ``typed_amount``."""
    try:
        return typed_number(field, text)
    except WrongQuantity as wrong:
        raise of_quantity(wrong.at(name)) from None


@router.get("/lye")
def plan_lye(  # noqa: PLR0917 - query parameters, given by name
    chloride_g: Grams,
    moisture_low: Share | None = None,
    moisture_high: Share | None = None,
    temp_c: TypedText = "80",
    portions: Portions = 1,
    lye_excess: TypedText = "1.5",
    sugar_excess: TypedText = "1.2",
    sugar: Literal["glucose", "glucose monohydrate", "inverted table sugar", "table sugar", "none"] = "glucose",
    lye: Annotated[str | None, Query(max_length=60, description='Your own: "30 %, 1.33 g/ml", "2 mol/l".')] = None,
    sugar_purity: Annotated[str, Query(min_length=1, max_length=60, description="Percent by mass.")] = "100",
    unit: Annotated[str | None, Query(max_length=30, description="Masses in words are shown in it.")] = None,
) -> dict[str, Any]:
    """Lye, sugar, water and heat for a mass of chloride, and what each plan leaves unconverted; also in words."""
    from dataclasses import asdict  # noqa: PLC0415

    from service.bench.chemistry.reagents import RULES  # noqa: PLC0415
    from service.bench.lye_plan import lye_plan  # noqa: PLC0415

    mass = typed_amount("chloride_g", chloride_g)
    assert mass is not None
    low, high = moisture_low, moisture_high
    moisture = None if low is None and high is None else (low or 0.0, (low or 0.0) if high is None else high)
    answer = asked(
        lambda: lye_plan(
            mass,
            moisture,
            temp_c=typed_of("temp_c", "temp_c", temp_c),
            portions=portions,
            lye_excess=typed_of("lye_excess", "excess", lye_excess),
            sugar_excess=typed_of("sugar_excess", "excess", sugar_excess),
            sugar=None if sugar == "none" else sugar,
            unit=unit or None,
            lye=lye or None,
            sugar_purity=typed_of("sugar_purity", "percent", sugar_purity) / 100.0,
        )
    )
    return {**asdict(answer), "cautions": [*answer.cautions, say(RULES)]}


@router.get("/metal")
def plan_metal(  # noqa: PLR0917 - query parameters, given by name
    chloride_g: Grams,
    metal: Literal["zinc", "iron"] = "zinc",
    moisture: Annotated[str | None, Query(max_length=60)] = None,
    excess: TypedText = "1.3",
    purity: Annotated[str, Query(min_length=1, max_length=60, description="Of the metal, percent by mass.")] = "98",
    acid: Literal["hydrochloric", "sulfuric"] = "hydrochloric",
    bottle: Annotated[str | None, Query(max_length=60, description='Your own: "31 %, 1.16 g/ml", "2 mol/l".')] = None,
    unit: Annotated[str | None, Query(max_length=30, description="Masses in words are shown in it.")] = None,
) -> dict[str, Any]:
    """Zinc or iron, acid and water for a mass of chloride, the hydrogen and heat that come of it; also in words."""
    from dataclasses import asdict  # noqa: PLC0415

    from service.bench.chemistry.reagents import RULES  # noqa: PLC0415
    from service.bench.metal_plan import metal_plan  # noqa: PLC0415
    from service.bench.weighings import moisture_of  # noqa: PLC0415

    mass = typed_amount("chloride_g", chloride_g)
    assert mass is not None
    answer = asked(
        lambda: metal_plan(
            mass,
            moisture_of(moisture) if moisture else None,
            metal=metal,
            excess=typed_of("excess", "excess", excess),
            purity=typed_of("purity", "percent", purity) / 100.0,
            acid=acid,
            bottle=bottle or None,
            unit=unit or None,
        )
    )
    return {**asdict(answer), "cautions": [*answer.cautions, say(RULES)]}


@router.get("/yield")
def plan_yield(  # noqa: PLR0917 - query parameters, given by name
    chloride_g: Annotated[list[Grams] | None, Query(max_length=50, description="Each lot.")] = None,
    metal_g: Annotated[list[Grams] | None, Query(max_length=50, description="Or: each lot of input metal.")] = None,
    moisture: Annotated[str | None, Query(max_length=60)] = None,
    fineness: Annotated[str, Query(max_length=60)] = "0.925",
    weighed_g: Annotated[str | None, Query(max_length=60)] = None,
    scale_g: Annotated[str, Query(max_length=60)] = "0.1 g",
    decant: Annotated[list[Annotated[str, Query(max_length=60)]] | None, Query(max_length=200)] = None,
    papers: Pieces = 1,
    glasses: Pieces = 2,
    lye_wash_l: Annotated[list[Litres] | None, Query(max_length=50, description="Water of each lye wash.")] = None,
    alkalinity_mmol_l: Annotated[
        str | None, Query(max_length=60, description="Of that water: chalk falls from it.")
    ] = None,
) -> dict[str, Any]:
    """Silver expected, the yield and where the missing may be; a decant is `LITRES:HOURS[:ACID[:TEMP]]`."""
    from service.bench.chemistry.reagents import RULES  # noqa: PLC0415
    from service.bench.quantities import typed_number, typed_range  # noqa: PLC0415
    from service.bench.weighings import Weighing, moisture_of  # noqa: PLC0415
    from service.bench.yield_plan import YieldPlan, decant_of_text, yield_plan  # noqa: PLC0415

    def work_out() -> YieldPlan:
        if bool(chloride_g) == bool(metal_g):
            raise CallError(_("give either chloride_g or metal_g"))
        scale = typed_number("scale_g", scale_g)
        wet, fine = None if not moisture else moisture_of(moisture), typed_range(fineness)
        masses = [typed_number("chloride_g", text) for text in chloride_g or ()]
        lots = [Weighing("chloride", g, scale, wet, again="adds") for g in masses]
        inputs = [typed_number("metal_g", text) for text in metal_g or ()]
        lots += [Weighing("input", g, scale, fineness=fine, again="adds") for g in inputs]
        weighed = None if not weighed_g else (typed_number("silver_g", weighed_g), scale)
        decants = [decant_of_text(text, n) for n, text in enumerate(decant or (), 1)]
        washes = [typed_number("litres", text) for text in lye_wash_l or ()]
        hard = typed_number("alkalinity_mmol_l", alkalinity_mmol_l) if alkalinity_mmol_l else None
        return yield_plan(
            lots, weighed, decants, papers=papers, glasses=glasses, lye_washes_l=washes, alkalinity_mmol_l=hard
        )

    plan = asked(work_out)
    return {**plan.to_dict(), "lines": plan.lines, "tips": list(plan.tips), "cautions": [say(RULES)]}


@router.get("/waste")
def plan_waste(
    poured: Annotated[list[Annotated[str, Query(max_length=60)]], Query(min_length=1, max_length=100)],
    contains: Annotated[list[Annotated[str, Query(max_length=100)]] | None, Query(max_length=50)] = None,
    ammonia: bool = False,
    bottle: Annotated[
        list[Annotated[str, Query(max_length=100)]] | None,
        Query(max_length=10, description='Your own: "muriatic acid: 20 %, 1.10 g/ml", "soda lye: 2 mol/l".'),
    ] = None,
) -> dict[str, Any]:
    """What a vessel holds (`poured=LITRES:PH`, once for each) and what neutralises it; `ways` is empty where
    nothing may be.

    `contains` names the metals and everything else in it; a word that nobody knows is asked about.
    """
    from service.bench.chemistry.reagents import RULES  # noqa: PLC0415
    from service.bench.vessel.bottles import bottle_of_text  # noqa: PLC0415
    from service.bench.vessel.waste_plan import poured_of_text, waste_plan  # noqa: PLC0415

    words = tuple(contains or ())
    plan = asked(
        lambda: waste_plan(
            [poured_of_text(text, n, words, ammonia) for n, text in enumerate(poured, 1)],
            [bottle_of_text(text) for text in bottle or ()],
        )
    )
    return {**plan.to_dict(), "lines": plan.lines, "cautions": [*plan.cautions, say(RULES)]}


@router.get("/wash")
def plan_wash(  # noqa: PLR0917 - query parameters, given by name
    retained_l: Litres,
    water: Literal["pure", "air", "tap"] = "air",
    alkalinity_mmol_l: Water = None,
    acid_mol_l: Annotated[
        str, Query(min_length=1, max_length=60, description="Of the first liquid; below 0: lye.")
    ] = "1",
    volume_l: Water = None,
    added_l: Water = None,
) -> dict[str, Any]:
    """Washes to neutral (`added_l` in each), the best use of a volume of water (`volume_l` in all); also in words."""
    from service.bench.chemistry.reagents import RULES  # noqa: PLC0415
    from service.bench.washing.plan import REALITY, wash_plan  # noqa: PLC0415

    retained = typed_amount("retained_l", retained_l)
    assert retained is not None
    plan = asked(
        lambda: wash_plan(
            retained_l=retained,
            volume_l=typed_amount("volume_l", volume_l),
            added_l=typed_amount("added_l", added_l),
            start=typed_of("acid_mol_l", "acid_mol_l", acid_mol_l),
            water=water,
            alkalinity=typed_amount("alkalinity_mmol_l", alkalinity_mmol_l),
            readings=[],
        )
    )
    return {**plan.to_dict(), "lines": plan.lines, "cautions": [say(REALITY), say(RULES)]}
