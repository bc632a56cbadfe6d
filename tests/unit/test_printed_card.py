"""A printed card judged: each check on either side of its limit, on patches as a phone may see them."""

from dataclasses import replace

import numpy as np
import pytest

from stripread.card.layout import MARKER_CORNERS_MM, layout
from stripread.card.values import nominal_values
from stripread.correction.fit import fix_colour
from stripread.errors import CallError
from stripread.printed.checks import enough_contrast, even_patches, in_colour, marks_seen, shining, to_scale
from stripread.printed.judge import judge_card
from stripread.printed.result import CardJudgement, Check
from stripread.results import Stamp
from tests.unit.correction.test_fit import PRINTED, photo

CARD = layout()
BY_NAME = {patch.id: n for n, patch in enumerate(CARD.patches)}


class Pose:
    def __init__(self, ids):
        self.ids = tuple(ids)


def printed(rgb=PRINTED, seed=3):
    """The fit and the patches of a print (N, 3), linear to the paper, as a made-up phone sees them."""
    samples = photo(seed, rgb)
    return fix_colour(samples, nominal_values()), samples


@pytest.mark.parametrize(
    ("mm", "state"),
    [
        (100.0, "right"),
        (99.5, "right"),
        (100.5, "right"),
        (99.4, "look"),
        (100.9, "look"),
        (101.1, "wrong"),
        (98.9, "wrong"),
        (94.0, "wrong"),
    ],
)
def test_the_bar_is_judged_as_well_as_a_ruler_is_read(mm, state):
    check = to_scale(mm)
    assert check.state == state
    assert f"{mm:g}" in check.message
    assert ("100 %" in check.message) == (state == "wrong")


def test_how_much_the_scale_is_off_is_said():
    assert "94.0 %" in to_scale(94.0).message
    assert to_scale(None).state == "unknown"


@pytest.mark.parametrize("mm", [19.9, 501.0, float("nan"), float("inf"), 3.94])
def test_a_slip_of_the_ruler_is_asked_about(mm):
    with pytest.raises(CallError, match="near 100"):
        to_scale(mm)


def test_marks():
    assert marks_seen(Pose(MARKER_CORNERS_MM), CARD).state == "right"
    assert marks_seen(Pose(list(MARKER_CORNERS_MM)[:5]), CARD).state == "look"


def test_a_good_print_is_in_colour():
    assert in_colour(*printed(), CARD).state == "right"


def test_a_grey_print():
    grey = np.repeat(PRINTED.mean(axis=1, keepdims=True), 3, axis=1)
    check = in_colour(*printed(grey), CARD)
    assert check.state == "wrong"
    assert "grey" in check.message


@pytest.mark.parametrize(("channel", "ink"), [(0, "cyan"), (1, "magenta"), (2, "yellow")])
def test_an_ink_that_is_missing_is_named(channel, ink):
    """Of a cartridge that is nearly empty colours get a sixth of their ink; greys are printed with black."""
    rgb = PRINTED.copy()
    colours = [n for n, patch in enumerate(CARD.patches) if patch.role == "colour"]
    rgb[colours, channel] **= 1 / 6
    check = in_colour(*printed(rgb), CARD)
    assert check.state == "wrong"
    assert ink in check.message


@pytest.mark.parametrize(("black", "state"), [(0.05, "right"), (0.14, "right"), (0.26, "look"), (0.45, "wrong")])
def test_black_must_be_dark(black, state):
    rgb = black + (1 - black) * (PRINTED - PRINTED.min()) / (PRINTED.max() - PRINTED.min())
    assert enough_contrast(*printed(rgb), CARD).state == state


def test_steps_that_run_together_are_counted():
    rgb = PRINTED.copy()
    for ramp in "ab":
        for n in (1, 2, 3, 4):
            rgb[BY_NAME[f"{ramp}{n:02d}"]] = rgb[BY_NAME[f"{ramp}00"]]
    check = enough_contrast(*printed(rgb), CARD)
    assert check.state == "look"
    assert "7 of 11" in check.message


def test_mirrored_light_on_one_of_two_dark_steps():
    rgb = PRINTED.copy()
    assert shining(*printed(rgb), CARD).state == "unknown"  # one photo never says that paper is matt
    rgb[BY_NAME["a01"]] += 0.1
    assert shining(*printed(rgb), CARD).state == "look"


def test_uneven_patches_are_counted():
    _, samples = printed()
    assert even_patches(samples).state == "right"
    usable = samples.usable.copy()
    usable[:3] = False
    check = even_patches(replace(samples, usable=usable))
    assert check.state == "look"
    assert "3 of 74" in check.message


@pytest.mark.parametrize(
    ("states", "verdict"),
    [
        (["right", "unknown"], "ok"),
        (["right", "look", "unknown"], "look_twice"),
        (["look", "wrong", "right"], "print_again"),
        ([], None),
    ],
)
def test_the_verdict_is_the_worst_check(states, verdict):
    checks = tuple(Check("marks", state, "…") for state in states)
    assert CardJudgement(Stamp("x", "", "", 0.0), checks).verdict == verdict


def test_no_picture_is_refused_with_what_to_do():
    told = judge_card(b"nothing", "x", 100.0).to_dict()
    assert told["status"] == "refused"
    assert told["verdict"] is None
    assert told["message"] == told["reasons"][0]["message"]
