"""The report of a batch as a PDF, from the same parts as the HTML page."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import matplotlib as mpl
from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import CondPageBreak, Image, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from service.bench.vessel.waste import NO_DRAIN
from service.report.batch_record import LOST_NOTE, BatchRecord, note_text
from service.report.html import WRITTEN, balance_rows, cautions, pictures, span_text, summary, when
from service.report.state_marks import gate_pdf, word_of

# A font with more than Latin-1, shipped with matplotlib: names of batches may be in any European script.
_FONTS = {"Report": "DejaVuSans.ttf", "Report-Bold": "DejaVuSans-Bold.ttf"}
_WIDTH = A4[0] - 36 * mm - 12  # the frame's own padding of 6 points on each side
_PLAIN = ParagraphStyle("plain", fontName="Report", fontSize=8.5, leading=11.5)
_BOLD = ParagraphStyle("bold", parent=_PLAIN, fontName="Report-Bold")
_SMALL = ParagraphStyle("small", parent=_PLAIN, fontSize=7, leading=9, textColor=colors.HexColor("#555555"))
_LEAD = ParagraphStyle("lead", parent=_PLAIN, fontSize=10.5, leading=14, spaceAfter=4)
_TITLE = ParagraphStyle("title", parent=_PLAIN, fontName="Report-Bold", fontSize=17, leading=21)
_HEAD = ParagraphStyle("head", parent=_PLAIN, fontName="Report-Bold", fontSize=11, leading=14, spaceBefore=10,
                       spaceAfter=4, keepWithNext=1)  # fmt: skip
_LONG = ParagraphStyle("long", parent=_HEAD, keepWithNext=0)


def pdf_report(batch: BatchRecord) -> bytes:
    """The batch as a PDF, A4."""
    for name, file in _FONTS.items():
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, str(Path(mpl.get_data_path()) / "fonts" / "ttf" / file)))
    out = io.BytesIO()
    document = SimpleDocTemplate(out, pagesize=A4, leftMargin=18 * mm, rightMargin=18 * mm, topMargin=16 * mm,
                                 bottomMargin=18 * mm, title=f"{batch.name}: batch report", author="stripread",
                                 invariant=1)  # fmt: skip
    drawn = pictures(batch, "png")
    story = [
        *_opening(batch),
        *_course(batch, drawn),
        *_silver(batch, drawn),
        *_written(batch),
        *_readings(batch),
        *_closing(batch),
    ]

    def foot(canvas: Any, page: Any) -> None:  # noqa: ANN401 - reportlab's canvas and template
        canvas.setFont("Report", 7)
        canvas.setFillColor(colors.HexColor("#555555"))
        canvas.drawString(18 * mm, 10 * mm, f"Batch {batch.number}: {batch.name}"[:90])
        canvas.drawRightString(A4[0] - 18 * mm, 10 * mm, f"page {page.page}")

    document.build(story, onFirstPage=foot, onLaterPages=foot)
    return out.getvalue()


def _p(text: str, style: ParagraphStyle = _PLAIN) -> Paragraph:
    return Paragraph(escape(text), style)


def _table(rows: list[list[Any]], widths: list[float]) -> Table:
    cells = [[cell if not isinstance(cell, str) else _p(cell) for cell in row] for row in rows]
    style = [("VALIGN", (0, 0), (-1, -1), "TOP"), ("LINEBELOW", (0, 0), (-1, -1), 0.3, colors.HexColor("#cccccc")),
             ("LEFTPADDING", (0, 0), (-1, -1), 0), ("TOPPADDING", (0, 0), (-1, -1), 2),
             ("BOTTOMPADDING", (0, 0), (-1, -1), 3)]  # fmt: skip
    return Table(cells, colWidths=[_WIDTH * w for w in widths], style=TableStyle(style), repeatRows=0)


def _opening(batch: BatchRecord) -> list[Any]:
    closed = f" · closed {when(batch.closed_at)}" if batch.closed_at else ""
    line = (
        f"Batch {batch.number} · opened {when(batch.opened_at)}{closed} · rinse water: {batch.water} · {batch.software}"
    )
    state = batch.state
    rows: list[list[Any]] = []
    for move in state.moves:
        why = move.sentence
        if move.reason:
            why += f" Went on against the gate: {move.reason}" + (f" ({move.who})" if move.who else "")
        gate = gate_pdf(move.state, _PLAIN)
        rows.append([when(move.at), f"on to {state.procedure.stage(move.to).title}", gate, why])
    gate = gate_pdf(state.verdict.state, _PLAIN)
    rows.append(["now", state.stage.title, gate, f"{state.verdict.sentence} {state.next_line}"])
    name = f"Procedure: {state.procedure.name}, version {state.procedure.version}"
    head = [
        _p(batch.name, _TITLE),
        _p(line, _SMALL),
        _p(batch.zone_line, _SMALL),
        _p(batch.chain_line, _SMALL),
        Spacer(1, 4),
    ]
    return [*head, _p(summary(batch), _LEAD), _p("Stages", _HEAD),
            _p(name, _SMALL), _table(rows, [0.21, 0.25, 0.12, 0.42])]  # fmt: skip


def _picture(png: bytes | None) -> list[Any]:
    return [] if png is None else [Image(io.BytesIO(png), width=_WIDTH, height=_WIDTH * 3.0 / 6.6)]


def _course(batch: BatchRecord, drawn: dict[str, bytes | None]) -> list[Any]:
    story = [*_picture(drawn["ph"])]
    story += [_p(forecast.message) for forecast in batch.forecasts]
    story += _picture(drawn["checks"])
    return [_p("Course", _HEAD), *story] if story else []


def _silver(batch: BatchRecord, drawn: dict[str, bytes | None]) -> list[Any]:
    found = batch.state.balance
    if found is None:
        return []
    rows: list[list[Any]] = [
        [x.name, span_text(x.silver_g), x.where + (f"; {x.note}" if x.note else "")] for x in found.losses
    ]
    head: list[list[Any]] = [list(row) for row in balance_rows(batch)]
    story = [_p("Silver", _HEAD), *_picture(drawn["flow"]), _p(found.verdict), Spacer(1, 3)]
    story.append(
        _table(
            [*head, [_p("Where some may be", _BOLD), _p("g (range)", _BOLD), _p("now", _BOLD)], *rows],
            [0.34, 0.24, 0.42],
        )
    )
    return [*story, *[_p(tip) for tip in batch.state.worth_doing]]


def _written(batch: BatchRecord) -> list[Any]:
    rows: list[list[Any]] = [[when(at), f"note {number}", _p(LOST_NOTE, _BOLD)] for number, at in batch.lost_notes]
    rows += [
        [when(n.at), n.kind.replace("_", " "), note_text(n) + (f" (struck out: {why})" if why else "")]
        for n, why in batch.notes_of(*WRITTEN)
    ]
    story: list[Any] = [_p("Written down", _HEAD), _table(rows or [["nothing", "", ""]], [0.2, 0.15, 0.65])]
    held = batch.state.stock
    if held is not None:
        story.append(_p(f"Stock vessel: {held.litres:.3g} L. {held.sentence} {NO_DRAIN}"))
    return story


def _readings(batch: BatchRecord) -> list[Any]:
    rows: list[list[Any]] = []
    for r in batch.readings:
        text = r.text + (f" ({word_of('doubtful')})" if r.reading.doubtful else "")
        text += f"; corrected by no. {r.corrected_by}" if r.corrected_by else ""
        lines = [_p(text), *[_p(why, _SMALL) for why in r.reasons], *([_p(r.note)] if r.note else [])]
        thumb = _thumbnail(r.thumbnail)
        rows.append(
            [
                thumb,
                [_p(when(r.at)), _p(r.told, _SMALL)],
                "" if r.wash is None else f"wash {r.wash}",
                lines,
                _p(f"no. {r.id}, {r.source}", _SMALL),
            ]
        )
    # Room for the heading and three rows: kept together with the whole long table it would leave a page nearly empty.
    head = [CondPageBreak(40 * mm), _p("Readings", _LONG)]
    return [*head, _table(rows or [["none", "", "", "", ""]], [0.12, 0.21, 0.1, 0.33, 0.24])]


def _thumbnail(data: bytes | None) -> Any:  # noqa: ANN401 - a flowable or nothing
    if data is None:
        return ""
    image = Image(io.BytesIO(data))
    scale = min(19 * mm / image.imageWidth, 14 * mm / image.imageHeight)
    image.drawWidth, image.drawHeight = image.imageWidth * scale, image.imageHeight * scale
    return image


def _closing(batch: BatchRecord) -> list[Any]:
    story: list[Any] = []
    if batch.corrections:
        story.append(_p("Corrections", _HEAD))
        for r in batch.corrections:
            who = f", by {r.who}" if r.who else ""
            story.append(
                _p(f"{when(r.logged_at)}: no. {r.id} replaces no. {r.corrects}{who}" + (f": {r.why}" if r.why else ""))
            )
    story.append(_p("Cautions", _HEAD))
    return story + [_p(f"• {text}") for text in cautions(batch)]
