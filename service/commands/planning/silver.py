"""`stripread plan silver`: the stock vessel's silver brought down: salt, acid or metal, the end point, what is left."""

from __future__ import annotations

from typing import Any

import click

from service.terminal.plan_lines import print_plan
from service.terminal.quantity_types import Quantity
from stripread.errors import CallError
from stripread.words import _


@click.command("silver")
@click.option("--litres", required=True, type=Quantity("litres"), help="Liquid in the stock vessel.")
@click.option("--silver", required=True, help="Silver dissolved in it, mg/L: 120, or a range 50-300.")
@click.option(
    "--by",
    "way",
    type=click.Choice(["salt", "acid", "copper", "zinc", "iron"]),
    default="salt",
    show_default=True,
    help="What brings it down: salt or hydrochloric acid as chloride, or a metal.",
)
@click.option(
    "--chloride", default="0", show_default=True, type=Quantity("chloride_mol_l"), help="In it already, mol/L."
)
@click.option("--contains", multiple=True, help="What else is in it: nitrate, sugar, copper …")
@click.option("--ammonia", is_flag=True, help="Ammonia went in.")
@click.option("--bottle", help='Your own hydrochloric acid, as its label says: "31 %, 1.16 g/ml" or "2 mol/l".')
@click.option("--unit", help="Show masses in this unit, e.g. oz or troy_ounce.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def command(**o: Any) -> int:  # noqa: ANN401 - click's options
    """Silver back from the stock vessel: how much salt, acid or metal, how to see the end, what is left."""
    from dataclasses import asdict

    from service.bench.quantities import typed_range
    from service.bench.silver_back.plan import silver_plan

    try:
        answer = silver_plan(
            o["litres"],
            typed_range(o["silver"]),
            o["way"],
            chloride=o["chloride"],
            ammonia=o["ammonia"],
            contains=o["contains"],
            bottle=o["bottle"],
            unit=o["unit"],
        )
    except CallError:
        raise
    except ValueError as problem:
        raise CallError(str(problem)) from None
    lines = [*(f"! {text}" for text in answer.first), *(f"{what:17} {how}" for what, how in answer.said), ""]
    lines += [*answer.notes, *([_("To see the end:")] if answer.finished else [])]
    lines += [*(f"  {text}" for text in answer.finished), "", *(f"! {text}" for text in answer.cautions)]
    return print_plan(asdict(answer), lines, o["as_json"])
