"""`stripread plan metal`: zinc or iron, acid and water for a mass of chloride; hydrogen and heat."""

from __future__ import annotations

from typing import Any

import click

from service.terminal.plan_lines import moisture_told, print_plan
from service.terminal.quantity_types import Quantity
from stripread.errors import CallError


@click.command("metal")
@click.option(
    "--chloride", required=True, type=Quantity("chloride_g"), help='Mass of silver chloride, e.g. "500 g" or "1 lb".'
)
@click.option("--moisture", help="Share of water in it: 0.3, a range: 0.2-0.4, 20-40 %, or dry, drained.")
@click.option("--metal", type=click.Choice(["zinc", "iron"]), default="zinc", show_default=True, help="Which metal.")
@click.option("--excess", default="1.3", show_default=True, type=Quantity("excess"), help="Times the metal needed.")
@click.option(
    "--purity", default="98", show_default=True, type=Quantity("percent"), help="Of the metal, by mass, in [%]."
)
@click.option(
    "--acid",
    type=click.Choice(["hydrochloric", "sulfuric"]),
    default="hydrochloric",
    show_default=True,
    help="Which acid.",
)
@click.option("--bottle", help='Your own acid, as its label says: "31 %, 1.16 g/ml" or "2 mol/l".')
@click.option("--unit", help="Show masses in this unit, e.g. oz or troy_ounce.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def command(**o: Any) -> int:  # noqa: ANN401 - click's options
    """Zinc or iron, acid and water for a mass of chloride; the hydrogen and heat that come of it."""
    from dataclasses import asdict

    from service.bench.metal_plan import metal_plan

    try:
        answer = metal_plan(
            o["chloride"],
            moisture_told(o["moisture"]),
            metal=o["metal"],
            excess=o["excess"],
            purity=o["purity"] / 100.0,
            acid=o["acid"],
            bottle=o["bottle"],
            unit=o["unit"],
        )
    except ValueError as problem:
        raise CallError(str(problem)) from None
    lines = [f"{what:17} {how}" for what, how in answer.said]
    lines += ["", *(f"! {text}" for text in answer.cautions)]
    return print_plan(asdict(answer), lines, o["as_json"])
