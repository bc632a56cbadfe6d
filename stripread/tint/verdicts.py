"""What goes with a tint: doubts of the photo, what the answer does not prove, the cautions that always go along."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from stripread.reasons import Reason, because
from stripread.tint.estimate import OTHER_COLOUR, PLAIN, Decision, TintEstimate, is_nickel
from stripread.tint.sample import CELL_SD
from stripread.tuned import tuned
from stripread.words import N_, _, say

if TYPE_CHECKING:
    from stripread.tint.concentration import Concentration
    from stripread.tint.conditions import TintConditions
    from stripread.tint.profile import TintProfile
    from stripread.tint.sample import TintSample

_TUNED = tuned("stripread.tint")
CLEAR = _TUNED.number("ring_clear")
STRONG = _TUNED.number("strong")
UNEVEN = _TUNED.number("tint_uneven")
UNEVEN_SHARE = _TUNED.number("uneven_share")
ONE_SIDED = _TUNED.number("one_sided")
GREY_LOW = _TUNED.number("grey_low")
GREY_HIGH = _TUNED.number("grey_high")
PALE = _TUNED.number("cloud_absorbance")
VEILED = _TUNED.number("veiled")
COPPER_LIKE = _TUNED.number("copper_like")
SATURATED = _TUNED.number("saturated")
PERHAPS = _TUNED.number("nickel_perhaps")
TOO_LIKELY = _TUNED.number("nickel_too_likely")
RED_WHOLE = _TUNED.number("red_whole")
DEEP_RED = _TUNED.number("deep_red")
DEEP_SHARE = _TUNED.number("deep_share")
DEEP_BLUE = _TUNED.number("deep_blue")
PALE_GREEN = _TUNED.number("pale_green")
WEAK_MG_PER_L = 30.0  # three times what the eye finds (10 mg/L, handbook abstract)
WEAK_ABSORBANCE = _TUNED.number("weak_absorbance")
DARK_SPREAD = _TUNED.number("dark_spread")
YELLOW = 3.0 * math.sqrt(1.5) * CELL_SD  # natural log, blue against red and green: three deviations of clear vials
_HIDDEN = {
    "": "",
    "both": N_("both vials"),
    "sample": N_("sample vial"),
    "blank": N_("blank vial"),
}
CAUTIONS = ("caution_explosive", "caution_apart", "caution_fumes", "caution_waste")


def judge(sample: TintSample, estimate: TintEstimate) -> tuple[TintEstimate, list[Reason]]:
    """Doubts of this photo. A cloudy, uneven or strangely coloured sample turns the decision to undecided, except that
    a cloudy strong blue is copper too (the hydroxide comes down where ammonia is short).
    """
    doubts: list[Reason] = []
    if sample.hidden:
        doubts.append(because("paper_hidden", say(_HIDDEN[sample.hidden])))
    decision, more = _verdict(sample, estimate)
    if sample.guessed and decision == "none seen":
        decision = "undecided"  # the vial may stand elsewhere, and bare paper was read
    return replace(estimate, decision=decision), doubts + more


def _verdict(sample: TintSample, estimate: TintEstimate) -> tuple[Decision, list[Reason]]:
    """What holds whatever the colour's place on the curves, else :func:`_by_colour`; with its reasons."""
    cloudy = not math.isnan(sample.clarity) and sample.clarity < CLEAR
    veil = [
        because("cloudy", _("the printed ring shows {clarity:.0%} as clearly as in the blank", clarity=sample.clarity))
    ]
    if _pale_blue(sample, estimate, cloudy):
        return "copper", [because("pale_blue_precipitate")]
    if _deep_blue(sample):
        return _deep(estimate, veil if cloudy and not sample.hidden else [])
    if cloudy:
        return "undecided", veil
    if sample.hidden in {"sample", "both"}:
        return "undecided", []
    return _by_colour(sample, estimate)


def _deep(estimate: TintEstimate, reasons: list[Reason]) -> tuple[Decision, list[Reason]]:
    """Verdict on a blue in which red is gone."""
    if estimate.nickel <= PERHAPS and estimate.misfit <= OTHER_COLOUR:
        return "copper", reasons
    reasons = [*reasons, because("perhaps_nickel", _("{nickel:.0%} by its colour alone", nickel=estimate.nickel))]
    return ("undecided" if estimate.nickel > TOO_LIKELY else "copper"), reasons


def _by_colour(sample: TintSample, estimate: TintEstimate) -> tuple[Decision, list[Reason]]:
    """Verdict on clear liquid over paper."""
    decision = estimate.decision
    if estimate.misfit > OTHER_COLOUR or estimate.signal < -3.5 * estimate.sd0 or _nickel(estimate):
        return decision, [because("other_colour", _which(sample, estimate))]
    if decision == "copper" and estimate.absorbance > SATURATED and estimate.nickel > PERHAPS:
        doubt = because("perhaps_nickel", _("{nickel:.0%} by its colour alone", nickel=estimate.nickel))
        return ("undecided" if estimate.nickel > TOO_LIKELY else decision), [doubt]
    unlike = _unlike_pair(sample, estimate)
    if unlike:
        return "undecided", [because("other_colour", unlike)]
    if sample.sided > ONE_SIDED:
        return "undecided", [
            because("uneven_liquid", _("red over blue drifts by {sided:.0%} of the whole tint", sided=sample.sided))
        ]
    if sample.uneven > UNEVEN + UNEVEN_SHARE * max(estimate.signal, 0.0):
        doubt = because("uneven_liquid", _("red over blue varies by {uneven:.0%}", uneven=sample.uneven))
        return ("undecided" if estimate.signal < STRONG else decision), [doubt]
    return decision, [because("near_limit")] if decision == "undecided" else []


def _unlike_pair(sample: TintSample, estimate: TintEstimate) -> str:
    """How the light differs as no two like vessels differ, in words; empty where it does not."""
    red = float(sample.ratio[0])
    if estimate.decision == "copper" and red > RED_WHOLE:
        return _("red is {red:.1%} stronger than in the blank, where copper takes it away", red=red - 1.0)
    if estimate.decision == "copper" and sample.yellow > YELLOW and sample.ratio[2] > 1.0 and estimate.signal < STRONG:
        return _(
            "the blank is yellow or brown: it takes {yellow:.0%} more of blue than of red and green",
            yellow=sample.yellow,
        )
    if GREY_LOW < estimate.grey < GREY_HIGH or estimate.signal >= STRONG:
        return ""
    if estimate.grey > 0:
        return _("lighter than the blank by {grey:.0%}", grey=estimate.grey)
    return _("darker than the blank by {grey:.0%}", grey=-estimate.grey)


def _pale_blue(sample: TintSample, estimate: TintEstimate, cloudy: bool) -> bool:
    """Whether a cloud of copper's blue floats in the sample: ammonia is short.

    The ring shows through a thin cloud. But a cloud takes light from blue too, which no clear copper does: then the
    colour fits no clear liquid, and is still copper's in how much less of red than of green is left.
    """
    red, green, blue = (float(v) for v in sample.ratio)
    if green < PALE_GREEN or red > 0.85 * blue or _nickel(estimate):
        return False
    if cloudy:
        return red < 0.97 * green and estimate.signal > STRONG
    veiled = estimate.misfit > 2.0 * OTHER_COLOUR and blue < VEILED
    return veiled and math.log(max(red, 1e-3)) < COPPER_LIKE * math.log(green) and estimate.signal > PALE


def _deep_blue(sample: TintSample) -> bool:
    """Whether red is gone and green is not: so deep a blue is copper's through any depth, over paper or not.

    Nickel's band lies between green and red and takes both alike; a reflection takes nothing away; what is black takes
    blue away too.
    """
    red, green, blue = (float(v) for v in sample.ratio)
    return red < DEEP_RED and red < DEEP_SHARE * green and green < blue and blue > DEEP_BLUE


def measured(sample: TintSample, estimate: TintEstimate) -> bool:
    """Whether the colour was that of clear liquid over paper and fits copper's: only then is there a concentration, and
    a limit that means anything.
    """
    cloudy = not math.isnan(sample.clarity) and sample.clarity < CLEAR
    violet = _nickel(estimate) and estimate.signal > PLAIN * estimate.sd0
    seen = not sample.guessed and sample.hidden in {"", "blank"}
    return seen and not cloudy and estimate.misfit <= OTHER_COLOUR and not violet


def _nickel(estimate: TintEstimate) -> bool:
    return is_nickel(estimate.signal, estimate.sd0, estimate.nickel)


def _which(sample: TintSample, estimate: TintEstimate) -> str:
    red, green, blue = (math.log(max(float(v), 1e-3)) for v in sample.ratio)
    if blue < min(red, green) - 0.01:
        return _("it is yellow or brown, as iron is")
    if _nickel(estimate):
        return _("it is violet-blue, as nickel is")
    if max(red, green, blue) > 0.05:
        return _(
            "it is lighter than the blank: haze, a reflection, or the blank's wall in sight, not the "
            "paper below; hold the phone straight above"
        )
    return _(
        "its squared distance to copper's colours is {misfit:.0f}, and {other_colour:.0f} would be much",
        misfit=estimate.misfit,
        other_colour=OTHER_COLOUR,
    )


def implications(
    estimate: TintEstimate,
    found: Concentration | None,
    conditions: TintConditions,
    profile: TintProfile,
    metal: str,
    *,
    known_depth: bool = False,
) -> list[Reason]:
    """What the answer means and does not prove; cautions come last. ``known_depth``: the depth was given."""
    reasons: list[Reason] = []
    if found is None and not known_depth:
        reasons.append(because("path_unknown"))
        if estimate.detection_limit > WEAK_ABSORBANCE:
            reasons.append(
                because(
                    "weak_limit",
                    _("an absorbance of {detection_limit:.3f}", detection_limit=estimate.detection_limit),
                    value=estimate.detection_limit,
                )
            )
    elif found is not None:
        if found.detection_limit > WEAK_MG_PER_L:
            reasons.append(
                because(
                    "weak_limit",
                    _("{detection_limit:.0f} mg/L of copper or more", detection_limit=found.detection_limit),
                    value=found.detection_limit,
                    unit="mg/L",
                )
            )
        if not profile.learned:
            reasons.append(because("standards_other_phone" if profile.cameras else "default_response"))
    low, high = estimate.interval
    if estimate.absorbance > 0.5 and high > DARK_SPREAD * low:
        reasons.append(because("beyond_range"))
    if estimate.decision != "copper":
        ammonia = conditions.ammonia
        if ammonia == "too acid":
            reasons.append(because("still_acid", _("pH {ph:g}", ph=conditions.ammonia_ph)))
        elif ammonia != "shown":
            codes = {"short": "ammonia_short", "smelled": "ammonia_smelled"}
            reasons.append(because(codes.get(ammonia, "ammonia_unknown")))
        if conditions.water == "hard" and conditions.wash != "acid":
            reasons.append(because("clear_not_proof"))
        elif "unknown" in (conditions.water, conditions.wash) and not (
            conditions.water == "soft" or conditions.wash == "acid"
        ):
            reasons.append(because("taking_unknown"))
    if metal:
        reasons.append(because("limit_meaning", metal))
    return reasons + [because(code) for code in CAUTIONS]
