"""The path of a photo of the card's windows, top to bottom: vials to a tint, a heap or slurry to its colour."""

from __future__ import annotations

import time
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from stripread.bowl import as_read
from stripread.card import Window, layout
from stripread.colour import rgb_to_lab
from stripread.concentration import Concentration, concentration, meaning
from stripread.correct import ColourFix, fix_colour
from stripread.errors import Refused
from stripread.photo import fingerprint
from stripread.pipeline import SOFTWARE, Trace, find_card
from stripread.precipitates import fitting
from stripread.reasons import Reason, because
from stripread.reference import CardValues, nominal_values
from stripread.results import SolidReading, Stamp, TintReading
from stripread.solid import SolidEstimate, SolidSample, estimate_solid, sample_solid
from stripread.tint import TintEstimate, estimate_tint
from stripread.tintprofile import TintProfile, default_response
from stripread.tintsample import TintSample, sample_tint
from stripread.tintverdicts import CAUTIONS, Taking, claim, implications, judge, measured
from stripread.vials import Vial, Vials, disc, find_vials
from stripread.view import CardView, card_view

Array = NDArray[np.float64]

GRAINS_PX_PER_MM = 8.0  # a solid's view: grains smaller than a pixel are taken for dark
MIXED = 0.1  # pale share beyond which a heap is two materials, until it is as near to all pale


@dataclass
class TintTrace:
    """What each stage of a tint came to, as far as it got."""

    card: Trace = field(default_factory=Trace)
    vials: Vials | None = None
    sample: TintSample | None = None
    estimate: TintEstimate | None = None
    found: Concentration | None = None
    reading: TintReading | None = None
    reasons: list[Reason] = field(default_factory=list)


@dataclass
class SolidTrace:
    """What each stage of a solid came to, as far as it got."""

    card: Trace = field(default_factory=Trace)
    fix: ColourFix | None = None
    sample: SolidSample | None = None
    estimate: SolidEstimate | None = None
    reading: SolidReading | None = None
    reasons: list[Reason] = field(default_factory=list)


@dataclass(frozen=True)
class TintAsk:
    """What the user says along with the photo. Lengths mm, volume mL, mass g."""

    path_mm: float | None = None
    profile: TintProfile = field(default_factory=default_response)
    taking: Taking = field(default_factory=Taking)
    retained_ml: float | None = None
    silver_g: float | None = None
    dilution: float = 1.0


def measure_tint(data: bytes, trace: TintTrace) -> TintSample:
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
    trace.sample = replace(sample_tint(view, trace.vials, layout()), guessed=found.sample is None)
    return trace.sample


def _both(view: CardView, vials: Vials) -> tuple[Vials, list[Reason]]:
    """Both vials; where one rim was not seen the middle of that window stands in, with a doubt.

    Raises
    ------
    Refused
        ``no_vial`` when neither was seen.
    """
    windows = layout().windows
    if vials.sample is None and vials.blank is None:
        raise Refused(because("no_vial", "left or right"))
    doubts: list[Reason] = []
    pair: dict[str, Vial] = {}
    for name, vial in (("sample", vials.sample), ("blank", vials.blank)):
        if vial is None:
            doubts.append(because("rim_not_seen", f"{name} window"))
        pair[name] = vial or disc(view, windows[name])
    return Vials(pair["sample"], pair["blank"]), doubts


def read_tint(data: bytes, ask: TintAsk | None = None, name: str = "") -> TintReading:
    """Read the tint from one photo. Never raises for a bad photo: the reading is then refused, with its reason."""
    reading = trace_tint(data, ask, name).reading
    assert reading is not None
    return reading


def trace_tint(data: bytes, ask: TintAsk | None = None, name: str = "") -> TintTrace:
    """Read the tint from one photo and keep what every stage came to."""
    start = time.perf_counter()
    ask = ask or TintAsk()
    trace = TintTrace()
    delta_e: float | None = None
    metal: dict[str, float] = {}
    try:
        sample = measure_tint(data, trace)
        delta_e = _difference(sample)
        trace.estimate, doubts = judge(sample, estimate_tint(sample))
        trace.reasons += doubts
        if ask.path_mm is not None and measured(sample, trace.estimate):
            trace.found = concentration(trace.estimate, ask.path_mm, ask.profile, ask.dilution)
        words = ""
        if trace.found is not None:
            metal, words = meaning(trace.found, trace.estimate.decision, ask.retained_ml, ask.silver_g)
        told = ask.path_mm is not None
        trace.reasons += implications(trace.estimate, trace.found, ask.taking, ask.profile, words, told_depth=told)
    except Refused as refused:
        trace.estimate = None
        trace.reasons = [refused.reason, *(because(code) for code in CAUTIONS)]
    stamp = _stamp(trace.card, data, name, start)
    trace.reading = _tint_reading(trace, ask, stamp, delta_e, metal)
    return trace


def _tint_reading(
    trace: TintTrace, ask: TintAsk, stamp: Stamp, delta_e: float | None, metal: dict[str, float]
) -> TintReading:
    reasons = tuple(dict.fromkeys(trace.reasons))
    taken = ask.taking.to_dict()
    if trace.estimate is None:
        return TintReading(stamp, path_mm=ask.path_mm, taken=taken, reasons=reasons, profile=ask.profile.name)
    estimate, found = trace.estimate, trace.found
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
        path_mm=ask.path_mm,
        metal=metal,
        taken=taken,
        claim=claim(estimate.decision, ask.taking),
        reasons=reasons,
        profile=ask.profile.name,
    )


def _difference(sample: TintSample) -> float:
    """CIELAB distance (Delta E*ab) between sample and blank, the blank taken for white."""
    return float(np.linalg.norm(rgb_to_lab(sample.ratio) - rgb_to_lab(np.ones(3))))


def read_solid(
    data: bytes,
    name: str = "",
    region_mm: tuple[float, float, float, float] | None = None,
    card_values: CardValues | None = None,
) -> SolidReading:
    """Read a solid from one photo. Never raises for a bad photo: the reading is then refused, with its reason."""
    reading = trace_solid(data, name, region_mm, card_values).reading
    assert reading is not None
    return reading


def trace_solid(
    data: bytes,
    name: str = "",
    region_mm: tuple[float, float, float, float] | None = None,
    card_values: CardValues | None = None,
) -> SolidTrace:
    """Read a solid from one photo and keep what every stage came to."""
    start = time.perf_counter()
    trace = SolidTrace()
    try:
        view = _finer(find_card(data, trace.card), trace.card)
        assert trace.card.samples is not None
        trace.fix = fix_colour(trace.card.samples, card_values or nominal_values())
        where: Window | tuple[float, float, float, float] = region_mm or layout().windows["sample"]
        trace.sample = sample_solid(view, where, trace.fix)
        trace.estimate = estimate_solid(trace.sample, trace.fix)
        trace.reasons += trace.estimate.reasons
    except Refused as refused:
        trace.estimate = None
        trace.reasons = [refused.reason]
    stamp = _stamp(trace.card, data, name, start)
    estimate = trace.estimate
    if estimate is None:
        trace.reading = SolidReading(stamp, region_mm=region_mm, reasons=tuple(trace.reasons))
        return trace
    low, high = estimate.interval
    # The mean colour of dark and pale together is neither's.
    words = () if low > MIXED and high < 1.0 - MIXED else fitting(estimate.lab, estimate.sd)
    trace.reasons += [because("fits_description", text) for text in words]
    lab, sd = estimate.lab, estimate.sd
    trace.reading = SolidReading(
        stamp,
        lab=(float(lab[0]), float(lab[1]), float(lab[2])),
        sd=(float(sd[0]), float(sd[1]), float(sd[2])),
        pale_fraction=estimate.pale,
        pale_interval=estimate.interval,
        descriptions=words,
        region_mm=region_mm,
        reasons=tuple(dict.fromkeys(trace.reasons)),
    )
    return trace


def _finer(view: CardView, card: Trace) -> CardView:
    """The view in which grains are told apart: as fine as the photo is."""
    assert card.photo is not None
    assert card.pose is not None
    if card.pose.px_per_mm <= view.px_per_mm:
        return view
    card.view = card_view(card.photo, card.pose, GRAINS_PX_PER_MM)
    return card.view


def _stamp(card: Trace, data: bytes, name: str, start: float) -> Stamp:
    photo = card.photo
    sha = photo.sha256 if photo is not None else fingerprint(data)
    taken = photo.taken_at if photo is not None else None
    return Stamp(name, sha, SOFTWARE, time.perf_counter() - start, taken)
