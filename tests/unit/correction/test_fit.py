"""The colour fit on a card whose truth is known: what it must recover, what it must doubt, what it must notice."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.card_estimate import estimate_card
from stripread.card.layout import layout
from stripread.card.patches import PatchSamples
from stripread.card.values import CardValues, nominal_values
from stripread.colour import delta_e, rgb_to_lab, srgb_encode
from stripread.correction.fit import fix_colour
from stripread.errors import Refused

CENTRES = np.array([p.rect_mm[:2] for p in layout().patches]) + 3.5
PRINTED = nominal_values().rgb ** 1.2 * 0.95 + 0.01  # a printer with dot gain
KNOWN = CardValues(PRINTED, np.full(len(PRINTED), 0.004), "estimated")


def encode(rgb, at, seed, noise=0.0005):
    """A made-up phone: its own matrix, white balance, gamma, contrast and light over the card."""
    rng = np.random.default_rng(seed)
    A = np.eye(3) + rng.normal(0, 0.06, (3, 3))
    A /= A.sum(axis=1, keepdims=True)
    x = (at - [74, 52]) / [74, 52]
    light = np.exp(x @ rng.normal(0, 0.12, (2, 3)) + rng.normal(-0.3, 0.1, 3))
    v = srgb_encode((rgb @ A.T + 0.004) * light) ** np.exp(rng.normal(0, 0.08))
    v = v - rng.uniform(0, 0.25) * np.sin(2 * np.pi * v) / (2 * np.pi)
    return np.clip(v + rng.normal(0, noise, v.shape), 0, 1)


def photo(seed, rgb=PRINTED, at=CENTRES):
    v = encode(rgb, at, seed)
    n = len(v)
    return PatchSamples(v, np.full((n, 3), 2.5e-7), np.zeros((n, 3)), np.zeros(n), np.ones(n, bool), at)


PADS = np.array([[0.55, 0.30, 0.12], [0.20, 0.45, 0.25], [0.15, 0.18, 0.45], [0.80, 0.70, 0.30]])
PAD_AT = np.array([[30.0, 37], [38, 36], [46, 38], [54, 37]])


@pytest.mark.parametrize("seed", range(6))
def test_pads_come_back_whatever_phone_and_light(seed):
    samples = photo(seed)
    both = encode(np.vstack([PRINTED, PADS]), np.vstack([CENTRES, PAD_AT]), seed)
    fix = fix_colour(samples, KNOWN)
    lab, cov, _ = fix.to_lab(both[len(PRINTED) :], PAD_AT, np.full((4, 3), 2.5e-7))
    assert delta_e(lab, rgb_to_lab(PADS)).max() < 2.0
    assert np.linalg.eigvalsh(cov).min() > 0


def test_parts_add_up_to_the_covariance():
    fix = fix_colour(photo(1), KNOWN)
    _, cov, parts = fix.to_lab(photo(1).rgb[:3], CENTRES[:3], np.full((3, 3), 1e-6))
    assert sum(parts.values()) == pytest.approx(cov, abs=1e-9)


def test_noise_part_follows_the_noise():
    fix = fix_colour(photo(1), KNOWN)
    one = fix.noise_cov(photo(1).rgb[30:31], CENTRES[30:31], np.full((1, 3), 1e-6))
    four = fix.noise_cov(photo(1).rgb[30:31], CENTRES[30:31], np.full((1, 3), 4e-6))
    assert four == pytest.approx(4 * one)


def test_a_covered_patch_is_not_believed():
    samples = photo(2)
    spoiled = samples.rgb.copy()
    spoiled[50:54] = [0.9, 0.2, 0.2]
    fix = fix_colour(replace(samples, rgb=spoiled), KNOWN)
    assert fix.weights[50:54].max() < 0.05
    clean = fix_colour(samples, KNOWN)
    lab = [f.to_lab(samples.rgb[30:40], CENTRES[30:40], samples.var[30:40])[0] for f in (fix, clean)]
    assert delta_e(*lab).max() < 0.7


def test_a_card_without_colour_is_noticed():
    grey = np.repeat(PRINTED.mean(axis=1, keepdims=True), 3, axis=1)
    fix = fix_colour(photo(3, grey), nominal_values())
    assert fix.monochrome
    assert not fix_colour(photo(3), nominal_values()).monochrome
    _, cov, _ = fix.to_lab(photo(3, grey).rgb[:1], CENTRES[:1], np.full((1, 3), 1e-6))
    assert np.sqrt(np.diag(cov))[1:].min() > 5.0  # colours are hardly known then


def test_another_print_is_told_from_this_card():
    other = np.clip(PRINTED ** np.array([0.7, 1.1, 1.3]), 0.01, 1)
    assert fix_colour(photo(4, other), KNOWN).lab_rms > 2 * fix_colour(photo(4), KNOWN).lab_rms


@pytest.mark.parametrize("lost", ["hidden", "clipped"])
def test_with_too_few_patches_the_photo_is_refused(lost):
    samples = photo(5)

    def left(n):
        keep = np.arange(len(samples.usable)) < n
        if lost == "hidden":
            return replace(samples, usable=keep)
        return replace(samples, clipped=np.where(keep[:, None], 0.0, 0.5) * np.ones(3))

    for n in (0, 8, 11):
        with pytest.raises(Refused, match=f"{n} of ") as caught:
            fix_colour(left(n), KNOWN)
        assert caught.value.reason.code == "patches_unusable"
    fix_colour(left(12), KNOWN)


def test_card_values_agree_between_photos_of_one_card():
    photos = [photo(s) for s in range(10, 18)]
    card = estimate_card(photos)
    assert card.source == "estimated"
    fresh = fix_colour(photo(30), card)
    assert fresh.lab_rms < 1.5  # any system of coordinates will do, as long as a new photo finds the same one
    assert fresh.lab_rms < 0.7 * fix_colour(photo(30), nominal_values()).lab_rms


def test_measured_values_are_kept():
    measured = CardValues(PRINTED, np.full(len(PRINTED), 0.006), "measured")
    assert estimate_card([photo(1)], measured) is measured
