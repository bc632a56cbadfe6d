"""Reasons of a solid in the window."""

from __future__ import annotations

from stripread.reasons.reason import Severity

# code -> (severity, message). A message may hold {detail}; ``because`` fills it in.
TABLE: dict[str, tuple[Severity, str]] = {
    # the solid
    "no_solid": ("refuse", "No solid was seen ({detail}). Put it in the left window or name the place with a region."),
    "few_grains": (
        "doubt",
        "The area holds too little to settle the pale share ({detail}). Spread it wider, stir, and take it again.",
    ),
    "not_dark_and_pale": (
        "doubt",
        "The solid is not a mix of a dark and a pale part ({detail}), so the pale share may not mean what it seems. "
        "Look at the picture of the reading; stir, spread it alone in the window, and take it again.",
    ),
    "edge_like_paper": (
        "doubt",
        "At the edge lies something that may be pale solid or bare ground ({detail}); the interval allows for both. "
        "Push the solid together or name the place with a region.",
    ),
    "dark_is_light": (
        "doubt",
        "The dark part is lighter ({detail}) than dark oxide is: pale grains too fine to be told apart may lie in it, "
        "or it is no oxide. Go closer, let it settle, or spread it thinner.",
    ),
    "grey_part": (
        "doubt",
        "Part of the solid is grey ({detail}): silver, or oxide and chloride too fine to be told apart. The share of "
        "chloride can't be told closer than its interval: take it before the sugar, or again after a wash.",
    ),
    "shine_on_solid": ("doubt", "Part of the solid shines and was left out ({detail}). Let it drain or turn the lamp."),
    "fits_description": ("note", "The colour fits: {detail}. A description of the colour, not an identification."),
}
