"""The report of an archive that was read again: what changed, as CSV, as one HTML page, and as a picture in it."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from service.report.state_marks import gate_html
from stripread.json_line import json_line
from stripread.words import _, _n, number, say
from stripread.words import spoken as language

FIRST = 500  # changed entries on the page; the CSV has them all
NAMED = 20  # numbers of entries in one sentence


@dataclass(frozen=True)
class ChangedEntry:
    """An entry whose reading came out otherwise: ``fields`` of (name, as the log has it, as made anew)."""

    entry: int
    batch: int
    kind: str
    wash: int | None
    fields: tuple[tuple[str, Any, Any], ...]


@dataclass(frozen=True)
class ChangedGate:
    """A gate that would now judge otherwise; ``passed``: the batch went on from it since."""

    batch: int
    stage: str
    passed: bool
    was: str
    now: str
    sentence: str


@dataclass(frozen=True)
class ArchiveReport:
    """What reading an archive again came to.

    ``missing``: entries whose photo, profile or what was said beside it is lost. ``other``: how many are of another
    strip than the profile. ``pairs``: pH as the log has it and as made anew, of every reading with both. ``failed``:
    entries that could not be read, each with the reason.
    """

    software: str
    begun_at: str
    profile: str | None
    read: int
    changed: tuple[ChangedEntry, ...]
    gates: tuple[ChangedGate, ...]
    missing: tuple[int, ...]
    other: int
    pairs: tuple[tuple[float, float], ...]
    failed: tuple[tuple[int, str], ...] = ()

    @property
    def statuses(self) -> int:
        """How many entries have another status."""
        return sum(any(name == "status" for name, _was, _now in entry.fields) for entry in self.changed)

    def csv_rows(self) -> list[list[Any]]:
        """A head and one row for each field that changed; gates have rows of their own."""
        rows: list[list[Any]] = [["batch", "entry", "kind", "wash", "what", "was", "now"]]
        for entry in self.changed:
            head = [entry.batch, entry.entry, entry.kind, entry.wash]
            rows += [[*head, name, _cell(was), _cell(now)] for name, was, now in entry.fields]
        rows += [[gate.batch, None, "gate", None, gate.stage, gate.was, gate.now] for gate in self.gates]
        return rows

    def to_dict(self) -> dict[str, Any]:
        """As JSON has it: counts, changes, gates."""
        return {
            "software": self.software,
            "begun_at": self.begun_at,
            "profile": self.profile,
            "read": self.read,
            "same": self.read - len(self.changed),
            "changes": [
                {
                    "entry": entry.entry,
                    "batch": entry.batch,
                    "kind": entry.kind,
                    "was": {name: was for name, was, _now in entry.fields},
                    "now": {name: now for name, _was, now in entry.fields},
                }
                for entry in self.changed
            ],
            "gates": [{**vars(gate)} for gate in self.gates],
            "missing": list(self.missing),
            "other_strips": self.other,
            "failed": [{"entry": entry, "why": why} for entry, why in self.failed],
        }


def lead(report: ArchiveReport) -> str:
    """The report in a few sentences."""
    same = report.read - len(report.changed)
    said = [
        _n(
            "{n} reading was made anew: {same} the same, {changed} otherwise, {statuses} with another status.",
            "{n} readings were made anew: {same} the same, {changed} otherwise, {statuses} with another status.",
            report.read,
            same=same,
            changed=len(report.changed),
            statuses=report.statuses,
        ),
        _n("{n} gate would judge otherwise.", "{n} gates would judge otherwise.", len(report.gates)),
    ]
    if report.missing:
        said.append(
            _n(
                "{n} entry could not be read again: its photo, its profile, or what was said beside it is lost.",
                "{n} entries could not be read again: photo, profile, or what was said beside it is lost.",
                len(report.missing),
            )
        )
    if report.failed:
        numbers = ", ".join(str(entry) for entry, _why in report.failed[:NAMED])
        said.append(
            _n(
                "{n} entry failed ({numbers}): readings.jsonl says why, and the same command tries it again.",
                "{n} entries failed ({numbers}): readings.jsonl says why, and the same command tries them again.",
                len(report.failed),
                numbers=numbers if len(report.failed) <= NAMED else f"{numbers}, …",
            )
        )
    if report.other:
        said.append(
            _n("{n} entry is of another strip.", "{n} entries are of other strips than the profile.", report.other)
        )
    return " ".join(said)


def html_page(report: ArchiveReport, svg: bytes | None, *, kept: bool) -> str:
    """One page that needs nothing beside itself; ``svg``: its plot, ``kept``: what changed was added to the log."""
    from jinja2 import Environment, StrictUndefined  # noqa: PLC0415
    from markupsafe import Markup  # noqa: PLC0415

    environment = Environment(autoescape=True, undefined=StrictUndefined)
    environment.filters.update(gate=gate_html, cell=shown, say=say)
    text = (files("service.report") / "templates" / "archive.html.j2").read_text(encoding="utf-8")
    return environment.from_string(text).render(
        r=report,
        lang=language(),
        w=_heads(),
        lead=lead(report),
        how=_(
            "Made by {software}, asked on {at}; {profile}. {kept}",
            software=report.software,
            at=report.begun_at[:10],
            profile=_("with the profiles of then")
            if report.profile is None
            else _("strips with the profile {digits}", digits=report.profile[:16]),
            kept=_("What changed was added to the log as new entries; the old ones stay.")
            if kept
            else _("Nothing in the log was changed."),
        ),
        caution=_(
            "A gate that was passed stays passed: what was done since was done. Where one would now hold, look at the "
            "batch before its material is used or poured away."
        ),
        plot=None if svg is None else Markup(svg.decode()[svg.decode().index("<svg") :]),
        first=report.changed[:FIRST],
        more=_("{more} more are in the CSV beside this page.", more=len(report.changed) - FIRST)
        if len(report.changed) > FIRST
        else "",
    )


def shown(value: Any) -> str:  # noqa: ANN401 - JSON values
    """A value of a reading for people."""
    if value is None:
        return "-"
    if isinstance(value, float | int) and not isinstance(value, bool):
        return number(value, ".4g")
    if isinstance(value, list | tuple):
        return " ".join(shown(part) for part in value) or "-"
    return say(str(value))


def _cell(value: Any) -> Any:  # noqa: ANN401 - JSON values
    return json_line(value) if isinstance(value, list | tuple | dict) else value


def _heads() -> dict[str, str]:
    return {
        "title": _("The archive read again"),
        "changes": _("What changed"),
        "gates": _("Gates that would judge otherwise"),
        "batch": _("Batch"),
        "entry": _("Entry"),
        "what": _("What"),
        "was": _("Was"),
        "now": _("Now"),
        "stage": _("Stage"),
        "why": _("Why"),
        "passed": _("passed"),
        "none": _("None."),
        "plot": _("Plot: each pH as the log has it against the same photo's pH made anew, and how far apart they are."),
    }
