"""Reasons of strips in the lane: found, described, compared, and what their colours say."""

from __future__ import annotations

from stripread.reasons.reason import Severity

# code -> (severity, message). A message may hold {detail}; ``because`` fills it in.
TABLE: dict[str, tuple[Severity, str]] = {
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
    "profile_contradicted": (
        "doubt",
        "The photos that the profile was made from speak against each other. Were two of its liquids mixed up? Its "
        "calibration report names them: put that right and calibrate again.",
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
}
