"""`stripread plan melt`: powder to bars, how fine they are, what stays in the slag."""

from __future__ import annotations

from typing import Any

import click

from service.terminal.plan_lines import print_plan
from service.terminal.quantity_types import Quantity
from stripread.errors import CallError


@click.command("melt")
@click.option("--powder", type=Quantity("grams"), help="Powder that went into the crucible.")
@click.option(
    "--bar", "bars", required=True, multiple=True,
    help='Each bar: "195.2 g", "195.2:995 ‰" (declared), or "195.2/176.6" (in air, and hanging in water).',
)  # fmt: skip
@click.option("--flux", type=Quantity("grams"), help="Flux that went in.")
@click.option("--slag", type=Quantity("grams"), help="Slag that came off.")
@click.option("--crucible-before", type=Quantity("grams"), help="The crucible before, empty.")
@click.option("--crucible-after", type=Quantity("grams"), help="The crucible after.")
@click.option("--temp", default="20", show_default=True, type=Quantity("temp_c"), help="Of the water, °C.")
@click.option(
    "--other", type=click.Choice(["copper", "zinc", "tin", "iron"]), default="copper", show_default=True,
    help="What the rest of a bar is taken for.",
)  # fmt: skip
@click.option(
    "--scale", default="0.01 g", show_default=True, type=Quantity("scale_g"), help="Uncertainty of the scale."
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def command(**o: Any) -> int:  # noqa: ANN401 - click's options
    """Powder to bars: what was lost, how fine the bars are, what the slag may hold."""
    from service.bench.melting.melt import Weighed
    from service.bench.melting.plan import melt_plan

    weighed = Weighed(o["powder"], o["flux"], o["slag"], o["crucible_before"], o["crucible_after"], o["scale"])
    try:
        plan = melt_plan(weighed, o["bars"], temp_c=o["temp"], other=o["other"], scale_g=o["scale"])
    except ValueError as problem:
        raise CallError(str(problem)) from None
    return print_plan(plan.to_dict(), plan.lines, o["as_json"])
