"""The error budget: make one cause larger, and its part grows as it should while the others stay."""

from dataclasses import dataclass, replace

import numpy as np
import pytest

from stripread.card.values import CardValues
from stripread.correction import dyes
from stripread.correction.fit import fix_colour
from stripread.correction.residual import fit_residual
from stripread.ph.curve import Lot, Scatter, StripCurve
from stripread.ph.kubelka import channels_to_lab, lab_by_light, lab_to_channels
from stripread.ph.posterior import FREEDOM, infer_ph
from stripread.strip.pads import PadSamples, PadSet, pads_to_lab
from tests.unit.correction.test_fit import CENTRES, KNOWN, PADS, PRINTED, encode, photo
from tests.unit.ph.test_posterior import KIND, LineCurve

PAD_AT = np.array([[30.0, 37], [38, 36], [46, 38], [54, 37]])
MEASURED = ("noise", "texture", "tone", "light", "correction")
CAUSES = (*MEASURED, "strip_lot", "calibration")


@dataclass(frozen=True)
class DoubtfulLine(LineCurve):
    """A straight curve that is itself known only so well."""

    calibration: float = 0.0

    def curve_cov(self, ph):
        return np.broadcast_to(self.calibration**2 * np.eye(6), (len(ph), 6, 6))


def budget(**sds):
    """Budget at pH 6 of a straight curve, every cause with the standard deviation named, else 0.3."""
    sd = {cause: sds.get(cause, 0.3) for cause in CAUSES}
    curve = DoubtfulLine(lot=sd["strip_lot"], calibration=sd["calibration"])
    parts = {cause: sd[cause] ** 2 * np.eye(6) for cause in MEASURED}
    pads = PadSet(curve.curve(np.array([6.0]))[0], sum(parts.values()), parts, np.zeros((2, 4, 2)), ())
    return infer_ph(pads, curve)


@pytest.mark.parametrize("cause", CAUSES)
def test_twice_the_cause_is_four_times_its_part(cause):
    quiet, loud = budget(), budget(**{cause: 0.6})
    for e in (quiet, loud):
        mass = e.density / e.density.sum()
        variance = (mass * e.grid**2).sum() - (mass * e.grid).sum() ** 2
        assert sum(e.budget.values()) == pytest.approx(variance, rel=1e-6)
    # Two pads, each with slope 4; Student's t about colours that sit on the curve: from its formula.
    student = FREEDOM / (FREEDOM + 6 - 3)
    assert quiet.budget[cause] == pytest.approx(student * 0.3**2 / (2 * 4.0**2), rel=0.02)
    for other in CAUSES:
        times = 4.0 if other == cause else 1.0
        assert loud.budget[other] == pytest.approx(times * quiet.budget[other], rel=0.03)


def test_a_bend_of_the_curve_is_the_curve_s_shape():
    """Colours between two branches of a bent curve: most of the doubt is which one, and no other cause grows by it."""
    straight, bent = LineCurve(), LineCurve(bent=True)
    lab = bent.curve(np.array([6.6]))[0]
    cov = 0.3**2 * np.eye(6)
    pads = PadSet(lab, cov, {"noise": cov}, np.zeros((2, 4, 2)), ())
    one = infer_ph(replace(pads, lab=straight.curve(np.array([6.6]))[0]), straight).budget
    two = infer_ph(pads, bent).budget
    assert two["curve_shape"] > 10 * one["curve_shape"]
    assert two["curve_shape"] > 10 * two["noise"]
    assert one["noise"] <= two["noise"] < 1.5 * one["noise"]


def measured(seed=1, *, noise=1e-6, texture=1e-6, samples=None, values=KNOWN):
    """Covariances by cause of four pads under a made-up phone: what the pads' own stage says."""
    both = encode(np.vstack([PRINTED, PADS]), np.vstack([CENTRES, PAD_AT]), seed)
    fix = fix_colour(photo(seed) if samples is None else samples, values)
    at = PAD_AT[:, None] + np.zeros((4, 4, 2))
    shape = np.ones((4, 3))
    pads = PadSamples(both[len(PRINTED) :], noise * shape, texture * shape, PAD_AT, at, np.zeros(4), ())
    return pads_to_lab(pads, fix)


def test_pixel_noise_and_texture_reach_their_own_part_only():
    quiet = measured()
    for cause in ("noise", "texture"):
        loud = measured(**{cause: 4e-6})
        for name, cov in quiet.parts.items():
            assert loud.parts[name] == pytest.approx((4.0 if name == cause else 1.0) * cov, rel=1e-6, abs=1e-12)
        assert loud.cov == pytest.approx(sum(loud.parts.values()), abs=1e-9)


def fit_trace(pads, cause):
    return float(np.trace(pads.parts[cause]))


@pytest.mark.parametrize(("cause", "least"), [("tone", 1.3), ("light", 1.5), ("correction", 1.05)])
def test_a_card_known_less_well_is_a_fit_known_less_well(cause, least, monkeypatch):
    """The correction's largest part, of dyes that are not inks, the card does not change: left away here."""
    monkeypatch.setattr(dyes, "CHANNEL_SD", np.zeros(3))
    loose = CardValues(PRINTED, 4.0 * KNOWN.sd, "estimated")
    assert fit_trace(measured(values=loose), cause) > least * fit_trace(measured(), cause)


@pytest.mark.parametrize("cause", ["tone", "light", "correction"])
def test_patches_that_scatter_make_the_fit_s_parts_larger(cause):
    """The doubt is taken from the misses themselves where they are larger than was thought."""
    samples = photo(1)
    scatter = np.random.default_rng(3).normal(0, 0.02, samples.rgb.shape)
    traces = []
    for times in (0.0, 1.0, 2.0):
        spoiled = replace(samples, rgb=np.clip(samples.rgb + times * scatter, 0, 1))
        traces.append(fit_trace(measured(samples=spoiled), cause))
    assert traces[2] > 1.5 * traces[1] > 1.5 * 1.3 * traces[0]


def test_colours_that_the_patches_miss_by_twice_as_much_are_doubted_more():
    rng = np.random.default_rng(5)
    lab = rng.uniform([20, -50, -50], [90, 50, 50], (60, 3))
    miss = rng.normal(0, 1.5, (60, 3))
    at = rng.uniform([30, -40, -40], [80, 40, 40], (4, 3))
    one, two = (fit_residual(lab, times * miss, np.ones(60, bool)).at(at)[1] for times in (1.0, 2.0))
    base = fit_residual(lab, 1e-9 * miss, np.ones(60, bool)).at(at)[1]  # the part that no patch can show
    assert np.trace(two) > 2.5 * np.trace(one)
    assert np.trace(one) > np.trace(base)


def strip(lot=Lot(), scatter=0.5, factor=1.0):  # noqa: B008 - frozen
    ph = np.linspace(0, 14, 281)
    lab = np.stack([np.stack([60 + 2 * ph, 3 * ph, 1 + 0 * ph], axis=1)] * 2, axis=1)
    cov_ph = np.array([0.0, 7.0, 14.0])
    return StripCurve(
        ph, lab, cov_ph, factor * np.tile(np.eye(6), (3, 1, 1)), Scatter((scatter,) * 3, (scatter,) * 3), lot
    )


def test_strips_that_differ_twice_as_much_give_four_times_their_covariance():
    at = np.array([5.0])
    plain = Lot(0.03, 0.05, 0.4, 0.01)
    double = Lot(0.06, 0.10, 0.8, 0.02)
    assert strip(double).strip_cov(at) == pytest.approx(4 * strip(plain).strip_cov(at))
    assert strip(scatter=1.0).scatter_cov() == pytest.approx(4 * strip().scatter_cov())
    assert strip(factor=2.0).curve_cov(at) == pytest.approx(4 * strip().curve_cov(at))
    # a shift of the transitions is a shift in pH: its doubt of one pad is that of the shift, whatever the colours
    shifted = strip(Lot(0.05, 0.0, 0.0, 0.0)).strip_cov(at)[0, :3, :3]
    slope = np.array([2.0, 3.0, 0.0])
    assert slope @ shifted @ slope / (slope @ slope) ** 2 == pytest.approx(0.05**2)


def test_light_through_the_dye_moves_all_pads_at_once_and_deep_ones_most():
    """Against colours with a fiftieth of the way to the paper's reflectance added."""
    at, share = np.array([5.0]), 0.02
    channels = lab_to_channels(strip().curve(at)[0])
    moved = (channels_to_lab(channels + share * (0.9 - channels)) - channels_to_lab(channels)).reshape(-1)
    cov = strip(Lot(0.0, 0.0, 0.0, share)).strip_cov(at)[0]
    assert cov == pytest.approx(np.outer(moved, moved), rel=0.1, abs=0.01)
    deep, pale = (lab_by_light([lightness, 0.0, 0.0])[0] for lightness in (30.0, 90.0))
    assert deep > 10 * pale > 0


@dataclass(frozen=True)
class Of:
    """A strip curve as inference wants it."""

    strip: StripCurve
    kind: object = KIND

    def curve(self, ph):
        return self.strip.curve(ph)

    def curve_cov(self, ph):
        return self.strip.curve_cov(ph)

    def lot_cov(self, ph):
        return self.strip.strip_cov(ph) + self.strip.scatter_cov()


@pytest.mark.parametrize(("cause", "change"), [("strip_lot", {"scatter": 1.0}), ("calibration", {"factor": 2.0})])
def test_the_profile_s_doubts_reach_the_reading(cause, change):
    cov = 0.2**2 * np.eye(6)
    parts = {"noise": cov}
    quiet, loud = (
        infer_ph(PadSet(curve.curve(np.array([6.0]))[0], cov, parts, np.zeros((2, 4, 2)), ()), Of(curve))
        for curve in (strip(), strip(**change))
    )
    assert loud.budget[cause] > 2.0 * quiet.budget[cause]
    assert loud.interval[1] - loud.interval[0] > quiet.interval[1] - quiet.interval[0]


def test_widened_pads_keep_parts_that_add_up():
    pads = PadSet(np.zeros((2, 3)), 5 * np.eye(6), {"noise": 2 * np.eye(6), "tone": 3 * np.eye(6)}, np.zeros(0), ())
    wide = pads.widened(1.5).widened(2.0)
    assert wide.scale == 3.0
    assert wide.cov == pytest.approx(15 * np.eye(6))
    assert sum(wide.parts.values()) == pytest.approx(wide.cov)
