"""The card's own patch values, estimated jointly from photos of the same card.

No photo alone can tell the printer from the phone. Several photos of one card share its patch values and differ in
phone, light and exposure: alternate between fitting each photo to the present values and averaging what the photos say
of each patch. What is common to all photos (a printer's dot gain, say) ends up in the values and cancels between
calibration and reading; what differs between photos is the doubt of a patch.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import layout
from stripread.card.patches import PatchSamples
from stripread.card.values import CardValues, nominal_values
from stripread.correction.fit import fix_colour
from stripread.tuned import tuned

Array = NDArray[np.float64]

_TUNED = tuned("calibration")
ROUNDS = 5
# On the first round neither may the ramp bend the tone curve towards the printer's dot gain, nor the colours the
# camera's matrix towards inks that are stronger on screen than on paper: an over-saturated system puts real colours
# outside CIELAB's useful part. What phones mean by their pictures (sRGB, white paper) is the better start.
FIRST_SD = dict(zip(("white", "grey", "colour", "scale"), _TUNED.numbers("card_first_sd"), strict=True))
SD_FLOOR = _TUNED.number("card_sd_floor")
SD_PRIOR = _TUNED.number("card_sd_prior")
PRIOR_WEIGHT = _TUNED.number("card_prior_weight")


def estimate_card(photos: list[PatchSamples], start: CardValues | None = None) -> CardValues:
    """Patch values of the card that all these photos show.

    Parameters
    ----------
    photos
        Patch samples, one entry a photo, of the same printed card.
    start
        Where to start; nominal values by default. Measured values are returned as they are.

    Returns
    -------
    CardValues
        With the standard deviation of each patch from its scatter between the photos.
    """
    values = start or nominal_values()
    if values.source == "measured" or not photos:
        return values
    values = replace(values, sd=np.array([FIRST_SD[p.role] for p in layout().patches]))
    for _ in range(ROUNDS):
        seen = np.empty((len(photos), *values.rgb.shape))
        weight = np.empty((len(photos), len(values.rgb)))
        for n, samples in enumerate(photos):
            fix = fix_colour(samples, values)
            seen[n] = np.cbrt(fix.to_rgb(samples.rgb, samples.centre_mm))
            weight[n] = np.where(samples.clipped.max(axis=1) < 0.02, fix.weights, 0.0) + 1e-6
        share = weight / weight.sum(axis=0)
        mean = (share[:, :, None] * seen).sum(axis=0)
        scatter = (share[:, :, None] * (seen - mean) ** 2).sum(axis=0).mean(axis=1)
        count = weight.sum(axis=0)
        var = (scatter * count + PRIOR_WEIGHT * SD_PRIOR**2) / (np.maximum(count - 1.0, 0.0) + PRIOR_WEIGHT)
        # The spread between photos is what a further photo will show too: keep it whole, not divided by their number.
        sd = np.sqrt(var + SD_FLOOR**2)
        values = CardValues(mean**3, sd, "estimated")
    return values
