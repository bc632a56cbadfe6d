"""The checks of a printed card one by one: each looks at one thing, and says what to do where it is wrong."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import GREYS, CardLayout
from stripread.colour import srgb_decode
from stripread.errors import CallError
from stripread.printed.result import Check
from stripread.tuned import tuned
from stripread.words import _

if TYPE_CHECKING:
    from stripread.card.patches import PatchSamples
    from stripread.card.pose import CardPose
    from stripread.correction.fit import ColourFix

Array = NDArray[np.float64]

_TUNED = tuned("stripread.printed")
GREY_BLACK = _TUNED.number("grey_black")
PALE_BLACK = _TUNED.number("pale_black")
LEAST_STEP = _TUNED.number("least_step")
LEAST_STEPS = _TUNED.count("least_steps")
INK_MISSING = _TUNED.number("ink_missing")
INK_USUAL = _TUNED.numbers("ink_usual")
SHINE_RISE = _TUNED.number("shine_rise")
BAR_MM = 100.0  # the scale bar on the sheet
# A strip's last pad lies up to 40 mm from its end, and a reader finds pads within 0.4 mm of where they ought to be.
SCALE_WRONG = 0.01
RULER_MM = 0.5  # as well as a ruler is read
LIKELY_MM = (20.0, 500.0)  # anything else is a slip of the pen, or another unit
DARK_SRGB = 62  # of a patch on which a lamp's mirror image shows
DARKEST = 0.03  # share of light under which nothing more is told from a logarithm: no print is darker


def marks_seen(pose: CardPose, layout: CardLayout) -> Check:
    """Whether all six marks were found and agree on one card."""
    seen, there = len(pose.ids), len(layout.markers)
    if seen == there:
        return Check("marks", "right", _("All {there} marks are seen.", there=there))
    return Check(
        "marks",
        "look",
        _(
            "Only {seen} of {there} marks are seen. Take the photo again with the whole card free and flat; if marks "
            "are still missing, they are misprinted: print again.",
            seen=seen,
            there=there,
        ),
    )


def in_colour(fix: ColourFix, samples: PatchSamples, layout: CardLayout) -> Check:
    """Whether colours came out as colours, and no ink is missing."""
    if fix.monochrome:
        return Check(
            "colour", "wrong", _("The card was printed in grey. Print it again in colour, on a colour printer.")
        )
    gains = ink_gains(fix, samples, layout)
    weakest = int(np.argmin(gains))
    if gains[weakest] < INK_MISSING * float(np.median(gains)):
        ink = [_("cyan"), _("magenta"), _("yellow")][weakest]
        text = _("The {ink} seems to be missing or weak. Clean the printer's nozzles and print again.", ink=ink)
        return Check("colour", "wrong", text)
    return Check("colour", "right", _("It was printed in colour."))


def ink_gains(fix: ColourFix, samples: PatchSamples, layout: CardLayout) -> Array:
    """Effect of cyan, magenta and yellow on their own channel beyond the others', to that of a usual print, (3,).

    By least squares of the logarithms of light seen on those sent, over the coloured patches.
    """
    white = np.array([patch.role == "white" for patch in layout.patches])
    printed = np.array([patch.role == "colour" for patch in layout.patches]) & samples.clean
    light = _even_light(fix, samples)
    seen = -np.log(np.maximum(light[printed] / np.median(light[white], axis=0), DARKEST))
    sent = -np.log(np.maximum(srgb_decode(layout.nominal_srgb()[printed]), DARKEST))
    effect = np.linalg.lstsq(np.column_stack([np.ones(len(sent)), sent]), seen, rcond=None)[0][1:]
    own = np.diag(effect)
    beyond = own - (effect.sum(axis=1) - own) / 2.0
    return np.asarray(beyond / np.array(INK_USUAL))


def to_scale(measured_mm: float | None) -> Check:
    """Whether the bar on the sheet measures what it ought to.

    Raises
    ------
    CallError
        If the length is none that a bar of 100 mm can have.
    """
    if measured_mm is None:
        text = _("Not looked at: measure the bar on the sheet with a ruler. It must be 100 mm long.")
        return Check("scale", "unknown", text)
    if not math.isfinite(measured_mm) or not LIKELY_MM[0] <= measured_mm <= LIKELY_MM[1]:
        raise CallError(
            _("the measured length of the bar is {mm:g} mm; wanted mm, near 100, such as 99.5", mm=measured_mm)
        )
    share = measured_mm / BAR_MM
    if abs(measured_mm - BAR_MM) <= RULER_MM:
        return Check("scale", "right", _("The bar measures {mm:g} mm: the size is right.", mm=measured_mm))
    text = _(
        "The bar measures {mm:g} mm instead of 100: this was printed at {percent:.1f} %. Print again at 100 %, "
        "without “fit to page”.",
        mm=measured_mm,
        percent=100.0 * share,
    )
    if abs(share - 1.0) > SCALE_WRONG:
        return Check("scale", "wrong", text)
    close = _("The bar measures {mm:g} mm instead of 100. Measure again: within 0.5 mm is right.", mm=measured_mm)
    return Check("scale", "look", close)


def enough_contrast(fix: ColourFix, samples: PatchSamples, layout: CardLayout) -> Check:
    """Whether black is dark enough, and the grey steps can be told apart."""
    ramps = grey_ramps(fix, samples, layout)
    black, steps = float(ramps[:, 0].min()), int((grey_steps(ramps) > LEAST_STEP).sum())
    if black > PALE_BLACK:
        text = _(
            "Black is very pale: it sends back {black:.0f} % of the paper's light. Ink or toner is low, or the print "
            "was made in draft quality: print again in normal quality.",
            black=100 * black,
        )
        return Check("contrast", "wrong", text)
    if black > GREY_BLACK or steps < LEAST_STEPS:
        text = _(
            "Contrast is weak: black sends back {black:.0f} % of the paper's light, and {steps} of {all_steps} steps "
            "of grey can be told apart. Take the photo again without mirrored light; if it stays, print in normal "
            "quality.",
            black=100 * black,
            steps=steps,
            all_steps=len(GREYS) - 1,
        )
        return Check("contrast", "look", text)
    return Check("contrast", "right", _("Black is dark enough, and the grey steps can be told apart."))


def grey_ramps(fix: ColourFix, samples: PatchSamples, layout: CardLayout) -> Array:
    """Light of both grey ramps from black to white as a share of the paper's, (2, N)."""
    light = _even_light(fix, samples).mean(axis=1)
    by_name = {patch.id: n for n, patch in enumerate(layout.patches)}
    white = np.median([light[n] for n, patch in enumerate(layout.patches) if patch.role == "white"])
    return np.array([[light[by_name[f"{ramp}{n:02d}"]] / white for n in range(len(GREYS))] for ramp in "ab"])


def grey_steps(ramps: Array) -> Array:
    """Steps of the ramps in the square root of light, the smaller of the two at each: (2, N) to (N - 1,)."""
    return np.asarray(np.diff(np.sqrt(np.maximum(ramps, 0.0)), axis=1).min(axis=0))


def even_patches(samples: PatchSamples) -> Check:
    """Whether each patch is of one colour: no streaks, no stains, nothing lying on it."""
    uneven = int((~samples.usable).sum())
    if not uneven:
        return Check("even", "right", _("Every patch is of one colour."))
    text = _(
        "{uneven} of {patches} patches are not of one colour. Is something lying on the card, or does the print have "
        "streaks? Free it, or clean the printer and print again.",
        uneven=uneven,
        patches=len(samples.usable),
    )
    return Check("even", "look", text)


def shining(fix: ColourFix, samples: PatchSamples, layout: CardLayout) -> Check:
    """Whether mirrored light shows on the dark patches, as on shiny paper; one photo can't say that it is matt.

    Light that is mirrored comes on top of the patch's own, and not everywhere: of two copies of one dark step, one is
    then brighter by more than the light on the card explains.
    """
    rise = copies_apart(fix, samples, layout)
    if rise > SHINE_RISE:
        text = _(
            "Light is mirrored on the card. Turn it or move the lamp; if the print shines from every side, print on "
            "matt paper."
        )
        return Check("shine", "look", text)
    text = _(
        "One photo can't tell matt from shiny paper; none is mirrored here. Tilt the card under a lamp: a clear mirror "
        "image of the lamp means shiny, and matt paper is better."
    )
    return Check("shine", "unknown", text)


def copies_apart(fix: ColourFix, samples: PatchSamples, layout: CardLayout) -> float:
    """By how much two copies of one dark step differ at most, as a share of the paper's light."""
    dark = [n for n, level in enumerate(GREYS) if level <= DARK_SRGB]
    return float(np.abs(np.diff(grey_ramps(fix, samples, layout)[:, dark], axis=0)).max())


def _even_light(fix: ColourFix, samples: PatchSamples) -> Array:
    """Light of each patch (N, 3) with the unevenness of the lamp taken out, by the usual curve of encoded values."""
    return srgb_decode(samples.rgb) / fix.light_at(samples.centre_mm)
