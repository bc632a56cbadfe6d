"""A batch as its report records it: what the report shows, and nothing it would have to look up or work out."""

from __future__ import annotations

import re
from dataclasses import dataclass

from service.bench.ledger.ledger import Ledger
from service.bench.note_forms import as_asked
from service.bench.notes import (
    AmmoniaTest,
    BarNote,
    DecantNote,
    MeltNote,
    MetalCheck,
    NamedTest,
    Note,
    Pouring,
    ReagentUsed,
    VialsAcidified,
    Weight,
    withdrawals,
)
from service.bench.notes.content import Content
from service.bench.notes.of_vessels import MOVES
from service.bench.readings import AnyLogged, LoggedCells, LoggedPh, LoggedSolid, LoggedTint
from service.bench.stages.gate_kinds import NEUTRAL
from service.bench.state import State
from service.bench.washing.phases import WashForecast
from service.moments import spoken
from stripread.states.table import state
from stripread.words import N_, _, number, say
from stripread.words.retold import retold

OFFSET = re.compile(r"UTC([+-]\d\d:\d\d)")  # as ``service.moments.zone_words`` says them


@dataclass(frozen=True)
class RecordedReading:
    """One reading of the log, with what the log holds beside it; ``thumbnail`` is a small JPEG, or None.

    ``at`` is when its photo was taken, ``logged_at`` when it came into the log, ``told`` says who told the first.
    """

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
    told: str = ""
    logged_at: str = ""

    @property
    def kind(self) -> str:
        """ph, tint, solid or cells."""
        return self.reading.kind

    @property
    def text(self) -> str:
        """Value with its interval, as a person writes it."""
        found = self.reading
        if found.refused:
            return state("reading", found.status).word
        if isinstance(found, LoggedTint):
            return _tint(found)
        if isinstance(found, LoggedPh) and found.ph is not None and found.interval is not None:
            low, high = found.interval
            return _("pH {ph:.2f} ({low:.2f} to {high:.2f})", ph=found.ph, low=low, high=high)
        if isinstance(found, LoggedSolid) and found.pale_fraction is not None and found.pale_interval is not None:
            low, high = found.pale_interval
            return _("{share:.1%} pale ({low:.1%} to {high:.1%})", share=found.pale_fraction, low=low, high=high)
        if isinstance(found, LoggedCells):
            return _("swapped vials") if found.matching == "swapped" else _("cell blank")
        return _("no value")

    @property
    def source(self) -> str:
        """Photo and profile, shortened hashes."""
        profile = str(getattr(self.reading, "profile", "") or "")  # a tint may have one, told beside its own fields
        photo = _("photo {sha256}", sha256=self.reading.sha256[:12])
        return f"{photo}, {_('profile')} {profile[:24]}" if profile else photo

    @property
    def reasons(self) -> tuple[str, ...]:
        """Why it is doubtful or refused, in words. Notes and cautions, the same with each photo, are left out."""
        waits = (_("Asked about and not answered: it does not count."),) if self.asked else ()
        return (*waits, *(retold(reason.message) for reason in self.reading.reasons if reason.severity != "note"))


def _tint(found: LoggedTint) -> str:
    text = say(found.decision or "undecided")
    if found.decision == "copper" and found.mg_per_l is not None and found.interval is not None:
        low, high = found.interval
        text += _(", {amount:.0f} mg/L ({low:.0f} to {high:.0f})", amount=found.mg_per_l, low=low, high=high)
    elif found.detection_limit is not None:
        text += _(", limit {limit:.2g} mg/L", limit=found.detection_limit)
    return text


LOST_NOTE = N_("This note's row is damaged and can't be read: strike it and write down again what it said.")


@dataclass(frozen=True)
class BatchRecord:
    """The batch. ``forecasts`` has one wash forecast for each washing; ``band`` is the pH called neutral.

    All times are ISO 8601 with the offset of the batch's zone, which ``zone`` names with its offsets.
    """

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
    zone: str = "UTC"
    ledger: Ledger | None = None  # where its silver is, vessel by vessel; None where it has none

    @property
    def chain_line(self) -> str:
        """The head of the log's chain, in groups that a person can type; paper that shows it proves the log."""
        if self.chain is None:
            return _("This log has no chain yet.")
        number_of, link = self.chain
        groups = " ".join(link[place : place + 8] for place in range(0, len(link), 8))
        return _(
            'Head of the log\'s chain: link {link}, {groups}. To compare: stripread log check --head "{start}"',
            link=str(number_of),
            groups=groups,
            start=groups[:26],
        )

    @property
    def zone_line(self) -> str:
        """Where its times are those of."""
        return _("All times are those of {zone}.", zone=self.zone)

    def when(self, text: str) -> str:
        """An ISO time as a person reads it; its offset stands with it only where it is not that of all others."""
        offsets = OFFSET.findall(self.zone) or ["+00:00"]
        shown = spoken(text)
        return shown.removesuffix(f" {offsets[0]}") if len(offsets) == 1 else shown

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
    waits = "" if note.asked is None else _(" (asked about and not answered: it does not count)")
    return note_said(note) + waits


def note_said(note: Note, *, by: bool = True) -> str:
    """What a note says, with who wrote it unless that stands elsewhere (``by``)."""
    who = note.who or getattr(note.content, "who", None)
    return _words(note.content) + (_(", by {who}", who=who) if who and by else "")


def _words(d: Content) -> str:  # noqa: PLR0911 - a kind a line
    if isinstance(d, Weight):
        return _weight(d)
    if isinstance(d, DecantNote):
        return _decant(d)
    if isinstance(d, ReagentUsed):
        size = _("some") if d.litres is None else f"{number(d.litres, 'g')} L"
        return f"{d.what}: {size if d.grams is None else number(d.grams, 'g') + ' g'}"
    if isinstance(d, AmmoniaTest):
        used = _("{ml:g} mL of {mol_l:g} mol/L ammonia", ml=d.ml, mol_l=d.mol_l)
        return f"{used}, {_('on solid') if d.on_solid else _('on clear liquid')}"
    if isinstance(d, (MetalCheck, NamedTest, MeltNote, BarNote, VialsAcidified, *MOVES)):
        return as_asked(d)
    if isinstance(d, Pouring):
        ph = "" if d.ph is None else f", pH {number(d.ph, 'g')}"
        return f"{d.what}: {number(d.litres, 'g')} L{ph}"
    if d.label is not None:
        return as_asked(d)
    return ", ".join(f"{say(name.replace('_', ' '))} {_plain(value)}" for name, value in d.fields().items())


def _plain(value: object) -> str:
    return number(value, "") if isinstance(value, float) else str(value)


def _weight(d: Weight) -> str:
    scale = "" if d.scale_g is None else f" ± {number(d.scale_g, 'g')}"
    more = ""
    if d.moisture is not None:
        more += _(", {low:.0%} to {high:.0%} moisture", low=d.moisture[0], high=d.moisture[1])
    if d.fineness is not None:
        more += _(", fineness {low:g} to {high:g}", low=d.fineness[0], high=d.fineness[1])
    return f"{say(d.of)}: {number(d.grams, 'g')}{scale} g{more}"


def _decant(d: DecantNote) -> str:
    settled = "" if d.settled_h is None else _(", settled {hours:g} h", hours=d.settled_h)
    looks = "" if d.looks is None else f", {say(d.looks)}"
    out = "" if d.vessel is None else _(", out of {vessel}", vessel=d.vessel)
    into = "" if d.into is None else _(", into {vessel}", vessel=d.into)
    return f"{d.name}: {number(d.litres, 'g')} L{out}{into}{settled}{looks}"
