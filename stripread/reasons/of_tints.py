"""Reasons of a tint: vials, what it is, what it means and does not prove, and its cautions."""

from __future__ import annotations

from stripread.reasons.reason import Severity

# code -> (severity, message). A message may hold {detail}; ``because`` fills it in.
TABLE: dict[str, tuple[Severity, str]] = {
    # the tint: vials
    "no_vial": (
        "refuse",
        "No vial was seen in the {detail} window. Stand the sample in the left window and a like vial of clean water "
        "in the right one, and hold the phone straight above.",
    ),
    "rim_not_seen": (
        "doubt",
        "The rim of a vial was not seen ({detail}); the middle of the window was taken for liquid. Check the picture.",
    ),
    "paper_hidden": (
        "doubt",
        "The white paper is not seen through the liquid ({detail}): the vial leans in the picture, or the liquid is "
        "cloudy. Hold the phone straight above the middle of the card, farther away for tall vials; let it settle.",
    ),
    # the tint: what it is
    "other_colour": (
        "doubt",
        "The colour is not copper's blue ({detail}), so nothing is said about copper. Take liquid without other "
        "colours, or test it in another way.",
    ),
    "perhaps_nickel": (
        "doubt",
        "So strong a blue could also be nickel's violet-blue ({detail}). Thin it with water to a pale blue and look again.",
    ),
    "cloudy": (
        "doubt",
        "The sample is cloudy ({detail}). Let it settle or filter it and take the clear liquid.",
    ),
    "pale_blue_precipitate": (
        "doubt",
        "The sample is blue and cloudy: a pale-blue precipitate means copper with too little ammonia. Add ammonia "
        "drop by drop until it smells of it and the liquid clears to deep blue, or let it settle.",
    ),
    "uneven_liquid": (
        "doubt",
        "The liquid is not of one colour ({detail}): a reflection, or not mixed. Turn from bright things and stir.",
    ),
    "near_limit": (
        "doubt",
        "The colour lies between nothing and the least that counts as copper. Look through more liquid, "
        "or take a second photo in more even light.",
    ),
    "cells_unmatched": (
        "note",
        "Two like vials and their places differ a little, and that is counted as doubt. A second photo of both vials "
        "with the same blank in the same windows (a cell blank; `stripread tint --cell-blank`) measures it, and would "
        "likely settle this.",
    ),
    "cells_unusable": (
        "doubt",
        "The second photo was left out: {detail}. What two like vials differ by is counted as doubt "
        "instead: take a new one to have it out.",
    ),
    "cells_unlike": (
        "doubt",
        "This photo measures no pair of vials: {detail}. A tint that names it is read without it. Put both vials "
        "in the windows as for the tint and take it again.",
    ),
    "cells_old": (
        "doubt",
        "The photo that measures the vials was taken too long ago and was left out ({detail}): take a new one and then "
        "the tint, or send the tint without it.",
    ),
    "cells_other_light": (
        "doubt",
        "The photo that measures the vials was taken under another light and was left out ({detail}): take both photos "
        "under the same lamp, one after the other, or send the tint without it.",
    ),
    "cells_changed": (
        "doubt",
        "Vials or their places were changed since the photo that measures them, so it was left out: photograph both vials "
        "with the same blank again, then the tint, or send the tint without it.",
    ),
    "weak_limit": (
        "doubt",
        "This photo would only have shown {detail}. Look through more liquid, in more even light.",
    ),
    "beyond_range": (
        "doubt",
        "The liquid is too dark to tell how much copper is in it. Thin it with water and look again.",
    ),
    # the tint: what it means and does not prove
    "path_unknown": (
        "note",
        "No depth was given, so no concentration is worked out. Measure the liquid's depth and give it in millimetres.",
    ),
    "default_response": (
        "note",
        "The concentration rests on a textbook absorptivity and an unknown phone. Standards of known copper narrow it.",
    ),
    "standards_other_phone": (
        "note",
        "The standards were not taken by the phone that this photo names, so they narrow the concentration less. "
        "Photograph standards with this phone too, and send its photos as it wrote them.",
    ),
    "ammonia_short": (
        "doubt",
        "Ammonia was not in excess: copper may be there without blue. Add ammonia drop by drop until it smells of it.",
    ),
    "still_acid": (
        "doubt",
        "The drop is still acid ({detail}): whatever the copper, neither blue nor flakes can show. Add ammonia drop by "
        "drop until a strip reads 9.5 or more, and photograph it again.",
    ),
    "ammonia_smelled": (
        "note",
        "Ammonia was smelled; that is no proof of an excess. Dip a strip into the drop (pH 9.5 or more) and say whether "
        "pale flakes float in it.",
    ),
    "ammonia_unknown": (
        "note",
        "It was not said whether ammonia was in excess. Without it copper shows no deep blue: a strip on the "
        "drop (pH 9.5 or more) and no flakes must show it.",
    ),
    "clear_not_proof": (
        "doubt",
        "A clear liquid is no proof here: in hard water copper falls as pale-green carbonate into the chloride just "
        "as the wash turns neutral. Wash on the acid side with soft or slightly acid water, test that, and neutralise after.",
    ),
    "taking_unknown": (
        "note",
        "It was not said whether the wash was acid and the water soft. In hard water near neutral, copper hides in the "
        "solid as pale-green carbonate: 'none seen' then speaks of the liquid alone.",
    ),
    "limit_meaning": ("note", "{detail}"),
    # the tint: cautions, with every reading
    "caution_explosive": (
        "note",
        "DANGER: ammonia with silver turns explosive on standing. Right after the photo acidify with dilute "
        "hydrochloric acid. Never store it, never let it dry, never bring it to lye, glucose or the oxide.",
    ),
    "caution_apart": (
        "note",
        "Test only drops of clear, decanted liquid, apart from the batch: a litre of ammonia dissolves 5 to 20 g of "
        "silver as chloride.",
    ),
    "caution_fumes": (
        "note",
        "Ammonia and acid both fume, and smoke where they meet: work in a hood or outdoors, with gloves and goggles.",
    ),
    "caution_waste": (
        "note",
        "Nothing goes down the drain: collect it, and follow the rules of your place for silver, copper and acid.",
    ),
}
