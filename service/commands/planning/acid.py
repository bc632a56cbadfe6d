"""`stripread plan acid`: dilute hydrochloric acid from a bottle, for a rinse or a wash."""

from __future__ import annotations

from typing import Any

import click

from service.terminal.plan_lines import print_plan
from service.terminal.quantity_types import Quantity
from stripread.errors import CallError


@click.command("acid")
@click.option("--litres", required=True, type=Quantity("litres"), help="How much dilute acid to make.")
@click.option("--mol-l", default="0.1", show_default=True, type=Quantity("acid_mol_l"), help="How strong, mol/L.")
@click.option("--bottle", help='Your own acid, as its label says: "31 %, 1.15 g/ml" or "2 mol/l".')
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def command(**o: Any) -> int:  # noqa: ANN401 - click's options
    """Dilute hydrochloric acid out of a bottle, as for a rinse: how much of it, and what it can dissolve."""
    from dataclasses import asdict

    from service.bench.dosing.acid import acid_plan

    try:
        answer = acid_plan(o["litres"], o["mol_l"], o["bottle"])
    except ValueError as problem:
        raise CallError(str(problem)) from None
    lines = [f"{what:17} {how}" for what, how in answer.said]
    return print_plan(asdict(answer), [*lines, "", *(f"! {text}" for text in answer.cautions)], o["as_json"])
