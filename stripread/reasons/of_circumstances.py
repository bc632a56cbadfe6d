"""Reasons of several photos of one liquid, of the phone that took them, of time, temperature and rinse water."""

from __future__ import annotations

from stripread.reasons.reason import Severity

# code -> (severity, message). A message may hold {detail}; ``because`` fills it in.
TABLE: dict[str, tuple[Severity, str]] = {
    # several photos of one liquid
    "photos_disagree": (
        "doubt",
        "The photos disagree by more than their own doubts allow ({detail}); the interval was widened. Is it one liquid, "
        "and with one strip photographed again, was it still changing? Of several strips, say so.",
    ),
    "left_out": ("note", "Refused photos were left out ({detail})."),
    "none_left": ("refuse", "None of the photos could be read. See what each of them was refused for."),
    "sent_twice": ("note", "A photo was given twice and counts once ({detail})."),
    "other_strips": (
        "note",
        "More than one strip lies in the lane ({detail}); only the one nearest the card's top edge was used, as one and the same strip.",
    ),
    # the phone that took the photo
    "known_phone": (
        "note",
        "This phone calibrated the profile in light like this: the interval rests on what its own photos show ({detail}), "
        "and not on how far apart phones lie.",
    ),
    "known_phone_other_light": (
        "note",
        "This phone calibrated the profile, but in other light: it counts as any other phone. Read in the light that you "
        "calibrated in, or calibrate where you read.",
    ),
    "known_phone_differs": (
        "note",
        "This phone calibrated the profile in light like this, but the strip's colours are not as its own photos show them, "
        "so it counts as any other phone. Look for a smear on the lens, a filter or another mode of the camera.",
    ),
    # time, temperature, rinse water
    "read_too_early": (
        "doubt",
        "The strip was read too early ({detail} after dipping). Wait as its maker says and take the photo again.",
    ),
    "read_too_late": (
        "doubt",
        "The strip was read too late ({detail} after dipping): it dries and drifts. Dip a new one.",
    ),
    "dip_after_photo": (
        "doubt",
        "The photo is older than the dip ({detail}), so the waiting time is not known. Compare the clocks.",
    ),
    "no_photo_time": (
        "note",
        "The photo does not say when it was taken, so the waiting time could not be checked. Give it in seconds.",
    ),
    "unbuffered": (
        "doubt",
        "Rinse water near neutral has almost no buffer: the strip moves slowly and its own dye shifts it ({detail}). "
        "Wait until the colour stands still, give the dip time, and compare with a blank of the water itself.",
    ),
    "hot_sample": (
        "doubt",
        "The sample was hot ({detail}): strips are made for room temperature. Cool a sample and read that.",
    ),
    "neutral_at": ("note", "The sample was at {detail}."),
}
