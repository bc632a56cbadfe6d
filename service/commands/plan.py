"""`stripread plan …`: the bench's arithmetic without a log."""

from __future__ import annotations

from typing import Any

import click

from service.commands.plan_waste import command as waste
from service.commands.plan_yield import command as yield_
from service.commands.planning.acid import command as acid
from service.commands.planning.dose import expected, portions, volume
from service.commands.planning.melt import command as melt
from service.commands.planning.metal import command as metal
from service.commands.planning.silver import command as silver
from service.terminal.plan_lines import moisture_told, print_plan
from service.terminal.quantity_types import Quantity
from stripread.errors import CallError
from stripread.words import _

_SUGARS = ("glucose", "glucose monohydrate", "inverted table sugar", "table sugar")


@click.group("plan")
def command() -> None:
    """Washes, lye and sugar, zinc or iron, dosing, melt, waste, its silver, yield: what to expect, with its range.

    Amounts take units: "2 lb", "500 ml".
    """


command.add_command(metal)
command.add_command(acid)
command.add_command(melt)
command.add_command(volume)
command.add_command(portions)
command.add_command(expected)
command.add_command(silver)
command.add_command(waste)
command.add_command(yield_)


@command.command("lye")
@click.option(
    "--chloride", required=True, type=Quantity("chloride_g"), help='Mass of silver chloride, e.g. "500 g" or "1 lb".'
)
@click.option("--moisture", help="Share of water in it: 0.3, a range: 0.2-0.4, 20-40 %, or dry, drained.")
@click.option("--temp", default="80", show_default=True, type=Quantity("temp_c"), help="Temperature of the lye, °C.")
@click.option(
    "--portions", default=1, show_default=True, type=click.IntRange(1, 100), help="Portions of lye, decanted."
)
@click.option("--no-sugar", is_flag=True, help="Lye alone.")
@click.option(
    "--lye-excess",
    default="1.5",
    show_default=True,
    type=Quantity("excess"),
    help="Times the lye that is needed at least.",
)
@click.option(
    "--sugar-excess", default="1.2", show_default=True, type=Quantity("excess"), help="Times the sugar that is needed."
)
@click.option("--sugar", type=click.Choice(_SUGARS), default="glucose", show_default=True, help="Which sugar.")
@click.option(
    "--sugar-purity", default="100", show_default=True, type=Quantity("percent"), help="Of the sugar, by mass, in [%]."
)
@click.option("--lye", help='Your own lye, as its label says: "30 %, 1.33 g/ml" or "2 mol/l".')
@click.option("--unit", help="Show masses in this unit, e.g. oz or troy_ounce.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def lye(**o: Any) -> int:  # noqa: ANN401 - click's options
    """Lye, sugar and water for a mass of chloride; heat; what each plan leaves unconverted."""
    from dataclasses import asdict

    from service.bench.lye_plan import lye_plan

    try:
        answer = lye_plan(
            o["chloride"],
            moisture_told(o["moisture"]),
            temp_c=o["temp"],
            portions=o["portions"],
            lye_excess=o["lye_excess"],
            sugar_excess=o["sugar_excess"],
            sugar=None if o["no_sugar"] else o["sugar"],
            unit=o["unit"],
            lye=o["lye"],
            sugar_purity=o["sugar_purity"] / 100.0,
        )
    except ValueError as problem:
        raise CallError(str(problem)) from None
    lines = [f"{what:17} {how}" for what, how in answer.said]
    lines += ["", *answer.left, answer.proof, "", *(f"! {text}" for text in answer.cautions)]
    return print_plan(asdict(answer), lines, o["as_json"])


@command.command("wash")
@click.option(
    "--retained", required=True, type=Quantity("retained_l"), help='Liquid that stays with the solid, e.g. "80 ml".'
)
@click.option("--water", "volume", type=Quantity("volume_l"), help="Rinse water at hand in all: how best to split it.")
@click.option("--added", type=Quantity("added_l"), help="Water added in each wash: how many washes.")
@click.option(
    "--acid",
    default="1",
    show_default=True,
    type=Quantity("acid_mol_l"),
    help="Acid in the first liquid, mol/L (negative: lye).",
)
@click.option("--kind", default="air", type=click.Choice(["pure", "air", "tap"]), show_default=True, help="The water.")
@click.option("--alkalinity", type=Quantity("alkalinity_mmol_l"), help="Of tap water, mmol/L.")
@click.option("--reading", "readings", multiple=True, help="WASH:PH or WASH:PH:LOW:HIGH, once for each reading.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def wash(**o: Any) -> int:  # noqa: ANN401
    """Washes to neutral, the best use of a volume of water, and the forecast from readings."""
    from service.bench.washing.plan import wash_plan

    try:
        plan = wash_plan(
            retained_l=o["retained"],
            volume_l=o["volume"],
            added_l=o["added"],
            start=o["acid"],
            water=o["kind"],
            alkalinity=o["alkalinity"],
            readings=[_reading(text) for text in o["readings"]],
        )
    except ValueError as problem:
        raise CallError(str(problem)) from None
    return print_plan(plan.to_dict(), plan.lines, o["as_json"])


def _reading(text: str) -> Any:  # noqa: ANN401 - a Reading; its module loads late
    from service.bench.quantities import typed_parts
    from service.bench.washing.reading import Reading

    n = typed_parts("--reading", text, ("wash", "ph", "ph", "ph"), 2, _("WASH:PH or WASH:PH:LOW:HIGH"))
    if len(n) == 3 or n[0] != int(n[0]):
        raise CallError(_("--reading: give WASH:PH or WASH:PH:LOW:HIGH, not {text!r}", text=text))
    if len(n) == 2:
        return Reading(int(n[0]), n[1], (n[1] - 0.3, n[1] + 0.3))
    ph, low, high = n[1:]
    if not low <= ph <= high:
        raise CallError(_("--reading: {ph:g} does not lie between {low:g} and {high:g}", ph=ph, low=low, high=high))
    return Reading(int(n[0]), ph, (low, high))
