"""The profile: its file goes round unchanged, what it says is enforced, and broken files are called by name."""

import dataclasses

import numpy as np
import pytest

from stripread.card.values import CardValues, nominal_values
from stripread.colour import rgb_to_lab
from stripread.errors import CallError
from stripread.kind import Pad, StripKind
from stripread.ph.curve import Lot, Scatter, StripCurve
from stripread.ph.phones.known import KnownPhone
from stripread.ph.phones.taken import UNKNOWN, Taken
from stripread.ph.profile import Profile, load_profile, profile_from_text, profile_text, save_profile
from stripread.ph.quality import KnownPhoto, Quality

KIND = StripKind("two pads", 6.0, 75.0, (Pad(2.0, 6.0), Pad(9.0, 6.0)), (2.0, 9.0), (10.0, 60.0))


def made(**changes):
    rng = np.random.default_rng(1)
    ph = np.round(np.arange(1.5, 9.51, 0.05), 2)
    lab = np.stack([np.outer(ph, [-5, 3, 4]) + np.array([95, 1, 2]), np.outer(np.sin(ph), [9, -20, 30]) + 50], axis=1)
    cov_ph = np.arange(1.5, 9.6, 0.5)
    factor = np.tril(rng.normal(0, 0.6, (len(cov_ph), 6, 6))) + np.eye(6)
    strip = StripCurve(ph, lab, cov_ph, factor, Scatter((1.0, 1.1, 1.2), (0.5, 0.6, 0.7)), Lot())
    nominal = nominal_values()
    profile = Profile(
        name="two pads",
        kind=KIND,
        strip=strip,
        evidence="buffers",
        quality=Quality(5, 10, 0.08, 0.06, 0.2, 0.95, 1.1),
        model="spline",
        why="too few points for the chemistry",
        photos=tuple(KnownPhoto(f"b{n}.jpg", f"{n:064x}", 2.0 + n // 2, 0.02) for n in range(10)),
        software="stripread 0.1.0",
        made="2026-01-02T03:04:05Z",
        card_values=CardValues(nominal.rgb, nominal.sd, "estimated"),
        parameters={"pads": [{"pka": [4.66, 7.1]}]},
    )
    return dataclasses.replace(profile, **changes)


def test_phones_and_lights_go_round_and_files_without_them_know_none():
    taken = Taken("maker model, rear 5.4 mm", (-0.165, 0.033, 0.0, 0.066, 0.003, 0.133))
    plain = made()
    photos = tuple(dataclasses.replace(photo, taken=taken) for photo in plain.photos)
    profile = made(photos=photos, phones=(KnownPhone(taken.phone, 10, 0.1234, 0.5),))
    again = profile_from_text(profile_text(profile), "here")
    assert (again.photos, again.phones) == (profile.photos, profile.phones)
    older = profile_from_text(profile_text(plain), "here")
    assert older.phones == ()
    assert {photo.taken for photo in older.photos} == {UNKNOWN}
    assert "phone" not in profile_text(plain)


@pytest.mark.parametrize("share", ["0.0", "1.5", "nan", '"much"'])
def test_a_share_that_is_none_is_refused(share):
    text = profile_text(made(phones=(KnownPhone("maker model", 10, 0.1234, 0.5),)))
    with pytest.raises(CallError, match="share"):
        profile_from_text(text.replace("share = 0.1234", f"share = {share}"), "here")


def test_file_goes_round(tmp_path):
    profile = made()
    path = tmp_path / "p.toml"
    save_profile(profile, path)
    again = load_profile(path)
    at = np.linspace(2, 9, 57)
    assert again.curve(at) == pytest.approx(profile.curve(at), abs=0.006)
    assert again.curve_cov(at) == pytest.approx(profile.curve_cov(at), rel=0.01, abs=0.02)
    assert again.lot_cov(at) == pytest.approx(profile.lot_cov(at), rel=0.02, abs=0.02)
    assert rgb_to_lab(again.card_values.rgb) == pytest.approx(rgb_to_lab(profile.card_values.rgb), abs=1e-3)
    assert again.card_values.sd == pytest.approx(profile.card_values.sd, abs=1e-5)
    for field in ("name", "kind", "evidence", "quality", "model", "why", "photos", "software", "made", "parameters"):
        assert getattr(again, field) == getattr(profile, field)
    # a second trip changes nothing at all: two profiles can be compared as text
    assert profile_text(again) == path.read_text(encoding="utf-8")


def test_unknown_numbers_and_missing_card_go_round():
    profile = made(quality=Quality(1, 1), card_values=None)
    again = profile_from_text(profile_text(profile), "p")
    assert again.card_values is None
    assert np.isnan(again.quality.loo_rms)


def test_covariances_are_covariances_between_the_grid_points():
    profile = made()
    at = np.linspace(1, 10, 91)
    for cov in (profile.curve_cov(at), profile.lot_cov(at)):
        assert cov == pytest.approx(cov.transpose(0, 2, 1))
        assert np.linalg.eigvalsh(cov).min() > 0


def test_beyond_the_grid_the_end_is_held():
    profile = made()
    assert profile.curve(np.array([-3.0])) == pytest.approx(profile.curve(np.array([1.5])))
    assert profile.curve(np.array([20.0])) == pytest.approx(profile.curve(np.array([9.5])))


def test_lot_moves_a_pad_along_its_own_curve():
    # With a shift only, the covariance is the outer product of the slope with itself, and pads stay independent.
    profile = made()
    strip = dataclasses.replace(profile.strip, lot=Lot(0.1, 0.0, 0.0, 0.0))
    cov = strip.strip_cov(np.array([4.0]))[0]
    assert cov[:3, :3] == pytest.approx(0.01 * np.outer([-5, 3, 4], [-5, 3, 4]), rel=1e-6)
    assert np.abs(cov[:3, 3:]).max() == 0.0


def test_scatter_is_shared_and_own():
    cov = Scatter((1.0, 2.0, 3.0), (0.5, 0.5, 0.5)).cov(2)
    assert cov[0, 0] == pytest.approx(1.25)
    assert cov[1, 4] == pytest.approx(4.0)
    assert cov[0, 1] == 0.0


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({}, True),
        ({"evidence": "chart only"}, False),
        ({"photos": made().photos[::2]}, False),  # one photo a point
        ({"photos": made().photos[:6]}, False),  # three points
        ({"quality": Quality(5, 10)}, False),  # leave-one-out could not be computed
    ],
)
def test_evidence(changes, expected):
    assert made(**changes).has_evidence is expected


@pytest.mark.parametrize(
    ("edit", "words"),
    [
        (lambda t: "", "not a profile"),
        (lambda t: "[[[", "not a profile"),
        (lambda t: 'name = "a kind, not a profile"', "stripread calibrate"),
        (lambda t: t.replace("format = 1", "format = 2"), "newer version"),
        (lambda t: t.replace("format = 1", 'format = "x"'), "format"),
        (lambda t: t.replace("[lot]", "[plot]"), "lacks 'lot'"),
        (lambda t: t.replace('evidence = "buffers"', 'evidence = "hope"'), "hope"),
        (lambda t: t.replace("\n  2.00 ", "\n  nan "), "finite"),
        (lambda t: t.replace("\n  2.00 ", "\n  1.00 "), "rise"),
        (lambda t: t.replace("\n  2.00 ", "\n  2.00 7.0 "), "broken"),
        (lambda t: t.replace("common = [", "common = [3.0,"), "broken"),
        (lambda t: t.replace("{ offset_mm = 9.0, length_mm = 6.0 }", ""), "broken|pads"),
    ],
)
def test_broken_files_are_named(tmp_path, edit, words):
    path = tmp_path / "broken.toml"
    path.write_text(edit(profile_text(made())), encoding="utf-8")
    with pytest.raises(CallError, match=words) as told:
        load_profile(path)
    assert "broken.toml" in str(told.value)
    assert "\n" not in str(told.value)


def test_missing_and_binary_files(tmp_path):
    with pytest.raises(CallError, match="can't read"):
        load_profile(tmp_path / "none.toml")
    (tmp_path / "x.toml").write_bytes(b"\xff\xd8\xff\xe0" * 20)
    with pytest.raises(CallError, match="not a profile"):
        load_profile(tmp_path / "x.toml")


def test_photos_that_disagree_widen_every_doubt_and_photos_that_agree_narrow_none():
    scale = {chi: Quality(14, 28, chi_square=chi).doubt_scale for chi in (0.3, 0.65, 1.0, 1.4, 50.0)}
    assert scale[0.3] == scale[0.65] == 1.0
    assert 1.0 < scale[1.0] < scale[1.4] < scale[50.0] == 2.5
    assert Quality(14, 28).doubt_scale == 1.0  # nothing was left out: nothing is known
    assert Quality(3, 3, chi_square=1.4).doubt_scale < scale[1.4]  # few buffers prove little


def test_a_widened_scatter_has_that_much_more_variance():
    scatter = Scatter((1.0, 1.1, 1.2), (0.5, 0.6, 0.7))
    assert scatter.widened(1.7).cov(2) == pytest.approx(1.7 * scatter.cov(2))
