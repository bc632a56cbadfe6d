"""Silver with ammonia that a pH reading, made later, shows to be alkaline: a danger that no pouring announced.

The stock vessel's own pH (``mixed``) is tied to it. Photos are tied to a batch and not to a vessel: there a reading
counts where the batch's notes put ammonia to its silver and too few washes went off since.
"""

from __future__ import annotations

from collections.abc import Sequence

from service.bench.notes import AmmoniaTest, DecantNote, MadeSafe, Note, ReagentUsed, VesselReading
from service.bench.notes.content import Content
from service.bench.readings import LoggedPh, Observation
from service.bench.vessel.contents import Contents
from service.bench.vessel.hazards import READ_ALKALINE, OpenDanger, all_stops
from service.bench.vessel.substances import Kind, mentioned
from stripread.words import _

# From pH 8 on, 0.1 mol/L of ammonia holds silver beside its chloride (1.62 mg/L against 1.55 without, 5.1 at pH 9):
# tests/data/vessel.csv (PHREEQC). A value is taken for alkaline half a pH sooner: strips are no better.
MAY_BE, IS = 8.0, 7.5
WASHED_OUT = 3  # decants after which ammonia counts as gone from a batch; common practice, no source


def alkaline(ph: float, interval: tuple[float, float] | None) -> bool:
    """Whether a liquid with this reading may be alkaline enough for ammonia to hold silver."""
    return ph > IS or (interval or (ph - 0.5, ph + 0.5))[1] > MAY_BE


def vessel_danger(note: Note, vessel: Contents) -> OpenDanger | None:
    """The danger that a reading of the stirred stock vessel shows, None where it shows none."""
    read = note.content
    if not isinstance(read, VesselReading) or not vessel.has(Kind.SILVER, Kind.AMMONIA):
        return None
    if not alkaline(read.ph, read.interval):
        return None
    return OpenDanger(note.id, all_stops()[READ_ALKALINE], None, seen_alkaline(read.ph))


def seen_alkaline(ph: float) -> str:
    """What the stock vessel was read at, in words."""
    return _("The stock vessel was read at pH {ph:g}.", ph=ph)


def brings_ammonia(content: Content) -> bool:
    """Whether a note puts ammonia to the batch's own silver."""
    if isinstance(content, AmmoniaTest):
        return content.on_solid
    return isinstance(content, ReagentUsed) and any(Kind.AMMONIA in n.kinds for n in mentioned(content.what))


def batch_dangers(notes: Sequence[Note], observations: Sequence[Observation]) -> tuple[OpenDanger, ...]:
    """Dangers that the batch's own pH readings show, each at the note that brought the ammonia.

    ``notes`` are those in force, in their order; ``observations`` the readings in force. One that was dealt with opens
    again by a reading of a later time.
    """
    found = []
    for place, note in enumerate(notes):
        if not brings_ammonia(note.content):
            continue
        later = notes[place + 1 :]
        since = max([n.at for n in later if isinstance(n.content, MadeSafe) and n.content.note == note.id], default="")
        washed = [n.at for n in later if isinstance(n.content, DecantNote)][WASHED_OUT - 1 : WASHED_OUT]
        for seen in observations:
            reading = seen.reading
            if seen.blank or not isinstance(reading, LoggedPh) or reading.ph is None:
                continue
            if not max(note.at, since) < seen.at or (washed and seen.at > washed[0]):
                continue
            if alkaline(reading.ph, reading.interval):
                what = _(
                    "Entry {entry} reads pH {ph:.1f}, and ammonia went to the silver before.",
                    entry=seen.entry,
                    ph=reading.ph,
                )
                found.append(OpenDanger(note.id, all_stops()[READ_ALKALINE], None, what))
                break
    return tuple(found)
