"""The report of a batch as one HTML page or one PDF: the same content from the same log, byte for byte."""

from __future__ import annotations

import base64
from importlib.resources import files

from service.bench.chemistry.reagents import RULES, Span
from service.bench.readings import LoggedPh
from service.bench.vessel.waste import NO_DRAIN
from service.moments import spoken
from service.report.batch_record import LOST_NOTE, BatchRecord, note_text
from service.report.losses import LikeLosses, like_losses
from service.report.plots import check_plot, flow_plot, ph_plot, render
from service.report.state_marks import gate_html, word_of

WRITTEN = ("weight", "decant", "used", "ammonia_test", "acid_rinse", "poured", "mixed", "emptied")

CLOSING = (
    "Intervals: 95 % for readings, 90 % for the forecast; ranges of grams come from each loss's own model and are not "
    "fitted to the shortfall. Remade from the log at any time, with the same content."
)


def when(text: str) -> str:
    """An ISO time as a person reads it, with its offset; the record has them in its batch's zone."""
    return spoken(text)


def span_text(span: Span) -> str:
    """Grams with their range, sensible figures."""
    if span[2] < 0.0005:
        return "below 0.001"
    low, value, high = (f"{x:.4g}" if x >= 100.0 else f"{x:.3g}" if x >= 0.0005 else "0" for x in span)
    return f"{value} ({low} to {high})"


def summary(batch: BatchRecord) -> str:
    """The batch in one or two sentences."""
    found = batch.state.balance
    washes = {r.wash for r in batch.in_force if r.wash is not None}
    text = f"{len(batch.in_force)} readings over {len(washes)} washes."
    if found is not None and found.share is not None and found.weighed_g is not None:
        low, value, high = found.share
        text = (
            f"{found.weighed_g[1]:.4g} g of silver from {found.expected_g[1]:.4g} g expected: "
            f"yield {value:.1%} ({low:.1%} to {high:.1%}). {text}"
        )
    return text


def balance_rows(batch: BatchRecord) -> list[tuple[str, str, str]]:
    """Expected, weighed, missing and explained: name, grams, and what is to be said of it."""
    found = batch.state.balance
    if found is None:
        return []
    rows = [("Expected", f"{span_text(found.expected_g)} g", "")]
    if found.weighed_g is not None and found.shortfall_g is not None:
        low, gap, high = found.shortfall_g
        rows.append(("Weighed", f"{span_text(found.weighed_g)} g", ""))
        if found.chalk_note:
            rows.append(("Chalk in the weight", f"{span_text(found.chalk_g)} g", found.chalk_note))
        rows.append(("Missing", f"{gap:.3g} ({low:.3g} to {high:.3g}) g", ""))
    return [*rows, ("Explained by the models", f"{span_text(found.explained_g)} g", "")]


def cautions(batch: BatchRecord) -> list[str]:
    """Cautions of the stages that the batch went through, once each, and the rule above them."""
    names = {m.to for m in batch.state.moves} | {batch.state.procedure.stages[0].id, batch.state.stage.id}
    listed = [c for s in batch.state.procedure.stages if s.id in names for c in s.cautions]
    return [*dict.fromkeys(listed), NO_DRAIN, RULES]


def loss_words(row: LikeLosses) -> str:
    """Where losses of one sort are now, and which of them is the largest."""
    largest = [] if row.largest is None else [f"most in {row.largest[0]}: {span_text(row.largest[1])} g"]
    return "; ".join([row.where, *largest, *([row.note] if row.note else [])])


def pictures(batch: BatchRecord, *, narrow: bool = False) -> dict[str, bytes | None]:
    """The plots as SVG, for paper and desk or ``narrow`` for a hand."""
    found = batch.state.balance
    return {
        "ph": render(ph_plot, batch, narrow=narrow),
        "checks": render(check_plot, batch, narrow=narrow),
        "flow": None if found is None or found.expected_g[1] <= 0 else render(flow_plot, found, narrow=narrow),
    }


def descriptions(batch: BatchRecord) -> dict[str, str]:
    """What each plot shows, for those who do not see it; the numbers stand in the tables."""
    course = [
        f"wash {r.wash} {r.reading.ph:.2f}"
        for r in batch.in_force
        if isinstance(r.reading, LoggedPh) and r.wash is not None and not r.blank and r.reading.ph is not None
    ]
    rows = () if batch.state.balance is None else like_losses(batch.state.balance)
    silver = ", ".join(f"{row.name} {span_text(row.silver_g)} g" for row in rows)
    return {
        "ph": f"Plot of pH against wash: {', '.join(course)}. Neutral is from {batch.band[0]:g} to {batch.band[1]:g}.",
        "checks": "Plot of the copper tint in mg/L and of the pale share in %, each in the order of its readings, "
        "which stand in the table of readings.",
        "flow": f"Where the silver went, largest first: {silver}.",
    }


def html_report(batch: BatchRecord) -> str:
    """The batch as one HTML page that needs nothing beside itself."""
    from jinja2 import Environment, StrictUndefined  # noqa: PLC0415
    from markupsafe import Markup  # noqa: PLC0415

    environment = Environment(autoescape=True, undefined=StrictUndefined)
    environment.filters.update(
        when=when,
        gate=gate_html,
        word_of=word_of,
        span=span_text,
        loss_words=loss_words,
        note_text=note_text,
        b64=lambda data: base64.b64encode(data).decode(),
    )
    template = environment.from_string(
        (files("service.report") / "templates" / "report.html.j2").read_text(encoding="utf-8")
    )

    def inline(svg: bytes | None) -> Markup | None:
        # matplotlib's own drawing, with its texts escaped by it; only the XML heading goes.
        return Markup(svg.decode()[svg.decode().index("<svg") :]) if svg else None

    return template.render(
        b=batch,
        summary=summary(batch),
        plots={name: inline(svg) for name, svg in pictures(batch).items()},
        narrow={name: inline(svg) for name, svg in pictures(batch, narrow=True).items()},
        described=descriptions(batch),
        losses=() if batch.state.balance is None else like_losses(batch.state.balance),
        balance_rows=balance_rows(batch),
        written=batch.notes_of(*WRITTEN),
        lost_note=LOST_NOTE,
        cautions=cautions(batch),
        closing=CLOSING,
        no_drain=NO_DRAIN,
    )
