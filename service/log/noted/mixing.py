"""A note about vessels checked before it is written: the vessels are there, and nothing dangerous meets."""

from __future__ import annotations

from sqlalchemy import Connection

from service.bench.ledger.mixing import poured_of
from service.bench.ledger.play import Played, play
from service.bench.ledger.pouring import Elsewhere
from service.bench.notes import DecantNote, MadeSafe, Note, Pouring, decant_of
from service.bench.notes.content import Content
from service.bench.notes.of_vessels import (
    MAIN,
    STOCK,
    Evaporated,
    Filtered,
    HandedOver,
    Mixture,
    Moved,
    NamedVessel,
    Spilled,
    VesselHolds,
    VesselWeighed,
    same_vessel,
)
from service.bench.vessel.hazards import OpenDanger, PouringStopped, all_stops
from service.log import store
from service.log.models import now
from service.log.noted.links import elsewhere_of, notes_counting
from stripread.errors import CallError
from stripread.words import _

LATEST = 10**12  # the number of a note that is not written yet: it comes after all others
BETWEEN = (Moved, Filtered)  # kinds that mix what is in vessels; decants do where they name one
SOURCES: dict[type[Content], tuple[str, ...]] = dict.fromkeys(
    (Moved, Filtered, DecantNote, Spilled, Pouring, Evaporated, HandedOver, VesselWeighed), ("vessel",)
)
TARGETS: dict[type[Content], tuple[str, ...]] = {
    Moved: ("into",),
    Filtered: ("paper", "into"),
    Spilled: ("mopped",),
    NamedVessel: ("vessel",),
    VesselHolds: ("vessel",),
}


def mixes(content: Content) -> bool:
    """Whether a note brings liquids together in a vessel with a name."""
    return isinstance(content, BETWEEN) or (isinstance(content, DecantNote) and content.into is not None)


def refuse_mixing(c: Connection, batch: int, earlier: list[Note], content: Content, number: int = 0) -> None:
    """Stop a note about vessels that names one that is not there, or that brings together what must not meet.

    ``earlier`` are the batch's notes in force; ``number`` is that of a note that is corrected.

    Raises
    ------
    PouringStopped
        For a dangerous pair, unless it was made already (``despite``).
    CallError
        For a vessel that nobody named or filled, or a word that nobody knows.
    """
    sources, targets = _named(content)
    if not sources and not targets:
        return
    if isinstance(content, Mixture):
        for question in poured_of(content, 1.0, "").questions():
            raise CallError(question)
    if STOCK in map(same_vessel, (*sources, *targets)):
        raise CallError(
            _(
                "the stock vessel has notes of its own: `poured` into it, `mixed` for its reading, `silver_down` for "
                "its silver, `emptied` when it is handed over"
            )
        )
    other = (content.from_batch, content.into_batch) if isinstance(content, Moved) else (None, None)
    _known_batches(c, batch, other)
    source, target = other[0] or batch, other[1] or batch
    note = Note(content, now(), number or LATEST)
    mine = [one for one in earlier if one.id != note.id]
    before = _played(c, source, mine if source == batch else None, None)
    for name in sources:
        known = before.books.holdings
        if before.books.key(name) not in (*known, MAIN):
            names = ", ".join(held.name for key, held in known.items() if not key.startswith("·")) or MAIN
            raise CallError(
                _(
                    "there is no vessel {name!r} in batch {batch}; there are: {names}",
                    name=name,
                    batch=str(source),
                    names=names,
                )
            )
    if not mixes(content) or getattr(content, "despite", None):
        return
    met = _played(c, target, mine if target == batch else None, (batch, note)).meetings
    codes = tuple(code for meeting in met if meeting.note == note.id for code in meeting.codes)
    if codes:
        raise PouringStopped(tuple(all_stops()[code] for code in dict.fromkeys(codes)))


def _named(content: Content) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The vessels that a note takes from, which must be there, and those that it puts into."""
    found = []
    for fields in (SOURCES, TARGETS):
        names = [getattr(content, field) for field in fields.get(type(content), ())]
        found.append(tuple(name for name in names if name))
    return found[0], found[1]


def _known_batches(c: Connection, batch: int, other: tuple[int | None, int | None]) -> None:
    for number in other:
        if number is not None and store.batch(c, number) is None:
            raise CallError(_("there is no batch {batch}", batch=number))
    if other[0] not in (None, batch) and other[1] not in (None, batch):
        raise CallError(_("one of the two vessels is of this batch: write it down in one of the two batches"))


def _played(c: Connection, batch: int, notes: list[Note] | None, more: tuple[int, Note] | None) -> Played:
    """A batch's notes played; ``more`` is a note that is not written yet, with the batch that it is written in."""
    notes = notes_counting(c, batch) if notes is None else notes
    found = elsewhere_of(c, batch, notes)
    if more is not None and more[0] == batch:
        notes = sorted([*notes, more[1]], key=lambda note: note.id)
    elif more is not None:
        found = Elsewhere((*found.notes, more), found.brought, found.emptied)
    return play(notes, batch, found, decant_of)


def vessel_dangers(c: Connection, batch: int, notes: list[Note]) -> tuple[OpenDanger, ...]:
    """Dangers in the batch's named vessels that notes made and nobody has dealt with; ``notes`` are those in force."""
    found = elsewhere_of(c, batch, notes)
    if not found.notes and not any(mixes(note.content) for note in notes):
        return ()
    safe = {note.content.note for note in notes if isinstance(note.content, MadeSafe)}
    met = play(notes, batch, found, decant_of).meetings
    return tuple(
        OpenDanger(one.note, all_stops()[code], one.despite)
        for one in met
        if one.note not in safe
        for code in one.codes
    )
