"""What is said of a tint, from stages' results: each limit from both sides, one row a case.

The limits themselves stand in ``stripread/tint/tuned.toml``; rows take them from there and step to either side.
"""

from dataclasses import dataclass, field, replace

import numpy as np
import pytest

from stripread.tint.estimate import (
    CALLED,
    FAINT,
    NICKEL_EVEN,
    NICKEL_LIKELY,
    NICKEL_PLAIN,
    OTHER_COLOUR,
    PLAIN,
    WEAK,
    TintEstimate,
    _decide,
    is_nickel,
)
from stripread.tint.verdicts import (
    CLEAR,
    COPPER_LIKE,
    DEEP_BLUE,
    DEEP_RED,
    DEEP_SHARE,
    GREY_HIGH,
    GREY_LOW,
    ONE_SIDED,
    PALE,
    PALE_GREEN,
    PERHAPS,
    RED_WHOLE,
    SATURATED,
    STRONG,
    TOO_LIKELY,
    UNEVEN,
    UNEVEN_SHARE,
    VEILED,
    judge,
    measured,
)
from tests.unit.tint.test_estimate import sample_of

GRID = np.linspace(-0.1, 1.0, 12)
EPS = 1e-6


def tint_estimate(**known):
    """Clear copper: an absorbance of 0.1, ten times the blank's scatter, nothing doubtful."""
    usual = {"absorbance": 0.1, "interval": (0.08, 0.12), "noise_sd": 0.004, "signal": 0.1, "sd0": 0.01, "misfit": 1.0}
    usual |= {"grey": 0.0, "probability": 1.0, "nickel": 0.0, "decision": "copper"}
    return TintEstimate(grid=GRID, density=np.ones(12), **(usual | known))


@dataclass(frozen=True)
class Case:
    """Sample and estimate where they differ from clear copper; the decision and the codes that must come of them."""

    decision: str
    codes: tuple[str, ...] = ()
    ratio: tuple[float, float, float] = (0.8, 0.9, 0.95)
    sample: dict = field(default_factory=dict)
    estimate: dict = field(default_factory=dict)
    words: str = ""


NONE = {"decision": "none seen", "signal": 0.0, "absorbance": 0.0, "interval": (-0.01, 0.01)}
PLAIN_NICKEL = {"nickel": 0.9, "decision": "undecided"}
CLEAR_ONE = (1.0, 1.0, 1.0)
DEEP = (0.1, 0.5, 0.8)
CASES = {
    "clear copper": Case("copper"),
    "nothing": Case("none seen", ratio=CLEAR_ONE, estimate=NONE),
    "near the limit": Case("undecided", ("near_limit",), estimate={"decision": "undecided"}),
    # Where the paper was not seen
    "blank hidden": Case("copper", ("paper_hidden",), sample={"hidden": "blank"}, words="blank vial"),
    "sample hidden": Case("undecided", ("paper_hidden",), sample={"hidden": "sample"}, words="sample vial"),
    "both hidden": Case("undecided", ("paper_hidden",), sample={"hidden": "both"}, words="both vials"),
    "guessed, nothing": Case("undecided", (), CLEAR_ONE, {"guessed": True}, NONE),
    "guessed, copper": Case("copper", (), sample={"guessed": True}),
    # A cloud: the printed ring is not seen
    "a little cloud": Case("undecided", ("cloudy",), CLEAR_ONE, {"clarity": CLEAR - EPS}, NONE, "52%"),
    "clear enough": Case("none seen", (), CLEAR_ONE, {"clarity": CLEAR}, NONE),
    "ring not seen in both": Case("none seen", (), CLEAR_ONE, {"clarity": float("nan")}, NONE),
    "hydroxide": Case("copper", ("pale_blue_precipitate",), sample={"clarity": 0.3}),
    "hydroxide, hardly less red than green": Case(
        "copper", ("pale_blue_precipitate",), (0.8, 0.8 / (0.97 - 1e-3), 0.95), {"clarity": 0.3}
    ),
    "a cloud as red as green": Case("undecided", ("cloudy",), (0.8, 0.8 / (0.97 + 1e-3), 0.95), {"clarity": 0.3}),
    "a cloud, blue just strong": Case(
        "copper", ("pale_blue_precipitate",), sample={"clarity": 0.3}, estimate={"signal": STRONG + EPS}
    ),
    "a cloud, too weak a blue": Case("undecided", ("cloudy",), sample={"clarity": 0.3}, estimate={"signal": STRONG}),
    "a cloud that took the blue": Case("undecided", ("cloudy",), (0.8, 0.9, 0.8 / 0.85 - 1e-3), {"clarity": 0.3}),
    "a cloud that left it": Case("copper", ("pale_blue_precipitate",), (0.8, 0.9, 0.8 / 0.85 + 1e-3), {"clarity": 0.3}),
    "a cloud of nickel": Case("undecided", ("cloudy",), sample={"clarity": 0.3}, estimate=PLAIN_NICKEL),
    "a dark cloud": Case("undecided", ("cloudy",), (0.2, PALE_GREEN - EPS, 0.5), {"clarity": 0.3}),
    "a darkish cloud": Case("copper", ("pale_blue_precipitate",), (0.2, PALE_GREEN, 0.5), {"clarity": 0.3}),
    # A veil: the ring shows, yet blue is gone too
    "a veil": Case(
        "copper", ("pale_blue_precipitate",), (0.7, 0.9, VEILED - EPS), estimate={"misfit": 2 * OTHER_COLOUR + EPS}
    ),
    "no veil, blue is whole": Case(
        "copper",
        ("other_colour",),
        (0.7, 0.9, VEILED),
        estimate={"misfit": 2 * OTHER_COLOUR + EPS},
        words="squared distance",
    ),
    "no veil, it fits": Case(
        "copper", ("other_colour",), (0.7, 0.9, VEILED - EPS), estimate={"misfit": 2 * OTHER_COLOUR}
    ),
    "a veil without enough blue": Case(
        "copper", ("other_colour",), (0.7, 0.9, VEILED - EPS), estimate={"misfit": 12.0, "signal": PALE}
    ),
    "a veil with just enough": Case(
        "copper", ("pale_blue_precipitate",), (0.7, 0.9, VEILED - EPS), estimate={"misfit": 12.0, "signal": PALE + EPS}
    ),
    "a red veil": Case(
        "copper", ("other_colour",), (0.9**COPPER_LIKE + 1e-3, 0.9, VEILED - EPS), estimate={"misfit": 12.0}
    ),
    # Red is gone, green is not
    "deep blue": Case("copper", (), DEEP),
    "deep blue over hidden paper": Case("copper", ("paper_hidden",), DEEP, {"hidden": "sample"}),
    "deep blue in a cloud": Case("copper", ("cloudy",), (0.07, 0.28, 0.8), {"clarity": 0.3}),
    "deep blue in a cloud, hidden": Case(
        "copper", ("paper_hidden",), (0.07, 0.28, 0.8), {"clarity": 0.3, "hidden": "sample"}
    ),
    "deep, red is left": Case("undecided", ("paper_hidden",), (DEEP_RED, 0.6, 0.8), {"hidden": "sample"}),
    "deep, red is nearly gone": Case("copper", ("paper_hidden",), (DEEP_RED - EPS, 0.6, 0.8), {"hidden": "sample"}),
    "deep, green is going": Case("undecided", ("paper_hidden",), (0.12, 0.12 / DEEP_SHARE, 0.8), {"hidden": "sample"}),
    "deep, green is there": Case(
        "copper", ("paper_hidden",), (0.12, 0.12 / DEEP_SHARE + EPS, 0.8), {"hidden": "sample"}
    ),
    "deep green": Case("undecided", ("paper_hidden",), (0.1, 0.6, 0.6), {"hidden": "sample"}),
    "deep blue-green": Case("copper", ("paper_hidden",), (0.1, 0.6 - EPS, 0.6), {"hidden": "sample"}),
    "black": Case("undecided", ("paper_hidden",), (0.01, 0.2, DEEP_BLUE), {"hidden": "sample"}),
    "nearly black": Case("copper", ("paper_hidden",), (0.01, 0.2, DEEP_BLUE + EPS), {"hidden": "sample"}),
    "deep, perhaps nickel": Case("copper", ("perhaps_nickel",), DEEP, estimate={"nickel": PERHAPS + EPS}, words="2%"),
    "deep, hardly nickel": Case("copper", (), DEEP, estimate={"nickel": PERHAPS}),
    "deep, likely nickel": Case("undecided", ("perhaps_nickel",), DEEP, estimate={"nickel": TOO_LIKELY + EPS}),
    "deep, less likely": Case("copper", ("perhaps_nickel",), DEEP, estimate={"nickel": TOO_LIKELY}),
    "deep, another colour": Case("copper", ("perhaps_nickel",), DEEP, estimate={"misfit": OTHER_COLOUR + EPS}),
    "deep, still copper's": Case("copper", (), DEEP, estimate={"misfit": OTHER_COLOUR}),
    # By the colour
    "another colour": Case(
        "undecided", ("other_colour",), estimate={"misfit": OTHER_COLOUR + EPS, "decision": "undecided"}
    ),
    "just copper's": Case("copper", (), estimate={"misfit": OTHER_COLOUR}),
    "less than nothing": Case(
        "undecided", ("other_colour",), CLEAR_ONE, estimate=NONE | {"signal": -0.035 - EPS, "decision": "undecided"}
    ),
    "hardly less than nothing": Case("none seen", (), CLEAR_ONE, estimate=NONE | {"signal": -0.035}),
    "plain nickel": Case("undecided", ("other_colour",), estimate=PLAIN_NICKEL, words="violet-blue"),
    "yellow": Case(
        "undecided",
        ("other_colour",),
        (0.9, 0.9, 0.9 * np.exp(-0.011)),
        estimate={"misfit": 9.0, "decision": "undecided"},
        words="yellow or brown",
    ),
    "not yet yellow": Case(
        "undecided",
        ("other_colour",),
        (0.9, 0.9, 0.9 * np.exp(-0.009)),
        estimate={"misfit": 9.0, "decision": "undecided"},
        words="squared distance to copper's colours is 9, and 6",
    ),
    "yellow against the lesser of red and green": Case(
        "undecided",
        ("other_colour",),
        (0.9, 1.0, 0.89),
        estimate={"misfit": 9.0, "decision": "undecided"},
        words="yellow or brown",
    ),
    "lighter than the blank": Case(
        "undecided",
        ("other_colour",),
        (1.0, np.exp(0.051), 1.0),
        estimate={"misfit": 9.0, "decision": "undecided"},
        words="lighter than the blank: haze",
    ),
    "hardly lighter": Case(
        "undecided",
        ("other_colour",),
        (1.0, np.exp(0.049), 1.0),
        estimate={"misfit": 9.0, "decision": "undecided"},
        words="squared distance",
    ),
    # Strong, and perhaps nickel
    "saturated, perhaps nickel": Case(
        "copper", ("perhaps_nickel",), estimate={"absorbance": SATURATED + EPS, "nickel": PERHAPS + EPS}
    ),
    "saturated, likely nickel": Case(
        "undecided", ("perhaps_nickel",), estimate={"absorbance": SATURATED + EPS, "nickel": TOO_LIKELY + EPS}
    ),
    "saturated, less likely": Case(
        "copper", ("perhaps_nickel",), estimate={"absorbance": SATURATED + EPS, "nickel": TOO_LIKELY}
    ),
    "saturated, hardly nickel": Case("copper", (), estimate={"absorbance": SATURATED + EPS, "nickel": PERHAPS}),
    "not saturated": Case("copper", (), estimate={"absorbance": SATURATED, "nickel": TOO_LIKELY + EPS}),
    "saturated but not called": Case(
        "undecided", ("near_limit",), estimate={"absorbance": 0.3, "nickel": 0.04, "decision": "undecided"}
    ),
    # Vessels that are no pair
    "red is stronger": Case("undecided", ("other_colour",), (RED_WHOLE + 1e-3, 1.0, 1.0), words="red is 0.3% stronger"),
    "red is not stronger": Case("copper", (), (RED_WHOLE, 1.0, 1.0)),
    "red is stronger in a clear one": Case("none seen", (), (RED_WHOLE + 1e-3, 1.0, 1.0), estimate=NONE),
    "lighter": Case(
        "undecided",
        ("other_colour",),
        CLEAR_ONE,
        estimate=NONE | {"grey": GREY_HIGH},
        words="lighter than the blank by 5%",
    ),
    "a little lighter": Case("none seen", (), CLEAR_ONE, estimate=NONE | {"grey": GREY_HIGH - EPS}),
    "darker": Case(
        "undecided",
        ("other_colour",),
        CLEAR_ONE,
        estimate=NONE | {"grey": GREY_LOW},
        words="darker than the blank by 7%",
    ),
    "a little darker": Case("none seen", (), CLEAR_ONE, estimate=NONE | {"grey": GREY_LOW + EPS}),
    "darker, but a strong blue": Case("copper", (), estimate={"grey": -0.1, "signal": STRONG}),
    "darker, not so strong a blue": Case(
        "undecided", ("other_colour",), estimate={"grey": -0.1, "signal": STRONG - EPS}
    ),
    # Uneven
    "one-sided": Case("undecided", ("uneven_liquid",), sample={"sided": ONE_SIDED + EPS}, words="drifts by 20%"),
    "hardly one-sided": Case("copper", (), sample={"sided": ONE_SIDED}),
    "uneven, strong": Case(
        "copper", ("uneven_liquid",), sample={"uneven": UNEVEN + 0.1 * UNEVEN_SHARE + EPS}, words="varies by 5%"
    ),
    "not too uneven": Case("copper", (), sample={"uneven": UNEVEN + 0.1 * UNEVEN_SHARE - EPS}),
    "uneven, just strong": Case("copper", ("uneven_liquid",), sample={"uneven": 0.1}, estimate={"signal": STRONG}),
    "uneven, weak": Case("undecided", ("uneven_liquid",), sample={"uneven": 0.1}, estimate={"signal": STRONG - EPS}),
    "uneven, nothing": Case(
        "undecided", ("uneven_liquid",), CLEAR_ONE, {"uneven": UNEVEN + EPS}, NONE | {"signal": -0.02}
    ),
    "even, nothing": Case("none seen", (), CLEAR_ONE, {"uneven": UNEVEN - EPS}, NONE | {"signal": -0.02}),
}


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_a_verdict(case):
    estimate, reasons = judge(replace(sample_of(case.ratio), **case.sample), tint_estimate(**case.estimate))
    assert (estimate.decision, tuple(r.code for r in reasons)) == (case.decision, case.codes)
    assert case.words in " ".join(r.message for r in reasons)


@pytest.mark.parametrize(
    ("signal", "misfit", "nickel", "decision"),
    [
        (0.0, 0.0, 0.0, "none seen"),
        (1.644, 0.0, 0.0, "none seen"),  # a blank exceeds 1.645 in 5 % of cases (normal distribution)
        (1.646, 0.0, 0.0, "undecided"),
        (CALLED, 0.0, 0.0, "undecided"),
        (CALLED + 1e-6, 0.0, 0.0, "copper"),
        (20.0, OTHER_COLOUR, 0.0, "copper"),
        (20.0, OTHER_COLOUR + 1e-6, 0.0, "undecided"),
        (0.0, OTHER_COLOUR + 1e-6, 0.0, "undecided"),
        (-3.49, 0.0, 0.0, "none seen"),
        (-3.51, 0.0, 0.0, "undecided"),
        (20.0, 0.0, NICKEL_PLAIN + 1e-6, "undecided"),
        (20.0, 0.0, NICKEL_PLAIN, "copper"),
        (1.0, 0.0, 0.99, "none seen"),
    ],
)
@pytest.mark.parametrize("sd0", [0.5, 2.0])
def test_the_decision_by_its_limits(signal, misfit, nickel, decision, sd0):
    assert _decide(signal * sd0, sd0, misfit, nickel) == decision


@pytest.mark.parametrize(
    ("signal", "limit"),
    [
        (CALLED + 0.01, NICKEL_EVEN),
        (FAINT, NICKEL_EVEN),
        (0.5 * (FAINT + WEAK), 0.5 * (NICKEL_EVEN + NICKEL_LIKELY)),
        (WEAK, NICKEL_LIKELY),
        (0.5 * (WEAK + PLAIN), 0.5 * (NICKEL_LIKELY + NICKEL_PLAIN)),
        (PLAIN, NICKEL_PLAIN),
        (40.0, NICKEL_PLAIN),
    ],
)
def test_the_weaker_a_blue_the_likelier_nickel_has_to_be(signal, limit):
    for sd0 in (0.5, 2.0):
        assert is_nickel(signal * sd0, sd0, limit + 1e-6)
        assert not is_nickel(signal * sd0, sd0, limit - 1e-6)
    assert not is_nickel(CALLED, 1.0, 0.999)


@pytest.mark.parametrize(
    ("sample", "estimate", "expected"),
    [
        ({}, {}, True),
        ({"hidden": "blank"}, {}, True),
        ({"hidden": "sample"}, {}, False),
        ({"hidden": "both"}, {}, False),
        ({"guessed": True}, {}, False),
        ({"clarity": CLEAR}, {}, True),
        ({"clarity": CLEAR - EPS}, {}, False),
        ({"clarity": float("nan")}, {}, True),
        ({}, {"misfit": OTHER_COLOUR}, True),
        ({}, {"misfit": OTHER_COLOUR + EPS}, False),
        ({}, {"nickel": 0.9, "signal": 0.01 * PLAIN + EPS}, False),
        ({}, {"nickel": 0.9, "signal": 0.01 * PLAIN}, True),  # violet only where it is plain
        ({}, {"nickel": 0.2, "signal": 0.01 * PLAIN + EPS}, True),
    ],
)
def test_there_is_a_concentration_only_of_clear_liquid_over_paper(sample, estimate, expected):
    assert measured(replace(sample_of((0.8, 0.9, 0.95)), **sample), tint_estimate(**estimate)) == expected
