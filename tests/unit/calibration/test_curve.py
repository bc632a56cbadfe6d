"""The curve: its chemistry, its fallback, and whether its doubts are honest, on strips made from full spectra."""

from dataclasses import replace

import numpy as np
import pytest

from calibration import chemistry
from calibration.chart import chart_mean
from calibration.curve import fit_chemistry, fit_curve, judge, leave_one_out, tabulate
from calibration.known_pads import KnownPads
from calibration.learn import fit_all, make_profile
from calibration.process import Posterior, Sizes, find_sizes, observe, ph_slope, places, signal_blocks
from calibration.report import report, weak_places
from calibration.spline import fit_spline, repeat_sizes, through
from calibration.tables import Swatch
from stripread.ph.curve import Lot
from stripread.ph.posterior import infer_ph
from stripread.ph.profile import profile_from_text, profile_text
from stripread.ph.quality import KnownPhoto
from stripread.strip.pads import PadSet
from tests.unit.calibration.toystrips import Toy, kind_of, photos, shot

# Bromothymol blue 7.1, methyl red 5.1: pKa of tests/data/indicators.csv (sources there). Bands from memory.
BROMOTHYMOL = [(7.1, (433, 36, 1.8), (617, 38, 2.7))]
METHYL_RED = [(5.1, (523, 36, 2.2), (430, 40, 1.4))]
TWO = Toy([BROMOTHYMOL, METHYL_RED])


def known_photos(known):
    return [KnownPhoto(k.photo_name, k.photo_sha256, k.ph, k.ph_sd) for k in known]


def test_slope_by_parameters():
    rng = np.random.default_rng(0)
    theta = chemistry.pack(np.array([2.0, 5.0, 9.0]), 0.9, rng.uniform(0.05, 2.0, (4, 3)))
    ph = np.linspace(0, 14, 15)
    _, slope = chemistry.pad_lab_and_slope(theta, ph)
    for i in range(len(theta)):
        step = np.zeros(len(theta))
        step[i] = 1e-6
        numeric = (chemistry.pad_lab(theta + step, ph) - chemistry.pad_lab(theta - step, ph)) / 2e-6
        assert slope[:, :, i] == pytest.approx(numeric, abs=1e-4)


def test_half_way_at_the_pka():
    # Henderson-Hasselbalch: at pH = pKa half has passed, one unit on 10/11 (steepness 1).
    level = np.array([[0.1, 0.2, 0.3], [1.1, 0.8, 0.5]])
    theta = chemistry.pack(np.array([7.0]), 1.0, level)
    from stripread.ph.kubelka import absorption, lab_to_channels

    k = absorption(lab_to_channels(chemistry.pad_lab(theta, np.array([7.0, 8.0]))))
    assert k[0] == pytest.approx(level.mean(axis=0), rel=1e-6)
    assert k[1] == pytest.approx(level[0] + (level[1] - level[0]) * 10 / 11, rel=1e-6)


@pytest.mark.parametrize("transitions", [1, 3, 6])
def test_prior_is_proper(transitions):
    prior = chemistry.prior(transitions, 0, 14)
    assert prior.root.shape == (chemistry.size(transitions),) * 2
    assert prior.factor @ prior.root == pytest.approx(np.eye(chemistry.size(transitions)), abs=1e-9)
    assert chemistry.transitions_of(prior.mean) == transitions


def test_the_fit_finds_the_indicators():
    # Each pad holds one indicator; the half-way point of the fitted colour change must lie at its published pKa.
    known = photos(TWO, np.arange(3.0, 10.1, 1.0), 3, seed=1, common=0.3, own=0.2)
    strip = tabulate(fit_chemistry(known, kind_of(2, 2, 11)), kind_of(2, 2, 11), Lot())
    from stripread.ph.kubelka import absorption, lab_to_channels

    grid = np.arange(3, 10, 0.02)
    k = absorption(lab_to_channels(strip.curve(grid)))[:, :, 0]  # the long-wave channel, where both change most
    for pad, pka in enumerate((7.1, 5.1)):
        share = (k[:, pad] - k[0, pad]) / (k[-1, pad] - k[0, pad])
        assert grid[np.argmin(np.abs(share - 0.5))] == pytest.approx(pka, abs=0.15)


@pytest.mark.slow
def test_chemistry_beats_the_spline_between_the_points():
    grid = np.arange(2.0, 12.0, 0.1)
    errors = []
    for seed in range(3):
        toy, kind = Toy.random(seed), kind_of(3)
        known = photos(toy, np.arange(1.0, 13.1, 1.5), 2, seed)
        truth = toy.curve(grid)
        spline = fit_spline(observe(known)).curve(grid)
        fitted = fit_chemistry(known, kind).curve(grid)
        errors.append([np.sqrt(((c - truth) ** 2).mean()) for c in (fitted, spline)])
    chem, spl = np.mean(errors, axis=0)
    assert chem < 0.85 * spl


@pytest.mark.slow
def test_doubts_cover_the_true_curve():
    # The true curve must lie within 1.96 standard deviations of the fitted one in about 95 % of places and channels.
    grid = np.arange(1.5, 12.6, 0.25)
    inside = []
    for seed in range(5):
        toy = Toy.random(20 + seed, 2)
        known = photos(toy, np.arange(1.0, 13.1, 1.5), 2, seed)
        posterior = fit_chemistry(known, kind_of(2))
        sd = np.sqrt(np.diagonal(posterior.cov(grid), axis1=1, axis2=2)).reshape(len(grid), 2, 3)
        inside.append(np.abs(posterior.curve(grid) - toy.curve(grid)) < 1.96 * sd)
    assert 0.90 <= np.mean(inside) <= 0.995


@pytest.mark.slow
def test_readings_between_the_buffers_are_covered():
    inside = []
    for seed in range(4):
        toy, kind = Toy.random(40 + seed), kind_of(3)
        known = photos(toy, np.arange(1.0, 13.1, 1.5), 2, seed)
        strip = tabulate(fit_chemistry(known, kind), kind, Lot(0.015, 0.02, 0.2))
        profile = make_profile(kind, fit_curve_of(strip), "buffers", known_photos(known), None)
        rng = np.random.default_rng(seed)
        for _ in range(40):
            ph = rng.uniform(1.5, 12.5)
            lab, cov = shot(toy, ph, rng)
            e = infer_ph(PadSet(lab, cov, {"noise": cov}, np.zeros((3, 4, 2)), ()), profile)
            inside.append(e.interval[0] <= ph <= e.interval[1])
    # Were 160 reads independent, 95 % promised: under 0.92 in one of 17 seeds, over 0.99 in one of 390. Forty share a
    # curve and err alike, so more often: another seed that fails is to be looked at with more strips.
    assert 0.92 <= np.mean(inside) <= 0.99


def fit_curve_of(strip):
    from calibration.curve import FittedCurve, LeftOut
    from stripread.ph.quality import Quality

    empty = np.zeros(0)
    none = LeftOut(empty, empty, empty, empty, empty, np.zeros(0, dtype=bool))
    return FittedCurve(strip, "chemistry", "", Quality(0, 0), none, np.zeros((0, strip.pads, 3)))


def test_spline_goes_through_its_points_and_does_not_overshoot():
    known = photos(TWO, [3.0, 5.0, 6.0, 7.0, 9.0], 2, seed=2)
    seen = observe(known)
    spline = through(seen)
    for x in np.unique(seen.ph):
        mean = seen.lab[seen.ph == x].mean(axis=0).reshape(2, 3)
        assert spline.lab(np.array([x]))[0] == pytest.approx(mean)
    grid = np.linspace(3, 9, 200)
    for a, b in zip(spline.ph[:-1], spline.ph[1:], strict=True):
        part = spline.lab(grid[(grid >= a) & (grid <= b)])
        ends = spline.lab(np.array([a, b]))
        assert (part >= ends.min(axis=0) - 1e-9).all()
        assert (part <= ends.max(axis=0) + 1e-9).all()


def test_the_curve_is_less_sure_between_points_and_beyond_them():
    posterior = fit_spline(observe(photos(TWO, [4.0, 6.0, 8.0, 10.0], 2, seed=3)))
    doubt = np.trace(posterior.cov(np.array([6.0, 7.0, 13.0])), axis1=1, axis2=2)
    assert doubt[0] < doubt[1] < doubt[2]


def test_more_photos_make_a_surer_curve():
    at = np.array([6.0])
    sizes = Sizes(1.2, 0.5, 1.0)
    doubt = []
    for per in (1, 4):
        seen = observe(photos(TWO, np.arange(3.0, 10.1), per, seed=4))
        doubt.append(np.trace(Posterior(seen, through(seen), sizes).cov(at)[0]))
    assert doubt[1] < 0.6 * doubt[0]


def test_an_unsure_buffer_makes_an_unsure_curve_where_it_is_steep():
    # At the transition the buffer's error moves the colour; on the plateau it does not.
    trace = {}
    for ph_sd in (0.0, 0.3):
        known = [
            KnownPads(k.lab, k.cov, k.ph, ph_sd, k.photo_sha256, k.photo_name)
            for k in photos(Toy([BROMOTHYMOL]), np.arange(3.0, 11.1), 2, seed=5)
        ]
        seen = observe(known)
        spline = through(seen)
        cov = Posterior(seen, spline, Sizes(1.2, 0.5, 1.0)).cov(np.array([4.0, 7.0]))
        trace[ph_sd] = np.trace(cov, axis1=1, axis2=2)
    grown = trace[0.3] - trace[0.0]
    # Nothing but the liquid's own photos tells the colour there: they may lie off by what its pH is off.
    moved = 0.3 * ph_slope(spline, np.array([7.0]), 0.2)[0]
    assert grown[1] == pytest.approx((moved**2).sum(), rel=0.3)
    assert grown[0] < 0.05 * grown[1]


def test_curves_from_household_liquids_are_as_sure_as_they_claim():
    # Liquids whose pH is known to 0.05 to 0.2 beside three buffers: the curve's error over its doubt, in pH, where a
    # strip is read; with the liquids' doubts left out of it the mean square is far above 1.
    liquids = [
        (1.24, 0.1),
        (2.42, 0.06),
        (4.0, 0.02),
        (6.88, 0.02),
        (8.11, 0.2),
        (9.2, 0.02),
        (11.5, 0.2),
        (12.6, 0.05),
    ]
    square = {"told": [], "kept quiet": []}
    for seed in range(4):
        toy, rng = Toy.random(seed), np.random.default_rng([seed, 7])
        known = []
        for ph, sd in liquids:
            true = ph + sd * rng.normal()
            known += [KnownPads(*shot(toy, true, rng, common=0.3, own=0.2), ph, sd, "", "") for _ in range(3)]
        for name, photos_of in (("told", known), ("kept quiet", [replace(k, ph_sd=0.02) for k in known])):
            posterior = fit_spline(observe(photos_of))
            for ph in (2.42, 4.0, 6.88, 8.11, 9.2):  # at the points: there the model itself misses least
                at = np.array([ph])
                way = ph_slope(posterior.mean, at, 0.2).reshape(-1)
                off = way @ (toy.lab(ph).reshape(-1) - posterior.curve(at).reshape(-1))
                square[name].append(off**2 / (way @ posterior.cov(at)[0] @ way))
    assert np.mean(square["told"]) < 1.5
    assert np.mean(square["kept quiet"]) > 3.0


def test_a_liquid_of_doubtful_ph_does_not_judge_the_curve():
    known = photos(TWO, np.arange(3.0, 10.1), 2, seed=8)
    vague = [replace(k, ph_sd=0.2) if k.ph == 6.0 else k for k in known]

    def splined(chosen, _, whole):
        return fit_spline(observe(chosen), whole and whole.sizes)

    for chosen, judges in ((known, True), (vague, False)):
        left = judge(chosen, kind_of(2, 2, 11), splined, lot=Lot(), model="spline").left
        assert left.inner[left.ph == 6.0].all() == judges
        assert left.inner[left.ph == 5.0].all()


def test_scatter_between_photos_is_found():
    found = repeat_sizes(observe(photos(TWO, np.arange(3.0, 10.1), 8, seed=6, common=3.0, own=0.4)))
    # 7 x 8 differences in three channels and a prior at 1.2: 5 % off as a standard deviation, seen over five seeds
    assert found.common == pytest.approx(3.0, rel=0.2)
    assert found.own < 1.0


@pytest.mark.slow
def test_leaving_out_uses_only_the_others():
    # A buffer whose label is wrong by 2 pH must be read, when left out, where its colours are, not where its label is.
    known = photos(TWO, np.arange(3.0, 10.1), 2, seed=7, common=0.3, own=0.2)
    moved = [KnownPads(k.lab, k.cov, 6.5 if k.ph == 4.0 else k.ph, 0.02, k.photo_sha256, k.photo_name) for k in known]
    kind = kind_of(2, 2, 11)
    left = leave_one_out(moved, kind, fit_chemistry, whole=fit_chemistry(moved, kind), lot=Lot())
    read = left.read[left.ph == 6.5]
    assert (np.abs(read - 4.0) < 1.0).all()


def test_few_points_fall_back_to_the_spline_and_say_so():
    known = photos(TWO, [4.0, 6.0, 8.0, 10.0], 2, seed=8)
    fit = fit_curve(known, kind_of(2, 2, 11))
    assert fit.model == "spline"
    assert "4 pH values are too few" in fit.why


@pytest.fixture(scope="module")
def learned():
    kind = kind_of(2, 2, 11)
    known = photos(TWO, np.arange(2.0, 11.1, 1.0), 2, seed=9)
    fit, evidence = fit_all(known, None, kind)
    return make_profile(kind, fit, evidence, known_photos(known), None), fit, known


@pytest.mark.slow
def test_a_whole_calibration(learned):
    profile, _, _ = learned
    assert profile.model == "chemistry"
    assert profile.evidence == "buffers"
    assert profile.has_evidence
    assert profile.quality.points == 10
    assert profile.quality.photos == 20
    assert profile.quality.loo_rms < 0.5
    again = profile_from_text(profile_text(profile), "p")
    at = np.linspace(2, 11, 91)
    assert again.curve(at) == pytest.approx(profile.curve(at), abs=0.01)
    pkas = [p for pad in again.parameters["pads"] for p in pad["pka"]]
    assert all(-5 < p < 20 for p in pkas)


@pytest.mark.slow
def test_report_in_words(learned):
    profile, fit, known = learned
    text = report(profile, fit, known)
    assert "model: chemistry" in text
    assert "20 photos at 10 pH values" in text
    assert any(w in text for w in ("good:", "fair:", "poor:"))
    assert text.count(" end ") == 4 - 2  # the lowest and the highest buffer


@pytest.mark.slow
def test_the_report_asks_for_a_buffer_where_one_is_missing():
    kind = kind_of(2, 2, 11)
    known = photos(TWO, [2.0, 2.5, 3.0, 8.5, 9.0, 10.0, 11.0], 2, seed=10)  # nothing where both pads turn
    fit, evidence = fit_all(known, None, kind)
    profile = make_profile(kind, fit, evidence, known_photos(known), None)
    places = [ph for ph, _ in weak_places(profile)]
    assert any(3.5 < ph < 8.0 for ph in places)


def chart_of(toy, ph, shift):
    return [Swatch(float(x), p, tuple(lab + shift)) for x in ph for p, lab in enumerate(toy.lab(x))]


def test_chart_alone_is_the_chart_with_wide_doubts():
    kind = kind_of(2, 2, 11)
    mean = chart_mean(chart_of(TWO, range(2, 12), np.zeros(3)), 2)
    fit, evidence = fit_all([], mean, kind)
    profile = make_profile(kind, fit, evidence, [], None)
    assert evidence == "chart only"
    assert not profile.has_evidence
    assert np.isnan(profile.quality.loo_rms)
    at = np.array([5.0, 7.0])
    assert profile.curve(at) == pytest.approx(TWO.curve(at), abs=0.05)
    sd = np.sqrt(np.diagonal(profile.curve_cov(at), axis1=1, axis2=2))
    assert sd.min() > 2.0
    assert "unproven" in report(profile, fit, [])
    assert profile_from_text(profile_text(profile), "p").evidence == "chart only"


def test_buffers_pull_the_chart():
    kind = kind_of(2, 2, 11)
    shift = np.array([6.0, -3.0, 4.0])
    mean = chart_mean(chart_of(TWO, range(2, 12), shift), 2)
    known = photos(TWO, [4.0, 7.0, 10.0], 2, seed=11)
    fit, evidence = fit_all(known, mean, kind)
    assert evidence == "chart and buffers"
    grid = np.arange(3.0, 10.5, 0.5)
    truth = TWO.curve(grid)
    before = np.abs(mean.lab(grid) - truth).mean()
    after = np.abs(fit.strip.curve(grid) - truth).mean()
    assert after < 0.4 * before


def test_buffer_alone_in_a_chart():
    kind = kind_of(2, 2, 11)
    mean = chart_mean(chart_of(TWO, range(2, 12), np.array([5.0, 0.0, 0.0])), 2)
    fit, evidence = fit_all(photos(TWO, [7.0], 1, seed=12), mean, kind)
    assert (fit.model, evidence) == ("chart corrected", "chart and buffers")
    assert np.isfinite(fit.strip.curve(np.array([3.0, 11.0]))).all()


def test_covariance_at_many_places_is_that_at_each():
    # Rasmussen and Williams 2006, eq. 2.24, place by place with a plain inverse.
    known = photos(TWO, np.arange(3.0, 10.1, 1.0), 2, seed=3)
    posterior = fit_chemistry(known, kind_of(2, 2, 11))
    seen, mean, sizes = posterior.seen, posterior.mean, posterior.sizes
    at = places(mean, seen.ph)
    n, d = seen.lab.shape
    noise = np.zeros((n, d, n, d))
    by_ph = ph_slope(mean, seen.ph).reshape(n, d) * seen.ph_sd[:, None]
    for i in range(n):
        noise[i, :, i, :] += seen.cov[i] + sizes.scatter().cov(2)
        for j in range(n):
            if known[i].ph == known[j].ph:  # photos of one liquid share its error
                noise[i, :, j, :] += np.outer(by_ph[i], by_ph[j])
    K = signal_blocks(at, at, sizes) + noise.reshape(n * d, n * d) + 1e-6 * np.eye(n * d)
    asked = np.array([2.5, 4.4, 7.1, 10.9])
    cov = posterior.cov(asked)
    for i, ph in enumerate(asked):
        here = places(mean, np.array([ph]))
        k = signal_blocks(here, at, sizes)
        assert cov[i] == pytest.approx(signal_blocks(here, here, sizes) - k @ np.linalg.inv(K) @ k.T, abs=1e-6)


def test_other_sizes_are_another_posterior_and_need_no_look_at_the_model():
    known = photos(TWO, np.arange(3.0, 10.1, 1.0), 2, seed=4)
    posterior = fit_chemistry(known, kind_of(2, 2, 11))
    sizes = Sizes(0.7, 0.9, 1.4)
    fresh = Posterior(posterior.seen, posterior.mean, sizes)
    was = posterior.log_evidence()
    assert posterior.resized(sizes).log_evidence() == pytest.approx(fresh.log_evidence(), rel=1e-12)
    assert posterior.log_evidence() == was != pytest.approx(fresh.log_evidence(), rel=1e-3)

    class Counted:
        looks = 0

        def __getattr__(self, name):
            def look(*args):
                self.looks += name == "lab"
                return getattr(posterior.mean, name)(*args)

            return look

    counted = Counted()
    find_sizes(posterior.seen, counted)
    assert counted.looks < 10  # a look for every step of the search took nine tenths of a calibration's time


def test_colours_alone_are_those_with_the_slope():
    theta = chemistry.pack(np.array([2.0, 5.0, 9.0]), 0.9, np.random.default_rng(1).uniform(0.05, 2.0, (4, 3)))
    ph = np.linspace(-1, 15, 33)
    assert np.array_equal(chemistry.pad_lab(theta, ph), chemistry.pad_lab_and_slope(theta, ph)[0])
