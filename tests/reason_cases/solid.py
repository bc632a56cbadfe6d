"""Reasons of the solid: its levels, its edge, and what it is described as."""

from contextlib import ExitStack
from dataclasses import replace
from types import SimpleNamespace
from unittest.mock import patch

import numpy as np

from stripread.card.layout import layout
from stripread.correction.fit import fix_colour
from stripread.solid.edge import _if_broad
from stripread.solid.estimate import estimate_solid
from stripread.solid.outline import _pale_heap
from stripread.solid.read import trace_solid
from tests.reason_cases.row import Row
from tests.scenes.solid import Solid, grains
from tests.unit.correction.test_fit import KNOWN, photo
from tests.unit.solid.test_estimate import PPM, sample_of

GRAINS = grains(Solid(0.2, 0.5, seed=3), (240, 240), PPM).astype(float)
FIX = fix_colour(photo(1), KNOWN)
WINDOW = layout().windows["sample"]


def estimated(sample):
    return estimate_solid(sample, FIX).reasons


def heap(share=GRAINS, **how):
    return estimated(sample_of(share, **how))


def with_dark(part):
    """A pale heap of which this part of the pixels is dark oxide."""
    share = np.ones((120, 120))
    share.ravel()[: round(part * share.size)] = 0.0
    return heap(share)


def mixed(part):
    """Oxide with specks everywhere, evenly strewn over this part of the pixels, each a mix of 80 % pale."""
    at = np.arange(240 * 240).reshape(240, 240) * 0.618034 % 1.0
    return heap(np.where(at < part, 0.8, 0.0))


def powder(part):
    """Oxide, and in this part of it, from the top on, even silver."""
    share = np.zeros((240, 240))
    share[: round(part * 240)] = 0.36
    return heap(share, rough=0.05)


def shining(part):
    return estimated(replace(sample_of(GRAINS), shine=part))


def beside(mm2):
    """A round bay of this area beside the solid."""
    px_per_mm = 20.0
    y, x = np.mgrid[0:100, 0:100] - 50.0
    bay = np.hypot(x, y) < np.sqrt(mm2 / np.pi) * px_per_mm
    left = float(_if_broad(bay, px_per_mm).sum()) / px_per_mm**2
    return estimated(replace(sample_of(GRAINS), left_out_mm2=left))


def pale(mm2):
    """A round heap of this area, a little darker than paper, in the window."""
    y, x = np.mgrid[0:300, 0:300] / 10.0 - 15.0
    places = np.stack([x + WINDOW.centre_mm[0], y + WINDOW.centre_mm[1]], axis=-1)
    grey = np.where(np.hypot(x, y) < np.sqrt(mm2 / np.pi), 0.85, 1.0).astype(np.float32)
    _pale_heap(SimpleNamespace(px_per_mm=10.0), WINDOW, grey, places)
    return ()


def described(low, high=0.5):
    """A solid whose mean colour is silver oxide's, and whose pale share lies between these."""
    oxide = replace(
        estimate_solid(sample_of(GRAINS), FIX), lab=np.array([20.0, 3.0, 5.0]), sd=np.ones(3), interval=(low, high)
    )
    with ExitStack() as stack:
        for name, value in (
            ("_finer", None),
            ("sample_solid", None),
            ("estimate_solid", replace(oxide, reasons=())),
            ("fix_colour", FIX),
        ):
            stack.enter_context(patch(f"stripread.solid.read.{name}", return_value=value))
        stack.enter_context(patch("stripread.solid.read.find_card", side_effect=_sampled))
        return trace_solid(b"").reading.reasons


def _sampled(data, trace):
    """A card found and sampled."""
    trace.samples = photo(1)


ROWS = [
    Row("no_solid", "30 square mm", lambda: pale(30.5), lambda: pale(29.5), "refused"),
    Row("few_grains", "0.2 for the batch", lambda: mixed(0.18), lambda: mixed(0.185), "doubtful", "doubtful"),
    Row("not_dark_and_pale", "1 % is dark", lambda: with_dark(0.0105), lambda: with_dark(0.0095), "doubtful"),
    Row("edge_like_paper", "2 square mm", lambda: beside(1.95), lambda: beside(2.1), "doubtful"),
    Row(
        "dark_is_light",
        "0.115 of paper white",
        lambda: heap(dark=0.113, rough=0.08),
        lambda: heap(dark=0.118, rough=0.08),
        "doubtful",
    ),
    Row("grey_part", "0.008 in patches", lambda: powder(0.022), lambda: powder(0.024), "doubtful"),
    Row("shine_on_solid", "2 %", lambda: shining(0.0199), lambda: shining(0.0201), "doubtful"),
    Row("fits_description", "a tenth is pale", lambda: described(0.101), lambda: described(0.099), "ok"),
]
