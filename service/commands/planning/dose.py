"""`stripread plan volume`, `portions` and `expected`: dosing without a dry weight."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from service.terminal.plan_lines import print_plan
from service.terminal.quantity_types import Quantity
from stripread.errors import CallError

if TYPE_CHECKING:  # it loads slowly
    from service.bench.dosing.plan import DosePlan

_BY = click.option(
    "--by",
    type=click.Choice(["lye", "zinc", "iron"]),
    default="lye",
    show_default=True,
    help="How it is turned to metal.",
)
_UNIT = click.option("--unit", help="Show masses in this unit, e.g. oz or troy_ounce.")
_JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object.")
_SCALE = click.option("--scale", default="0.1 g", type=Quantity("scale_g"), help="Uncertainty of the scale.")


@click.command("volume")
@click.option("--water", required=True, type=Quantity("grams"), help="The vessel filled to a mark with clean water.")
@click.option("--sludge", required=True, type=Quantity("grams"), help="The same with the sludge, to the same mark.")
@click.option("--empty", type=Quantity("grams"), help="The vessel empty and dry.")
@click.option("--temp", default="20", show_default=True, type=Quantity("temp_c"), help="Temperature of both, °C.")
@click.option("--liquid", help="Density of the liquid in it, g/mL, or a range: 1.00-1.02; rinse water if not said.")
@click.option("--dirt", help="Share of the solid's volume that is no chloride: 0.02, or a range; 0 to 2 % if not said.")
@click.option("--mark", default="1 ml", show_default=True, type=Quantity("ml"), help="How well the mark is met.")
@_SCALE
@_BY
@_UNIT
@_JSON
def volume(**o: Any) -> int:  # noqa: ANN401 - click's options
    """Chloride by the volume of its sludge: two weighings of one vessel, filled to a mark."""
    from service.bench.dosing.plan import volume_plan
    from service.bench.quantities import typed_range

    def work_out() -> DosePlan:
        return volume_plan(
            o["water"],
            o["sludge"],
            empty_g=o["empty"],
            temp_c=o["temp"],
            liquid=None if o["liquid"] is None else typed_range(o["liquid"]),
            dirt=None if o["dirt"] is None else typed_range(o["dirt"]),
            scale_g=o["scale"],
            mark_ml=o["mark"],
            by=o["by"],
            unit=o["unit"],
        )

    return _printed(work_out, o["as_json"])


@click.command("portions")
@click.option(
    "--portion", "portions", required=True, multiple=True,
    help='GRAMS:PALE, once for each in order: "0:0.95", "20 g:0.55-0.65"; GRAMS alone without a picture after it.',
)  # fmt: skip
@click.option("--until", default="1 %", show_default=True, help="Pale share that counts as the end.")
@_JSON
def portions(**o: Any) -> int:  # noqa: ANN401 - click's options
    """Portions of a reagent with a picture of the solid after each: what is left, and whether it still falls."""
    from service.bench.dosing.plan import portions_plan
    from service.bench.quantities import typed_range

    return _printed(lambda: portions_plan(o["portions"], typed_range(o["until"])[1]), o["as_json"])


@click.command("expected")
@click.option("--metal", required=True, type=Quantity("metal_g"), help="The metal that was dissolved.")
@click.option("--fineness", default="0.925", help="Its silver: 0.925, or a range 0.90-0.93.")
@click.option("--through", help="Share of it that came through to the chloride; 0.9-1 if not said.")
@_SCALE
@_BY
@_UNIT
@_JSON
def expected(**o: Any) -> int:  # noqa: ANN401 - click's options
    """Chloride by the metal that was dissolved, where nothing of it was weighed since."""
    from service.bench.dosing.plan import CAME_THROUGH, expected_plan
    from service.bench.quantities import typed_range

    def work_out() -> DosePlan:
        through = CAME_THROUGH if o["through"] is None else typed_range(o["through"])
        return expected_plan(
            o["metal"], typed_range(o["fineness"]), through=through, scale_g=o["scale"], by=o["by"], unit=o["unit"]
        )

    return _printed(work_out, o["as_json"])


def _printed(work_out: Callable[[], DosePlan], as_json: bool) -> int:
    try:
        plan = work_out()
    except ValueError as problem:
        raise CallError(str(problem)) from None
    return print_plan(plan.to_dict(), plan.lines, as_json)
