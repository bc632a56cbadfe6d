"""Pourings that must be stopped before they are made: which pair is dangerous, in words, and what to do instead.

What may be so counts as so: a vessel whose pH nobody read may be acid and may be alkaline.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from service.bench.chemistry.reagents import NEUTRALISING_KJ_MOL, temperature_rise
from service.bench.vessel.contents import EMPTY, Contents, Poured, contents_of, together
from service.bench.vessel.substances import Kind, UnknownContents
from stripread.errors import CallError
from stripread.words import _, say

TOO_HOT_K = 20.0  # a rise at once from which it spatters where it is poured; common practice, no source
CHARS = 3.0  # mol/L of acid from which sugar heats and chars in it; from memory, not looked up


@dataclass(frozen=True)
class Stop:
    """One danger: its code, what happens, what to do instead, the source of both."""

    code: str
    happens: str
    instead: str
    source: str

    @property
    def sentence(self) -> str:
        """Both in words, on one line."""
        happens, instead = say(self.happens), say(self.instead)
        return f"{happens[0].upper()}{happens[1:]}. {instead}."


class PouringStopped(CallError):  # noqa: N818 - a stop, not a fault of the call
    """A pouring that makes a dangerous pair: nothing was written. ``code`` is of the first of its ``stops``."""

    def __init__(self, stops: tuple[Stop, ...]) -> None:
        super().__init__(
            _("STOP, nothing was written: ")
            + " ".join(stop.sentence for stop in stops)
            + _(
                " If it is done already, say so: the note's `despite` takes what happened, and the danger "
                "stays shown until somebody writes down what was done about it."
            )
        )
        self.stops = stops
        self.code = f"danger_{stops[0].code}"


@dataclass(frozen=True)
class OpenDanger:
    """A danger that nobody has dealt with: the number of the note that made or showed it, the danger, what was said.

    ``seen`` is the reading that showed it, in a sentence; empty where a pouring made it.
    """

    note: int
    stop: Stop
    despite: str | None
    seen: str = ""

    @property
    def sentence(self) -> str:
        """In words, with the way to close it."""
        said = _(" It was said: {despite}.", despite=self.despite) if self.despite else ""
        seen = f"{self.seen} " if self.seen else ""
        return _(
            "Danger from note {note}: {seen}{sentence}{said} Write down what was done about it "
            "(made_safe, note {note}).",
            note=self.note,
            seen=seen,
            sentence=self.stop.sentence,
            said=said,
        )


READ_ALKALINE = "silver_ammonia_read"  # the one danger that no pouring makes, but a reading shows


@cache
def all_stops() -> Mapping[str, Stop]:
    """Every danger by its code."""
    text = (files("service.bench") / "data" / "hazards.toml").read_text(encoding="utf-8")
    return {code: Stop(code, **entry) for code, entry in tomllib.loads(text).items()}


@dataclass(frozen=True)
class _Meeting:
    """A vessel as it stands, what comes in, and both together."""

    vessel: Contents
    incoming: Contents
    both: Contents

    def meets(self, one: Kind, *others: Kind) -> bool:
        """Whether ``one`` and any of ``others`` come together, at least one of them by what comes in."""
        return any(
            (one in self.incoming.kinds and other in self.both.kinds)
            or (other in self.incoming.kinds and one in self.both.kinds)
            for other in others
        )

    def meets_acid(self, one: Kind) -> bool:
        """Whether ``one`` meets what may be acid."""
        return (one in self.incoming.kinds and (self.vessel.may_be_acid or self.incoming.may_be_acid)) or (
            one in self.vessel.kinds and self.incoming.may_be_acid
        )

    def meets_lye(self, one: Kind) -> bool:
        """Whether ``one`` meets what may be alkaline."""
        return (one in self.incoming.kinds and (self.vessel.may_be_alkaline or self.incoming.may_be_alkaline)) or (
            one in self.vessel.kinds and self.incoming.may_be_alkaline
        )


def _silver_ammonia(m: _Meeting) -> bool:
    if not m.both.has(Kind.SILVER, Kind.AMMONIA):
        return False
    if Kind.SUGAR in m.both.kinds and m.incoming.kinds & {Kind.SILVER, Kind.AMMONIA, Kind.SUGAR}:
        return True
    if m.vessel.has(Kind.SILVER, Kind.AMMONIA) and m.incoming.may_be_alkaline:
        return True  # however acid it stays as a whole, it is not where the lye goes in
    comes = bool(m.incoming.kinds & {Kind.SILVER, Kind.AMMONIA}) or m.incoming.may_be_alkaline
    return comes and m.both.side != "acid" and m.both.may_be_alkaline


def _needs_lye(one: Kind) -> Callable[[_Meeting], bool]:
    """Of a substance that is only safe where it is alkaline for certain."""

    def rule(m: _Meeting) -> bool:
        comes = one in m.incoming.kinds and bool(m.vessel.litres) and m.both.side != "lye"
        return comes or m.meets_acid(one) or (one in m.vessel.kinds and m.both.side != "lye")

    return rule


def _acid_sugar(m: _Meeting) -> bool:
    strong = [c for c in (m.vessel, m.incoming) if c.litres and c.base.most[0] / c.litres >= CHARS]
    sugar = Kind.SUGAR in m.incoming.kinds or (Kind.SUGAR in m.vessel.kinds and m.incoming in strong)
    return sugar and bool(strong)


def rise_k(vessel: Contents, incoming: Contents) -> float:
    """Kelvin that acid and lye of the two warm them by, all at once, if each holds the most that it may."""
    litres = vessel.litres + incoming.litres
    if not litres:
        return 0.0
    mol = max(
        min(vessel.base.most[0], incoming.base.most[1]),
        min(vessel.base.most[1], incoming.base.most[0]),
    )
    return temperature_rise(mol * NEUTRALISING_KJ_MOL[1], litres * 1000.0)


RULES: tuple[tuple[str, Callable[[_Meeting], bool]], ...] = (
    ("silver_ammonia", _silver_ammonia),
    ("cyanide_acid", _needs_lye(Kind.CYANIDE)),
    ("sulfide_acid", _needs_lye(Kind.SULFIDE)),
    ("azide", lambda m: m.meets(Kind.AZIDE, Kind.SILVER, Kind.COPPER, Kind.METAL) or m.meets_acid(Kind.AZIDE)),
    ("bleach_acid", lambda m: m.meets_acid(Kind.BLEACH)),
    ("bleach_ammonia", lambda m: m.meets(Kind.BLEACH, Kind.AMMONIA)),
    ("nitrate_organic", lambda m: m.meets(Kind.NITRATE, Kind.SUGAR, Kind.SOLVENT)),
    ("nitrate_powder", lambda m: m.meets(Kind.NITRATE, Kind.POWDER)),
    (
        "oxidiser_organic",
        lambda m: (
            m.meets(Kind.OXIDISER, Kind.SUGAR, Kind.SOLVENT, Kind.AMMONIA, Kind.POWDER) or m.meets_acid(Kind.OXIDISER)
        ),
    ),
    ("peroxide", lambda m: m.meets(Kind.PEROXIDE, Kind.SOLVENT, Kind.POWDER, Kind.SILVER, Kind.SUGAR, Kind.BLEACH)),
    ("sulfite_acid", lambda m: m.meets_acid(Kind.SULFITE)),
    ("acid_sugar", _acid_sugar),
    ("acid_powder", lambda m: m.meets_acid(Kind.ACTIVE_POWDER)),
    ("lye_powder", lambda m: m.meets_lye(Kind.AMPHOTERIC_POWDER)),
    ("acid_lye_undiluted", lambda m: rise_k(m.vessel, m.incoming) > TOO_HOT_K),
)


def stops(held: list[Poured], incoming: Poured) -> tuple[Stop, ...]:
    """Every danger of pouring ``incoming`` to what is ``held``; empty where none is known.

    Raises
    ------
    UnknownContents
        For a word in ``incoming`` that nobody knows: asked about, never passed.
    """
    return stops_into(contents_of(held), incoming)


def stops_into(vessel: Contents, incoming: Poured) -> tuple[Stop, ...]:
    """The same for a vessel that was added up already."""
    questions = incoming.questions()
    if questions:
        raise UnknownContents(questions[0])
    return stops_between(vessel, contents_of([incoming]))


def stops_between(vessel: Contents, incoming: Contents) -> tuple[Stop, ...]:
    """Every danger of the one in the other."""
    meeting = _Meeting(vessel, incoming, together(vessel, incoming))
    known = all_stops()
    return tuple(known[code] for code, rule in RULES if rule(meeting))


def stops_within(held: list[Poured]) -> tuple[Stop, ...]:
    """Every danger that a vessel holds already, by pouring it together again in its order."""
    vessel, found = EMPTY, dict[str, Stop]()
    for one in held:
        incoming = contents_of([one])
        found |= {stop.code: stop for stop in stops_between(vessel, incoming)}
        vessel = together(vessel, incoming)
    return tuple(found.values())
