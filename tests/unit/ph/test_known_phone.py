"""A phone and a light that the profile knows: when a photo is one of theirs, and what its reading then says."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import chi2

from stripread.ph.combined_reading import combine
from stripread.ph.phones.known import OTHER_LIGHT, STRANGER, KnownPhone, like_them, match
from stripread.ph.phones.taken import Taken
from stripread.ph.posterior import infer_ph
from stripread.ph.profile import load_profile
from stripread.ph.read import read_ph
from stripread.ph.remembered.read_known import as_used, read_known, with_known_curve
from stripread.results import TakenBy
from tests.photo_names import named
from tests.unit.ph.test_joint_posterior import observations, profile, seen
from tests.unit.ph.test_posterior import LineCurve, pads_at

LIGHT = tuple(0.01 * n for n in range(6))
FIT = 1e-4 * np.eye(6)
PHONES = (KnownPhone("maker model, rear 5.4 mm", 8, 0.25, 0.4),)
PHOTOS = [Taken("maker model, rear 5.4 mm", LIGHT)] * 8
KNOWN = TakenBy("maker model, rear 5.4 mm", LIGHT, "phone and light", 0.25, 0.4)


def parted(ph, curve):
    """The toy's pads, a quarter of their variance noise and the rest a phone's."""
    pads = pads_at(ph, curve, 2.0)
    return replace(pads, parts={"noise": 0.25 * pads.cov, "correction": 0.75 * pads.cov})


def test_phone_and_light_of_the_calibration_are_known():
    found = match(PHOTOS[0], FIT, PHONES, PHOTOS)
    assert (found.known, found.share, found.curve) == ("phone and light", 0.25, 0.4)


def test_the_same_phone_by_another_lens_is_a_stranger():
    assert match(Taken("maker model, rear 9 mm", LIGHT), FIT, PHONES, PHOTOS) == STRANGER


def test_a_photo_that_names_no_phone_is_a_strangers():
    assert match(Taken(None, LIGHT), FIT, PHONES, PHOTOS) == STRANGER
    assert match(Taken(None, LIGHT), FIT, (), [Taken(None, LIGHT)] * 8) == STRANGER


def test_the_phone_in_another_light_has_a_strangers_doubt():
    other = Taken(PHOTOS[0].phone, tuple(v + 0.1 for v in LIGHT))
    found = match(other, FIT, PHONES, PHOTOS)
    assert (found.known, found.share, found.curve) == ("phone", 1.0, 1.0)


def test_a_light_counts_as_another_as_rarely_as_said():
    """Lights that scatter as the fit says: Hotelling's T-squared, for many photos chi-square (from memory)."""
    rng = np.random.default_rng(4)
    lights = 0.01 * rng.normal(size=(400, 6))
    drawn = 0.01 * rng.normal(size=(2000, 6))
    told = np.mean([not like_them(light, FIT, lights) for light in drawn])
    assert told == pytest.approx(OTHER_LIGHT, abs=0.008)
    far = np.sqrt(chi2.isf(OTHER_LIGHT, 6)) * 0.01
    at = np.eye(6)[0]
    assert like_them(lights.mean(axis=0) + 0.9 * far * at, FIT, lights)
    assert not like_them(lights.mean(axis=0) + 1.15 * far * at, FIT, lights)


def test_many_lights_that_calibrated_are_all_known():
    """A light between two that calibrated is one of theirs; one as far off on the other side is not."""
    here, there = np.array(LIGHT), np.array(LIGHT) + 0.1
    both = np.array([here, there] * 8)
    assert like_them((here + there) / 2, FIT, both)
    assert not like_them(here - 0.3, FIT, both)


def test_a_known_phones_own_variance_is_what_shrinks():
    curve = LineCurve()
    pads = parted(6.0, curve)
    known = pads.by_known_phone(0.25)
    assert known.cov == pytest.approx((0.25 + 0.25 * 0.75) * pads.cov)
    assert known.parts["noise"] == pytest.approx(pads.parts["noise"])
    assert sum(known.parts.values()) == pytest.approx(known.cov)


def test_a_strangers_doubt_is_the_same_to_the_bit():
    curve = LineCurve()
    pads = parted(6.0, curve)
    for taken in (TakenBy(), TakenBy("other", LIGHT), replace(KNOWN, known="phone", share=1.0, curve=1.0)):
        used, estimate, _ = read_known(pads, curve, taken)
        assert used is pads
        plain = infer_ph(pads, curve)
        assert np.array_equal(estimate.density, plain.density)
        assert (estimate.ph, estimate.interval) == (plain.ph, plain.interval)


def test_a_known_phone_is_surer_and_says_so():
    learned = replace(profile(), phones=PHONES)
    pads = parted_of(learned, 6.0)
    used, estimate, said = read_known(pads, learned, KNOWN)
    plain = infer_ph(pads, learned)
    assert np.ptp(estimate.interval) < 0.9 * np.ptp(plain.interval)
    assert [reason.code for reason in said] == ["known_phone"]
    assert "8 photos" in said[0].message
    assert as_used(KNOWN, [used]) == KNOWN
    assert estimate.budget["calibration"] < infer_ph(used, learned).budget["calibration"]


def parted_of(learned, ph):
    pads = seen_pads(learned, ph)
    return replace(pads, parts={"noise": 0.25 * pads.cov, "correction": 0.75 * pads.cov})


def seen_pads(learned, ph):
    pads = pads_at(ph, LineCurve())
    lab = learned.curve(np.array([ph]))[0]
    return replace(pads, lab=lab, cov=4.0 * np.eye(lab.size))


def test_colours_unlike_the_phones_own_photos_are_a_strangers():
    learned = replace(profile(), phones=PHONES)
    pads = parted_of(learned, 6.0)
    off = np.zeros_like(pads.lab)
    off[0], off[-1] = (0.0, 9.0, -9.0), (0.0, -9.0, 9.0)
    odd = replace(pads, lab=pads.lab + off)
    used, estimate, said = read_known(odd, learned, replace(KNOWN, share=0.01, curve=0.05))
    assert [reason.code for reason in said] == ["known_phone_differs"]
    assert used is odd
    assert np.array_equal(estimate.density, infer_ph(odd, learned).density)
    assert as_used(KNOWN, [used]).share == 1.0


def test_several_photos_by_a_known_phone_share_its_surer_curve():
    photos = [seen(observation) for observation in observations(6.0, 3, 8)]
    known = [replace(photo, reading=replace(photo.reading, taken_by=KNOWN)) for photo in photos]
    mixed = [known[0], *photos[1:]]
    plain, surer, one = (
        combine(some, profile(), same_strip=False).reading.budget["calibration"] for some in (photos, known, mixed)
    )
    assert surer < 0.6 * plain
    assert one == plain


def test_the_curve_is_as_sure_as_said():
    at = np.array([4.0, 7.0])
    learned = with_known_curve(profile(), KNOWN)
    assert learned.curve_cov(at) == pytest.approx(0.4 * profile().curve_cov(at))


DEMO = Path(__file__).parents[3] / "service" / "demo"


def test_a_photo_that_names_the_phone_is_read_as_known_and_one_that_does_not_as_ever():
    photo, plain = (DEMO / "photos" / "12-wash-08.jpg").read_bytes(), load_profile(DEMO / "profile.toml")
    stranger = read_ph(photo, plain)
    phone = "Stand-in one, rear 5.4 mm"
    shot = Taken(phone, stranger.taken_by.light)
    photos = tuple(replace(known, taken=shot) for known in plain.photos)
    learned = replace(plain, photos=photos, phones=(KnownPhone(phone, len(photos), 0.2, 0.5),))
    known = read_ph(named(photo, "one"), learned)
    assert (known.taken_by.known, known.taken_by.phone) == ("phone and light", phone)
    assert known.to_dict()["taken_by"] == {**known.taken_by.to_dict(), "phone": phone, "share": 0.2, "curve": 0.5}
    surer = np.array([pad.sd for pad in known.pads]) / np.array([pad.sd for pad in stranger.pads])
    assert (surer > np.sqrt(0.2)).all()  # noise and texture stay
    assert (surer < 0.8).all()
    assert "known_phone" in [reason.code for reason in known.reasons]
    for as_ever in (
        read_ph(photo, learned),
        read_ph(named(photo, "other"), learned),
        read_ph(named(photo, "one"), plain),
    ):
        assert as_ever.own() == stranger.own()  # value, interval, budget, pads and reasons, to the bit
        assert as_ever.taken_by.known == "no"


def test_a_profile_whose_photos_contradict_each_other_knows_no_phone():
    photo, plain = (DEMO / "photos" / "12-wash-08.jpg").read_bytes(), load_profile(DEMO / "profile.toml")
    phone = "Stand-in one, rear 5.4 mm"
    shot = Taken(phone, read_ph(photo, plain).taken_by.light)
    photos = tuple(replace(known, taken=shot) for known in plain.photos)
    mixed_up = replace(plain.quality, exchanged=1)
    learned = replace(plain, photos=photos, phones=(KnownPhone(phone, len(photos), 0.2, 0.5),), quality=mixed_up)
    assert read_ph(named(photo, "one"), learned).taken_by.known == "no"
