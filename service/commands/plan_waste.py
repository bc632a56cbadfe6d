"""`stripread plan waste`: what the stock vessel holds and what neutralises it."""

from __future__ import annotations

import click

from stripread.errors import CallError
from stripread.json_line import json_line
from stripread.words import say


@click.command("waste")
@click.option(
    "--poured",
    "poured",
    multiple=True,
    required=True,
    help="LITRES:PH of one thing in the stock vessel (LITRES:PH:LOW:HIGH with its interval); once for each.",
)
@click.option("--metal", "metals", multiple=True, help="Metal in it: silver, copper, …; none if there is none.")
@click.option(
    "--contains", multiple=True, help='What else is in it: salt, nitrate, sugar, bleach, "citrate 0.05 mol/L" …'
)
@click.option("--ammonia", is_flag=True, help="Ammonia went in.")
@click.option(
    "--bottle", "bottles", multiple=True, help='Your own: "muriatic acid: 20 %, 1.10 g/ml" or "soda lye: 2 mol/l".'
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def command(  # noqa: PLR0917 - click gives them by name
    poured: tuple[str, ...],
    metals: tuple[str, ...],
    contains: tuple[str, ...],
    ammonia: bool,
    bottles: tuple[str, ...],
    as_json: bool,
) -> int:
    """What the stock vessel holds and what neutralises it, slowly. Never a drain."""
    from service.bench.chemistry.reagents import RULES
    from service.bench.vessel.bottles import bottle_of_text
    from service.bench.vessel.waste_plan import poured_of_text, waste_plan

    words = (*metals, *contains)
    try:
        held = [poured_of_text(text, place, words, ammonia, "--poured") for place, text in enumerate(poured, 1)]
        plan = waste_plan(held, [bottle_of_text(text) for text in bottles])
    except CallError:
        raise
    except ValueError as problem:
        raise CallError(str(problem)) from None
    if as_json:
        click.echo(json_line(plan.to_dict()))
    else:
        click.echo("\n".join([*plan.lines, "", say(RULES)]))
    return 0
