"""The path of a photo to a tint, top to bottom: two vials in the windows to copper, none seen, or undecided."""

from __future__ import annotations

import time
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from stripread.card.find import CardTrace, find_card
from stripread.card.layout import layout
from stripread.colour import rgb_to_lab
from stripread.errors import Refused
from stripread.reasons import Reason, because
from stripread.results import Stamp, TintReading
from stripread.tint.cells import Matching, Measured, SecondPhoto, matched, patch_light, unmatched
from stripread.tint.concentration import Concentration, concentration, meaning
from stripread.tint.conditions import TintConditions, claim
from stripread.tint.estimate import TintEstimate, estimate_tint
from stripread.tint.profile import TintProfile, default_response
from stripread.tint.sample import TintSample, sample_tint
from stripread.tint.verdicts import CAUTIONS, implications, judge, measured
from stripread.window.bowl import as_read
from stripread.window.vials import Vial, Vials, disc, find_vials
from stripread.words import _

if TYPE_CHECKING:
    from stripread.card.view import CardView
    from stripread.photo import Source


@dataclass
class TintTrace:
    """What each stage of a tint came to, as far as it got."""

    card: CardTrace = field(default_factory=CardTrace)
    vials: Vials | None = None
    sample: TintSample | None = None
    estimate: TintEstimate | None = None
    found: Concentration | None = None
    cells: Matching = "none"
    reading: TintReading | None = None
    reasons: list[Reason] = field(default_factory=list)


@dataclass(frozen=True)
class TintRequest:
    """What the user gives along with the photo. Lengths mm, volume mL, mass g."""

    path_mm: float | None = None
    profile: TintProfile = field(default_factory=default_response)
    conditions: TintConditions = field(default_factory=TintConditions)
    retained_ml: float | None = None
    silver_g: float | None = None
    dilution: float | None = None  # volume after acid and ammonia over the sample's own; None: not told, taken as 1
    cells: SecondPhoto | None = None


def measure_tint(data: Source, trace: TintTrace) -> TintSample:
    """Photo to the ratio of sample to blank; calibration calls it too.

    Raises
    ------
    Refused
        When the card or the vials can't be used.
    """
    view = find_card(data, trace.card)
    found = find_vials(view, layout())
    both, doubts = _both(view, found)
    trace.vials = as_read(view, both)
    trace.reasons += doubts
    assert trace.card.samples is not None
    patches = patch_light(trace.card.samples)
    trace.sample = replace(sample_tint(view, trace.vials, layout()), guessed=found.sample is None, patches=patches)
    return trace.sample


def measure_cells(
    data: Source, matching: Measured, *, age_h: float | None = None, changed: bool = False
) -> SecondPhoto:
    """The photo that measures the pair of vials. A bad one is no error: the reading does without it and says so.

    ``age_h``, ``changed``: as ``SecondPhoto`` has them.
    """
    trace = TintTrace()
    try:
        sample = measure_tint(data, trace)
    except Refused as refused:
        return SecondPhoto(matching, None, refused.reason, None, age_h, changed)
    assert trace.card.photo is not None
    return SecondPhoto(matching, sample, None, trace.card.photo.taken_at, age_h, changed)


def _both(view: CardView, vials: Vials) -> tuple[Vials, list[Reason]]:
    """Both vials; where one rim was not seen the middle of that window stands in, with a doubt.

    Raises
    ------
    Refused
        ``no_vial`` when neither was seen.
    """
    windows = layout().windows
    if vials.sample is None and vials.blank is None:
        raise Refused(because("no_vial", _("left or right")))
    doubts: list[Reason] = []
    pair: dict[str, Vial] = {}
    for name, vial in (("sample", vials.sample), ("blank", vials.blank)):
        if vial is None:
            doubts.append(because("rim_not_seen", _("sample window") if name == "sample" else _("blank window")))
        pair[name] = vial or disc(view, windows[name])
    return Vials(pair["sample"], pair["blank"]), doubts


def read_tint(data: Source, request: TintRequest | None = None, name: str = "") -> TintReading:
    """Read the tint from one photo. Never raises for a bad photo: the reading is then refused, with its reason."""
    reading = trace_tint(data, request, name).reading
    assert reading is not None
    return reading


def trace_tint(data: Source, request: TintRequest | None = None, name: str = "") -> TintTrace:
    """Read the tint from one photo and keep what every stage came to."""
    start = time.perf_counter()
    request = request or TintRequest()
    trace = TintTrace()
    delta_e: float | None = None
    metal: dict[str, float] = {}
    try:
        sample = measure_tint(data, trace)
        taken_at = trace.card.photo.taken_at if trace.card.photo is not None else None
        trace.sample, trace.cells, doubts = matched(sample, request.cells, taken_at)
        trace.reasons += doubts
        sample = trace.sample
        delta_e = _difference(sample)
        trace.estimate, doubts = judge(sample, estimate_tint(sample))
        trace.reasons += doubts
        assert trace.card.photo is not None
        profile = request.profile.of_phone(trace.card.photo.camera)
        if request.path_mm is not None and measured(sample, trace.estimate):
            trace.found = concentration(trace.estimate, request.path_mm, profile, request.dilution or 1.0)
        words = ""
        if trace.found is not None:
            metal, words = meaning(trace.found, trace.estimate.decision, request.retained_ml, request.silver_g)
        known_depth = request.path_mm is not None
        trace.reasons += implications(
            trace.estimate, trace.found, request.conditions, profile, words, known_depth=known_depth
        )
        trace.reasons += unmatched(trace.estimate.decision, request.cells)
    except Refused as refused:
        trace.estimate = None
        trace.reasons = [refused.reason, *(because(code) for code in CAUTIONS)]
    stamp = trace.card.stamp(name, data, time.perf_counter() - start)
    trace.reading = _tint_reading(trace, request, stamp, delta_e, metal)
    return trace


def _tint_reading(
    trace: TintTrace, request: TintRequest, stamp: Stamp, delta_e: float | None, metal: dict[str, float]
) -> TintReading:
    reasons = tuple(dict.fromkeys(trace.reasons))
    conditions = {**request.conditions.to_dict(), "dilution": request.dilution}
    if trace.estimate is None:
        return TintReading(
            stamp, path_mm=request.path_mm, taken=conditions, reasons=reasons, profile=request.profile.name
        )
    estimate, found = trace.estimate, trace.found
    code, sentence = claim(estimate.decision, request.conditions)
    return TintReading(
        stamp,
        decision=estimate.decision,
        absorbance=estimate.absorbance,
        absorbance_interval=estimate.interval,
        delta_e=delta_e,
        mg_per_l=None if found is None else found.mg_per_l,
        interval=None if found is None else found.interval,
        detection_limit=None if found is None else found.detection_limit,
        decision_limit=None if found is None else found.decision_limit,
        absorbance_limits=(estimate.decision_limit, estimate.detection_limit),
        probability=estimate.probability,
        path_mm=request.path_mm,
        metal=metal,
        taken=conditions,
        claim=sentence,
        claim_code=code,
        reasons=reasons,
        profile=request.profile.name,
        cells=trace.cells,
    )


def _difference(sample: TintSample) -> float:
    """CIELAB distance (Delta E*ab) between sample and blank, the blank taken for white."""
    return float(np.linalg.norm(rgb_to_lab(sample.ratio) - rgb_to_lab(np.ones(3))))
