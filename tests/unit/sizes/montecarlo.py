"""A claimed covariance held against draws of its own cause, in the claim's own units.

For n draws of a normal error with the claimed covariance, a variance is the claimed one times chi-square with n - 1
degrees of freedom over n - 1, the trace in the claim's own axes likewise with rank times as many, and the
determinant is a product of independent such (Wishart's distribution; T. W. Anderson, An Introduction to Multivariate
Statistical Analysis, 3rd ed., theorem 7.5.3, from memory). All three are held to a false-alarm
rate of FALSE_ALARM each.
"""

import numpy as np
from scipy.special import digamma, polygamma
from scipy.stats import chi2, norm

FALSE_ALARM = 1e-5  # of each measure, were the seed not fixed
RANK = 1e-7  # of the largest eigenvalue: below it the claim says that nothing moves


def assert_covariance(claimed, draws, bend=0.0):
    """Raise AssertionError where draws (N, D) do not scatter as the claimed covariance (D, D) says.

    bend: relative slack for what is not linear in the cause, or is itself estimated; to be reasoned where it is used.
    """
    n, size = draws.shape
    seen = np.cov(draws.T).reshape(size, size)
    floor = RANK * np.diag(claimed).max()
    for i in range(size):
        _within(f"variance {i}", seen[i, i], claimed[i, i], _chi_square(n - 1, FALSE_ALARM / size), bend, floor)
    values, vectors = np.linalg.eigh(claimed)
    held = values > RANK * values.max()
    root = vectors[:, held] / np.sqrt(values[held])
    white = root.T @ seen @ root
    rank = int(held.sum())
    _within("trace", np.trace(white) / rank, 1.0, _chi_square(rank * (n - 1), FALSE_ALARM), bend)
    steps = n - 1 - np.arange(rank)
    middle = float((digamma(steps / 2) + np.log(2 / (n - 1))).sum())
    reach = float(-norm.ppf(FALSE_ALARM / 2) * np.sqrt(polygamma(1, steps / 2).sum())) + rank * np.log1p(bend)
    log_det = float(np.linalg.slogdet(white)[1])
    assert abs(log_det - middle) < reach, f"log determinant {log_det:.3f}, {middle:.3f} +- {reach:.3f} expected"


def assert_variance(claimed, draws, bend=0.0):
    """Raise AssertionError where draws (N,) do not scatter as the claimed variance says."""
    assert_covariance(np.array([[float(claimed)]]), np.asarray(draws)[:, None], bend)


def assert_share(inside, level, false_alarm=FALSE_ALARM):
    """Raise AssertionError where the share of ``inside`` (N,) differs from ``level`` by more than chance (normal)."""
    inside = np.asarray(inside)
    reach = float(-norm.ppf(false_alarm / 2) * np.sqrt(level * (1 - level) / len(inside)))
    assert abs(inside.mean() - level) < reach, f"{inside.mean():.4f} inside, {level:.4f} +- {reach:.4f} expected"


def _chi_square(freedom, false_alarm):
    return chi2.ppf([false_alarm / 2, 1 - false_alarm / 2], freedom) / freedom


def _within(name, seen, claimed, factors, bend, floor=0.0):  # noqa: PLR0917 - what a message needs
    low, high = factors[0] / (1 + bend) * claimed - floor, factors[1] * (1 + bend) * claimed + floor
    assert low <= seen <= high, f"{name}: {seen:.6g} seen, {claimed:.6g} claimed, {low:.6g} to {high:.6g} allowed"
