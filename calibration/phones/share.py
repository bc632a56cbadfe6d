"""How much of a stranger's doubt is left for a phone that took several of the calibration's photos.

The curve is fitted to its photos, so the phone's own error is in the curve, and cancels in what it reads. What is
left is how far the phone's photos lie about that curve. Their covariance is taken as noise + share x (phone and
light), the share 1 for a stranger. The log of the share is normal about 0 beforehand, with ``PHONE_SPREAD``; the
photos' evidence (as ``Posterior.log_evidence``, curve and all integrated out) moves it, the more the more photos
there are. So it is drawn to a stranger's from what its own residuals say, and lies at or above that; a stranger's it
never exceeds. The curve that photos with so much less doubt give is surer too: by how much is told by its covariance
at the pH where that is least so.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.known_pads import KnownPads
from calibration.process import Posterior
from stripread.ph.phones.known import KnownPhone
from stripread.tuned import tuned

Array = NDArray[np.float64]

_TUNED = tuned("calibration.phones")
PHONE_SPREAD = _TUNED.number("phone_spread")
LEAST_SHARE = _TUNED.number("least_share")
FEWEST = 2  # photos: one alone shows no scatter
SHARES = np.exp(np.linspace(np.log(0.01), 0.0, 24))  # at which the evidence is looked at


def known_phones(posterior: Posterior, known: Sequence[KnownPads], ph: Array) -> tuple[KnownPhone, ...]:
    """The phones that took several of the photos, by name, each with its share of a stranger's variance.

    ph (N,): where the curve is looked at.
    """
    counted = Counter(k.taken.phone for k in known if k.taken.phone is not None and k.of_phone is not None)
    out = []
    for phone, count in sorted(counted.items()):
        if count >= FEWEST:
            share = drawn(evidence(phone, posterior, known))
            curve = curve_left(posterior, surer(phone, share, posterior, known), ph)
            out.append(KnownPhone(phone, count, share, curve))
    return tuple(out)


def surer(phone: str, share: float, posterior: Posterior, known: Sequence[KnownPads]) -> Posterior:
    """The posterior with what phone and light bring to that phone's photos times ``share``."""
    by_it = np.array([k.taken.phone == phone and k.of_phone is not None for k in known])
    of_phone = np.array([np.zeros_like(k.cov) if k.of_phone is None else k.of_phone for k in known])
    cov = posterior.seen.cov - np.where(by_it, 1.0 - share, 0.0)[:, None, None] * of_phone
    return Posterior(replace(posterior.seen, cov=cov), posterior.mean, posterior.sizes)


def evidence(phone: str, posterior: Posterior, known: Sequence[KnownPads]) -> Array:
    """Logarithm of the photos' evidence at each of ``SHARES`` (24,), but for a constant."""
    return np.array([surer(phone, share, posterior, known).log_evidence() for share in SHARES])


def curve_left(whole: Posterior, sure: Posterior, ph: Array) -> float:
    """What is left of the curve's variance at the pH (N,) where most is: geometric mean over its colours."""
    volumes = [np.linalg.slogdet(posterior.cov(ph))[1] for posterior in (whole, sure)]
    size = whole.seen.lab.shape[1]
    return float(np.clip(np.exp((volumes[1] - volumes[0]) / size).max(), 0.01, 1.0))


def drawn(log_evidence: Array) -> float:
    """The share that evidence (24,) at ``SHARES`` leaves likely, drawn to a stranger's.

    It is the posterior's mean and not its peak: what is unsure of it widens it.
    """
    likely = log_evidence - 0.5 * (np.log(SHARES) / PHONE_SPREAD) ** 2
    weight = np.exp(likely - likely.max())
    return float(np.clip(float(weight @ SHARES / weight.sum()), LEAST_SHARE, 1.0))
