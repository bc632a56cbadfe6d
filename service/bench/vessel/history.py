"""The stock vessel's history: each pouring, and each reading of it, held against what was in it; what was done."""

from __future__ import annotations

from collections.abc import Sequence

from service.bench.notes import MadeSafe, Note, Pouring, VesselReading, contents
from service.bench.vessel.contents import EMPTY, Poured, contents_of, together
from service.bench.vessel.hazards import OpenDanger, PouringStopped, stops, stops_between
from service.bench.vessel.read_alkaline import vessel_danger
from service.bench.vessel.substances import UnknownContents
from stripread.errors import CallError


def refuse_danger(held: Sequence[Note], pouring: Pouring) -> None:
    """Stop a pouring before it is written; one that was made already, ``despite`` a stop, is let through.

    Parameters
    ----------
    held
        Pourings and readings of the vessel since it was handed over, in order.

    Raises
    ------
    PouringStopped
        For a dangerous pair.
    CallError
        Asking about a word in the contents that nobody knows.
    """
    try:
        found = stops(vessel_of(list(held)), poured_of(pouring))
    except UnknownContents as question:
        raise CallError(str(question)) from None
    if found and not pouring.despite:
        raise PouringStopped(found)


def open_dangers(held: Sequence[Note]) -> tuple[OpenDanger, ...]:
    """Every danger in the vessel's history that nobody has said was dealt with, by pouring all of it again in order."""
    closed = {safe.note for safe in contents(list(held), MadeSafe)}
    found: list[OpenDanger] = []
    vessel = EMPTY
    for i, note in enumerate(held):
        if isinstance(note.content, Pouring):
            incoming = contents_of([poured_of(note.content)])
            if note.id not in closed:
                dangers = stops_between(vessel, incoming)
                found += [OpenDanger(note.id, stop, note.content.despite) for stop in dangers]
            vessel = together(vessel, incoming)
        elif isinstance(note.content, VesselReading):
            vessel = contents_of(vessel_of(list(held[: i + 1])))
            danger = vessel_danger(note, vessel)
            found += [] if danger is None or note.id in closed else [danger]
    return tuple(found)


def vessel_of(notes: list[Note]) -> list[Poured]:
    """What the stock vessel holds by its notes, in their order; other kinds of notes are passed over.

    The pH read of the stirred vessel takes the place of all that was worked out before.
    """
    held: list[Poured] = []
    for note in notes:
        content = note.content
        if isinstance(content, Pouring):
            held.append(poured_of(content))
        elif isinstance(content, VesselReading):
            litres = sum(p.litres for p in held) if content.litres is None else content.litres
            metals = tuple(dict.fromkeys(m for p in held for m in p.metals))
            others = tuple(dict.fromkeys(n.words for p in held for n in p.substances() if n.words not in metals))
            ammonia = any(p.ammonia for p in held)
            read = Poured("the vessel as read", litres, content.ph, content.interval, None, metals, ammonia, others)
            held = [read]
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
