"""What silver chloride of a range needs to be turned to metal, in words: lye and glucose, zinc, or iron."""

from __future__ import annotations

from typing import Literal

from service.bench.chemistry import reagents
from service.bench.chemistry.metal import metal_dose
from service.bench.chemistry.reagents import Chloride, Span
from service.bench.lye_plan import PURITY, mass_words
from service.bench.metal_plan import EXCESS, METALS
from service.bench.metal_plan import PURITY as METAL_PURITY
from stripread.words import _, say

By = Literal["lye", "zinc", "iron"]


def chloride_of(dry_g: Span) -> Chloride:
    """Silver chloride of a dry mass (low, value, high), g, with its mol and its silver."""
    low, value, high = dry_g
    mol, share = 1.0 / reagents.molar_mass("AgCl"), reagents.silver_share()
    return Chloride(dry_g, (low * mol, value * mol, high * mol), (low * share, value * share, high * share))


def needs(stock: Chloride, by: By, unit: str | None) -> list[tuple[str, str]]:
    """What and how much, with the range that the chloride's own mass leaves."""
    said = [
        (
            _("Dry chloride"),
            _(
                "{dry_g}, silver in it {silver_g}",
                dry_g=mass_words(stock.dry_g, unit),
                silver_g=mass_words(stock.silver_g, unit),
            ),
        )
    ]
    if by == "lye":
        dose = reagents.dose(stock, purity=PURITY)
        said += [
            (_("Lye ({purity:.0f} % NaOH)", purity=100 * PURITY), mass_words(dose.lye_g, unit)),
            (_("Glucose"), mass_words(dose.sugar_g, unit)),
        ]
    else:
        metal = metal_dose(stock, by, excess=EXCESS, purity=METAL_PURITY)
        name = _("{metal} ({purity:.0f} %)", metal=say(METALS[by]), purity=100 * METAL_PURITY)
        said.append((name, mass_words(metal.metal_g, unit)))
    said.append(("", _("Start with the lower end, in portions; a picture after each tells when it is enough.")))
    return said
