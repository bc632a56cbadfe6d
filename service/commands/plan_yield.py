"""`stripread plan yield`: silver expected, the yield, and where the missing may be."""

from __future__ import annotations

from typing import Any

import click

from service.terminal.quantity_types import Quantity
from stripread.errors import CallError
from stripread.json_line import json_line
from stripread.words import _, say


@click.command("yield")
@click.option("--chloride", multiple=True, type=Quantity("chloride_g"), help="Chloride weighed; once for each lot.")
@click.option("--moisture", help="Share of water in it: 0.3, a range, or dry, drained.")
@click.option("--metal", multiple=True, type=Quantity("metal_g"), help="Or: input metal; once for each lot.")
@click.option("--fineness", default="0.925", help="Of the input metal: 0.925, or a range 0.90-0.93.")
@click.option("--weighed", type=Quantity("silver_g"), help="Silver weighed at the end.")
@click.option("--scale", default="0.1 g", type=Quantity("scale_g"), help="Uncertainty of the scale.")
@click.option("--decant", "decants", multiple=True, help="LITRES:HOURS of settling[:ACID mol/L[:°C]]; once for each.")
@click.option("--papers", default=1, show_default=True, type=click.IntRange(0, 1000), help="Filter papers used.")
@click.option("--glasses", default=2, show_default=True, type=click.IntRange(0, 1000), help="Vessels used.")
@click.option("--lye-wash", "lye_washes", multiple=True, type=Quantity("litres"), help="Water of a wash after the lye.")
@click.option("--alkalinity", type=Quantity("alkalinity_mmol_l"), help="Of that water, mmol/L: chalk falls from it.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def command(**o: Any) -> int:  # noqa: ANN401 - click's options
    """Silver expected, the yield, and where the missing may be."""
    from service.bench.chemistry.reagents import RULES
    from service.bench.quantities import typed_range
    from service.bench.weighings import Weighing, moisture_of
    from service.bench.yield_plan import decant_of_text, yield_plan

    if bool(o["chloride"]) == bool(o["metal"]):
        raise CallError(_("give either --chloride or --metal"))
    try:
        moisture = None if o["moisture"] is None else moisture_of(o["moisture"])
        fineness = typed_range(o["fineness"])
        lots = [Weighing("chloride", grams, o["scale"], moisture, again="adds") for grams in o["chloride"]]
        lots += [Weighing("input", grams, o["scale"], fineness=fineness, again="adds") for grams in o["metal"]]
        plan = yield_plan(
            lots,
            None if o["weighed"] is None else (o["weighed"], o["scale"]),
            [decant_of_text(text, place, "--decant") for place, text in enumerate(o["decants"], 1)],
            papers=o["papers"],
            glasses=o["glasses"],
            lye_washes_l=o["lye_washes"],
            alkalinity_mmol_l=o["alkalinity"],
        )
    except ValueError as problem:
        raise CallError(str(problem)) from None
    click.echo(json_line(plan.to_dict()) if o["as_json"] else "\n".join([*plan.lines, "", say(RULES)]))
    return 0
