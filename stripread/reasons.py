"""Every reason a reading may carry: code, severity and the sentence that says what to do.

Defined once, here; the JSON, the page, the overlay and the docs all take them from ``REASONS``.
``refuse`` leaves no value; ``doubt`` leaves a value and makes the reading doubtful; ``note`` informs and leaves the
status alone (cautions, limits of what a test proves).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from stripread.words import say

Severity = Literal["refuse", "doubt", "note"]
Bound = Literal["at most", "at least"]


@dataclass(frozen=True)
class Reason:
    """One reason: a stable ``code``, its ``severity`` and a ``message`` with the remedy in it.

    What the message says in figures stands beside it, so that nobody takes a sentence apart: ``value`` in ``unit``
    ("" for a plain number), and ``bound`` where the value is only known to be at most or at least that.
    """

    code: str
    severity: Severity
    message: str
    bound: Bound | None = field(default=None, compare=False)  # two reasons are one where they say the same
    value: float | None = field(default=None, compare=False)
    unit: str = field(default="", compare=False)


# code -> (severity, message). A message may hold {fields}; ``because`` fills them in.
REASONS: dict[str, tuple[Severity, str]] = {
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
    # the strip
    "no_strip": ("refuse", "No strip was found in the lane. Lay the strip in the lane, dipped end to the left."),
    "strips_touch": (
        "refuse",
        "Strips in the lane touch or lie one over another, so whose pads are whose can't be told. Lay them side by side "
        "with a few millimetres of paper between them, dipped ends to the left.",
    ),
    "strip_beside_unread": (
        "doubt",
        "What lies beside this strip looks like another one and could not be read ({detail}): make sure that the value "
        "is that of the strip you mean. Mend that, or take it out of the lane, and take the photo again.",
    ),
    # an unused strip that is described
    "pads_unsure": (
        "doubt",
        "Not every pad could be measured surely ({detail}). Look at the picture, and correct the figures with a ruler.",
    ),
    "dipped_end_unsure": (
        "doubt",
        "The dipped end is hard to see on the paper, so where the pads begin may be off by up to {detail}, all of them alike. "
        "Measure from the end to the first pad with a ruler, and correct it.",
    ),
    "no_pads_seen": (
        "doubt",
        "No pads stand out from the carrier. If this is roll paper, say so; else its pads are as pale as the carrier, and "
        "have to be measured with a ruler.",
    ),
    "pads_miscounted": (
        "doubt",
        "The photo does not show as many pads as were counted ({detail}). Look at the picture: add or correct pads with a "
        "ruler, or take the photo again in even light.",
    ),
    "pad_may_hide": (
        "doubt",
        "A pad as pale as the carrier may lie {detail}. Look at the strip; if there is one, add it with a ruler.",
    ),
    "strip_size_unsure": (
        "doubt",
        "The strip's own edges are hard to see on the paper, so its length or width is not sure. Measure them with a ruler.",
    ),
    "strip_turned_round": (
        "doubt",
        "The pads lie nearer the right end. The end that is dipped belongs left: turn the strip round and take the photo "
        "again, or take the figures as they are if it is dipped at the left all the same.",
    ),
    "strip_not_alone": (
        "doubt",
        "Something else lies in the lane beside the strip. Take it away and take the photo again.",
    ),
    "one_strip": (
        "refuse",
        "Only one strip was found, and two were to be compared. Lay the sample's strip nearer the card's top edge and "
        "the comparison's below it, a strip's width apart.",
    ),
    "comparison_unread": (
        "doubt",
        "The comparison strip could not be read ({detail}), so the sample was read by itself. Mend that and take the "
        "photo again.",
    ),
    "comparison_kind": (
        "doubt",
        "What lies below the sample's strip is no strip of the profile's kind, so the sample was read by itself. Compare "
        "with a strip out of the sample's own bottle.",
    ),
    "comparison_dry": (
        "doubt",
        "The comparison strip's colours fit no pH ({detail}): was it dipped at all? A dry one looks like this, and so does "
        "one of another kind. The sample was read without it. Dip a fresh strip of the sample's bottle and try again.",
    ),
    "comparison_off": (
        "doubt",
        "The comparison strip reads {detail}: another liquid, a strip not dipped or from another bottle? The sample was "
        "read without it. Dip a fresh strip and try again.",
    ),
    "strips_exchanged": (
        "doubt",
        "The comparison strip reads {detail}, and the sample's strip does: are the two exchanged? The comparison lies "
        "below, farther from the card's top edge. The sample was read without it. Lay "
        "them the other way round and take the photo again.",
    ),
    "exchange_unseen": (
        "note",
        "Both strips fit the liquid, so only their places tell which is the sample's: the upper one. Were they exchanged, "
        "the sample would be at {detail}.",
    ),
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
    "uneven_pad": (
        "doubt",
        "A pad is not of one colour ({detail}). Dip again, or take the photo within the reading time.",
    ),
    "off_curve": (
        "refuse",
        "The pad colours fit no pH of this profile ({detail}). Was the strip dipped? A dry one looks like this. Else check its kind, the liquid's own colour and the light.",
    ),
    "near_off_curve": (
        "doubt",
        "The pad colours fit the profile's curve only roughly ({detail}). Take another photo in other light.",
    ),
    "ambiguous": ("doubt", "Another pH fits about as well ({detail}). Take a second photo or use a narrower strip."),
    "end_of_range": (
        "doubt",
        "The value lies at the end of the strip's range: read it as {detail}, or use a strip that reaches further.",
    ),
    "by_hand": (
        "note",
        "This value was entered by hand ({detail}); the photo's own reading stands in the entry before.",
    ),
    "wide_interval": (
        "note",
        "The interval is wide ({detail}): enough where the limit that is asked for lies outside it. Else a strip with "
        "more pads or a narrower range says more.",
    ),
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


def because(
    code: str, detail: str = "", *, bound: Bound | None = None, value: float | None = None, unit: str = ""
) -> Reason:
    """Make the registered reason ``code`` with ``detail`` filled in; the figures are ``Reason``'s fields.

    Raises
    ------
    KeyError
        If the code is not registered.
    """
    severity, text = REASONS[code]
    text = say(text)
    if not detail:
        text = text.replace(" ({detail})", "").replace("{detail}", "")
    return Reason(code, severity, text.replace("{detail}", detail), bound, value, unit)
