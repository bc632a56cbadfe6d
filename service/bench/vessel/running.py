"""The stock vessel note by note: what is in it after each, and which dangers are open, as a sum that goes on.

What is in it is all that a next note needs, so the sum may be kept (``to_json``) and taken up again. Words are not kept
in it but for those that a user wrote: sentences are made in the language in which somebody asks.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

from service.bench.chemistry.silver import DROP_SEES
from service.bench.notes import Emptying, MadeSafe, Note, Pouring, VesselReading
from service.bench.notes.of_vessels import SilverDown
from service.bench.vessel.contents import EMPTY, Base, Contents, Poured, contents_of, together
from service.bench.vessel.hazards import OpenDanger, all_stops, stops_between
from service.bench.vessel.read_alkaline import seen_alkaline, vessel_danger
from service.bench.vessel.substances import Kind

AS_READ = "the vessel as read"


@dataclass(frozen=True)
class Made:
    """A danger that nobody has dealt with: its note and that note's batch, its code, what was said, the pH read."""

    note: int
    batch: int
    code: str
    despite: str | None = None
    ph: float | None = None

    def told(self) -> OpenDanger:
        """In words, in the language spoken."""
        seen = "" if self.ph is None else seen_alkaline(self.ph)
        return OpenDanger(self.note, all_stops()[self.code], self.despite, seen)


@dataclass(frozen=True)
class Held:
    """The vessel after some notes.

    ``metals`` and ``words`` name what went in, in its order; ``asking`` are pourings with a question, one of each;
    ``lost`` is the first thing in it of which nobody knows what it was; ``since`` the note by which it was handed over.
    """

    contents: Contents = EMPTY
    metals: tuple[str, ...] = ()
    words: tuple[str, ...] = ()
    ammonia: bool = False
    asking: tuple[Poured, ...] = ()
    dangers: tuple[Made, ...] = ()
    lost: str = ""
    since: int = 0
    empty: bool = True
    down: int = 0  # the note by which its silver was brought down, a drop of salt water staying clear; 0: not yet
    left_mg_l: tuple[float, float] | None = None  # silver left then, by a reading or assay

    @property
    def holds_silver(self) -> bool:
        """Whether it counts as holding silver that can be had back."""
        return Kind.SILVER in self.contents.kinds and not self.down

    def to_json(self) -> dict[str, Any]:
        """As JSON, without a sentence of this program."""
        base = self.contents.base
        return {
            "litres": self.contents.litres,
            "mol": base.mol,
            "ends": sorted(base.ends),
            "unknown": sorted(base.unknown),
            "most": base.most,
            "kinds": sorted(self.contents.kinds),
            "amounts": self.contents.amounts,
            "metals": self.metals,
            "words": self.words,
            "ammonia": self.ammonia,
            "asking": [[one.what, one.metals, one.contents, one.ammonia] for one in self.asking],
            "dangers": [asdict(one) for one in self.dangers],
            "since": self.since,
            "empty": self.empty,
            **({"down": self.down, "left_mg_l": self.left_mg_l} if self.down else {}),
        }


HIDES = frozenset({Kind.SULFITE, Kind.CYANIDE})  # thiosulfate and cyanide hold silver that no chloride takes


def _brought_down(contents: Contents, note: SilverDown) -> bool:
    """Whether a clear drop says that little silver is left.

    Over ammonia, fixer or cyanide it stays clear whatever is left, but for ammonia in acid; there a reading or an assay
    has to say it, and nowhere may one say more than a drop would have shown.
    """
    if note.drop != "clear":
        return False
    if note.left is not None:
        return max(note.left) <= DROP_SEES[2]
    bound = Kind.AMMONIA in contents.kinds and contents.side != "acid"
    return not bound and not HIDES & contents.kinds


def held_from(kept: Mapping[str, Any]) -> Held:
    """What ``to_json`` gave, taken up again."""
    low, mid, high = kept["mol"]
    acid, lye = kept["most"]
    base = Base((low, mid, high), frozenset(kept["ends"]), frozenset(kept["unknown"]), (acid, lye))
    asking = tuple(Poured(what, 0.0, None, None, 0.0, tuple(m), a, tuple(c)) for what, m, c, a in kept["asking"])
    other = contents_of(list(asking)).questions
    contents = together(
        Contents(
            kept["litres"],
            base,
            frozenset(Kind(kind) for kind in kept["kinds"]),
            tuple((Kind(kind), (span[0], span[1], span[2])) for kind, span in kept["amounts"]),
            "",
            other,
        ),
        EMPTY,
    )
    return Held(
        contents,
        tuple(kept["metals"]),
        tuple(kept["words"]),
        kept["ammonia"],
        asking,
        tuple(Made(**one) for one in kept["dangers"]),
        "",
        kept["since"],
        kept["empty"],
        kept.get("down", 0),
        None if kept.get("left_mg_l") is None else (kept["left_mg_l"][0], kept["left_mg_l"][1]),
    )


def go_on(held: Held, notes: Iterable[tuple[int, Note]], lost: Mapping[int, str] | None = None) -> Held:
    """The vessel after further notes that count, as (batch, note) in their order; other kinds are passed over.

    ``lost``: of notes that can't be read, by number, what stands for them.
    """
    notes = list(notes)
    closed = {note.content.note for _, note in notes if isinstance(note.content, MadeSafe)}
    held = replace(held, dangers=tuple(one for one in held.dangers if one.note not in closed))
    for batch, note in notes:
        content = note.content
        if isinstance(content, Emptying):
            held = Held(since=note.id)
        elif isinstance(content, Pouring):
            held = _poured(held, batch, note, content, note.id not in closed)
            held = replace(held, lost=held.lost or (lost or {}).get(note.id, ""))
        elif isinstance(content, VesselReading):
            held = _read(held, batch, note, content, note.id not in closed)
        elif isinstance(content, SilverDown):
            done = _brought_down(held.contents, content)
            held = replace(held, down=note.id if done else 0, left_mg_l=content.left if done else None)
    return held


def poured_of(content: Pouring) -> Poured:
    """What a note says went into the stock vessel."""
    return Poured(
        content.what,
        content.litres,
        content.ph,
        content.interval,
        content.mol,
        content.metals,
        content.ammonia,
        content.contents,
    )


def _poured(held: Held, batch: int, note: Note, content: Pouring, dangerous: bool) -> Held:
    one = poured_of(content)
    incoming = contents_of([one])
    found = stops_between(held.contents, incoming) if dangerous else ()
    return replace(
        held,
        contents=together(held.contents, incoming),
        metals=_named(held.metals, one.metals),
        words=_named(held.words, [n.words for n in one.substances()]),
        ammonia=held.ammonia or one.ammonia,
        asking=_asking(held.asking, one),
        dangers=(*held.dangers, *(Made(note.id, batch, stop.code, content.despite) for stop in found)),
        empty=False,
        # Silver that comes after has to be brought down again; and salt or acid may bring nothing back up.
        down=0 if Kind.SILVER in incoming.kinds or Kind.AMMONIA in incoming.kinds else held.down,
    )


def _read(held: Held, batch: int, note: Note, content: VesselReading, dangerous: bool) -> Held:
    """The pH read of the stirred vessel takes the place of all that was worked out before."""
    litres = held.contents.litres if content.litres is None else content.litres
    others = tuple(word for word in held.words if word not in held.metals)
    one = Poured(AS_READ, litres, content.ph, content.interval, None, held.metals, held.ammonia, others)
    contents = contents_of([one])
    danger = vessel_danger(note, contents) if dangerous else None
    made = () if danger is None else (Made(note.id, batch, danger.stop.code, None, content.ph),)
    return replace(
        held,
        contents=contents,
        metals=one.metals,
        words=_named((), [n.words for n in one.substances()]),
        asking=_asking((), one),
        dangers=held.dangers + made,
        empty=False,
    )


def _named(known: tuple[str, ...], more: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys((*known, *more)))


def _asking(known: tuple[Poured, ...], one: Poured) -> tuple[Poured, ...]:
    """Those with a question, so that each question is asked by one of them."""
    asked = {question for other in known for question in other.questions()}
    return known if asked.issuperset(one.questions()) else (*known, one)
