"""A batch as its report records it: what the report shows, and nothing it would have to look up or work out."""

from __future__ import annotations

from dataclasses import dataclass

from service.bench.notes import (
    AmmoniaTest,
    Content,
    DecantNote,
    Note,
    Pouring,
    ReagentUsed,
    Weight,
    withdrawals,
)
from service.bench.procedure import NEUTRAL
from service.bench.readings import AnyLogged, LoggedCells, LoggedPh, LoggedSolid, LoggedTint
from service.bench.state import State
from service.bench.washing.phases import WashForecast


@dataclass(frozen=True)
class RecordedReading:
    """One reading of the log, with what the log holds beside it; ``thumbnail`` is a small JPEG, or None."""

    id: int
    at: str
    reading: AnyLogged
    wash: int | None
    note: str = ""
    thumbnail: bytes | None = None
    corrects: int | None = None
    corrected_by: int | None = None
    why: str | None = None
    who: str | None = None
    withdrawn: bool = False
    asked: bool = False  # it waits for an answer before it counts
    blank: bool = False  # of the rinse water itself

    @property
    def kind(self) -> str:
        """ph, tint, solid or cells."""
        return self.reading.kind

    @property
    def text(self) -> str:
        """Value with its interval, as a person writes it."""
        found = self.reading
        if found.refused:
            return "refused"
        if isinstance(found, LoggedTint):
            return _tint(found)
        if isinstance(found, LoggedPh) and found.ph is not None and found.interval is not None:
            return f"pH {found.ph:.2f} ({found.interval[0]:.2f} to {found.interval[1]:.2f})"
        if isinstance(found, LoggedSolid) and found.pale_fraction is not None and found.pale_interval is not None:
            low, high = found.pale_interval
            return f"{found.pale_fraction:.1%} pale ({low:.1%} to {high:.1%})"
        if isinstance(found, LoggedCells):
            return "swapped vials" if found.matching == "swapped" else "cell blank"
        return "no value"

    @property
    def source(self) -> str:
        """Photo and profile, shortened hashes."""
        profile = str(getattr(self.reading, "profile", "") or "")  # a tint may have one, told beside its own fields
        return f"photo {self.reading.sha256[:12]}" + (f", profile {profile[:24]}" if profile else "")

    @property
    def reasons(self) -> tuple[str, ...]:
        """Why it is doubtful or refused, in words. Notes and cautions, the same with each photo, are left out."""
        waits = ("Asked about and not answered: it does not count.",) if self.asked else ()
        return (*waits, *(reason.message for reason in self.reading.reasons if reason.severity != "note"))


def _tint(found: LoggedTint) -> str:
    text = found.decision or "undecided"
    if found.decision == "copper" and found.mg_per_l is not None and found.interval is not None:
        text += f", {found.mg_per_l:.0f} mg/L ({found.interval[0]:.0f} to {found.interval[1]:.0f})"
    elif found.detection_limit is not None:
        text += f", limit {found.detection_limit:.2g} mg/L"
    return text


LOST_NOTE = "This note's row is damaged and can't be read: strike it and write down again what it said."


@dataclass(frozen=True)
class BatchRecord:
    """The batch. ``forecasts`` has one wash forecast for each washing; ``band`` is the pH called neutral."""

    number: int
    name: str
    opened_at: str
    closed_at: str | None
    software: str
    state: State
    readings: tuple[RecordedReading, ...]
    notes: tuple[Note, ...]
    water: str
    forecasts: tuple[WashForecast, ...] = ()
    band: tuple[float, float] = NEUTRAL
    chain: tuple[int, str] | None = None  # number and hash of the log's newest link when this was taken from it
    lost_notes: tuple[tuple[int, str], ...] = ()  # number and time of notes that can't be read and nobody has struck

    @property
    def chain_line(self) -> str:
        """The head of the log's chain, in groups that a person can type; paper that shows it proves the log."""
        if self.chain is None:
            return "This log has no chain yet."
        number, link = self.chain
        groups = " ".join(link[place : place + 8] for place in range(0, len(link), 8))
        return (
            f'Head of the log\'s chain: link {number}, {groups}. To compare: stripread log check --head "{groups[:26]}"'
        )

    @property
    def in_force(self) -> tuple[RecordedReading, ...]:
        """Readings that count: no later one corrects them, and they were not withdrawn, nor wait for an answer."""
        return tuple(r for r in self.readings if r.corrected_by is None and not r.withdrawn and not r.asked)

    @property
    def corrections(self) -> tuple[RecordedReading, ...]:
        """Readings that correct an older one."""
        return tuple(r for r in self.readings if r.corrects is not None)

    def notes_of(self, *kinds: str) -> tuple[tuple[Note, str], ...]:
        """Notes of these kinds, each with why it was withdrawn (or nothing)."""
        out = withdrawals(list(self.notes))
        return tuple((n, out[n.id].why if n.id in out else "") for n in self.notes if n.kind in kinds)


def note_text(note: Note) -> str:
    """A note in words, for lists."""
    waits = "" if note.asked is None else " (asked about and not answered: it does not count)"
    return _words(note.content) + waits


def _words(d: Content) -> str:
    if isinstance(d, Weight):
        return _weight(d)
    if isinstance(d, DecantNote):
        return _decant(d)
    if isinstance(d, ReagentUsed):
        size = f"{d.grams:g} g" if d.grams is not None else f"{d.litres:g} L" if d.litres is not None else "some"
        return f"{d.what}: {size}"
    if isinstance(d, AmmoniaTest):
        return f"{d.ml:g} mL of {d.mol_l:g} mol/L ammonia, on {'solid' if d.on_solid else 'clear liquid'}"
    if isinstance(d, Pouring):
        ph = "" if d.ph is None else f", pH {d.ph:g}"
        return f"{d.what}: {d.litres:g} L{ph}"
    return ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in d.fields().items())


def _weight(d: Weight) -> str:
    scale = "" if d.scale_g is None else f" ± {d.scale_g:g}"
    more = "" if d.moisture is None else f", {d.moisture[0]:.0%} to {d.moisture[1]:.0%} moisture"
    more += "" if d.fineness is None else f", fineness {d.fineness[0]:g} to {d.fineness[1]:g}"
    return f"{d.of}: {d.grams:g}{scale} g{more}"


def _decant(d: DecantNote) -> str:
    settled = "" if d.settled_h is None else f", settled {d.settled_h:g} h"
    looks = "" if d.looks is None else f", {d.looks}"
    return f"{d.name}: {d.litres:g} L{settled}{looks}"
