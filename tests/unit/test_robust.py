"""Quick medians against numpy's own."""

import numpy as np
import pytest

from stripread.robust import median, medians, scatter


@pytest.mark.parametrize("n", [1, 2, 3, 4, 7, 50, 51])
def test_median_is_numpys(n):
    values = np.random.default_rng(n).normal(size=(n, 3))
    assert median(values) == pytest.approx(np.median(values))
    assert medians(values) == pytest.approx(np.median(values, axis=0))
    assert medians(values.T, axis=1) == pytest.approx(np.median(values, axis=0))


def test_no_values_or_a_nan_give_nan():
    assert np.isnan(median(np.zeros(0)))
    assert np.isnan(median(np.array([1.0, np.nan, 2.0, 3.0])))


def test_scatter_of_normal_numbers_is_their_standard_deviation():
    values = np.random.default_rng(1).normal(3.0, 2.0, 20_000)
    values[:500] = 1e6  # outliers do not count
    assert scatter(values) == pytest.approx(2.0, rel=0.06)
