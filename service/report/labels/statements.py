"""Hazard statements, signal words and symbols of the ordinary public kind: which of them a vessel's contents ask for.

Texts are those of the UN's GHS as the EU has them in its languages (Regulation (EC) No 1272/2008, CLP, Annex III;
tests/data/hazard_statements.csv has each with where it was read). Which go with what: CLP Annex I, 3.2.3.1.2 for the
pH; Annex VI for ammonia, silver and copper compounds; both from memory. What may be in a vessel counts as in it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from service.bench.vessel.contents import Contents, acid_in
from service.bench.vessel.substances import Kind
from stripread.words import N_, say

Signal = Literal["danger", "warning"]
Symbol = Literal["corrosion", "exclamation", "environment"]
SIGNALS: dict[Signal, str] = {"danger": N_("Danger"), "warning": N_("Warning")}
# pH from which a liquid counts as corrosive where nobody has tested it: CLP Annex I, 3.2.3.1.2, from memory; the same
# figures are quoted from a comparison by OSHA at http://kr.ilpi.com/dchas/2017/20170228k.html
CORROSIVE_PH = (2.0, 11.5)
# mol/L of strong acid and of lye that have these pH, by the log's own reckoning.
_ACID = acid_in(1.0, CORROSIVE_PH[0], (CORROSIVE_PH[0],) * 2)[1]
_LYE = -acid_in(1.0, CORROSIVE_PH[1], (CORROSIVE_PH[1],) * 2)[1]
# Kinds whose statements stand on the bottle that they came from; none belongs to the job, so they are not judged here.
FOREIGN = (Kind.CYANIDE, Kind.SULFIDE, Kind.AZIDE, Kind.PEROXIDE, Kind.OXIDISER, Kind.SOLVENT, Kind.BLEACH)


@dataclass(frozen=True)
class Statement:
    """One hazard statement: its code, its text, the signal word and the symbol that go with it."""

    code: str
    text: str
    signal: Signal | None
    symbol: Symbol | None

    @property
    def sentence(self) -> str:
        """Code and text, in the language spoken now."""
        return f"{self.code} {say(self.text)}"


STATEMENTS: dict[str, Statement] = {
    one.code: one
    for one in (
        Statement("H290", N_("May be corrosive to metals."), "warning", "corrosion"),
        Statement("H314", N_("Causes severe skin burns and eye damage."), "danger", "corrosion"),
        Statement("H335", N_("May cause respiratory irritation."), "warning", "exclamation"),
        Statement("H410", N_("Very toxic to aquatic life with long lasting effects."), "warning", "environment"),
        Statement("H400", N_("Very toxic to aquatic life."), "warning", "environment"),
        Statement("EUH031", N_("Contact with acids liberates toxic gas."), None, None),
    )
}


def statements_of(held: Contents) -> tuple[Statement, ...]:
    """The statements that a vessel's contents ask for, in the order of a label; none for water alone."""
    codes = []
    if corrosive(held):
        codes += ["H290", "H314"]
    if Kind.AMMONIA in held.kinds and held.may_be_alkaline:
        codes.append("H335")
    if held.kinds & {Kind.SILVER, Kind.COPPER}:
        codes.append("H410")
    elif held.kinds & {Kind.AMMONIA, Kind.BLEACH}:
        codes.append("H400")  # H410 says it with (CLP Annex I, 4.1, from memory)
    if held.kinds & {Kind.BLEACH, Kind.SULFIDE, Kind.SULFITE}:
        codes.append("EUH031")
    return tuple(STATEMENTS[code] for code in codes)


def corrosive(held: Contents) -> bool:
    """Whether it may be as acid or alkaline as ``CORROSIVE_PH``, by the far end of what is known of it."""
    if not held.litres:
        return False
    if held.base.ends | held.base.unknown:  # a strip at its end, or something that nobody read
        return True
    return held.base.mol[2] / held.litres >= _ACID or -held.base.mol[0] / held.litres >= _LYE


def signal_of(statements: tuple[Statement, ...], held: Contents) -> Signal | None:
    """The stronger of their signal words; "danger" where something is in it that is not judged here."""
    signals = {one.signal for one in statements}
    if "danger" in signals or foreign(held):
        return "danger"
    return "warning" if "warning" in signals else None


def foreign(held: Contents) -> tuple[Kind, ...]:
    """Kinds in the vessel whose statements have to be copied from their bottle."""
    return tuple(kind for kind in FOREIGN if kind in held.kinds)


def symbols_of(statements: tuple[Statement, ...]) -> tuple[Symbol, ...]:
    """The symbols, each once."""
    return tuple(dict.fromkeys(one.symbol for one in statements if one.symbol is not None))
