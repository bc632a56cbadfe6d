"""The report of a batch as one HTML page or one PDF: the same content from the same log, byte for byte."""

from __future__ import annotations

import base64
from importlib.resources import files

from service.bench.chemistry.reagents import RULES, Span
from service.bench.vessel.waste import NO_DRAIN
from service.moments import spoken
from service.report.batch_record import LOST_NOTE, BatchRecord, note_text
from service.report.plots import check_plot, flow_plot, ph_plot, render
from service.report.state_marks import gate_html, word_of

WRITTEN = ("weight", "decant", "used", "ammonia_test", "acid_rinse", "poured", "mixed", "emptied")


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


def pictures(batch: BatchRecord, form: str) -> dict[str, bytes | None]:
    """The plots as "svg" or "png"."""
    found = batch.state.balance
    return {
        "ph": render(ph_plot, batch, form),
        "checks": render(check_plot, batch, form),
        "flow": None if found is None or found.expected_g[1] <= 0 else render(flow_plot, found, form),
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
        plots={name: inline(svg) for name, svg in pictures(batch, "svg").items()},
        balance_rows=balance_rows(batch),
        written=batch.notes_of(*WRITTEN),
        lost_note=LOST_NOTE,
        cautions=cautions(batch),
        no_drain=NO_DRAIN,
    )
