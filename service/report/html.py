"""The report of a batch as one HTML page or one PDF: the same content from the same log, byte for byte."""

from __future__ import annotations

import base64
from importlib.resources import files

from service.bench.chemistry.reagents import RULES, Span
from service.bench.ledger.view import rows_of
from service.bench.notes.of_vessels import MOVES
from service.bench.readings import LoggedPh
from service.bench.vessel.waste import NO_DRAIN
from service.report.batch_record import LOST_NOTE, BatchRecord, note_text
from service.report.heads import correction_line, entry_number, heads, on_to, photo_of, procedure_line
from service.report.losses import LikeLosses, like_losses
from service.report.plots import check_plot, flow_plot, ph_plot, render
from service.report.state_marks import gate_html, word_of
from stripread.words import N_, _, number, say, spoken
from stripread.words.retold import retold

WRITTEN: tuple[str, ...] = (
    "weight",
    "decant",
    "used",
    "vessel",
    "ammonia_test",
    "acidified",
    "acid_rinse",
    "metal_check",
    "named_test",
)
WRITTEN += ("melt", "bar", "poured", "mixed", "emptied", "made_safe")
WRITTEN += tuple(kind.kind for kind in MOVES)

CLOSING = N_(
    "Intervals: 95 % for readings, 90 % for the forecast; ranges of grams come from each loss's own model and are not "
    "fitted to the shortfall. Remade from the log at any time, with the same content."
)


def span_text(span: Span) -> str:
    """Grams with their range, sensible figures."""
    if span[2] < 0.0005:
        return _("below {limit}", limit=number(0.001))
    low, value, high = (number(x, ".4g" if x >= 100.0 else ".3g") if x >= 0.0005 else "0" for x in span)
    return _("{value} ({low} to {high})", value=value, low=low, high=high)


def summary(batch: BatchRecord) -> str:
    """The batch in one or two sentences."""
    found = batch.state.balance
    washes = {r.wash for r in batch.in_force if r.wash is not None}
    text = _("{readings} readings over {washes} washes.", readings=len(batch.in_force), washes=len(washes))
    if found is not None and found.share is not None and found.weighed_g is not None:
        low, value, high = found.share
        got = _(
            "{weighed:.4g} g of silver from {expected:.4g} g expected: yield {value:.1%} ({low:.1%} to {high:.1%}).",
            weighed=found.weighed_g[1],
            expected=found.expected_g[1],
            value=value,
            low=low,
            high=high,
        )
        text = f"{got} {text}"
    return text


def balance_rows(batch: BatchRecord) -> list[tuple[str, str, str]]:
    """Expected, weighed, missing and explained: name, grams, and what is to be said of it."""
    found = batch.state.balance
    if found is None:
        return []
    rows = [(_("Expected"), f"{span_text(found.expected_g)} g", "")]
    if found.weighed_g is not None and found.shortfall_g is not None:
        low, gap, high = found.shortfall_g
        rows.append((_("Weighed"), f"{span_text(found.weighed_g)} g", ""))
        if found.chalk_note:
            rows.append((_("Chalk in the weight"), f"{span_text(found.chalk_g)} g", found.chalk_note))
        missing = _("{gap:.3g} ({low:.3g} to {high:.3g}) g", gap=gap, low=low, high=high)
        rows.append((_("Missing"), missing, ""))
    rows += [
        (_("Melt") if place == 0 else "", "", text)
        for melt in batch.state.melts
        for place, text in enumerate(melt.sentences)
    ]
    return [*rows, (_("Explained by the models"), f"{span_text(found.explained_g)} g", "")]


def vessel_rows(batch: BatchRecord) -> list[tuple[str, str, str, str]]:
    """Where the silver is: vessel, what for, silver from-to, last touched; empty where it has none."""
    if batch.ledger is None:
        return []
    return [(*row[:3], batch.when(row[3]) if row[3] else "") for row in rows_of(batch.ledger)]


def about_line(batch: BatchRecord) -> str:
    """Which batch it is, when it was opened and closed, and what it is rinsed with."""
    closed = _(" · closed {at}", at=batch.when(batch.closed_at)) if batch.closed_at else ""
    opened = _("Batch {number} · opened {at}", number=str(batch.number), at=batch.when(batch.opened_at))
    return f"{opened}{closed} · {_('rinse water: {water}', water=batch.water)} · {batch.software}"


def stock_line(batch: BatchRecord) -> str | None:
    """What the stock vessel holds by this batch; None where it said nothing of it."""
    stock = batch.state.stock
    if stock is None:
        return None
    litres = _("Stock vessel: {litres:.3g} L.", litres=stock.litres)
    return f"{litres} {stock.sentence} {say(NO_DRAIN)}"


def cautions(batch: BatchRecord) -> list[str]:
    """Cautions of the stages that the batch went through, once each, and the rule above them."""
    listed = [c for stage in batch.state.been for c in stage.cautions]
    return [say(caution) for caution in (*dict.fromkeys(listed), NO_DRAIN, RULES)]


def loss_words(row: LikeLosses) -> str:
    """Where losses of one sort are now, and which of them is the largest."""
    most = [] if row.largest is None else [row.largest]
    largest = [_("most in {decant}: {grams} g", decant=name, grams=span_text(grams)) for name, grams in most]
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
        _("wash {wash} {ph:.2f}", wash=r.wash, ph=r.reading.ph)
        for r in batch.in_force
        if isinstance(r.reading, LoggedPh) and r.wash is not None and not r.blank and r.reading.ph is not None
    ]
    rows = () if batch.state.balance is None else like_losses(batch.state.balance)
    silver = ", ".join(f"{row.name} {span_text(row.silver_g)} g" for row in rows)
    return {
        "ph": _(
            "Plot of pH against wash: {course}. Neutral is from {low:g} to {high:g}.",
            course=", ".join(course),
            low=batch.band[0],
            high=batch.band[1],
        ),
        "checks": _(
            "Plot of the copper tint in mg/L and of the pale share in %, each in the order of its readings, "
            "which stand in the table of readings."
        ),
        "flow": _("Where the silver went, largest first: {silver}.", silver=silver),
    }


def html_report(batch: BatchRecord) -> str:
    """The batch as one HTML page that needs nothing beside itself."""
    from jinja2 import Environment, StrictUndefined  # noqa: PLC0415
    from markupsafe import Markup  # noqa: PLC0415

    environment = Environment(autoescape=True, undefined=StrictUndefined)
    environment.filters.update(
        when=batch.when,
        gate=gate_html,
        word_of=word_of,
        span=span_text,
        loss_words=loss_words,
        note_text=note_text,
        say=say,
        retold=retold,
        number=number,
        note_number=lambda number: _("note {number}", number=str(number)),
        photo_of=photo_of,
        on_to=on_to,
        entry_number=entry_number,
        correction=lambda r: correction_line(batch.when(r.logged_at), (r.id, r.corrects), r.who, r.why),
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
        w=heads(),
        lang=spoken(),
        about=about_line(batch),
        procedure=procedure_line(say(batch.state.procedure.name), batch.state.procedure.version),
        summary=summary(batch),
        plots={name: inline(svg) for name, svg in pictures(batch).items()},
        narrow={name: inline(svg) for name, svg in pictures(batch, narrow=True).items()},
        described=descriptions(batch),
        losses=() if batch.state.balance is None else like_losses(batch.state.balance),
        balance_rows=balance_rows(batch),
        written=batch.notes_of(*WRITTEN),
        lost_note=say(LOST_NOTE),
        cautions=cautions(batch),
        closing=say(CLOSING),
        stock=stock_line(batch),
        vessels=vessel_rows(batch),
    )
