"""The reduction by zinc or iron planned, in words and figures: metal, acid out of the bottle, hydrogen, heat."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from service.bench.chemistry import reagents
from service.bench.chemistry.metal import STRENGTH, Metal, MetalDose, metal_dose
from service.bench.lye_plan import bought_words, mass_words
from service.bench.procedure import load_procedure
from service.bench.vessel.bottles import bottle_of_text, with_bottles
from service.bench.vessel.neutralisers import Bought, acids
from service.bench.weighings import MOISTURE_UNKNOWN, NOT_SAID
from stripread.words import N_, _, say

Acid = Literal["hydrochloric", "sulfuric"]
FORMULAS: dict[Acid, str] = {"hydrochloric": "HCl", "sulfuric": "H2SO4"}
# The silver's need and a third more; common practice, no source. A mint took 33 lb of commercial zinc for 100 lb of
# silver, 1.09 times the need, with half as much acid: https://911metallurgist.com/blog/silver-chloride-reduction
EXCESS, PURITY = 1.3, 0.98
METALS: dict[Metal, str] = {"zinc": N_("Zinc"), "iron": N_("Iron")}


@dataclass(frozen=True)
class MetalAnswer:
    """The reduction planned: the chloride, the dose, the acid as each form that is sold or as one's own bottle has it.

    ``said`` as what and how much.
    """

    metal: Metal
    chloride: reagents.Chloride
    dose: MetalDose
    acid: Acid
    bought: tuple[Bought, ...]
    procedure: str
    cautions: tuple[str, ...]
    said: tuple[tuple[str, str], ...]


def metal_plan(
    chloride_g: float,
    moisture: tuple[float, float] | None = None,
    *,
    metal: Metal = "zinc",
    excess: float = EXCESS,
    purity: float = PURITY,
    acid: Acid = "hydrochloric",
    bottle: str | None = None,
    unit: str | None = None,
) -> MetalAnswer:
    """The plan, in figures and in words.

    Parameters
    ----------
    chloride_g, moisture
        Mass of the chloride as weighed, and the share of water in it (low, high); None where nobody says how wet it is.
    excess, purity
        Times the metal that the silver needs, and the metal's own share by mass.
    bottle
        The strength of one's own acid, "31 %, 1.16 g/ml" or "2 mol/l"; as it is sold where nothing is said.
    unit
        Unit to show masses in; None for grams.

    Raises
    ------
    ValueError
        For what ``chloride``, ``metal_dose`` and ``shown`` do not take.
    CallError
        For an acid's strength that can't be read or be.
    """
    stock = reagents.chloride(chloride_g, MOISTURE_UNKNOWN if moisture is None else moisture)
    dose = metal_dose(stock, metal, excess=excess, purity=purity)
    one = next(a for a in acids().values() if a.formula == FORMULAS[acid])
    if bottle is not None:
        one = with_bottles(one, [bottle_of_text(f"{one.trade[0]}: {bottle}", acids())])
    bought = one.bought(one.grams(dose.acid_mol))
    name = f"chloride_{metal}"
    return MetalAnswer(
        metal=metal,
        chloride=stock,
        dose=dose,
        acid=acid,
        bought=bought,
        procedure=name,
        cautions=tuple(map(say, (*load_procedure(name).stage("reduce").cautions, *_of_acid(one.cautions, acid)))),
        said=(
            *([(_("How wet"), say(NOT_SAID))] if moisture is None else []),
            (
                _("Dry chloride"),
                _(
                    "{dry_g}, silver in it {silver_g}",
                    dry_g=mass_words(stock.dry_g, unit),
                    silver_g=mass_words(stock.silver_g, unit),
                ),
            ),
            (
                _("{metal} ({purity:.0f} %)", metal=say(METALS[metal]), purity=100 * purity),
                _(
                    "{grams}: {excess:g} times the need, in {portions} portions or more",
                    grams=mass_words(dose.metal_g, unit),
                    excess=excess,
                    portions=dose.portions,
                ),
            ),
            (_("Water"), _("{water} L or more, so that it stirs", water=_litres(dose.water_l[1]))),
            *(
                (_("Acid") if place == 0 else "", _("{form}: {amount}", form=say(b.form), amount=bought_words(b, unit)))
                for place, b in enumerate(bought)
            ),
            ("", _("into the water, one of them: about {strength:g} mol/L at the start", strength=STRENGTH)),
            (
                _("Hydrogen"),
                _(
                    "{low} to {high} L at 25 °C: at least {air} L of air, moving",
                    low=_litres(dose.hydrogen_l[0]),
                    high=_litres(dose.hydrogen_l[2]),
                    air=_litres(dose.air_l),
                ),
            ),
            (
                _("Heat"),
                _(
                    "all the metal at once warms it by {low:.0f} to {high:.0f} K",
                    low=dose.rise_k[0],
                    high=dose.rise_k[1],
                ),
            ),
        ),
    )


def _litres(value: float) -> str:
    return reagents.written(value, 2)


def _of_acid(cautions: tuple[str, ...], acid: Acid) -> tuple[str, ...]:
    """What goes for the acid itself; the fumes of the other one are said of a vessel."""
    return cautions if acid == "sulfuric" else cautions[:1]
