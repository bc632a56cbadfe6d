"""A strip read with the doubt of a phone that the profile knows, and what is said of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from stripread.ph.phones.known import STRANGER, Match, match
from stripread.ph.phones.taken import taken_by
from stripread.ph.posterior import PhEstimate, infer_ph
from stripread.ph.verdicts import NEAR_OFF_CURVE
from stripread.reasons import Reason, because
from stripread.results import TakenBy
from stripread.words import _n

if TYPE_CHECKING:
    from stripread.correction.fit import ColourFix
    from stripread.ph.profile import Profile
    from stripread.photo import Photo
    from stripread.strip.pads import PadSet


def looked_up(photo: Photo | None, fix: ColourFix | None, profile: Profile) -> TakenBy:
    """By which phone and in what light a photo was taken, and whether the profile knows them."""
    phone = None if photo is None else photo.phone
    if fix is None:
        return TakenBy(phone)
    taken = taken_by(phone, fix)
    found: Match = STRANGER
    if not profile.quality.contradicted:  # photos that speak against each other tell nothing of their phone
        found = match(taken, fix.mixing()[1], profile.phones, [photo.taken for photo in profile.photos])
    return TakenBy(phone, taken.light, found.known, found.share, found.curve)


def with_known_curve(profile: Profile, taken: TakenBy) -> Profile:
    """The profile with its curve as sure as the known phone's own photos make it."""
    if taken.curve == 1.0:
        return profile
    return replace(profile, strip=replace(profile.strip, cov_factor=profile.strip.cov_factor * np.sqrt(taken.curve)))


def as_used(taken: TakenBy, strips: Sequence[PadSet | None]) -> TakenBy:
    """The phone with the doubt that was used: a stranger's where the first strip's pads have that after all."""
    pads = strips[0] if strips else None
    return taken if pads is not None and pads.share < 1.0 else replace(taken, share=1.0, curve=1.0)


def read_known(pads: PadSet, profile: Profile, taken: TakenBy) -> tuple[PadSet, PhEstimate, tuple[Reason, ...]]:
    """Infer the pH with the doubt that the phone deserves.

    Colours that no pH explains with a known phone's doubt are not what that phone's photos were like (a filter, another
    mode, a smear on the lens): then it counts as a stranger.

    Returns
    -------
    The pads with the doubt used, the estimate, and what is to be said of the phone.
    """
    if taken.known != "phone and light":
        said = (because("known_phone_other_light"),) if taken.known == "phone" else ()
        return pads, infer_ph(pads, profile), said
    nearer = pads.by_known_phone(taken.share)
    estimate = infer_ph(nearer, with_known_curve(profile, taken))
    if estimate.misfit > NEAR_OFF_CURVE:
        return pads, infer_ph(pads, profile), (because("known_phone_differs"),)
    photos = next(phone.photos for phone in profile.phones if phone.phone == taken.phone)
    return nearer, estimate, (because("known_phone", _n("{n} photo", "{n} photos", photos), value=float(photos)),)
