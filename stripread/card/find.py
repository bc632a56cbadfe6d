"""Photo to card: opened, found, laid flat, its patches sampled. All three readings start here."""

from __future__ import annotations

from dataclasses import dataclass

from stripread.card.exposure import check_exposure, why_no_card
from stripread.card.layout import layout
from stripread.card.markers import find_markers
from stripread.card.patches import PatchSamples, sample_patches
from stripread.card.pose import CardPose, solve_pose
from stripread.card.view import CardView, card_view, check_sharp
from stripread.errors import Refused
from stripread.photo import Photo, Source, fingerprint, open_photo
from stripread.results import SOFTWARE, Stamp

QUICK_PX_PER_MM = 3.5  # of the quick look: a 6 mm pad is then 21 pixels wide


@dataclass
class CardTrace:
    """What each stage of finding the card came to, as far as it got: for pictures, calibration and tests."""

    photo: Photo | None = None
    pose: CardPose | None = None
    view: CardView | None = None
    samples: PatchSamples | None = None

    def stamp(self, name: str, data: Source, seconds: float) -> Stamp:
        """What is known of the reading whatever came of it; ``data`` is the photo itself."""
        if self.photo is None:
            return Stamp(name, fingerprint(data), SOFTWARE, seconds, None)
        return Stamp(name, self.photo.sha256, SOFTWARE, seconds, self.photo.taken_at)


def find_card(data: Source, trace: CardTrace) -> CardView:
    """Find the card, rectify it and sample its patches; the stages are kept in ``trace``.

    ``data`` is a file's bytes, or pixels (H, W, 3) uint8 as ``open_photo`` takes them.

    Raises
    ------
    Refused
        When the photo can't be opened, the card can't be found, or it is too blurred, dark or bright.
    """
    trace.photo, trace.pose = _locate(data, trace)
    trace.view = card_view(trace.photo, trace.pose)
    check_sharp(trace.view)
    trace.samples = sample_patches(trace.view, layout())
    check_exposure(trace.samples, layout())
    return trace.view


def _locate(data: Source, trace: CardTrace) -> tuple[Photo, CardPose]:
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
    raise Refused(why_no_card(trace.photo, refused.reason)) from None
