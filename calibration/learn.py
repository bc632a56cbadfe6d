"""Calibration, top to bottom: tables, photos, the card, the pads, the curve, the profile."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from tqdm import tqdm

from calibration.card_estimate import estimate_card
from calibration.chart import ChartMean, chart_mean, covers, fit_chart
from calibration.curve import FittedCurve, clearly_better, finish, fit_curve, judge
from calibration.gather import Job, LeftOutPhoto, chart_jobs, known_pads, measure_all, swatches
from calibration.known_pads import KnownPads, points
from calibration.liquids.warmth import odd_warmth
from calibration.process import Posterior
from calibration.strangers.look import suspected
from calibration.strangers.suspicion import Suspicion
from calibration.tables import BufferRow, ChartSpot, Swatch, read_buffers, read_chart
from stripread.card.measured import measured_values
from stripread.card.values import CardValues
from stripread.errors import CallError
from stripread.kind import StripKind
from stripread.ph.curve import Lot
from stripread.ph.profile import Evidence, Profile
from stripread.ph.quality import KnownPhoto
from stripread.results import SOFTWARE
from stripread.strip.measure import Measured
from stripread.words import _, _n

MIN_BUFFERS = 3  # pH values, without a chart: fewer give no curve


@dataclass(frozen=True)
class Learned:
    """A profile, the fit behind it, the photos it came from, those left out, and what does not go with the others.

    odd_warmth: questions about temperatures that the user's table gives.
    """

    profile: Profile
    fit: FittedCurve
    known: tuple[KnownPads, ...]
    left_out: tuple[LeftOutPhoto, ...]
    suspected: tuple[Suspicion, ...]
    odd_warmth: tuple[str, ...] = ()


Measure = Callable[[list[Job], StripKind], list[Measured | LeftOutPhoto]]


@dataclass(frozen=True)
class Material:
    """What there is to learn from: photos at known pH, fields of the maker's chart, measured values of the card."""

    rows: list[BufferRow]
    fields: list[Swatch] | list[ChartSpot]
    card: CardValues | None = None


def learn(
    kind: StripKind, *, buffers: Path | None = None, chart: Path | None = None, card_values: Path | None = None
) -> Learned:
    """Learn a strip kind from the tables that a user wrote.

    Parameters
    ----------
    kind
        The strip kind.
    buffers, chart
        The tables; one of them at least.
    card_values
        The user's own measurements of the printed card.

    Raises
    ------
    CallError
        When a table is wrong, or too few photos can be used.
    """
    if buffers is None and chart is None:
        raise CallError(_("nothing to learn from: give --buffers, --chart, or both"))
    rows = read_buffers(buffers) if buffers is not None else []
    fields = read_chart(chart, len(kind.pads)) if chart is not None else []
    return learn_from(kind, Material(rows, fields, measured_values(card_values) if card_values is not None else None))


def with_bar(jobs: list[Job], kind: StripKind) -> list[Measured | LeftOutPhoto]:
    """Measure on all cores, with a bar in a terminal."""
    with tqdm(total=len(jobs), unit="photo", file=sys.stderr, disable=not (jobs and sys.stderr.isatty())) as bar:
        return measure_all(jobs, kind, bar.update)


def learn_from(kind: StripKind, material: Material, measuring: Measure = with_bar) -> Learned:
    """Learn a strip kind, wherever its photos come from: the same material gives the same profile.

    Parameters
    ----------
    kind, material
        The strip kind, and what there is to learn from.
    measuring
        Measures the photos, in their order.

    Raises
    ------
    CallError
        When too few photos can be used.
    """
    rows = material.rows
    spots = [f for f in material.fields if isinstance(f, ChartSpot)]
    charts = chart_jobs(spots)

    results = measuring([Job(r.path) for r in rows] + [job for job, _ in charts], kind)
    good = [r for r in results if isinstance(r, Measured)]
    left_out = tuple(r for r in results if isinstance(r, LeftOutPhoto))

    card = estimate_card([m.samples for m in good], material.card) if good or material.card else None

    known = known_pads(rows, results[: len(rows)], card) if card is not None else []
    seen_fields = [f for f in material.fields if isinstance(f, Swatch)]
    seen_charts: list[KnownPhoto] = []
    for (_unused, group), result in zip(charts, results[len(rows) :], strict=True):
        if isinstance(result, Measured) and card is not None:
            seen_fields += swatches(group, result, card)
            seen_charts.append(KnownPhoto(group[0].name, result.sha256, float("nan"), float("nan")))
    mean = _chart(seen_fields, kind, left_out)
    _enough(known, mean, left_out)

    fit, evidence = fit_all(known, mean, kind)
    photos = [KnownPhoto(k.photo_name, k.photo_sha256, k.ph, k.ph_sd, k.taken) for k in known] + seen_charts
    cards = [r.samples for r in results[: len(rows)] if isinstance(r, Measured)]
    strange = suspected(known, cards, kind.range)
    fit = replace(fit, quality=replace(fit.quality, exchanged=sum(one.way == "exchanged" for one in strange)))
    profile = make_profile(kind, fit, evidence, photos, card)
    warm = tuple(odd_warmth([(row.name, row.buffer, row.temp_c) for row in rows]))
    return Learned(profile, fit, tuple(known), left_out, strange, warm)


def fit_all(known: list[KnownPads], mean: ChartMean | None, kind: StripKind) -> tuple[FittedCurve, Evidence]:
    """Fit from buffers, from the chart, or from both, whichever there are."""
    if mean is None:
        return fit_curve(known, kind), "buffers"

    def fit(photos: list[KnownPads], _unused: StripKind, whole: Posterior | None) -> Posterior:
        return fit_chart(photos, mean, whole)

    if not known:
        judged = judge([], kind, fit, lot=Lot(), model="chart")
        why = _("no photos at known pH: only the maker's chart, printed for the eye")
        return finish(judged, [], kind, why), "chart only"

    corrected = judge(known, kind, fit, lot=Lot(), model="chart corrected", ends=True)
    if len(points(known)) >= MIN_BUFFERS and covers(known, kind):
        alone = fit_curve(known, kind)
        if not clearly_better(replace(corrected.left, inner=alone.left_out.inner), alone.left_out):
            return alone, "chart and buffers"
    why = _n("the chart, corrected at {n} pH value", "the chart, corrected at {n} pH values", len(points(known)))
    return finish(corrected, known, kind, why), "chart and buffers"


def make_profile(
    kind: StripKind, fit: FittedCurve, evidence: Evidence, photos: list[KnownPhoto], card: CardValues | None
) -> Profile:
    """Put a fit into a profile, stamped with now."""
    return Profile(
        name=kind.name,
        kind=kind,
        strip=fit.strip,
        evidence=evidence,
        quality=fit.quality,
        model=fit.model,
        why=fit.why,
        photos=tuple(photos),
        software=SOFTWARE,
        made=datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
        card_values=card,
        parameters=fit.parameters,
        phones=fit.phones,
    )


def _chart(fields: list[Swatch], kind: StripKind, left_out: tuple[LeftOutPhoto, ...]) -> ChartMean | None:
    """The chart's curve from the fields that could be seen; None where there is no chart."""
    if not fields:
        return None
    whole = [
        f for f in fields if {g.pad for g in fields if g.ph == f.ph} >= set(range(len(kind.pads)))
    ]  # a pH that lost a pad with a refused photo is of no use
    if len({f.ph for f in whole}) < 2:
        raise CallError(_("too few chart fields could be seen{left_out}", left_out=_and_why(left_out)))
    return chart_mean(whole, len(kind.pads))


def _enough(known: list[KnownPads], mean: ChartMean | None, left_out: tuple[LeftOutPhoto, ...]) -> None:
    """Refuse to go on with too little."""
    count = len(points(known))
    if mean is None and count < MIN_BUFFERS:
        raise CallError(
            _(
                "only {count} pH values have a photo that can be used; {min_buffers} are needed{left_out}",
                count=count,
                min_buffers=MIN_BUFFERS,
                left_out=_and_why(left_out),
            )
        )


def _and_why(left_out: tuple[LeftOutPhoto, ...]) -> str:
    if not left_out:
        return ""
    return _("; left out: ") + "; ".join(f"{p.name}: {p.why}" for p in left_out)
