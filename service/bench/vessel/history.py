"""The stock vessel's history: each pouring, and each reading of it, held against what was in it; what was done."""

from __future__ import annotations

from collections.abc import Sequence

from service.bench.notes import Note, Pouring, VesselReading
from service.bench.vessel.contents import Contents, Poured
from service.bench.vessel.hazards import OpenDanger, PouringStopped, stops_into
from service.bench.vessel.running import AS_READ, Held, go_on, poured_of
from service.bench.vessel.substances import UnknownContents
from stripread.errors import CallError


def refuse_danger(vessel: Contents, pouring: Pouring) -> None:
    """Stop a pouring into the vessel before it is written; one made already, ``despite`` a stop, is let through.

    Raises
    ------
    PouringStopped
        For a dangerous pair.
    CallError
        Asking about a word in the contents that nobody knows.
    """
    try:
        found = stops_into(vessel, poured_of(pouring))
    except UnknownContents as question:
        raise CallError(str(question)) from None
    if found and not pouring.despite:
        raise PouringStopped(found)


def open_dangers(held: Sequence[Note]) -> tuple[OpenDanger, ...]:
    """Every danger in the vessel's history that nobody has said was dealt with, by pouring all of it again in order."""
    return tuple(made.told() for made in go_on(Held(), [(0, note) for note in held]).dangers)


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
            read = Poured(AS_READ, litres, content.ph, content.interval, None, metals, ammonia, others)
            held = [read]
    return held
