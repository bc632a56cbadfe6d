"""Reasons of the file, the card in it, and the colour correction by it."""

from dataclasses import replace

import numpy as np
from scipy.optimize import brentq

from stripread.card.exposure import check_exposure
from stripread.card.layout import layout
from stripread.card.pose import solve_pose
from stripread.card.view import CardView, check_sharp
from stripread.correction.fit import fix_colour
from stripread.correction.same_card import card_misfit
from stripread.correction.verdicts import doubts_of_fix
from stripread.imagefile.header import Header, check_size
from stripread.photo import open_photo
from tests.cardshots import Shot, as_photo, jpeg
from tests.reason_cases.row import Row
from tests.unit.card.test_pose import exact_sightings
from tests.unit.correction.test_fit import KNOWN, PRINTED, photo


def size(w, h):
    check_size(Header("JPEG", "RGB", (w, h), bytes(w * h // 200), 0))
    return ()


def opened(cut):
    grey = np.random.default_rng(1).integers(60, 200, (240, 320, 3)).astype(np.uint8)
    data = jpeg(grey)
    open_photo(data[: len(data) - cut])
    return ()


def posed(shot, ids):
    blank = as_photo(np.zeros((shot.size[1], shot.size[0], 3), np.uint8))
    solve_pose(exact_sightings(shot, ids) if ids != [] else (), layout(), blank)
    return ()


def below(mm):
    """A card of which all below this height (mm from its top edge) is outside the picture.

    What is outside is counted in 27 rows, 4 mm apart.
    """
    return posed(Shot(distance=230.0, shift=(0.0, 599.5 * 230.0 / 1200.0 + 52.0 - mm)), None)


def lane_corner(px):
    """A card turned by an eighth, its lane's upper left corner so far below the picture's edge, a tenth cut off."""
    shot = Shot(distance=350.0, roll=45.0)
    x, y = layout().lane_mm[:2]
    high = shot.to_px(np.array([[x, y]]))[0, 1]
    return posed(replace(shot, shift=(0.0, (px - high) * 350.0 / 1200.0)), None)


def sharp(edge_mm):
    check_sharp(CardView(np.zeros((4, 4, 3), np.uint8), 5.0, 0.0, np.ones((4, 4), bool), edge_mm, 5.0 * edge_mm))
    return ()


def exposed(**change):
    check_exposure(replace(photo(1), **change), layout())
    return ()


LIGHT = layout().nominal_srgb().min(axis=1) > 0.75


def with_white(level):
    """The card's light patches at one encoded value."""
    return exposed(rgb=np.where(LIGHT[:, None], level, photo(1).rgb * 0.1))


def with_burnt(share):
    """So many of the light patches a third burnt, the rest not at all."""
    clipped = np.zeros((len(LIGHT), 3))
    burnt = np.flatnonzero(LIGHT)[: round(share * LIGHT.sum())]
    clipped[burnt] = 0.31
    return exposed(clipped=clipped)


def with_usable(n):
    """The first n light or other patches clear, half of them light, so that only their number tells."""
    order = np.concatenate([np.flatnonzero(LIGHT), np.flatnonzero(~LIGHT)])
    usable = np.zeros(len(LIGHT), bool)
    usable[order[:n]] = True
    return exposed(usable=usable)


def with_clean(n):
    keep = np.arange(len(LIGHT)) < n
    return exposed(clipped=np.where(keep[:, None], 0.0, 0.021) * np.ones(3))


def of_fix(**change):
    samples = photo(1)
    return doubts_of_fix(replace(fix_colour(samples, KNOWN), **change), samples, KNOWN)


def with_dyes(off):
    """Dyes foretold to be off by so many Delta E: the field of one that is a constant in a*."""
    dyes = np.zeros((10, 3))
    dyes[0, 1] = off
    return of_fix(dyes=dyes)


def with_light(ratio):
    """Light that falls in equal steps across the card, brightest to darkest patch in this ratio."""
    samples = photo(1)
    fix = fix_colour(samples, KNOWN)
    x = samples.centre_mm[:, 0] / 74.0 - 1.0
    theta = fix.theta.copy()
    theta[5:23] = 0.0
    theta[[6, 12, 18]] = np.log(ratio) / (x.max() - x.min())
    return doubts_of_fix(replace(fix, theta=theta, dyes=np.zeros((10, 3))), samples, None)


def with_colour(share):
    """A card printed with this share of the colour contrast that was sent."""
    sent = np.log(np.maximum(KNOWN.rgb, 0.01)) / 2.2
    grey = sent.mean(axis=1, keepdims=True)
    samples = replace(photo(1), rgb=np.exp(grey + share * (sent - grey)))
    return [r for r in doubts_of_fix(fix_colour(samples, KNOWN), samples, KNOWN) if r.code == "card_without_colour"]


def with_card(times):
    """A card whose patches each lie elsewhere than the profile's, by as much as makes the misfit this."""
    samples = photo(1)
    fix = fix_colour(samples, KNOWN)
    off = np.random.default_rng(2).normal(0.0, 0.01, PRINTED.shape)

    def moved(by):
        return replace(KNOWN, rgb=PRINTED * np.exp(by * off))

    by = brentq(lambda by: card_misfit(fix, samples, moved(by)) - times, 0.0, 40.0)
    return doubts_of_fix(replace(fix, rms_cv=1.0), samples, moved(by))


def with_measured(rms):
    samples, values = photo(1), replace(KNOWN, source="measured")
    return doubts_of_fix(replace(fix_colour(samples, values), lab_rms=rms), samples, values)


def at(px_per_mm):
    """Seen from where a millimetre is so many pixels: the focal length is 1200 px."""
    return Shot(distance=1200.0 / px_per_mm)


ROWS = [
    Row("not_a_picture", "long side 24,400 px", lambda: size(24400, 2000), lambda: size(24401, 2000), "refused"),
    Row("file_cut_off", "whole or 400 bytes short", lambda: opened(0), lambda: opened(400), "refused"),
    Row("too_small", "long side 192 px", lambda: size(192, 140), lambda: size(191, 140), "refused"),
    Row("too_small", "short side 135 px", lambda: size(200, 135), lambda: size(200, 134), "refused"),
    Row("too_small", "1.3 px a mm", lambda: posed(at(1.31), None), lambda: posed(at(1.29), None), "refused"),
    Row("no_card", "a mark", lambda: posed(Shot(), None), lambda: posed(Shot(), []), "refused"),
    Row("card_cut_off", "3 marks", lambda: posed(Shot(), [7, 18, 44]), lambda: posed(Shot(), [7, 18]), "refused"),
    Row("card_cut_off", "24 clear patches", lambda: with_usable(24), lambda: with_usable(23), "refused"),
    Row("card_cut_off", "0.12 outside", lambda: below(94.0), lambda: below(91.0), "refused"),
    Row("card_cut_off", "the lane", lambda: lane_corner(1.0), lambda: lane_corner(-1.0), "refused"),
    Row("patches_unusable", "12 clean patches", lambda: with_clean(12), lambda: with_clean(11), "refused"),
    Row("blurred", "edges 2.1 mm wide", lambda: sharp(2.09), lambda: sharp(2.11), "refused"),
    Row("too_dark", "white 0.16", lambda: with_white(0.161), lambda: with_white(0.159), "refused"),
    Row("blown_out", "half of the whites", lambda: with_burnt(0.48), lambda: with_burnt(0.56), "refused"),
    Row("uneven_light", "3 to 1", lambda: with_light(2.98), lambda: with_light(3.02), "doubtful"),
    Row("uneven_light", "3 Delta E", lambda: of_fix(light_rms=2.99), lambda: of_fix(light_rms=3.01), "doubtful"),
    Row("colour_fit_poor", "6 Delta E", lambda: of_fix(rms_cv=5.99), lambda: of_fix(rms_cv=6.01), "doubtful"),
    Row("poor_light", "6 Delta E", lambda: with_dyes(5.99), lambda: with_dyes(6.01), "doubtful"),
    Row("card_without_colour", "a fifth of it", lambda: with_colour(0.205), lambda: with_colour(0.195), "doubtful"),
    Row("other_card", "misfit 2.4", lambda: with_card(2.39), lambda: with_card(2.41), "doubtful"),
    Row("other_card", "9 Delta E measured", lambda: with_measured(8.99), lambda: with_measured(9.01), "doubtful"),
]
