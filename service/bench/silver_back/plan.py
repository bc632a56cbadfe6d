"""Silver back from a stock vessel, planned in words and figures: what goes in, how to see the end, what is left."""

from __future__ import annotations

from dataclasses import dataclass, replace

from service.bench.chemistry.reagents import written
from service.bench.chemistry.silver import chloride_solubility
from service.bench.lye_plan import bought_words, mass_words
from service.bench.procedure import load_procedure
from service.bench.silver_back.dose import OVER, SilverDose, Way, silver_dose
from service.bench.vessel.bottles import bottle_of_text, with_bottles
from service.bench.vessel.contents import Poured, contents_of
from service.bench.vessel.hazards import all_stops, stops_between
from service.bench.vessel.neutralisers import Bought, neutralisers
from service.bench.vessel.running import HIDES
from service.bench.vessel.solubility import in_solution
from service.bench.vessel.substances import Kind
from service.bench.vessel.waste import NO_DRAIN, stock
from stripread.errors import CallError
from stripread.words import N_, _, number, say

NAMES: dict[Way, str] = {
    "salt": N_("Table salt"),
    "acid": N_("Hydrochloric acid"),
    "copper": N_("Copper, clean sheet or wire"),
    "zinc": N_("Zinc, clean strip or granules"),
    "iron": N_("Iron, clean nails or wool without grease"),
}
TOO_MUCH = 1.0  # mol/L of chloride, as in undiluted acid wash: how much silver it would hold is told as a warning
_FIRST_ACID = N_(
    "Ammonia is in it: neither salt nor metal brings that silver down, and nothing alkaline may come near. First make "
    "it acid; the acid brings the silver down as chloride in the same step."
)
_METAL_ACID = N_(
    "Read its pH first: below 2 the acid eats the metal, hydrogen comes off, and it takes far more than is told here."
)
_METAL_SLOW = N_(
    "Hang it in, knock the grey silver off now and then, overnight or longer; take the rest of the metal out."
)
_KEPT = N_(
    "Until a drop stays clear the vessel counts as holding silver. "
    "Then write that down: its silver was brought down (silver_down)."
)
_COPPER_ONLY = N_("Copper goes into solution instead, and the liquid stays poisonous waste.")


@dataclass(frozen=True)
class SilverPlan:
    """The plan: ``dose`` None while ammonia has to go first. ``finished`` says how to see the end; ``said`` in rows."""

    way: Way
    litres: float
    dose: SilverDose | None
    bought: tuple[Bought, ...]
    first: tuple[str, ...]
    finished: tuple[str, ...]
    said: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    source: str = "data/silver_constants.toml (NIST 46 by minteq.v4.dat, sit, llnl, Thermoddem); potentials from memory"


def silver_plan(
    litres: float,
    silver_mg_l: tuple[float, float],
    way: Way = "salt",
    *,
    chloride: float = 0.0,
    ammonia: bool = False,
    contains: tuple[str, ...] = (),
    bottle: str | None = None,
    unit: str | None = None,
) -> SilverPlan:
    """The plan for a vessel.

    Parameters
    ----------
    litres, silver_mg_l, way, chloride
        As ``silver_dose`` takes them.
    ammonia, contains
        Whether ammonia went in, and the words for what else is in it.
    bottle
        The strength of one's own hydrochloric acid, "31 %, 1.16 g/ml"; as it is sold where nothing is said.

    Raises
    ------
    ValueError
        For what ``silver_dose`` and ``shown`` do not take.
    CallError
        Asking about a word that nobody knows; where the way makes a danger with what is in the vessel.
    """
    held = Poured(_("the stock vessel"), litres, mol=None, contents=(*contains, "silver"), ammonia=ammonia)
    for question in held.questions():
        raise CallError(question)
    if HIDES & held.kinds():
        raise CallError(
            _(
                "fixer, sulfite or cyanide is in it: it holds silver that neither salt nor acid brings down, and a "
                "drop of salt water shows nothing. No plan for that here: ask the licensed collection."
            )
        )
    vessel = stock([held], dangers=())
    with_ammonia = vessel.silver == "with ammonia"
    dose = silver_dose(litres, silver_mg_l, way, chloride=chloride)
    if with_ammonia and way != "acid":
        return SilverPlan(
            way, litres, None, (), (say(_FIRST_ACID), *vessel.first), (), _silver_rows(dose, unit), (),
            (say(all_stops()["silver_ammonia"].happens).capitalize() + ".", say(NO_DRAIN)),
        )  # fmt: skip
    if way in ("zinc", "iron") and "nitrate" in vessel.contents:
        raise CallError(all_stops()["nitrate_powder"].sentence)
    if way == "zinc" and Kind.LYE in held.kinds():
        raise CallError(all_stops()["lye_powder"].sentence)
    acid = contents_of([Poured("", 0.1, mol=0.05, contents=("muriatic acid",))])
    meeting = (
        [stop for stop in stops_between(vessel.held, acid) if stop.code != "silver_ammonia"] if way == "acid" else []
    )
    if meeting:
        raise CallError(meeting[0].sentence)
    if with_ammonia:  # at pH 2, with the acid's own chloride: what the vessel's plan tells of it too
        _low, value, high = in_solution("silver", 2.0, dose.silver_g[2] / litres * 1000.0, chloride=0.2)
        left = (dose.left_mg_l[0], value, max(high, dose.left_mg_l[2]))
        dose = replace(dose, left_mg_l=left, left_mg=(left[0] * litres, left[1] * litres, left[2] * litres))
    bought = _bought(dose, way, bottle)
    rows = [*_silver_rows(dose, unit), (say(NAMES[way]), _amount(dose, way, unit))]
    if way == "acid" and {Kind.AMMONIA, Kind.LYE, Kind.CARBONATE} & held.kinds():
        rows.append(("", _("on top of all that it takes to bring the vessel to pH 2: read it")))
    rows += [("", _("{form}: {amount}", form=say(one.form), amount=bought_words(one, unit))) for one in bought]
    rows += [
        (_("What settles"), _settles(dose, way, unit)),
        (_("Left dissolved"), _left(dose)),
    ]
    return SilverPlan(
        way,
        litres,
        dose,
        bought,
        (say(_FIRST_ACID), *vessel.first) if with_ammonia else (),
        _finished(dose, way),
        tuple(rows),
        _notes(dose, way, chloride),
        _cautions(way, with_ammonia),
    )


def _silver_rows(dose: SilverDose, unit: str | None) -> tuple[tuple[str, str], ...]:
    return ((_("Silver in it"), mass_words(dose.silver_g, unit)),)


def _amount(dose: SilverDose, way: Way, unit: str | None) -> str:
    grams = mass_words(dose.reagent_g, unit)
    if dose.most_g is None:
        return _("{grams}, the excess in it", grams=grams)
    if dose.reagent_g[2] <= 0.0:
        return _("none: enough chloride is in it already")
    if way == "acid":
        return _("{grams} of pure hydrogen chloride, the excess in it", grams=grams)
    most = mass_words((dose.most_g, dose.most_g, dose.most_g), unit)
    return _("{grams}, the excess in it; not more than {most}", grams=grams, most=most)


def _bought(dose: SilverDose, way: Way, bottle: str | None) -> tuple[Bought, ...]:
    if way != "acid" or dose.reagent_g[2] <= 0.0:
        return ()
    acid = neutralisers()["hydrochloric acid (as HCl)"]
    if bottle is not None:
        acid = with_bottles(acid, [bottle_of_text(f"{acid.trade[0]}: {bottle}")])
    return acid.bought(dose.reagent_g)


def _settles(dose: SilverDose, way: Way, unit: str | None) -> str:
    grams = mass_words(dose.solid_g, unit)
    if way in ("salt", "acid"):
        return _("{grams} of white silver chloride; it darkens in light", grams=grams)
    return _("{grams} of grey silver", grams=grams)


def _left(dose: SilverDose) -> str:
    return _(
        "{low} to {high} mg in all ({low_l} to {high_l} mg/L) once it has settled clear",
        low=written(dose.left_mg[0], 2),
        high=written(dose.left_mg[2], 2),
        low_l=written(dose.left_mg_l[0], 2),
        high_l=written(dose.left_mg_l[2], 2),
    )


def _finished(dose: SilverDose, way: Way) -> tuple[str, ...]:
    """How to see that it is finished."""
    if way in ("salt", "acid"):
        return (
            _("Let it settle overnight. Take a little of the clear liquid apart: a drop of salt water stays clear."),
            _("A tint or solid reading of the settled vessel: the liquid clear, all white at the bottom."),
            say(_KEPT),
        )
    assert dose.metal_mg_l is not None
    texts = [_("A drop of salt water in a little of the clear liquid, taken apart, must stay clear.")]
    if way == "copper":
        low, _value, high = dose.metal_mg_l
        texts.append(
            _(
                "A copper reading (tint) rises by {low} to {high} mg/L and then stays: so much goes into solution.",
                low=written(low, 2),
                high=written(high, 2),
            )
        )
    texts.append(_("A solid reading of what fell: grey all through, nothing pale."))
    return (*texts, say(_KEPT))


def _notes(dose: SilverDose, way: Way, chloride: float) -> tuple[str, ...]:
    if way not in ("salt", "acid"):
        texts = [say(_METAL_SLOW)]
        return (*texts, say(_COPPER_ONLY)) if way == "copper" else (*texts, say(_METAL_ACID))
    least, much = chloride_solubility(OVER, 25.0, way == "acid"), chloride_solubility(TOO_MUCH, 25.0, way == "acid")
    texts = [
        _(
            "Not more than that: chloride beyond it takes silver back as chloro complexes. At {over} mol/L over "
            "{least} mg/L stay, at {much:g} mol/L {held} mg/L ({low} to {high}).",
            over=number(OVER, "g"),
            least=written(least.mg_l, 1),
            much=TOO_MUCH,
            held=written(much.mg_l, 1),
            low=written(much.low, 1),
            high=written(much.high, 1),
        )
    ]
    if chloride > 5.0 * OVER:
        texts.append(
            _(
                "It holds {chloride:g} mol/L of chloride already: dilute it some {times:.0f} times with water and let "
                "it stand cold overnight; that brings down what chloride holds.",
                chloride=chloride,
                times=min(10.0, chloride / OVER),
            )
        )
    return tuple(texts)


def _cautions(way: Way, with_ammonia: bool) -> tuple[str, ...]:
    found = []
    if with_ammonia:
        found.append(say(all_stops()["silver_ammonia"].happens).capitalize() + ".")
    if way == "acid":
        found += [say(text) for text in neutralisers()["hydrochloric acid (as HCl)"].cautions]
        found.append(_("Never into bleach, cyanide or sulfide: poison gas. Acid into water, slowly."))
    elif way == "copper":
        found += [say(text) for text in load_procedure("copper_cementation").stage("cement").cautions]
    elif way in ("zinc", "iron"):
        found += [say(text) for text in load_procedure(f"chloride_{way}").stage("reduce").cautions]
    if not with_ammonia and way != "copper":
        found.append(_("No ammonia in this vessel: with silver it turns explosive on standing."))
    return (*found, say(NO_DRAIN))
