"""The study that judges the intervals must itself be right: its counts, its file, its bounds."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import beta, binomtest

from stripread.ph.posterior import PhEstimate
from tests import coverage_tables as t
from tests.coverage_page import END, START, body, write_page
from tests.coverage_rows import (
    NO_PROFILE,
    USERS_DRAWS,
    blank_row,
    read_rows,
    scene_drawn,
    trouble_of,
    write_rows,
)
from tests.coverage_setups import by_setup, spread_of
from tests.coverage_study import plan
from tests.coverage_worlds import write_pages
from tests.judged import CAUSES, LEVELS, integral_to
from tests.scenes import bound, random_scene
from tests.scenes.bound import LOT, OWN, scene_bounds, slope_of, spread
from tests.scenes.phone import phone
from tests.scenes.strips import StripState

Z = (0.674490, 1.281552, 1.959964, 2.575829)  # normal quantiles of LEVELS, any table


def made(n, error, sd=0.1, **changes):
    """A row whose posterior is normal about truth + error."""
    ph = 1.3 + n % 12
    read = ph + error
    row = replace(
        blank_row("c", "made-up", "four", n // 50, n % 50, status="ok"),
        ph=ph,
        phone=n % 7,
        lamp="D65",
        lamps="D65+A",
        hard=n % 4 == 3,
        trouble="two lamps" if n % 4 == 3 else "none",
        reasons="uneven_light wide_interval",
        misfit=1.0,
        read=read,
        low=read - Z[2] * sd,
        high=read + Z[2] * sd,
        pit=0.5 * (1 + math.erf(-error / sd / math.sqrt(2))),
        lows=tuple(read - z * sd for z in Z),
        highs=tuple(read + z * sd for z in Z),
        budget=tuple(sd**2 * w for w in (0.3, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1)),
        bound_noise=0.01,
        bound_strip=0.05,
        bound_lot=0.1,
    )
    return replace(row, **changes)


@pytest.fixture(scope="module")
def honest():
    errors = np.random.default_rng(1).normal(0, 0.1, 2000)
    return [made(n, float(e)) for n, e in enumerate(errors)]


def refused(n):
    blank = blank_row("c", "made-up", "four", 9, n, status="refused")
    return replace(blank, ph=4.0, lamp="A", lamps="A", reasons="blurred", phone=3)


def test_honest_posteriors_are_found_honest(honest):
    for level in LEVELS:
        held = t.share(honest, lambda r, level=level: r.holds(level))
        assert held.interval[0] < level < held.interval[1]
    assert t.coverage(honest).verdict() == "fits"
    beside = t.beside_bound(honest)  # errors of the bound's own size
    assert beside.ratio == pytest.approx(t.AT_BOUND, rel=0.05)
    assert beside.rms_error == pytest.approx(0.1, rel=0.05)
    assert "| 0.0" in t.reliability(honest).splitlines()[-1][-12:]  # PIT's distance from uniform


def test_intervals_too_narrow_are_found_out():
    errors = np.random.default_rng(2).normal(0, 0.2, 1000)
    rows = [made(n, float(e)) for n, e in enumerate(errors)]
    assert t.coverage(rows).value < 0.75
    assert t.coverage(rows).verdict() == "too narrow"
    assert t.coverage([made(n, 0.0) for n in range(1000)]).verdict() == "too wide"
    assert t.coverage(rows[:2]).verdict() == "too few to say"


@pytest.mark.parametrize(
    ("hits", "count", "verdict"),
    [
        (383, 387, "too wide"),  # 99 % of hundreds: 97.4 to 99.7 %
        (1476, 1500, "too wide"),  # 98.4 %: 97.6 to 99.0 %
        (2430, 2500, "fits"),  # 97.2 %: 96.5 to 97.8 %
        (475, 500, "fits"),  # 95 %: 92.7 to 96.7 %
        (256, 278, "too narrow"),  # 92.1 %: 88.3 to 95.0 %, below what is promised
        (38, 47, "too narrow"),  # 80.9 %: 66.7 to 90.9 %
        (40, 40, "too few to say"),  # 91.2 to 100 %
        (47, 50, "too few to say"),
    ],
)
def test_a_verdict_is_the_binomial_interval_s(hits, count, verdict):
    """Clopper and Pearson's intervals as in the comments, against 95 % promised and 90 to 98 % wanted."""
    assert t.Share(hits, count).verdict() == verdict


def shares_of(coverages, photos, seed=1):
    hits = np.random.default_rng(seed).binomial(photos, coverages)
    return [t.Share(int(k), photos) for k in hits]


def test_the_setups_spread_is_not_the_chance_of_few_photos():
    """200 setups alike, of 8 photos each: the shares' own 5th percentile is 75 or 87.5 %, all cover 95 %."""
    each = shares_of(np.full(200, 0.95), 8)
    assert np.quantile([s.value for s in each], 0.05) < 0.88
    spread = spread_of(each)
    assert spread.interval[0] > 0.82
    assert spread.value == pytest.approx(0.94, abs=0.04)
    assert spread_of(shares_of(np.full(60, 0.95), 50)).verdict() == "fits"


@pytest.mark.parametrize("seed", range(4))
def test_a_spread_of_setups_is_found(seed):
    """Coverages drawn from a beta distribution of mean 0.9 with its 5th percentile at 0.703 (SciPy)."""
    drawn = np.random.default_rng([seed, 2]).beta(9.0, 1.0, 100)
    spread = spread_of(shares_of(drawn, 12, seed))
    assert spread.interval[0] < beta(9.0, 1.0).ppf(0.05) < spread.interval[1]
    assert spread.interval[1] - spread.interval[0] < 0.25
    assert spread.verdict() == "too narrow"
    assert spread.worst.value <= 0.75


def test_the_spread_s_interval_holds_the_truth_as_often_as_it_says():
    """40 studies of 30 setups and 10 photos: 95 % less 14 % is four standard errors."""
    held = []
    for seed in range(40):
        drawn = np.random.default_rng([seed, 3]).beta(19.0, 1.0, 30)
        low, high = spread_of(shares_of(drawn, 10, seed)).interval
        held.append(low <= beta(19.0, 1.0).ppf(0.05) <= high)
    assert np.mean(held) >= 0.81


def test_few_setups_say_little():
    assert spread_of([t.Share(8, 8)] * 3).verdict() == "too few to say"
    with pytest.raises(ValueError, match="at least 3"):
        spread_of([t.Share(8, 8)] * 2)


def test_a_user_has_one_phone_one_bottle_one_bench():
    strangers = [scene_drawn("four", 7, draw) for draw in range(6)]
    users = [scene_drawn("four", 7, USERS_DRAWS + n) for n in range(6)]

    def lots(scenes):
        return {s.strips[0].strip.lot_seed for s in scenes}

    assert len({s.phone_seed for s in strangers}) == 6
    assert len({s.lamps for s in strangers}) == 6
    assert len({s.phone_seed for s in users}) == len({s.lamps for s in users}) == len(lots(users)) == 1
    assert len({s.ph for s in users}) == 6
    assert [scene_drawn("four", n, USERS_DRAWS).phone_seed == n for n in range(4)] == [True, False, True, False]
    assert [lots([scene_drawn("four", n, USERS_DRAWS)]) == {n} for n in range(4)] == [True, True, False, False]


def test_users_are_counted_by_themselves(honest):
    users = [replace(row, draw=USERS_DRAWS + row.draw, low=0.0, high=0.1) for row in honest[:400]]
    lines = by_setup({"strangers": honest[:400], "one user each": users}).splitlines()
    assert "too narrow | 0 of 50 |" in next(line for line in lines if "| four | one user each |" in line)
    assert "| four | strangers | 8 | 400 |" in "\n".join(lines)
    page = body([*honest[:400], *users])
    assert "400 are by strangers" in page
    assert "| 95 of 100 setups cover, four, one user | at least 90 % |" in page


def test_share_s_interval_is_clopper_and_pearson_s():
    for hits, count in ((0, 20), (19, 20), (20, 20), (480, 500)):
        expected = binomtest(hits, count).proportion_ci(0.95, "exact")
        assert t.Share(hits, count).interval == pytest.approx((expected.low, expected.high))


def test_confidently_wrong_needs_all_three():
    assert made(0, 0.6).wrong
    assert not made(0, 0.6, status="doubtful").wrong
    assert not made(0, 0.6, sd=0.4).wrong
    assert not made(0, 0.4).wrong
    assert not refused(0).wrong


def test_refused_photos_count_as_refused_and_nowhere_else(honest):
    some = honest[:100] + [refused(n) for n in range(25)]
    assert t.coverage(some).count == 100
    assert t.beside_bound(some) == t.beside_bound(honest[:100])
    lines = {line.split("|")[1].strip(): line for line in t.split(some, "lamp", lambda r: r.lamp).splitlines()}
    assert "| 25 | 100.0% | - | - | - |" in lines["A"]
    assert "| 100 | 0.0% |" in lines["D65"]


def test_rows_go_round(tmp_path, honest):
    rows = [honest[0], refused(1), blank_row("c", "made-up", "roll", 3, status=NO_PROFILE)]
    write_rows(tmp_path / "r.csv", rows[:1], anew=True)
    write_rows(tmp_path / "r.csv", rows[1:], anew=False)
    again = read_rows(tmp_path / "r.csv")
    for old, new in zip(rows, again, strict=True):
        assert (new.kind, new.setup, new.draw, new.hard, new.status) == (
            old.kind,
            old.setup,
            old.draw,
            old.hard,
            old.status,
        )
        assert new.read == pytest.approx(old.read, abs=1e-4, nan_ok=True)
        assert new.lows == pytest.approx(old.lows, abs=1e-4, nan_ok=True)
        assert len(new.budget) == len(CAUSES)
    assert again[0].answered
    assert not again[1].answered


def test_page_is_written_between_its_marks_only(tmp_path, honest):
    rows = [*honest[:200], refused(0), made(5, 0.9, draw=77), blank_row("c", "made-up", "four", 8, status=NO_PROFILE)]
    write_page(rows, tmp_path)
    path = tmp_path / "coverage.md"
    text = path.read_text(encoding="utf-8").replace("# Do the", "Own words.\n# Do the") + "\nMore own words.\n"
    path.write_text(text, encoding="utf-8")
    write_page(rows, tmp_path)
    assert path.read_text(encoding="utf-8") == text
    assert "202 rendered photos" in text
    assert "1 setups gave no profile" in text
    assert "| four | 0 | 77 | 6.30 | 7.20 |" in text  # the confidently wrong one is listed
    path.write_text(text.replace(END, ""), encoding="utf-8")
    with pytest.raises(ValueError, match="lost its marks"):
        write_page(rows, tmp_path)
    assert START in text


def test_integral_is_the_posterior_s_share_below():
    grid = np.linspace(0, 14, 2801)
    density = np.exp(-0.5 * ((grid - 5.0) / 0.3) ** 2)
    density /= density.sum() * 0.005
    estimate = PhEstimate(grid, density, 5.0, (4.4, 5.6), (), 0.0, {})
    assert integral_to(estimate, 5.0) == pytest.approx(0.5, abs=1e-3)
    assert integral_to(estimate, 5.3) == pytest.approx(0.8413, abs=1e-3)  # normal table
    assert integral_to(estimate, 14.0) == pytest.approx(1.0, abs=1e-6)


def test_every_part_of_the_plan_is_mixed():
    jobs = plan(50, 200, ["four", "universal", "three"])
    assert len(jobs) == len(set(jobs)) == 105
    assert {kind for kind, _ in jobs[:3]} == {"four", "universal", "three"}


def test_trouble_is_told_from_the_lamps():
    seen = {trouble_of(random_scene(np.random.default_rng(n), hard=True), True) for n in range(40)}
    assert seen == {"coloured wall", "poor lamp", "two lamps"}
    assert trouble_of(random_scene(np.random.default_rng(1)), False) == "none"


@pytest.mark.parametrize(("lots", "sizes"), [(False, (OWN,)), (True, (OWN, LOT))])
def test_bound_knows_how_the_renderer_s_strips_differ(lots, sizes):
    """The covariance by derivatives against that of drawn strips."""
    state = StripState("universal", 7.3, 5, 6)
    drawn = np.array([replace(state, lot_seed=n if lots else 5, strip_seed=n).pad_spectra()[0] for n in range(600)])
    ways = np.vstack([spread(state, size)[:, 0] for size in sizes])
    expected, found = np.cov(drawn.T), ways.T @ ways
    slope = slope_of(state)[0]
    assert np.trace(found) == pytest.approx(np.trace(expected), rel=0.15)  # 600 draws: 5.8 %; one seed in 100
    along = slope / np.linalg.norm(slope)
    # A variance of 600 draws is off by 5.8 %: 20 % is 3.5 times that, one seed in 2,000.
    assert along @ found @ along == pytest.approx(along @ expected @ along, rel=0.2)


def test_bound_of_noise_follows_pixels_and_light(monkeypatch):
    """Four times the pixels, or four times the light, halve it."""
    scene = random_scene(np.random.default_rng(4), "four", ph=6.4)
    one = scene_bounds(scene)
    assert one.noise < one.strip < one.lot
    near = scene_bounds(replace(scene, size=(scene.size[0] * 2, scene.size[1] * 2)))
    assert near.noise == pytest.approx(one.noise / 2, rel=0.02)
    eye = phone(scene.phone_seed, scene.world)
    bright = replace(eye, electrons=4 * eye.electrons, read_noise=eye.read_noise / 2)
    monkeypatch.setattr(bound, "phone", lambda seed, world: bright)
    assert scene_bounds(scene).noise == pytest.approx(one.noise / 2, rel=0.02)


def test_two_worlds_stand_side_by_side(honest, tmp_path):
    made_up = [replace(row, lamp="A", bound_lot=0.2) if n % 2 else row for n, row in enumerate(honest[:400])]
    measured = [replace(row, world="judging", reasons="poor_light") for row in made_up]
    write_pages([*made_up, replace(honest[0], world="choosing", kind="roll")], tmp_path)
    assert not (tmp_path / "measured-world.md").exists()
    write_pages([*made_up, *measured], tmp_path)
    text = (tmp_path / "measured-world.md").read_text(encoding="utf-8")
    assert "400 photos made-up, 400 photos measured" in text
    assert "| poor_light | 0.0 | 100.0 |" in text
    assert "roll" not in text
    assert "No constant was chosen" in (tmp_path / "coverage-measured.md").read_text(encoding="utf-8")
