"""What a calibration's photos tell of the phone that took them."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.known_pads import KnownPads
from calibration.phones import share as phone_share
from calibration.phones.share import SHARES, drawn, known_phones
from calibration.process import observe
from calibration.spline import fit_spline
from stripread.ph.phones.taken import Taken
from tests.unit.calibration.toystrips import Toy

GRID = np.linspace(1.0, 13.0, 9)


def by_phones(seed, own, names):
    """Photos of toy strips whose covariance doubts phones by 3 CIELAB, and that scatter by ``own`` times that."""
    toy = Toy.random(seed, 2)
    rng = np.random.default_rng(seed)
    known = []
    for n, ph in enumerate(np.repeat(np.arange(1.0, 13.1, 1.0), 2)):
        lab = toy.lab(float(ph)) + rng.normal(0.0, 3.0 * own, (2, 3))
        name = names[n % len(names)]
        known.append(known_at(lab, float(ph), name, n))
    return known, fit_spline(observe(known))


def known_at(lab, ph, name, n):
    of_phone = 9.0 * np.eye(6)
    return KnownPads(lab, of_phone + 0.04 * np.eye(6), ph, 0.01, str(n), str(n), of_phone, Taken(name, (0.0,) * 6))


def test_photos_that_agree_leave_little_of_a_strangers_doubt():
    known, posterior = by_phones(1, 0.5, ["one"])
    (phone,) = known_phones(posterior, known, GRID)
    assert (phone.phone, phone.photos) == ("one", 26)
    assert 0.1 < phone.share < 0.45  # true: 0.25 of the variance
    assert phone.share < phone.curve < 0.8


def test_photos_that_scatter_as_strangers_do_leave_all_of_it():
    known, posterior = by_phones(2, 1.2, ["one"])
    (phone,) = known_phones(posterior, known, GRID)
    assert phone.share > 0.7
    assert phone.curve > 0.7


def test_photos_that_name_no_phone_tell_nothing():
    known, posterior = by_phones(3, 0.3, [None])
    assert known_phones(posterior, known, GRID) == ()


def test_a_single_photo_by_a_phone_tells_nothing():
    known, posterior = by_phones(4, 0.3, [None])
    known[3] = replace(known[3], taken=Taken("one", (0.0,) * 6))
    assert known_phones(posterior, known, GRID) == ()


def test_few_photos_are_drawn_to_a_stranger():
    known, posterior = by_phones(5, 0.2, ["one"])
    few = [replace(k, taken=Taken("one" if n in (4, 15) else None)) for n, k in enumerate(known)]
    (of_few,), (of_all,) = (known_phones(posterior, some, GRID) for some in (few, known))
    assert of_few.share > 1.5 * of_all.share


def test_evidence_that_tells_nothing_leaves_a_wide_guess_and_is_bounded():
    level = drawn(np.zeros(len(SHARES)))
    assert 0.3 < level < 0.8  # the mean of what lies within a standard deviation or two below a stranger's
    sharp = np.where(np.arange(len(SHARES)) == 0, 1e4, 0.0)
    assert drawn(sharp) == phone_share.LEAST_SHARE
    least = drawn(np.where(np.arange(len(SHARES)) == len(SHARES) - 1, 1e4, 0.0))
    assert least == pytest.approx(1.0)
