"""A person's own bottle: what its label says of the strength, so that amounts are of what is in it.

The percentage is by mass. A strength that no such bottle has, or a density that does not go with it, is asked back.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from service.bench.chemistry.reagents import molar_mass
from service.bench.quantities import WrongQuantity, typed_number
from service.bench.vessel.neutralisers import Form, Neutraliser, neutralisers
from stripread.errors import CallError
from stripread.words import N_, _, say

NEAR = 0.06  # g/mL, by which a density may differ from the usual one of its percentage; from memory, not looked up
_MOLAR = re.compile(r"(.+?) ?(?:mol/l|mol per l|mol per litre|molar|m)", re.IGNORECASE)
_PERCENT = re.compile(r"(.+?) ?%(?: ?(?:w/w|by mass))?(?:[ ,;:]+(.+?) ?(?:g/ml|g/cm3|g/cc|kg/l)?)?", re.IGNORECASE)
FORM = N_("NAME: 20 %, 1.10 g/ml (percent by mass, and the density of a liquid) or NAME: 2 mol/l")


@dataclass(frozen=True)
class Bottle:
    """A neutraliser by its name in the table, in the form that somebody owns it."""

    neutraliser: str
    form: Form


def bottle_of_text(text: str, among: Mapping[str, Neutraliser] | None = None) -> Bottle:
    """ "muriatic acid: 20 %, 1.10 g/ml" or "soda lye: 2 mol/l" as a bottle, of the neutralisers or those ``among``.

    Raises
    ------
    WrongQuantity
        If a figure can't be read, may mean two things, or is no strength that such a bottle has.
    CallError
        If it is not written so, or its name is no neutraliser's.
    """
    name, colon, strength = text.partition(":")
    if not colon:
        raise CallError(_("bottle: give {form}, not {text!r}", form=say(FORM), text=text[:60]))
    one = _named(name, neutralisers() if among is None else among)
    said = " ".join(strength.split())
    try:
        if (found := _MOLAR.fullmatch(said)) is not None:
            return Bottle(one.name, _molar(one, typed_number("bottle_mol_l", found[1])))
        if (found := _PERCENT.fullmatch(said)) is not None:
            density = None if found[2] is None else typed_number("density_g_ml", found[2])
            return Bottle(one.name, _by_mass(one, typed_number("percent", found[1]), density))
    except WrongQuantity as wrong:
        raise wrong.at(_("bottle of {name}", name=name.strip())) from None
    raise CallError(_("bottle: give {form}, not {text!r}", form=say(FORM), text=text[:60]))


def with_bottles(one: Neutraliser, bottles: Sequence[Bottle]) -> Neutraliser:
    """The neutraliser in the forms that somebody owns; as it is sold where they own none."""
    own = tuple(bottle.form for bottle in bottles if bottle.neutraliser == one.name)
    return replace(one, forms=own) if own else one


def _named(name: str, among: Mapping[str, Neutraliser]) -> Neutraliser:
    wanted = " ".join(name.lower().split())
    for one in among.values():
        short = re.sub(r" \(.*\)", "", one.name)
        names = (one.name, short, one.word, one.formula, *one.trade)
        if wanted in {word.lower() for name in names for word in (name, say(name), re.sub(r" \(.*\)", "", say(name)))}:
            return one
    known = ", ".join(re.sub(r" \(.*\)", "", n) for n in among)
    raise CallError(
        _("bottle: no neutraliser is called {name!r}; there are {known}", name=name.strip()[:40], known=known)
    )


def _molar(one: Neutraliser, mol_l: float) -> Form:
    most = one.strongest[1]
    if mol_l > most:
        raise WrongQuantity(
            _(
                "{name} has at most about {most:g} mol/L, not {mol_l:g}: read the label again",
                name=say(one.name),
                most=most,
                mol_l=mol_l,
            )
        )
    return Form(
        _("your {trade} {mol_l:g} mol/L", trade=say(one.trade[0]), mol_l=mol_l),
        None,
        None,
        mol_l * molar_mass(one.formula) / 1000.0,
    )


def _by_mass(one: Neutraliser, percent: float, density: float | None) -> Form:
    most = one.strongest[0]
    if percent > most and (density is not None or one.formula == "HCl"):
        raise WrongQuantity(
            _(
                "{name} in water has at most about {most:g} %, not {percent:g}: read the label again",
                name=say(one.name),
                most=most,
                percent=percent,
            )
        )
    if density is None:
        return Form(_("your {trade} {percent:g} %", trade=say(one.trade[0]), percent=percent), percent)
    usual = 1.0 + one.swells * percent
    if abs(density - usual) > NEAR:
        weighs = _(
            "{percent:g} % of {name} in water weighs about {usual:.2f} g/mL",
            percent=percent,
            name=say(one.name),
            usual=usual,
        )
        raise WrongQuantity(_("{weighs}, not {density:g}: check both on the label", weighs=weighs, density=density))
    return Form(
        _("your {trade} {percent:g} %, {density:g} g/mL", trade=say(one.trade[0]), percent=percent, density=density),
        percent,
        density,
    )
