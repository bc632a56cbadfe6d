"""Checking a calibration: promises kept raise no alarm, broken ones do, and errors that photos share are told apart.

Photos are drawn from the profile's own promise: one error of the curve and one bottle for all of a check, noise and
scatter for each photo; then read by the reader.
"""

import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from calibration.check import LIMIT, check, to_dict
from calibration.check_picture import picture_of
from calibration.check_words import advice, headline, in_words, outside
from calibration.shared_error import Checked, error_cov
from calibration.tables import BufferRow
from stripread.kind import Pad, StripKind
from stripread.ph.curve import Lot, Scatter, StripCurve
from stripread.ph.kubelka import lab_by_load
from stripread.ph.posterior import infer_ph
from stripread.ph.profile import Profile, save_profile
from stripread.ph.quality import KnownPhoto, Quality
from stripread.reasons import because
from stripread.results import PadColour, PhReading, Stamp
from stripread.strip.pads import PadSet

KIND = StripKind("two pads", 6.0, 75.0, (Pad(2.0, 6.0), Pad(9.0, 6.0)), (2.0, 9.0), (10.0, 60.0))
NOISE = 0.6
BUFFERS = (3.0, 3.0, 4.0, 4.0, 5.5, 5.5, 7.0, 7.0, 8.0, 8.0)


@pytest.fixture(scope="module")
def profile():
    ph = np.round(np.arange(1.5, 9.51, 0.05), 2)
    first = np.outer(ph, [-4, 6, 3]) + np.array([88, -25, 12])
    second = np.stack([62 + 9 * np.sin(ph / 2), 22 * np.cos(ph / 2.3), 30 * np.sin(ph / 2.3)], axis=1)
    cov_ph = np.arange(1.5, 9.6, 0.5)
    factor = np.tile(np.tril(np.random.default_rng(1).normal(0, 0.15, (6, 6))) + 0.5 * np.eye(6), (len(cov_ph), 1, 1))
    strip = StripCurve(
        ph, np.stack([first, second], axis=1), cov_ph, factor, Scatter((0.8, 0.8, 0.8), (0.5, 0.5, 0.5)), Lot()
    )
    known = tuple(KnownPhoto(f"b{n}.jpg", f"{n:064x}", 2.0 + n // 2, 0.02) for n in range(10))
    quality = Quality(5, 10, 0.08, 0.06, 0.2, 0.95, 1.1)
    return Profile(
        "two pads", KIND, strip, "buffers", quality, "spline", "", known, "stripread", "2026-01-02T03:04:05Z"
    )


def world(profile, seed, truths=BUFFERS, *, shift=0.0, scatter=0.0):
    """Rows and readings of one check: ``shift`` pH by which all read too high, ``scatter`` by which each is off."""
    rng = np.random.default_rng([seed, 5])
    strip, pads = profile.strip, profile.strip.pads
    off_curve = rng.normal(size=3 * pads)
    early, load, light = rng.normal(size=(3, pads))
    rows, readings = [], []
    for n, truth in enumerate(truths):
        at = np.array([truth + shift + scatter * rng.normal()])
        mean = profile.curve(at)[0]
        slope = (profile.curve(at + 0.05)[0] - profile.curve(at - 0.05)[0]) / 0.1
        lab = mean + (strip.cov_factor[0] @ off_curve).reshape(pads, 3)
        lab = lab + strip.lot.shift * early[:, None] * slope + strip.lot.load * load[:, None] * lab_by_load(mean)
        lab[:, 0] += strip.lot.lightness * light
        own = rng.multivariate_normal(np.zeros(3 * pads), strip.scatter_cov() + NOISE**2 * np.eye(3 * pads))
        lab = lab + own.reshape(pads, 3)
        cov = NOISE**2 * np.eye(3 * pads)
        found = infer_ph(PadSet(lab, cov, {"noise": cov}, np.zeros((pads, 4, 2)), ()), profile)
        stamp = Stamp(f"{n}.jpg", f"{seed:032x}{n + 1000:032x}", "stripread", 0.1)
        colours = tuple(PadColour(tuple(c), (NOISE,) * 3, ()) for c in lab)
        readings.append(
            PhReading(stamp, found.ph, found.interval, found.alternatives, colours, found.misfit, budget=found.budget)
        )
        rows.append(BufferRow(Path(stamp.photo), stamp.photo, truth, 0.01, n + 2))
    return rows, readings


def judged(profile, seed, truths=BUFFERS, **broken):
    return check(*world(profile, seed, truths, **broken), profile)


def test_a_true_calibration_holds(profile):
    found = [judged(profile, seed) for seed in range(150)]
    # three tests at LIMIT each: 4.5 expected at most, 12 by chance once in a thousand times
    assert sum(f.verdict != "holds" for f in found) <= 12
    for p in (np.array([f.bias_p for f in found]), np.array([f.spread_p for f in found])):
        # Chances of a true calibration are spread evenly over 0 to 1. The t tails of the reader make its intervals
        # a little wider than these normal errors need, so small chances may be rarer, never more common.
        assert (p < 0.05).mean() < 0.11  # 17 or more of 150 in one of 695 seeds
        assert 0.15 < (p < 0.5).mean() < 0.6  # 90 or more of 150 in one of 114 seeds
    inside = sum(f.covered for f in found) / sum(f.read for f in found)
    assert 0.92 < inside < 0.99


def test_errors_taken_as_independent_would_cry_wolf(profile):
    """The reason for all this: with what photos share left out, true calibrations are called shifted far too often."""
    alarms = 0
    for seed in range(60):
        rows, readings = world(profile, seed)
        photos = [Checked(r.name, r.ph, r.ph_sd, got, "counted") for r, got in zip(rows, readings, strict=True)]
        own, shared = error_cov(photos, profile)
        assert np.linalg.eigvalsh(own + shared)[0] > 0
        error = np.array([p.error for p in photos])
        sd = np.sqrt(np.diag(own + shared))
        alarms += abs((error / sd).sum()) / np.sqrt(len(error)) > 2.58  # a chance of LIMIT, were they independent
    assert alarms / 60 > 5 * LIMIT


def test_variances_are_the_intervals_own(profile):
    rows, readings = world(profile, 3)
    photos = [Checked(r.name, r.ph, 0.0, got, "counted") for r, got in zip(rows, readings, strict=True)]
    own, shared = error_cov(photos, profile)
    half = np.array([p.half_width for p in photos])
    assert 1.96 * np.sqrt(np.diag(own + shared)) == pytest.approx(half, rel=1e-3)
    # photos of one pH share all of the calibration's and the bottle's error, far ones less
    correlation = shared / np.sqrt(np.outer(np.diag(shared), np.diag(shared)))
    assert correlation[0, 1] > 0.97
    assert abs(correlation[0, 9]) < 0.7


@pytest.mark.parametrize("shift", [0.5, -0.5])
def test_a_shift_is_found_and_measured(profile, shift):
    found = [judged(profile, seed, shift=shift) for seed in range(25)]
    assert all("shifted" in f.verdict for f in found)
    assert np.mean([f.bias for f in found]) == pytest.approx(shift, abs=0.05)
    words = headline(found[0])
    assert "shifted" in words
    assert ("too high" if shift > 0 else "too low") in words
    assert any("fresh buffers" in a for a in advice(found[0]))


def test_a_shift_of_the_size_it_notices_is_noticed(profile):
    """The promise of the last line: nine times in ten. 46 of 60 or fewer come in one of 490 seeds."""
    size = judged(profile, 0).notices
    found = [judged(profile, seed, shift=size) for seed in range(60)]
    assert 0.78 < np.mean([f.bias_p < LIMIT for f in found]) <= 1.0


def test_too_wide_a_spread_is_found(profile):
    found = [judged(profile, seed, scatter=0.35) for seed in range(25)]
    assert np.mean(["wider" in f.verdict for f in found]) > 0.9
    wide = next(f for f in found if f.verdict == "wider")
    assert wide.spread > 1.5 * wide.spread_claimed
    assert "wider than claimed" in headline(wide)
    assert outside(wide)


def test_too_few_photos_say_so(profile):
    assert judged(profile, 1, (3.0, 5.5, 7.0)).verdict == "too few"
    one_place = judged(profile, 1, (5.5,) * 8)
    assert one_place.verdict == "too few"
    assert any("8 photos at 1 pH value" in a for a in advice(one_place))
    # but what three photos show plainly is said
    assert judged(profile, 1, (3.0, 5.5, 7.0), shift=1.0).verdict.startswith("shifted")


def test_refused_known_and_bounds_are_counted_apart(profile):
    rows, readings = world(profile, 2)
    refusal = because("glare_on_pads")
    readings[0] = replace(readings[0], ph=None, interval=None, reasons=(refusal,))
    readings[1] = replace(readings[1], stamp=replace(readings[1].stamp, sha256=profile.photos[3].sha256))
    readings[2] = replace(readings[2], reasons=(because("end_of_range", "at most 4"),))
    readings[4] = replace(readings[4], stamp=readings[3].stamp)
    readings[5] = replace(readings[5], reasons=(because("other_card"),))
    found = check(rows, readings, profile)
    assert [p.use for p in found.photos[:5]] == ["refused", "known", "covered", "counted", "known"]
    assert (found.freedom, found.read, found.status("refused")) == (6, 7, 1)
    words = in_words(found, "p")
    assert refusal.message in words
    assert "1 photo shows another card" in words
    assert json.loads(json.dumps(to_dict(found, "p")))["photos"][0]["use"] == "refused"


def test_nothing_but_refusals(profile):
    rows, readings = world(profile, 2, (3.0, 5.0))
    readings = [replace(r, ph=None, interval=None, reasons=(because("no_card"),)) for r in readings]
    found = check(rows, readings, profile)
    assert found.verdict == "too few"
    assert to_dict(found, "p")["bias"] is None  # NaN is no JSON
    assert "2 of 2 photos were not read" in in_words(found, "p")
    assert picture_of(found, profile).startswith(b"\x89PNG")


def test_picture_shows_shift_and_misses(profile):
    fine, off = (picture_of(judged(profile, 4, shift=s), profile) for s in (0.0, 1.2))
    assert fine.startswith(b"\x89PNG")
    assert fine != off


def test_the_command(profile, tmp_path, monkeypatch):
    from service.commands.check import command
    from service.terminal import photo_batch

    save_profile(profile, tmp_path / "p.toml")
    (tmp_path / "a.jpg").write_bytes(b"x")
    table = tmp_path / "more.csv"
    table.write_text("photo,ph,buffer,temp_c\n" + "a.jpg,5.5,,\n" * 5 + "a.jpg,,phthalate,25\n", encoding="utf-8")
    _, readings = world(profile, 6, (5.5, 5.5, 5.5, 5.5, 5.5, 4.0))
    monkeypatch.setattr(photo_batch, "read_strips", lambda *_: iter(readings))
    call = [str(tmp_path / "p.toml"), "--buffers", str(table), "--out", str(tmp_path / "c.png"), "--json"]
    done = CliRunner().invoke(command, call, standalone_mode=False)
    told = json.loads(done.output)
    assert told["verdict"] == "too few"  # two places of the curve only
    assert told["photos"][5]["ph"] == pytest.approx(4.005, abs=0.01)  # the buffer by its name and temperature
    assert done.return_value == 0
    assert (tmp_path / "c.png").read_bytes().startswith(b"\x89PNG")
    readings[0] = replace(readings[0], ph=None, interval=None, reasons=(because("no_card"),))
    assert CliRunner().invoke(command, call, standalone_mode=False).return_value == 1


@pytest.mark.slow
def test_the_demos_own_washes_prove_its_profile(tmp_path):
    """The shipped photos have known pH and are not those that the profile was made from."""
    demo = Path(__file__).resolve().parents[3] / "service" / "demo"
    lines = (demo / "photos" / "truth.csv").read_text(encoding="utf-8").splitlines()[1:]
    known = [line.split(",")[:2] for line in lines if line.split(",")[1]]
    table = tmp_path / "more.csv"
    rows = [f"{demo / 'photos' / photo},{ph}" for photo, ph in known]
    table.write_text("\n".join(["photo,ph", *rows]) + "\n", encoding="utf-8")
    call = ["check", str(demo / "profile.toml"), "--buffers", str(table), "--out", str(tmp_path / "c.png"), "--json"]
    code = f"import sys; sys.path.insert(0, {str(demo.parents[1])!r}); from service.cli import main; main(sys.argv[1:])"
    done = subprocess.run([sys.executable, "-c", code, *call], check=False, capture_output=True, text=True)
    assert done.returncode == 1, done.stderr  # some photos are bad on purpose
    told = json.loads(done.stdout)
    assert told["verdict"] == "holds"
    assert told["read"] >= 8
    assert told["covered"] >= told["covered_least"]
    assert (tmp_path / "c.png").read_bytes().startswith(b"\x89PNG")
