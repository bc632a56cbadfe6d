"""What takes acid or lye out of a vessel: amounts as people own them, the pH it ends at, what becomes of the metals."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from service.bench.chemistry.reagents import Span, molar_mass
from stripread.words import _


@dataclass(frozen=True)
class Form:
    """How a substance is sold: percent by mass; density in g/mL for a liquid, None for what is weighed.

    ``g_per_ml`` instead, g of the pure substance in a mL, where a bottle says mol/L.
    """

    name: str
    percent: float | None
    density: float | None = None
    g_per_ml: float | None = None


@dataclass(frozen=True)
class Bought:
    """How much of a form: (low, value, high) in ``unit``, g or mL."""

    form: str
    amount: Span
    unit: str


@dataclass(frozen=True)
class Neutraliser:
    """One neutraliser as its table has it: see ``data/neutralisers.toml``.

    ``strongest``: percent by mass and mol/L of the strongest liquid; ``swells``: g/mL that a percent adds to water's 1.
    """

    name: str
    trade: tuple[str, ...]
    word: str
    formula: str
    takes: float
    side: str
    end_ph: tuple[float, float]
    forms: tuple[Form, ...]
    metals: Mapping[str, str]
    cautions: tuple[str, ...]
    source: str
    strongest: tuple[float, float]
    swells: float
    gas: bool = False

    def grams(self, mol: Span) -> Span:
        """Pure substance for so many mol of acid or lye, g.

        Washing soda takes twice its moles where the gas leaves, once where it stays: its high end is doubled.
        """
        factor = molar_mass(self.formula) / self.takes
        high = 2.0 if self.formula == "Na2CO3" else 1.0
        return mol[0] * factor, mol[1] * factor, mol[2] * factor * high

    def bought(self, grams: Span) -> tuple[Bought, ...]:
        """The same as each form that is sold."""
        return tuple(as_bought(grams, form) for form in self.forms)


def as_bought(grams: Span, form: Form) -> Bought:
    """Grams of pure substance as the mass or volume of what is in the bottle.

    Raises
    ------
    ValueError
        For a percentage or density that can't be.
    """
    if form.g_per_ml is not None:
        return Bought(form.name, (grams[0] / form.g_per_ml, grams[1] / form.g_per_ml, grams[2] / form.g_per_ml), "mL")
    dense = form.density is None or 0.5 <= form.density <= 3.0
    if form.percent is None or not 0.0 < form.percent <= 100.0 or not dense:
        raise ValueError(
            _("{name}: the percentage lies between 0 and 100, the density between 0.5 and 3 g/mL", name=form.name)
        )
    factor = 100.0 / form.percent / (form.density or 1.0)
    amount = grams[0] * factor, grams[1] * factor, grams[2] * factor
    return Bought(form.name, amount, "g" if form.density is None else "mL")


@cache
def neutralisers() -> Mapping[str, Neutraliser]:
    """All of them by name."""
    return _read("neutralisers.toml")


@cache
def acids() -> Mapping[str, Neutraliser]:
    """The acids that dissolve metal, by name: hydrochloric acid and those that no vessel is neutralised with."""
    own = {name: one for name, one in neutralisers().items() if one.formula == "HCl"}
    return {**own, **_read("acids.toml")}


def _read(name: str) -> Mapping[str, Neutraliser]:
    text = (files("service.bench") / "data" / name).read_text(encoding="utf-8")
    found = {}
    for entry in tomllib.loads(text)["neutraliser"]:
        found[entry["name"]] = Neutraliser(
            name=entry["name"],
            trade=tuple(entry["trade"]),
            word=entry["word"],
            formula=entry["formula"],
            takes=entry["takes"],
            side=entry["side"],
            end_ph=(entry["end_ph"][0], entry["end_ph"][1]),
            forms=tuple(Form(**form) for form in entry["forms"]),
            metals=entry["metals"],
            cautions=tuple(entry["cautions"]),
            source=entry["source"],
            strongest=(entry["strongest"][0], entry["strongest"][1]),
            swells=entry["swells"],
            gas=entry.get("gas", False),
        )
    return found
