"""What a calibration asks for: mix-ups noticed and named, and the next liquid foretold as it turns out."""

from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from calibration.known_pads import KnownPads
from calibration.learn import fit_all, learn, make_profile
from calibration.liquids import next_best
from calibration.liquids.next_best import gains
from calibration.report import ph_doubt
from calibration.strangers.mixed_up import mixed_up
from calibration.strangers.suspicion import in_words
from stripread.kind import load_kind
from stripread.ph.profile import load_profile, save_profile
from stripread.ph.quality import KnownPhoto
from stripread.ph.read import read_ph
from tests.unit.calibration.toystrips import Toy, kind_of, photos

PH = np.array([1.2, 2.4, 4.0, 5.2, 6.9, 8.1, 9.2, 10.3, 11.5])
KIND = kind_of(3, 0, 13)


def a_calibration(seed):
    return photos(Toy.random(seed), PH, 2, seed=seed)


def test_what_is_right_is_not_blamed():
    blamed = [seed for seed in range(6) if mixed_up(a_calibration(seed), KIND.range)]
    assert len(blamed) <= 1


def test_two_liquids_exchanged_are_named():
    named = noticed = count = 0
    rng = np.random.default_rng(2)
    for seed in range(5):
        one, other = rng.choice(PH[1:-1], 2, replace=False)
        to = {one: other, other: one}
        wrong = [replace(k, ph=to.get(k.ph, k.ph)) for k in a_calibration(seed)]
        found = mixed_up(wrong, KIND.range)
        count += 1
        noticed += bool(found)
        named += bool(found) and found[0].way == "exchanged" and set(found[0].said) == {one, other}
    assert noticed >= 0.9 * count - 1
    assert named >= 0.8 * count - 1


def test_a_wrong_label_and_a_strip_of_another_sort_are_told_apart():
    known = a_calibration(1)
    at = next(i for i, k in enumerate(known) if k.ph == 4.0)
    label = [replace(k, ph=9.7) if i == at else k for i, k in enumerate(known)]
    found = mixed_up(label, KIND.range)
    assert found[0].photos[:1] == (at,)
    assert found[0].way == "elsewhere"
    assert found[0].fits[0] == pytest.approx(4.0, abs=0.6)
    sentence = in_words(found[0], label)
    assert known[at].photo_name in sentence
    assert "not 9.70" in sentence
    other = photos(Toy.random(77), [4.0], 1, seed=3)[0]
    foreign = [replace(k, lab=other.lab + np.array([20.0, -40.0, 30.0])) if i == at else k for i, k in enumerate(known)]
    found = mixed_up(foreign, KIND.range)
    assert (found[0].way, found[0].photos) == ("foreign", (at,))
    assert "another bottle" in in_words(found[0], foreign)


def test_few_liquids_accuse_nobody():
    known = [k for k in a_calibration(1) if k.ph in (2.4, 4.0, 6.9, 8.1)]
    to = {4.0: 8.1, 8.1: 4.0}
    assert mixed_up([replace(k, ph=to.get(k.ph, k.ph)) for k in known], KIND.range) == []


def a_profile(known):
    fit, evidence = fit_all(known, None, KIND)
    seen = [KnownPhoto(k.photo_name, k.photo_sha256, k.ph, k.ph_sd) for k in known]
    return make_profile(KIND, fit, evidence, seen, None)


def test_the_liquid_in_the_gap_comes_first_and_brings_what_was_foretold():
    toy = Toy.random(5)
    some = photos(toy, [1.2, 2.4, 4.0, 10.3, 11.5], 2, seed=5)
    profile = a_profile(some)
    found = gains(profile, ("vinegar", "phthalate", "phosphate", "carbonate"), 25.0)
    assert found[0].key == "phosphate"  # pH 6.9: the others stand beside what was photographed
    assert found[-1].key in ("vinegar", "phthalate", "carbonate")
    best = found[0]
    more = [KnownPads(k.lab, k.cov, best.ph, 0.02, "", "") for k in photos(toy, [best.ph], 2, seed=6)]
    grid = np.arange(0.0, 13.1, 0.25)
    then = float(np.minimum(ph_doubt(a_profile([*some, *more]), grid), 13.0).mean())
    assert then < best.now
    # The curve that comes may be of another form than the one foretold from: half to twice as sure.
    assert 0.5 * best.then < then < 2.0 * best.then


def test_enough_is_said_with_what_one_more_would_bring():
    profile = a_profile(photos(Toy.random(5), np.arange(0.0, 13.1, 1.0), 2, seed=5, common=0.3, own=0.2))
    found = gains(profile, ("vinegar", "phosphate"), 20.0)
    words = next_best.in_words(found, profile)
    assert words.startswith(("Enough", "None of the liquids ticked would help much"))
    assert f"{found[0].then:.2f}" in words
    assert gains(profile, ("limewater",), 60.0) == []
    assert "None" in next_best.in_words([], profile)


def test_readings_are_doubted_with_a_profile_of_mixed_up_liquids(tmp_path):
    """The demo's photos of pH 4 and pH 9 with their labels exchanged; then the profile as it was saved."""
    demo = Path(str(files("service").joinpath("demo")))
    to = {4: 9, 9: 4}
    rows = [f"{demo}/buffers/buffer-{ph:02d}.0-0.jpg,{to.get(ph, ph)}" for ph in (0, 2, 4, 6, 7, 9, 11, 13)]
    (tmp_path / "buffers.csv").write_text("\n".join(["photo,ph", *rows]), encoding="utf-8")
    learned = learn(load_kind(demo / "strip.toml"), buffers=tmp_path / "buffers.csv")
    assert [set(one.said) for one in learned.suspected] == [{4.0, 9.0}]
    save_profile(learned.profile, tmp_path / "mixed.toml")
    profile = load_profile(tmp_path / "mixed.toml")
    assert profile.quality.exchanged == 1
    reading = read_ph((demo / "photos" / "07-wash-05.jpg").read_bytes(), profile)
    assert (reading.status, [r.code for r in reading.reasons if r.severity == "doubt"]) == (
        "doubtful",
        ["profile_contradicted"],
    )
