"""Reasons of the file and the card in it."""

from __future__ import annotations

from stripread.reasons.reason import Severity

# code -> (severity, message). A message may hold {detail}; ``because`` fills it in.
TABLE: dict[str, tuple[Severity, str]] = {
    # the file
    "not_a_picture": (
        "refuse",
        "This file is not a picture that can be opened ({detail}). Send a JPEG, PNG, WebP, TIFF or HEIC photo.",
    ),
    "file_cut_off": (
        "refuse",
        "A part of this picture's file is missing or came damaged ({detail}), so nothing was read from the rest. "
        "Send the photo again.",
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
        "Only part of the card is in the picture ({detail}). Step back until the whole card is inside.",
    ),
    "patches_unusable": (
        "refuse",
        "Too few of the card's patches can be used ({detail}): covered, burnt out, black, or the file is damaged. "
        "Uncover the card, light it evenly without glare, and take the photo again.",
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
    "poor_light": (
        "doubt",
        "This light or this phone shows dyes otherwise than those of the calibration ({detail}). Use daylight or a lamp "
        "that shows colours well, or calibrate with this phone in this light.",
    ),
    "card_without_colour": (
        "doubt",
        "The card was printed without colour, so colours can't be corrected well and the interval is wide. "
        "Print it on a colour printer.",
    ),
    "other_card": (
        "doubt",
        "This is not the card the profile was made with, or it has faded ({detail}). Look again in daylight; if it "
        "stays, use the profile's own card or calibrate again with this one.",
    ),
}
