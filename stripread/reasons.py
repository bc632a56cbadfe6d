"""Every reason a reading may carry: code, severity and the sentence that says what to do.

Defined once, here; the JSON, the page, the overlay and the docs all take them from ``REASONS``.
``refuse`` leaves no value; ``doubt`` leaves a value and makes the reading doubtful; ``note`` informs and leaves the
status alone (cautions, limits of what a test proves).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Severity = Literal["refuse", "doubt", "note"]


@dataclass(frozen=True)
class Reason:
    """One reason: a stable ``code``, its ``severity`` and a ``message`` with the remedy in it."""

    code: str
    severity: Severity
    message: str


# code -> (severity, message). A message may hold {fields}; ``because`` fills them in.
REASONS: dict[str, tuple[Severity, str]] = {
    # the file
    "not_a_picture": (
        "refuse",
        "This file is not a picture that can be opened ({detail}). Send a JPEG, PNG, WebP, TIFF or HEIC photo.",
    ),
    "too_small": (
        "refuse",
        "The picture has too few pixels on the card ({detail}). Go closer or send the photo at full size.",
    ),
    # the card
    "no_card": (
        "refuse",
        "No reference card was found. Lay the printed card flat, all corner marks visible, and fill the frame with it.",
    ),
    "card_cut_off": (
        "refuse",
        "Only part of the card is in the picture ({detail}). Step back until all four corner marks are inside.",
    ),
    "blurred": ("refuse", "The picture is blurred. Hold still, wipe the lens, tap the card to focus, and try again."),
    "too_dark": ("refuse", "The picture is too dark. Add light or let the phone expose longer."),
    "blown_out": ("refuse", "The card's white is burnt out. Lower the exposure or move the lamp away."),
    "uneven_light": (
        "doubt",
        "The light is very uneven over the card ({detail}). Turn the card or move the lamp so that no shadow falls on it.",
    ),
    "colour_fit_poor": (
        "doubt",
        "The card's own patches are not matched well ({detail}). Use plain daylight or one white lamp, away from "
        "coloured walls and gloves.",
    ),
    "card_without_colour": (
        "doubt",
        "The card was printed without colour, so colours can't be corrected well and the interval is wide. "
        "Print it on a colour printer.",
    ),
    "other_card": (
        "doubt",
        "This is not the card the profile was made with ({detail}): it has faded or was printed anew. "
        "Calibrate again with this card.",
    ),
    # the strip
    "no_strip": ("refuse", "No strip was found in the lane. Lay the strip in the lane, dipped end to the left."),
    "wrong_kind": (
        "refuse",
        "The strip does not look like the profile's kind ({detail}). Use the strip the profile was made for.",
    ),
    "shadow_on_pads": (
        "refuse",
        "A shadow edge crosses the pads. Move so that neither you nor the phone shades the strip.",
    ),
    "glare_on_pads": (
        "refuse",
        "Glare covers a pad. Tilt the phone or move the lamp until the shine is gone; shake off the drop.",
    ),
    "some_glare": ("doubt", "Part of a pad shines and was left out. Tilt the phone a little for a surer reading."),
    "dry_strip": (
        "refuse",
        "The strip looks dry or not dipped. Dip it for a second, wait as the maker says, and take the photo.",
    ),
    "uneven_pad": (
        "doubt",
        "A pad is not of one colour ({detail}). Dip again, or take the photo within the reading time.",
    ),
    "off_curve": (
        "refuse",
        "The pad colours fit no pH of this profile ({detail}). Check the strip kind, the liquid's own colour and the light.",
    ),
    "near_off_curve": (
        "doubt",
        "The pad colours fit the profile's curve only roughly ({detail}). Take another photo in other light.",
    ),
    "ambiguous": ("doubt", "Another pH fits about as well ({detail}). Take a second photo or use a narrower strip."),
    "end_of_range": ("note", "The value lies at the end of the strip's range: read it as {detail}."),
    "by_hand": ("note", "This value was entered by hand ({detail}); the photo's own reading stands in the entry before."),
    "wide_interval": ("doubt", "The interval is wide ({detail}). Better light, or a calibration with more buffers, helps."),
}


def because(code: str, detail: str = "") -> Reason:
    """Make the registered reason ``code`` with ``detail`` filled in.

    Raises
    ------
    KeyError
        If the code is not registered.
    """
    severity, text = REASONS[code]
    if not detail:
        text = text.replace(" ({detail})", "").replace("{detail}", "")
    return Reason(code, severity, text.replace("{detail}", detail))
