"""What a tint's answer means and does not prove, from stages' results: each condition and limit from both sides."""

from dataclasses import replace

import pytest

from stripread.tint.concentration import Concentration
from stripread.tint.conditions import TintConditions
from stripread.tint.profile import default_response
from stripread.tint.verdicts import CAUTIONS, DARK_SPREAD, WEAK_ABSORBANCE, WEAK_MG_PER_L, implications
from tests.unit.tint.test_verdict_table import EPS, tint_estimate

ACID = TintConditions("acid", "soft", ammonia_ph=9.8, flakes="no")


def _implied(found=None, conditions=ACID, metal="", known_depth=False, learned=True, **estimate):
    profile = replace(default_response(), learned=learned)
    return implications(tint_estimate(**estimate), found, conditions, profile, metal, known_depth=known_depth)


def _codes(*args, **known):
    codes = [r.code for r in _implied(*args, **known)]
    assert codes[-4:] == list(CAUTIONS)
    return codes[:-4]


def _found(limit):
    return Concentration(5.0, (4.0, 6.0), limit / 3, limit)


# (3.2 + 1.645) x 1.5 times the blank's scatter: the absorbance that is called copper in 95 % of cases.
PER_SD0 = 4.845 * 1.5


def test_without_a_depth_there_is_no_concentration():
    assert _codes() == ["path_unknown", "weak_limit"]
    (_, weak, *_) = _implied()
    assert weak.value == pytest.approx(0.01 * PER_SD0)
    assert f"an absorbance of {0.01 * PER_SD0:.3f}" in weak.message
    assert _codes(sd0=WEAK_ABSORBANCE / PER_SD0 * 0.999) == ["path_unknown"]
    assert _codes(sd0=WEAK_ABSORBANCE / PER_SD0 * 1.001) == ["path_unknown", "weak_limit"]
    assert _codes(known_depth=True) == []  # it was given: something else was in the way


def test_a_weak_limit_is_told_in_mg_l():
    assert _codes(_found(WEAK_MG_PER_L)) == []
    (weak, *_) = _implied(_found(40.0))
    assert (weak.code, weak.value, weak.unit) == ("weak_limit", 40.0, "mg/L")
    assert "40 mg/L of copper or more" in weak.message
    assert _codes(_found(WEAK_MG_PER_L + 0.1)) == ["weak_limit"]
    assert _codes(_found(1.0), learned=False) == ["default_response"]
    assert _codes(learned=False, known_depth=True) == []


@pytest.mark.parametrize(
    ("absorbance", "interval", "beyond"),
    [
        (0.51, (0.4, 0.4 * DARK_SPREAD + EPS), True),
        (0.51, (0.4, 0.4 * DARK_SPREAD - EPS), False),
        (0.5, (0.1, 0.9), False),
    ],
)
def test_too_dark_to_tell_how_much(absorbance, interval, beyond):
    assert _codes(_found(1.0), absorbance=absorbance, interval=interval) == ["beyond_range"] * beyond


@pytest.mark.parametrize(
    ("conditions", "codes"),
    [
        (ACID, []),
        (TintConditions("neutral", "soft", ammonia_ph=9.8, flakes="no"), []),
        (TintConditions("acid", "hard", ammonia_ph=9.8, flakes="no"), []),
        (TintConditions("neutral", "hard", ammonia_ph=9.8, flakes="no"), ["clear_not_proof"]),
        (TintConditions("unknown", "hard", ammonia_ph=9.8, flakes="no"), ["clear_not_proof"]),
        (TintConditions("unknown", "soft", ammonia_ph=9.8, flakes="no"), []),
        (TintConditions("acid", "unknown", ammonia_ph=9.8, flakes="no"), []),
        (TintConditions("neutral", "unknown", ammonia_ph=9.8, flakes="no"), ["taking_unknown"]),
        (TintConditions(ammonia_ph=9.8, flakes="no"), ["taking_unknown"]),
        (TintConditions("acid", "soft", ammonia_ph=1.6), ["still_acid"]),
        (TintConditions("acid", "soft", "no"), ["ammonia_short"]),
        (TintConditions("acid", "soft", "yes"), ["ammonia_smelled"]),
        (TintConditions("acid", "soft"), ["ammonia_unknown"]),
        (TintConditions("acid", "soft", ammonia_ph=13.0, flakes="no"), ["ammonia_unknown"]),  # lye is no ammonia
    ],
)
def test_what_a_clear_test_leaves_open(conditions, codes):
    clear = {"decision": "none seen", "signal": 0.0, "absorbance": 0.0, "interval": (0.0, 0.01)}
    assert _codes(_found(1.0), conditions, **clear) == codes
    assert _codes(_found(1.0), conditions, **(clear | {"decision": "undecided"})) == codes
    assert _codes(_found(1.0), conditions) == []  # of copper that is seen nothing is left open
    if codes == ["still_acid"]:
        assert "pH 1.6" in _implied(_found(1.0), conditions, **clear)[0].message


def test_the_metal_that_was_named_is_told_of():
    assert _codes(_found(1.0), metal="25 g of silver") == ["limit_meaning"]
    assert "25 g of silver" in _implied(_found(1.0), metal="25 g of silver")[0].message
