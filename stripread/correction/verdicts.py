"""Doubts about the colour correction of a photo: another card, a poor fit, a lamp that shows dyes otherwise."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stripread.correction.fading import has_faded, ink_lost
from stripread.correction.same_card import card_misfit
from stripread.errors import Refused
from stripread.reasons import Reason, because
from stripread.tuned import tuned
from stripread.words import _

if TYPE_CHECKING:
    from stripread.card.patches import PatchSamples
    from stripread.card.values import CardValues
    from stripread.correction.fit import ColourFix

_TUNED = tuned("stripread.correction")
POOR_FIT = _TUNED.number("poor_fit")
UNEVEN = _TUNED.number("uneven_light")
OTHER_CARD = _TUNED.number("other_card")
PERHAPS_FADED = _TUNED.number("perhaps_faded")
OTHER_CARD_LAB = _TUNED.number("other_card_lab")
DYES_OFF = _TUNED.number("dyes_off")
LIGHT_RATIO = _TUNED.number("light_ratio")


def doubts_of_fix(fix: ColourFix, samples: PatchSamples, values: CardValues | None) -> list[Reason]:
    """Doubts about the colour correction of this photo."""
    doubts: list[Reason] = []
    known = values is not None and values.source != "nominal"
    if fix.monochrome:
        doubts.append(because("card_without_colour"))
    elif difference := _other_card(fix, samples, values):
        doubts.append(because("other_card", difference))
    elif known and fix.rms_cv > POOR_FIT:
        doubts.append(because("colour_fit_poor", _("they differ by {rms_cv:.1f} Delta E", rms_cv=fix.rms_cv)))
    off = fix.dyes_off(samples.rgb, samples.centre_mm)
    if known and off > DYES_OFF:
        doubts.append(because("poor_light", _("dyes are off by some {off:.0f} Delta E", off=off)))
    field = fix.light_at(samples.centre_mm).mean(axis=1)
    if field.max() / max(field.min(), 1e-6) > LIGHT_RATIO or (known and fix.light_rms > UNEVEN):
        doubts.append(because("uneven_light", _("{field:.1f} to 1", field=field.max() / field.min())))
    return doubts


def _other_card(fix: ColourFix, samples: PatchSamples, values: CardValues | None) -> str:
    """By what the patches differ from the profile's beyond what another photo of the same card explains, or nothing."""
    if values is not None and values.source == "estimated":
        misfit = card_misfit(fix, samples, values)
        if misfit > OTHER_CARD:
            return _("its patches fit {misfit:.1f} times worse than usual", misfit=misfit)
        if misfit > PERHAPS_FADED and _faded(fix, samples, values):  # NaN: can't tell
            return _("its magenta has faded since")
        return ""
    if values is not None and values.source == "measured" and fix.lab_rms > OTHER_CARD_LAB:
        return _("its patches differ by {lab_rms:.0f} Delta E", lab_rms=fix.lab_rms)
    return ""


def _faded(fix: ColourFix, samples: PatchSamples, values: CardValues) -> bool:
    """Whether inks have faded. Takes three fits more, so only a card that fits badly is asked."""
    try:
        return has_faded(ink_lost(fix, samples, values))
    except Refused:
        return False
