"""The lye step planned, in words and figures: what to weigh out, the heat, what each way leaves unconverted."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from service.bench.chemistry import reagents
from service.bench.chemistry.lye import NO_PROOF, LyePlan, plan_lye, plan_sugar
from service.bench.chemistry.reagents import Span
from service.bench.vessel.bottles import Bottle, bottle_of_text
from service.bench.vessel.neutralisers import Bought, as_bought
from service.bench.weighings import MOISTURE_UNKNOWN, NOT_SAID
from stripread.errors import CallError
from stripread.words import N_, _, say

# Formula, and how many molecules that reduce one gives. Table sugar reduces only once it is inverted: then two.
SUGARS = {
    "glucose": ("C6H12O6", 1),
    "glucose monohydrate": ("C6H12O6(H2O)", 1),
    "inverted table sugar": ("C12H22O11", 2),
}
TABLE_SUGAR = "table sugar"
# That sucrose does not reduce as glucose does, and that acid splits it: any general textbook, from memory; how long:
# common practice, no source.
NOT_TABLE_SUGAR = N_(
    "table sugar as it is does not do: its molecule has no end that reduces. Take glucose (dextrose), or invert it "
    "first: boil it half an hour with half its weight of water and a pinch of citric acid, let it cool; then say "
    "inverted table sugar, and weigh it before it is boiled"
)
INVERTED = "inverted table sugar"
# Syrup: hotter and stickier than water, common knowledge; strong acid on sugar: service/bench/data/hazards.toml.
INVERT_CAUTIONS = (
    N_(
        "Boiling syrup sticks and burns deeper than water: gloves, goggles, low heat, a lid askew. Let it cool "
        "before it goes on."
    ),
    N_(
        "Invert it in a pot of its own, with citric acid alone: strong acid chars sugar and boils up, nitric acid "
        "runs away with it."
    ),
)
PURITY = 0.97  # of the lye, as beads are sold: it draws water and carbonate; from memory

BOILING_C = 100.0  # of thin lye; strong lye boils a little above; from memory


@dataclass(frozen=True)
class LyeAnswer:
    """The lye step planned: the chloride, what to weigh out, what each plan leaves; ``said`` as what and how much.

    ``bought``: the lye out of one's own bottle, where that was named.
    """

    chloride: reagents.Chloride
    dose: reagents.Dose
    plans: tuple[LyePlan, ...]
    left: tuple[str, ...]
    proof: str
    cautions: tuple[str, ...]
    said: tuple[tuple[str, str], ...]
    bought: tuple[Bought, ...] = ()


def lye_plan(
    chloride_g: float,
    moisture: tuple[float, float] | None = None,
    *,
    temp_c: float = 80.0,
    portions: int = 1,
    lye_excess: float = 1.5,
    sugar_excess: float = 1.2,
    sugar: str | None = "glucose",
    unit: str | None = None,
    lye: str | None = None,
    sugar_purity: float = 1.0,
) -> LyeAnswer:
    """The plan, in figures and in words.

    Parameters
    ----------
    chloride_g, moisture
        Mass of the chloride as weighed, and the share of water in it (low, high); None where nobody says how wet it is.
    temp_c, portions
        Of the lye; the liquid is decanted between the portions.
    sugar
        One of SUGARS, or None for lye alone.
    lye
        The strength of one's own lye, "30 %, 1.33 g/ml" or "2 mol/l"; beads or flakes of 97 % where nothing is said.
    sugar_purity
        Share of the sugar, as bought, that is sugar: the rest is water or filler.
    unit
        Unit to show masses in; None for grams.

    Raises
    ------
    ValueError
        For what ``chloride``, ``dose``, ``plan_lye`` and ``shown`` do not take.
    CallError
        For table sugar, which does not reduce, and for a lye that can't be read.
    """
    if sugar == TABLE_SUGAR:
        raise CallError(say(NOT_TABLE_SUGAR))
    formula, reducing = SUGARS[sugar or "glucose"]
    bottle = None if lye is None else bottle_of_text(f"soda lye: {lye}")
    stock = reagents.chloride(chloride_g, MOISTURE_UNKNOWN if moisture is None else moisture)
    dose = reagents.dose(
        stock,
        lye_excess=lye_excess,
        sugar_excess=sugar_excess,
        purity=PURITY,
        sugar=formula,
        reducing=reducing,
        with_sugar=sugar is not None,
    )
    if not 0.0 < sugar_purity <= 1.0:
        raise ValueError(_("the purity lies between 0 and 1"))
    low, value, high = dose.sugar_g
    dose = replace(dose, sugar_g=(low / sugar_purity, value / sugar_purity, high / sugar_purity))
    base = dose.lye_g[1] * PURITY / reagents.molar_mass("NaOH")
    plans = [plan_lye(stock.mol[1], base, portions, temp_c, lye_mol_l=dose.lye_mol_l)]
    if sugar is not None:
        plans.append(plan_sugar(stock.mol[1], base, temp_c))
    each = _(" in each of {portions} portions", portions=portions) if portions > 1 else ""
    said = [
        *([(_("How wet"), say(NOT_SAID))] if moisture is None else []),
        (
            _("Dry chloride"),
            _(
                "{dry_g}, silver in it {silver_g}",
                dry_g=mass_words(stock.dry_g, unit),
                silver_g=mass_words(stock.silver_g, unit),
            ),
        ),
        (_("Lye ({purity:.0f} % NaOH)", purity=100 * PURITY), mass_words(dose.lye_g, unit) + each),
    ]
    own = None if bottle is None else _own_lye(dose, bottle)
    bought = () if own is None else (own,)
    said += [(_("or {form}", form=one.form), bought_words(one, unit) + each) for one in bought]
    if bottle is not None and own is not None and (brought := _water_brought_l(bottle, own)) > 0.0:
        said.append(("", _("it brings {litres:.2g} L of water along: so much less to add", litres=brought)))
    if sugar is not None:
        pure = "" if sugar_purity == 1.0 else _(" ({purity:.0f} % pure)", purity=100 * sugar_purity)
        said.append((_capital(say(sugar)) + pure, mass_words(dose.sugar_g, unit)))
        if sugar == INVERTED:
            said.append(("", _inverted(dose.sugar_g[1] * sugar_purity, unit)))
    said += [
        (
            _("Water"),
            _(
                "{water_l_1:.2g} L or more, so that it stirs: lye of about {lye_mol_l:.2g} mol/L",
                water_l_1=dose.water_l[1],
                lye_mol_l=dose.lye_mol_l,
            ),
        ),
        (
            _("Heat"),
            _(
                "the lye at once warms it by {rise_lye_k:.0f} K: {lye_portions} portions or more",
                rise_lye_k=dose.rise_lye_k,
                lye_portions=dose.lye_portions,
            ),
        ),
    ]
    if sugar is not None:
        dose = replace(dose, sugar_portions=reagents.portions(dose.rise_sugar_k[1], _each_k(temp_c)))
        said.append(("", _sugar_heat(dose, temp_c)))
    return LyeAnswer(
        chloride=stock,
        dose=dose,
        plans=tuple(plans),
        left=tuple(
            _(
                "{name} at {temp_c:g} °C: {sentence}",
                name=_capital(plan.name),
                temp_c=plan.temp_c,
                sentence=plan.sentence,
            )
            for plan in plans
        ),
        proof=say(NO_PROOF),
        cautions=tuple(map(say, _cautions(sugar))),
        said=tuple(said),
        bought=bought,
    )


def _cautions(sugar: str | None) -> tuple[str, ...]:
    of_sugar = () if sugar is None else reagents.SUGAR_CAUTIONS
    return (*reagents.LYE_CAUTIONS, *of_sugar, *(INVERT_CAUTIONS if sugar == INVERTED else ()))


def _inverted(sucrose_g: float, unit: str | None) -> str:
    """What so much pure table sugar is once inverted: C12H22O11 + H2O = C6H12O6 (glucose) + C6H12O6 (fructose)."""
    water_g = sucrose_g * reagents.molar_mass("H2O") / reagents.molar_mass("C12H22O11")
    return _(
        "weighed before it is boiled; inverted it takes up {water} of water and is {sum} of glucose and fructose, half "
        "of each",
        water=reagents.shown(water_g, "g", unit),
        sum=reagents.shown(sucrose_g + water_g, "g", unit),
    )


def _own_lye(dose: reagents.Dose, bottle: Bottle) -> Bought:
    low, value, high = (grams * PURITY for grams in dose.lye_g)
    return as_bought((low, value, high), bottle.form)


def _water_brought_l(bottle: Bottle, one: Bought) -> float:
    """Litres of water in what is measured out of a bottle of lye; none in beads and flakes."""
    form = bottle.form
    if one.unit == "g" or (form.percent is not None and form.density is None):
        return 0.0
    if form.percent is not None and form.density is not None:
        return one.amount[1] * form.density * (1.0 - form.percent / 100.0) / 1000.0
    return one.amount[1] / 1000.0  # of so many mol/L: the lye in it takes up next to no room


def bought_words(one: Bought, unit: str | None) -> str:
    """What is measured out of a bottle: a mass in the unit wanted, a volume in mL."""
    if one.unit == "g":
        return mass_words(one.amount, unit)
    low, value, high = (f"{reagents.written(x)} mL" for x in one.amount)
    return value if low == high else _("{value} ({low} to {high})", value=value, low=low, high=high)


def _each_k(temp_c: float) -> float:
    """Kelvin that one portion of sugar may warm the lye by: 8, and never more than half the way to boiling."""
    return max(1.0, min(8.0, 0.5 * (BOILING_C - temp_c)))


def _sugar_heat(dose: reagents.Dose, temp_c: float) -> str:
    """What the sugar's heat does at this temperature: where it would boil, no rise beyond that is told."""
    low, high = dose.rise_sugar_k
    room = BOILING_C - temp_c
    if high < room:
        return _(
            "the sugar at once by {low:.0f} to {high:.0f} K: {sugar_portions} portions or more",
            low=low,
            high=high,
            sugar_portions=dose.sugar_portions,
        )
    return _(
        "the sugar at once would boil it over: its heat is good for {low:.0f} to {high:.0f} K, "
        "boiling is {room:.0f} K away. {sugar_portions} portions or more, cooling between; better "
        "start at 50 to 60 °C",
        low=low,
        high=high,
        room=room,
        sugar_portions=dose.sugar_portions,
    )


def mass_words(span: Span, unit: str | None) -> str:
    """A range of masses, g, in the unit wanted; one figure where it is no range."""
    low, value, high = (reagents.shown(x, "g", unit) for x in span)
    return value if math.isclose(span[0], span[2]) else _("{value} ({low} to {high})", value=value, low=low, high=high)


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
