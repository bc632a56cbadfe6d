"""Batches beside each other: washes, time, water, share held back, yield, silver lost by step, as table and as CSV."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from service.bench.chemistry.balance import Loss, add_spans
from service.bench.chemistry.reagents import Span
from stripread.words import N_, _, number, say
from stripread.words.retold import retold

MOST = 8  # batches at once: more can't be told apart in a picture
SORTS = ("fines in", "dissolved in")  # losses of which every decant has one: they are one step
STEPS = {"fines in": N_("fines in the decants"), "dissolved in": N_("dissolved in the decants")}
NOT_KNOWN = "-"


@dataclass(frozen=True)
class WashPoint:
    """One pH reading of a wash: the washing that it belongs to (0, 1 …), wash number, pH and 95 % interval."""

    part: int
    wash: int
    ph: float
    low: float
    high: float


@dataclass(frozen=True)
class BatchFigures:
    """One batch in figures; None where its log does not tell.

    Parameters
    ----------
    washes
        Washes that a strip was read of, or that were decanted, whichever are more; of all washings together.
    hours
        From the first to the last that was read or written down.
    water_l
        What was decanted in all, L.
    share_held_back
        Of the liquid in each wash, as (low, value, high): from the readings where they tell.
    share_by_volume
        The same, 0 to 1, by the vessel's retained volume and the mean decant.
    losses_g
        Silver by step, g, as (low, value, high).
    yield_share
        As (low, value, high).
    """

    number: int
    name: str
    closed: bool
    stage: str
    washes: int
    hours: float | None
    water_l: float | None
    share_held_back: Span | None
    share_by_volume: float | None
    expected_g: Span | None
    weighed_g: float | None
    yield_share: Span | None
    losses_g: tuple[tuple[str, Span], ...]
    points: tuple[WashPoint, ...]


@dataclass(frozen=True)
class Comparison:
    """Batches in the order in which they were named."""

    batches: tuple[BatchFigures, ...]

    @property
    def steps(self) -> tuple[str, ...]:
        """Every step at which any of them lost silver, the largest first."""
        most: dict[str, float] = {}
        for batch in self.batches:
            for name, span in batch.losses_g:
                most[name] = max(most.get(name, 0.0), span[1])
        return tuple(sorted(most, key=lambda name: (-most[name], name)))

    def to_dict(self) -> dict[str, Any]:
        """JSON-ready."""
        found = [asdict(batch) | {"losses_g": {name: list(s) for name, s in batch.losses_g}} for batch in self.batches]
        return {"batches": found, "steps": list(self.steps), "table": [list(row) for row in self.table()]}

    def table(self) -> list[tuple[str, ...]]:
        """Rows in words: what, then each batch's own; the first row names the batches."""
        rows: list[tuple[str, ...]] = [("", *(f"{b.number} {b.name}" for b in self.batches))]
        for what, told in _ROWS:
            rows.append((say(what), *(told(batch) for batch in self.batches)))
        for step in self.steps:
            rows.append(
                (_("Lost, g: {step}", step=retold(step)), *(_lost(dict(b.losses_g).get(step)) for b in self.batches))
            )
        return rows

    def csv_rows(self) -> list[list[Any]]:
        """A head and one row a batch; ranges in three columns. Losses have a column each, in the order of ``steps``."""
        head = [*_CSV, "share_low", "share_held_back", "share_high", "share_by_volume"]
        head += ["expected_low_g", "expected_g", "expected_high_g", "weighed_g", "yield_low", "yield", "yield_high"]
        for step in self.steps:
            name = step.replace(" ", "_")
            head += [f"lost_{name}_low_g", f"lost_{name}_g", f"lost_{name}_high_g"]
        return [head, *(self._csv(batch) for batch in self.batches)]

    def _csv(self, b: BatchFigures) -> list[Any]:
        row = [getattr(b, name) for name in _CSV]
        row += [*_three(b.share_held_back), b.share_by_volume, *_three(b.expected_g), b.weighed_g]
        row += _three(b.yield_share)
        for step in self.steps:
            row += _three(dict(b.losses_g).get(step))
        return row


def by_step(losses: Sequence[Loss]) -> tuple[tuple[str, Span], ...]:
    """Silver by step; what every decant loses in the same way is taken together."""
    groups: dict[str, list[Span]] = {}
    for loss in losses:
        sort = next((s for s in SORTS if loss.name.startswith(s)), None)
        groups.setdefault(loss.name if sort is None else STEPS[sort], []).append(loss.silver_g)
    return tuple((name, add_spans(spans)) for name, spans in groups.items())


_CSV = ("number", "name", "closed", "stage", "washes", "hours", "water_l")


def _three(span: Span | None) -> list[float | None]:
    return [None, None, None] if span is None else list(span)


def _number(value: float | None, unit: str = "") -> str:
    return NOT_KNOWN if value is None else f"{number(value, '.3g')}{unit}"


def _span(span: Span | None, factor: float = 1.0, unit: str = "") -> str:
    if span is None:
        return NOT_KNOWN
    low, value, high = (factor * part for part in span)
    figures = {"value": value, "unit": unit, "low": low, "high": high}
    return _("{value:.3g}{unit} ({low:.3g} to {high:.3g})", **figures)


_LEAST_G = 1e-4  # g, what a fine balance shows: nobody weighs less


def _lost(span: Span | None) -> str:
    if span is None:
        return NOT_KNOWN
    if span[2] < _LEAST_G:
        return _("under {least:.3g}", least=_LEAST_G)
    low, value, high = (round(grams, 4) for grams in span)
    return _span((low, value, high))


_ROWS: tuple[tuple[str, Callable[[BatchFigures], str]], ...] = (
    (N_("State"), lambda b: _("closed") if b.closed else _("open")),
    (N_("Stage"), lambda b: say(b.stage)),
    (N_("Washes"), lambda b: str(b.washes)),
    (N_("Time, h"), lambda b: _number(b.hours)),
    (N_("Water poured off, L"), lambda b: _number(b.water_l)),
    (N_("Held back by readings, %"), lambda b: _span(b.share_held_back, 100.0)),
    (N_("Held back by volume, %"), lambda b: _number(None if b.share_by_volume is None else 100.0 * b.share_by_volume)),
    (N_("Silver expected, g"), lambda b: _span(b.expected_g)),
    (N_("Silver weighed, g"), lambda b: NOT_KNOWN if b.weighed_g is None else number(b.weighed_g, ".5g")),
    (N_("Yield, %"), lambda b: _span(b.yield_share, 100.0)),
)
