"""Reasons of the tint: vials, colour, meaning, cautions."""

from dataclasses import replace

import numpy as np

from stripread.card.view import CardView
from stripread.reasons import because
from stripread.tint.cells import FEWEST_PATCHES, SecondPhoto, matched, unlike, unmatched
from stripread.tint.concentration import Concentration
from stripread.tint.conditions import TintConditions
from stripread.tint.estimate import _decide, estimate_tint
from stripread.tint.profile import TintProfile, default_response
from stripread.tint.read import _both
from stripread.tint.sample import _hidden
from stripread.tint.verdicts import CAUTIONS, implications, judge
from stripread.window.liquid import liquid_mean
from stripread.window.vials import Vial, Vials
from tests.reason_cases.row import Row
from tests.unit.tint.test_estimate import sample_of

WHITE = CardView(np.full((600, 900, 3), 200, np.uint8), 5.0, 6.0, np.ones((600, 900), bool), 0.3, 1.5)
VIAL = Vial((), np.ones((20, 20), bool), (300, 200), 16.0, (35.0, 55.0), 0.5)
PLAIN = sample_of((1.0, 1.0, 1.0))
NOTHING = estimate_tint(PLAIN)
BLUE = sample_of((0.9, 0.95, 1.0))
COPPER = estimate_tint(BLUE)
SURE = TintConditions("acid", "soft", "yes")


def vials(sample, blank):
    return _both(WHITE, Vials(sample, blank))[1]


def averaged(pixels):
    """A vessel of which so many pixels are clear liquid."""
    mask = np.zeros((20, 20), bool)
    mask.ravel()[:pixels] = True
    liquid_mean(WHITE, replace(VIAL, mask=mask))
    return ()


def hidden(level):
    """The sample's brightest channel against paper, beside a blank over paper; no ring is seen in it."""
    return judged(hidden=_hidden((level, 1.0), (0.0, 0.5)))


def _lost_cells():
    """A second photo that was refused."""
    return matched(PLAIN, SecondPhoto("blank", None, because("no_vial", "left or right")))[2]


def judged(sample=PLAIN, estimate=NOTHING, change=None, **seen):
    return judge(replace(sample, **seen), replace(estimate, **(change or {})))[1]


def blue(**change):
    return judged(BLUE, COPPER, change)


def deep(nickel, absorbance=0.3):
    return blue(nickel=nickel, absorbance=absorbance, decision="copper")


def called(sds):
    """The estimate lies so many standard deviations above nothing."""
    signal = sds * NOTHING.sd0
    return judged(change={"signal": signal, "nickel": 0.0, "decision": _decide(signal, NOTHING.sd0, 0.0, 0.0)})


def clouded(signal):
    return judged(BLUE, COPPER, {"signal": signal, "nickel": 0.0}, ratio=np.array([0.6, 0.75, 0.95]), clarity=0.2)


def meaning(estimate=NOTHING, found=None, conditions=SURE, metal="", *, learned=True, known_depth=True, **change):
    profile = replace(default_response(), learned=learned)
    return implications(replace(estimate, **change), found, conditions, profile, metal, known_depth=known_depth)


def by_phone(camera):
    """A concentration by this camera with the profile of standards that camera "one" took."""
    profile = TintProfile(0.0009, 0.03, learned=True, cameras=("one",)).of_phone(camera)
    return implications(NOTHING, Concentration(0.0, (0.0, 1.0), 1.0, 2.0), SURE, profile, "", known_depth=True)


def limit_mg(value):
    return meaning(found=Concentration(0.0, (0.0, 1.0), 0.5 * value, value))


def limit_absorbance(value):
    """A photo whose detection limit is this absorbance: (3.2 + 1.645) x 1.5 standard deviations of a blank."""
    found = meaning(known_depth=False, sd0=value / (4.845 * 1.5))
    return [r for r in found if r.code != "path_unknown"]


def dark(spread):
    return meaning(COPPER, absorbance=0.6, interval=(0.4, 0.4 * spread), decision="copper")


def taken(wash, water, excess="yes"):
    return meaning(conditions=TintConditions(wash, water, excess))


def cells(ratio, matching="blank", light=0.0):
    """A pair with nothing in it, and a second photo of it."""
    other = replace(PLAIN, ratio=np.array(ratio), log_light=np.full(3, light))
    return matched(PLAIN, SecondPhoto(matching, other))[2]


def later(hours, matching="blank", **second):
    """A pair with nothing in it, and a second photo of it so many hours before."""
    return matched(PLAIN, SecondPhoto(matching, PLAIN, age_h=hours, **second))[2]


def lamp(moved):
    """A second photo in which a quarter of the card's patches moved so far (natural log) from red to green."""
    before = np.zeros((4 * FEWEST_PATCHES, 3))
    after = before.copy()
    after[::4] = np.array([1.0, -1.0, 0.0]) * moved / np.sqrt(2.0)
    return matched(replace(PLAIN, patches=before), SecondPhoto("blank", replace(PLAIN, patches=after)))[2]


def own_cells(blue):
    """A cell blank of its own whose blue is off by so much, natural log."""
    why = unlike(replace(PLAIN, ratio=np.array([1.0, 1.0, np.exp(blue)])))
    return [because("cells_unlike", why)] if why else []


def dropped(ph, flakes="no"):
    """A strip on the drop with the ammonia in it."""
    return meaning(conditions=TintConditions("acid", "soft", "yes", ph, flakes))


VESSELS = [
    Row("no_vial", "one vial", lambda: vials(VIAL, None), lambda: vials(None, None), "refused", "doubtful"),
    Row("no_vial", "a clear pixel", lambda: averaged(1), lambda: averaged(0), "refused"),
    Row("rim_not_seen", "both rims", lambda: vials(VIAL, VIAL), lambda: vials(VIAL, None), "doubtful"),
    Row("paper_hidden", "0.8 of the paper's light", lambda: hidden(0.801), lambda: hidden(0.799), "doubtful"),
]
COLOUR = [
    Row("other_colour", "misfit 5.5", lambda: blue(misfit=5.49), lambda: blue(misfit=5.51), "doubtful"),
    Row(
        "other_colour",
        "3.5 sd below nothing",
        lambda: judged(change={"signal": -3.49 * NOTHING.sd0}),
        lambda: judged(change={"signal": -3.51 * NOTHING.sd0}),
        "doubtful",
    ),
    Row(
        "other_colour",
        "7 % darker",
        lambda: judged(change={"grey": -0.069}),
        lambda: judged(change={"grey": -0.071}),
        "doubtful",
    ),
    Row(
        "other_colour",
        "5 % lighter",
        lambda: judged(change={"grey": 0.049}),
        lambda: judged(change={"grey": 0.051}),
        "doubtful",
    ),
    Row("perhaps_nickel", "probability 0.02", lambda: deep(0.019), lambda: deep(0.021), "doubtful"),
    Row("perhaps_nickel", "absorbance 0.25", lambda: deep(0.03, 0.249), lambda: deep(0.03, 0.251), "doubtful"),
    Row("cloudy", "clarity 0.52", lambda: judged(clarity=0.521), lambda: judged(clarity=0.519), "doubtful"),
    Row("pale_blue_precipitate", "0.06", lambda: clouded(0.059), lambda: clouded(0.061), "doubtful", "doubtful"),
    Row("uneven_liquid", "sided 0.2", lambda: judged(sided=0.199), lambda: judged(sided=0.201), "doubtful"),
    Row(
        "uneven_liquid",
        "0.018",
        lambda: judged(uneven=0.0179, change={"signal": 0.0}),
        lambda: judged(uneven=0.0181, change={"signal": 0.0}),
        "doubtful",
    ),
    Row("near_limit", "1.645 sd", lambda: called(1.64), lambda: called(1.65), "doubtful"),
    Row("near_limit", "3.2 sd", lambda: called(3.21), lambda: called(3.19), "doubtful"),
]
SECOND = [
    Row("cells_unusable", "was read", lambda: cells((1, 1, 1)), _lost_cells, "doubtful"),
    Row(
        "cells_unusable",
        "light 0.12",
        lambda: cells((1, 1, 1), light=0.119),
        lambda: cells((1, 1, 1), light=0.121),
        "doubtful",
    ),
    Row(
        "cells_unusable",
        "colour 3 %",
        lambda: cells((1.0, 1.0, np.exp(0.029))),
        lambda: cells((1.0, 1.0, np.exp(0.031))),
        "doubtful",
    ),
    Row(
        "cells_unusable",
        "grey 15 %",
        lambda: cells(np.exp(-0.149) * np.ones(3)),
        lambda: cells(np.exp(-0.151) * np.ones(3)),
        "doubtful",
    ),
    Row(
        "cells_unusable",
        "swapped 3 %",
        lambda: cells((1.0, 1.0, np.exp(0.058)), "swapped"),
        lambda: cells((1.0, 1.0, np.exp(0.062)), "swapped"),
        "doubtful",
    ),
    Row("cells_unlike", "colour 3 %", lambda: own_cells(0.029), lambda: own_cells(0.031), "doubtful"),
    Row("cells_old", "8 h", lambda: later(7.99), lambda: later(8.01), "doubtful"),
    Row("cells_old", "swapped 1 h", lambda: later(0.99, "swapped"), lambda: later(1.01, "swapped"), "doubtful"),
    Row("cells_other_light", "4.5 %", lambda: lamp(0.0449), lambda: lamp(0.0451), "doubtful"),
    Row("cells_changed", "the same vials", lambda: later(0.1), lambda: later(0.1, changed=True), "doubtful"),
    Row("cells_unmatched", "decided", lambda: unmatched("copper", None), lambda: unmatched("undecided", None), "ok"),
]
MEANING = [
    Row("weak_limit", "30 mg/L", lambda: limit_mg(29.9), lambda: limit_mg(30.1), "doubtful"),
    Row("weak_limit", "0.03", lambda: limit_absorbance(0.0299), lambda: limit_absorbance(0.0301), "doubtful"),
    Row("beyond_range", "2.5 times", lambda: dark(2.49), lambda: dark(2.51), "doubtful"),
    Row("path_unknown", "a depth", meaning, lambda: meaning(known_depth=False), "ok"),
    Row(
        "default_response",
        "standards",
        lambda: limit_mg(5.0),
        lambda: meaning(found=Concentration(0.0, (0.0, 1.0), 1.0, 2.0), learned=False),
        "ok",
    ),
    Row("standards_other_phone", "the same phone", lambda: by_phone("one"), lambda: by_phone("two"), "ok"),
    Row(
        "ammonia_short",
        "said to be short",
        lambda: taken("acid", "soft"),
        lambda: taken("acid", "soft", "no"),
        "doubtful",
    ),
    Row(
        "ammonia_unknown",
        "not said",
        lambda: taken("acid", "soft"),
        lambda: taken("acid", "soft", "unknown"),
        "ok",
    ),
    Row("still_acid", "pH 7", lambda: dropped(9.5), lambda: dropped(6.9), "doubtful"),
    Row("ammonia_short", "pH 9.5", lambda: dropped(9.5), lambda: dropped(9.4), "doubtful"),
    Row("ammonia_short", "flakes", lambda: dropped(9.5), lambda: dropped(9.5, "yes"), "doubtful"),
    Row("ammonia_smelled", "a strip", lambda: dropped(9.5), lambda: taken("acid", "soft", "yes"), "ok"),
    Row("clear_not_proof", "hard", lambda: taken("acid", "hard"), lambda: taken("neutral", "hard"), "doubtful"),
    Row("clear_not_proof", "wash", lambda: taken("neutral", "soft"), lambda: taken("unknown", "hard"), "doubtful"),
    Row("taking_unknown", "water", lambda: taken("neutral", "soft"), lambda: taken("neutral", "unknown"), "ok"),
    Row("limit_meaning", "the metal", meaning, lambda: meaning(metal="Up to 2 mg could be left."), "ok"),
]
ALWAYS = [Row(code, "always", None, meaning, "ok") for code in CAUTIONS]
ROWS = [*VESSELS, *COLOUR, *SECOND, *MEANING, *ALWAYS]
