"""The report of a batch as a tagged PDF, from the same parts as the HTML page.

Set by Typst, which writes the structure of the page (headings, tables with their heads, what pictures show) beside its
ink, so that a screen reader and a narrow screen can follow it. The template takes every word as a string.
"""

from __future__ import annotations

import json
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import matplotlib as mpl
from typst import Compiler, Fonts

from service.report.batch_record import LOST_NOTE, BatchRecord, RecordedReading, note_text
from service.report.heads import correction_line, entry_number, heads, on_to, photo_of, procedure_line
from service.report.html import (
    CLOSING,
    WRITTEN,
    about_line,
    balance_rows,
    cautions,
    descriptions,
    loss_words,
    pictures,
    span_text,
    stock_line,
    summary,
    vessel_rows,
)
from service.report.losses import like_losses
from service.report.state_marks import gate_cell, word_of
from stripread.words import _, say, spoken
from stripread.words.retold import retold

_TEMPLATE = Path(__file__).parent / "templates" / "report.typ"
_TIGHTER = (1.0, 0.95, 0.9, 0.85)  # tried in turn while the last page would hold a few lines only
_LAST_MM = 16.0 + 0.2 * (297.0 - 36.0)  # the last page's words reach down to here at least: a fifth of its height
Cell = str | dict[str, Any] | None


def pdf_report(batch: BatchRecord, standards: tuple[str, ...] = ()) -> bytes:
    """The batch as a tagged PDF, A4, the same bytes from the same log.

    Parameters
    ----------
    batch
        What to draw.
    standards
        Names of PDF standards that the file must keep, as Typst has them ("ua-1"); ``typst.TypstError`` if it can't.
    """
    drawn = {name: svg for name, svg in pictures(batch).items() if svg is not None}
    thumbs = {f"photo-{r.id}.jpg": r.thumbnail for r in batch.readings if r.thumbnail is not None}
    files = {
        "report.typ": _TEMPLATE.read_bytes(),
        "report.json": json.dumps(_content(batch, set(drawn))).encode(),
        **{f"{name}.svg": svg for name, svg in drawn.items()},
        **thumbs,
    }
    with TemporaryDirectory(prefix="report-") as folder:
        for name, content in files.items():
            (Path(folder) / name).write_bytes(content)
        return _set(Path(folder), list(standards))


def _set(folder: Path, standards: list[Any]) -> bytes:
    # A font with more than Latin-1, shipped with matplotlib: names of batches may be in any European script.
    fonts = Fonts(include_system_fonts=False, font_paths=[Path(mpl.get_data_path()) / "fonts" / "ttf"])
    for tight in _TIGHTER:
        said = {"tight": str(tight)}
        compiler = Compiler(folder / "report.typ", root=folder, font_paths=fonts, sys_inputs=said)
        data = compiler.compile(format="pdf", pdf_standards=standards)
        if float(json.loads(compiler.query("<end>", field="value", one=True))) > _LAST_MM:
            break
    assert isinstance(data, bytes)
    return data


def _content(batch: BatchRecord, drawn: set[str]) -> dict[str, Any]:
    """Every word and table of the report, as the template takes them."""
    described, words = descriptions(batch), heads()
    plots = {name: {"file": f"{name}.svg", "alt": described[name]} if name in drawn else None for name in described}
    return {
        "lang": spoken(),
        "w": words,
        "title": f"{batch.name}: {words['title']}",
        "foot": _("Batch {number}: {name}", number=str(batch.number), name=batch.name)[:70],
        "name": batch.name,
        "about": [about_line(batch), batch.zone_line, batch.chain_line],
        "summary": summary(batch),
        "procedure": procedure_line(say(batch.state.procedure.name), batch.state.procedure.version),
        "stages": _stages(batch),
        "course": {"forecasts": [forecast.message for forecast in batch.forecasts], **plots}
        if drawn & {"ph", "checks"}
        else None,
        "silver": _silver(batch, plots),
        "vessels": None
        if batch.ledger is None
        else {"sentence": batch.ledger.sentence, "rows": [list(row) for row in vessel_rows(batch)]},
        "written": _written(batch),
        "stock": stock_line(batch),
        "readings": [_reading(r, batch.when(r.at)) for r in batch.readings],
        "corrections": [_correction(r, batch.when(r.logged_at)) for r in batch.corrections],
        "cautions": cautions(batch),
        "closing": say(CLOSING),
    }


def _stages(batch: BatchRecord) -> list[list[Cell]]:
    state, words = batch.state, heads()
    rows: list[list[Cell]] = []
    for move in state.moves:
        said = f"{words['why']}:" if move.procedure else words["against"]
        against = f"{said} {move.reason}" + (f" ({move.who})" if move.who else "")
        why: Cell = {"lines": [retold(move.sentence), *([against] if move.reason else [])]}
        gate: Cell = gate_cell(move.state) if move.state else ""
        rows.append([batch.when(move.at), on_to(say(move.title)), gate, why])
    now: Cell = {"lines": [state.verdict.sentence, state.next_line]}
    return [*rows, [words["now"], say(state.stage.title), gate_cell(state.verdict.state), now]]


def _silver(batch: BatchRecord, plots: dict[str, Any]) -> dict[str, Any] | None:
    found = batch.state.balance
    if found is None:
        return None
    return {
        "flow": plots["flow"],
        "verdict": found.verdict,
        "balance": [[{"strong": name}, grams, note] for name, grams, note in balance_rows(batch)],
        "losses": [[row.name, span_text(row.silver_g), loss_words(row)] for row in like_losses(found)],
        "tips": list(batch.state.worth_doing),
    }


def _written(batch: BatchRecord) -> list[list[Cell]]:
    rows: list[list[Cell]] = [
        [batch.when(at), _("note {number}", number=str(number)), {"strong": say(LOST_NOTE)}]
        for number, at in batch.lost_notes
    ]
    for note, why in batch.notes_of(*WRITTEN):
        words: Cell = {"struck": note_text(note), "lines": [f"{heads()['struck']} {why}"]} if why else note_text(note)
        rows.append([batch.when(note.at), say(note.kind.replace("_", " ")), words])
    return rows


def _reading(r: RecordedReading, at: str) -> list[Cell]:
    doubtful = f" ({word_of('doubtful')})" if r.reading.doubtful else ""
    said: dict[str, Any] = {"lines": [r.text + doubtful], "quiet": [*r.reasons, *([r.note] if r.note else [])]}
    if r.corrected_by:
        said = {
            "struck": r.text,
            "lines": [_("corrected by no. {number}", number=str(r.corrected_by))],
            "quiet": said["quiet"],
        }
    photo: Cell = None if r.thumbnail is None else {"picture": f"photo-{r.id}.jpg", "alt": photo_of(r.id)}
    wash = "" if r.wash is None else str(r.wash)
    taken: Cell = {"lines": [at], "quiet": [r.told] if r.told else []}
    return [photo, taken, wash, said, {"quiet": [entry_number(r.id), *r.source.split(", ")]}]


def _correction(r: RecordedReading, at: str) -> str:
    assert r.corrects is not None
    return correction_line(at, (r.id, r.corrects), r.who, r.why)
