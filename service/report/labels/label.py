"""One label: a vessel's name, what it holds in words, and the warnings that this asks for."""

from __future__ import annotations

from dataclasses import dataclass

from service.bench.chemistry.reagents import molar_mass
from service.bench.vessel.contents import Contents
from service.bench.vessel.substances import Kind
from service.report.labels.statements import Signal, Statement, foreign, signal_of, statements_of
from stripread.words import N_, _, number, say

COUNTED_AS = {"acid": "HCl", "lye": "NaOH"}
_COUNTED_WORDS = {"acid": N_("acid, as hydrochloric acid"), "lye": N_("lye, as sodium hydroxide")}
KIND_WORDS = {  # what has to be named for its bottle's statements to be copied
    Kind.CYANIDE: N_("cyanide"),
    Kind.SULFIDE: N_("sulfide"),
    Kind.AZIDE: N_("azide"),
    Kind.PEROXIDE: N_("peroxide"),
    Kind.OXIDISER: N_("an oxidiser"),
    Kind.SOLVENT: N_("a solvent"),
    Kind.BLEACH: N_("bleach"),
}
SILVER_AMMONIA = N_(
    "Silver with ammonia: never alkaline, never dry, never kept: it can turn explosive. Acidify it at once to pH 2."
)
HYDROGEN = N_(
    "Gives off hydrogen, which burns and bursts a closed vessel: never close it, no flame, open air or a hood."
)


@dataclass(frozen=True)
class Label:
    """What one label says. ``vessel`` names it for programs: main, decant, stock, papers, metal, else its ledger's key.

    ``key`` is what the ledger keeps it under, for its code; None where its code can only name the batch. ``day`` (ISO
    8601) is the vessel's own, of a bar; empty: the sheet's. ``signal`` is None where nothing is to be warned of, as of
    water.
    """

    vessel: str
    title: str
    holds: tuple[str, ...]
    signal: Signal | None
    statements: tuple[Statement, ...]
    cautions: tuple[str, ...]
    key: str | None = None
    day: str = ""


def label_of(
    vessel: str,
    title: str,
    holds: tuple[str, ...],
    held: Contents,
    *cautions: str,
    key: str | None = None,
    day: str = "",
) -> Label:
    """The label of a vessel with these contents."""
    found = statements_of(held)
    more = list(cautions)
    if held.silver_form == "with ammonia":
        more.insert(0, say(SILVER_AMMONIA))
    if Kind.ACTIVE_POWDER in held.kinds and (held.kinds & {Kind.ACID, Kind.LYE} or held.base.unknown):
        more.insert(0, say(HYDROGEN))
    if others := foreign(held):
        words = ", ".join(say(KIND_WORDS[kind]) for kind in others)
        more.insert(0, _("Holds {words}, too: copy symbols and statements from its bottle.", words=words))
    return Label(vessel, title, holds, signal_of(found, held), found, tuple(more), key, day)


def strength_words(held: Contents) -> str:
    """Acid or lye in a liquid as a percentage (g in 100 mL) with its range; or what has to be read first."""
    base, side = held.base, held.side
    if base.unknown:
        known = base.unknown if len(base.unknown) == 1 else frozenset()
        return (
            _("{side}, how much was not read", side=say(next(iter(known))))
            if known
            else _("acid or lye: read its pH first")
        )
    if side == "neither" or not held.litres:
        return _("near neutral by what was read")
    if side not in COUNTED_AS:
        return _("acid or lye: read its pH first")
    per_mol = molar_mass(COUNTED_AS[side]) / 10.0 / held.litres
    low, mid, high = (_percent(abs(mol) * per_mol) for mol in sorted(base.mol, key=abs))
    more = _(" or more: a strip stood at its end") if base.ends else ""
    if mid == high == low:
        return _("{side} {mid} %{more}", side=say(_COUNTED_WORDS[side]), mid=mid, more=more)
    return _(
        "{side} about {mid} % ({low} to {high} %){more}",
        side=say(_COUNTED_WORDS[side]),
        mid=mid,
        low=low,
        high=high,
        more=more,
    )


def _percent(value: float) -> str:
    """Two figures, without an exponent."""
    if value >= 10.0:
        return number(value, ".0f")
    decimals = 1 if value >= 1.0 else 2 if value >= 0.1 else 3 if value >= 0.01 else 4
    return number(round(value, decimals), f".{decimals}f")
