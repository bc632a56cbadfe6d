"""The path of a photo, top to bottom. Every stage returns a value; only this file knows their order.

The path is cut in two: *measure* (photo to pad colours, no profile needed: calibration calls it too) and *interpret*
(pad colours and profile to pH). ``Refused`` is caught once, here; the clock is looked at only here.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from stripread import __version__, verdicts
from stripread.card import layout
from stripread.correct import ColourFix, fix_colour
from stripread.errors import Refused
from stripread.kind import StripKind
from stripread.markers import find_markers
from stripread.padmask import PadRegion, cover
from stripread.pads import PadSamples, PadSet, pads_to_lab, sample_pads
from stripread.patches import PatchSamples, sample_patches
from stripread.ph import PhEstimate, infer_ph
from stripread.photo import Photo, fingerprint, open_photo
from stripread.pose import CardPose, solve_pose
from stripread.profile import Profile
from stripread.reasons import Reason
from stripread.reference import nominal_values
from stripread.results import PadColour, PhReading, Stamp, StripReading
from stripread.strip import FoundStrip, find_strips
from stripread.view import CardView, card_view, check_sharp

Array = NDArray[np.float64]

SOFTWARE = f"stripread {__version__}"
QUICK_PX_PER_MM = 3.5  # of the quick look: a 6 mm pad is then 21 pixels wide


@dataclass
class FurtherStrip:
    """What came of a strip that lies in the lane beside the first one."""

    strip: FoundStrip
    samples: PadSamples | None = None
    pads: PadSet | None = None
    estimate: PhEstimate | None = None
    reasons: list[Reason] = field(default_factory=list)


@dataclass
class Trace:
    """What each stage of one photo came to, as far as it got: for the overlay, for calibration and for tests."""

    photo: Photo | None = None
    pose: CardPose | None = None
    view: CardView | None = None
    samples: PatchSamples | None = None
    fix: ColourFix | None = None
    strip: FoundStrip | None = None
    further: list[FurtherStrip] = field(default_factory=list)
    pad_samples: PadSamples | None = None
    pads: PadSet | None = None
    estimate: PhEstimate | None = None
    reading: PhReading | None = None
    reasons: list[Reason] = field(default_factory=list)


@dataclass(frozen=True)
class Measured:
    """One photo measured without a profile: the card's patches and the strip's pads (or chart points), uncorrected."""

    samples: PatchSamples
    pads: PadSamples
    sha256: str
    taken_at: str | None
    reasons: tuple[Reason, ...]


def find_card(data: bytes, trace: Trace) -> CardView:
    """Open the photo, find the card, rectify it and sample its patches.

    Raises
    ------
    Refused
        When the photo can't be opened, the card can't be found, or it is too blurred, dark or bright.
    """
    trace.photo, trace.pose = _locate(data, trace)
    trace.view = card_view(trace.photo, trace.pose)
    check_sharp(trace.view)
    trace.samples = sample_patches(trace.view, layout())
    verdicts.check_exposure(trace.samples, layout())
    return trace.view


def _locate(data: bytes, trace: Trace) -> tuple[Photo, CardPose]:
    """Open the photo and find the card: a large photo first at half the working size: enough for a near card.

    Raises
    ------
    Refused
        As ``open_photo`` and ``solve_pose`` do.
    """
    trace.photo = quick = open_photo(data, quick=True)
    refused: Refused | None = None
    try:
        pose = solve_pose(find_markers(quick), layout(), quick)
        if not quick.quick or pose.px_per_mm >= QUICK_PX_PER_MM:
            return quick, pose
    except Refused as problem:
        refused = problem
    if quick.quick:
        trace.photo = open_photo(data)
        try:
            return trace.photo, solve_pose(find_markers(trace.photo), layout(), trace.photo)
        except Refused as problem:
            refused = problem
    assert refused is not None
    raise Refused(verdicts.why_no_card(trace.photo, refused.reason)) from None


def find_pads(view: CardView, kind: StripKind, trace: Trace) -> PadSamples:
    """Find the strip in the rectified card and average its pads.

    Raises
    ------
    Refused
        When there is no strip, it is of another kind, or its pads can't be used.
    """
    trace.strip, *others = find_strips(view, kind)
    trace.further = [FurtherStrip(strip) for strip in others]
    trace.pad_samples = sample_pads(view, trace.strip)
    trace.reasons += trace.pad_samples.reasons
    return trace.pad_samples


def measure(data: bytes, kind: StripKind) -> Measured:
    """Measure a strip photo for calibration.

    Raises
    ------
    Refused
        As ``find_card`` and ``find_pads`` do.
    """
    trace = Trace()
    pads = find_pads(find_card(data, trace), kind, trace)
    assert trace.samples is not None
    assert trace.photo is not None
    return Measured(trace.samples, pads, trace.photo.sha256, trace.photo.taken_at, tuple(trace.reasons))


def measure_points(data: bytes, points_mm: Array, radius_mm: float = 1.5) -> Measured:
    """Measure spots (N, 2) mm of something lying on the card: the maker's chart.

    Raises
    ------
    Refused
        As ``find_card`` does.
    """
    trace = Trace()
    view = find_card(data, trace)
    assert trace.samples is not None
    assert trace.photo is not None
    pads = sample_pads(view, _spots(view, points_mm, radius_mm))
    # The chart hides patches of the card; the robust fit drops those that no longer look like themselves.
    return Measured(trace.samples, pads, trace.photo.sha256, trace.photo.taken_at, tuple(trace.reasons))


def read_ph(data: bytes, profile: Profile, name: str = "") -> PhReading:
    """Read the pH from one photo. Never raises for a bad photo: the reading is then refused, with its reason."""
    reading = trace_ph(data, profile, name).reading
    assert reading is not None
    return reading


def trace_ph(data: bytes, profile: Profile, name: str = "") -> Trace:
    """Read the pH from one photo and keep what every stage came to."""
    start = time.perf_counter()
    trace = Trace()
    try:
        view = find_card(data, trace)
        pads = find_pads(view, profile.kind, trace)
        assert trace.samples is not None
        trace.fix = fix_colour(trace.samples, profile.card_values or nominal_values())
        trace.reasons += verdicts.doubts_of_fix(trace.fix, trace.samples, profile.card_values)
        trace.pads = pads_to_lab(pads, trace.fix).widened(profile.quality.doubt_scale)
        trace.estimate = infer_ph(trace.pads, profile)
        trace.reasons += verdicts.doubts_of_estimate(trace.estimate, trace.pads, profile)
    except Refused as refused:
        trace.reasons.append(refused.reason)
        trace.estimate = None
    for further in trace.further:
        _read_further(further, trace, profile)
    trace.reading = _reading(
        trace, profile, Stamp(name, _sha(trace, data), SOFTWARE, time.perf_counter() - start, _taken(trace))
    )
    return trace


def _read_further(further: FurtherStrip, trace: Trace, profile: Profile) -> None:
    """Read a strip beside the first one, with the photo's one colour fit."""
    if trace.view is None or trace.fix is None:
        return
    try:
        further.samples = sample_pads(trace.view, further.strip)
        further.reasons += further.samples.reasons
        further.reasons += verdicts.doubts_of_fix(trace.fix, _sampled(trace), profile.card_values)
        further.pads = pads_to_lab(further.samples, trace.fix).widened(profile.quality.doubt_scale)
        further.estimate = infer_ph(further.pads, profile)
        further.reasons += verdicts.doubts_of_estimate(further.estimate, further.pads, profile)
    except Refused as refused:
        further.reasons.append(refused.reason)
        further.estimate = None


def _sampled(trace: Trace) -> PatchSamples:
    assert trace.samples is not None  # wherever there is a fix
    return trace.samples


def _reading(trace: Trace, profile: Profile, stamp: Stamp) -> PhReading:
    first = strip_reading(trace.estimate, profile, _pad_colours(trace.pads, trace.pose), trace.reasons)
    others = (
        ()
        if trace.fix is None
        else tuple(
            strip_reading(f.estimate, profile, _pad_colours(f.pads, trace.pose), f.reasons) for f in trace.further
        )
    )
    return reading_of(stamp, profile, first, () if trace.strip is None else (first, *others))


def strip_reading(
    estimate: PhEstimate | None, profile: Profile, pads: tuple[PadColour, ...], reasons: list[Reason]
) -> StripReading:
    """What is told of one strip; ``estimate`` is None when it was refused."""
    told = tuple(dict.fromkeys(reasons))
    if estimate is None:
        return StripReading(None, None, pads=pads, reasons=told)
    interval = verdicts.evident_interval(estimate, profile)
    return StripReading(estimate.ph, interval, estimate.alternatives, pads, estimate.misfit, told, estimate.budget)


def reading_of(stamp: Stamp, profile: Profile, first: StripReading, strips: tuple[StripReading, ...]) -> PhReading:
    """A reading whose value is that of its first strip."""
    return PhReading(
        stamp,
        first.ph,
        first.interval,
        first.alternatives,
        first.pads,
        first.misfit,
        first.reasons,
        profile.name,
        first.budget,
        strips,
    )


def _pad_colours(pads: PadSet | None, pose: CardPose | None) -> tuple[PadColour, ...]:
    if pads is None or pose is None:
        return ()
    colours = []
    for lab, sd, corners in zip(pads.lab, pads.sd, pads.corners_mm, strict=True):
        quad = pose.to_full_px(corners)
        colours.append(
            PadColour(
                (float(lab[0]), float(lab[1]), float(lab[2])),
                (float(sd[0]), float(sd[1]), float(sd[2])),
                tuple((float(x), float(y)) for x, y in quad),
            )
        )
    return tuple(colours)


def _sha(trace: Trace, data: bytes) -> str:
    return trace.photo.sha256 if trace.photo is not None else fingerprint(data)


def _taken(trace: Trace) -> str | None:
    return trace.photo.taken_at if trace.photo is not None else None


def _spots(view: CardView, points_mm: Array, radius_mm: float) -> FoundStrip:
    """Round spots of the card dressed as the pads of a strip, so that they are averaged by the same code."""
    regions = []
    for x, y in points_mm:
        quad = np.array([[x - radius_mm, y - radius_mm], [x + radius_mm, y - radius_mm]])
        quad = np.concatenate([quad, [[x + radius_mm, y + radius_mm], [x - radius_mm, y + radius_mm]]])
        mask, origin = cover(view, quad, 0.0)
        rows, cols = np.indices(mask.shape)
        at = view.view_to_mm(np.stack([cols + origin[1], rows + origin[0]], axis=-1).reshape(-1, 2).astype(np.float64))
        round_mask = mask & (np.hypot(*(at - (x, y)).T) <= radius_mm).reshape(mask.shape)
        regions.append(PadRegion(quad, round_mask, origin, 0.0, 0.0, 0.0, False, 1.0, np.ones(3)))
    return FoundStrip(np.zeros((4, 2)), 0.0, "left", tuple(regions), 1.0, 2 * radius_mm, ())
