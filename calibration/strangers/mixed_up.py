"""Photos that do not go with the others: liquids mixed up, a wrong label or temperature, a strip of another sort.

Each way in which the labels may be wrong is held against the labels as they are: how likely is it that colours change
with pH as evenly as they would then? Colours are a Gaussian process over pH (Rasmussen and Williams 2006, ch. 2 and 5),
smooth over one to three pH, whatever the strip is made of; its evidence needs no fit. A way is named where it is at
least ``SURE`` to one with what is known beforehand: mix-ups are rare, and there are many ways.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.known_pads import KnownPads, pad_count
from calibration.process import PRIOR, Sizes
from calibration.strangers.suspicion import Suspicion, Way
from stripread.gauss import gaussian_between

Array = NDArray[np.float64]

LENGTHS = (0.7, 1.0, 1.5, 2.2, 3.2)  # pH over which colours stay alike: from a sharp turn to a slow one
NOISES = (0.7, 1.5, 3.0, 6.0, 12.0, 25.0, 50.0)  # variance of a photo, in that of the scatter expected of it
BEFOREHAND = 0.03  # share of calibrations in which anything is mixed up; from memory
SURE = 20.0  # to one
ENOUGH = 7  # pH values: with fewer, colours that turn back are as likely as labels that are wrong
APART = 1.0  # pH: liquids nearer than this are not told apart by the colours of a curve that is not known yet
SUSPECTS = 8  # photos, and liquids, that are looked at closely
STEP = 0.5  # pH, of where a liquid may lie instead


@dataclass(frozen=True)
class _Colours:
    """Colours (n, C) whitened by the scatter that photos have, about their middle; variance (C,) over all pH."""

    ph: Array
    values: Array
    size: Array


def mixed_up(known: list[KnownPads], ph_range: tuple[float, float]) -> list[Suspicion]:
    """What does not go together among photos at known pH, one thing after the other; empty where all does.

    What was named is set right in thought before the next is looked for, so that one mistake accuses nobody else.
    """
    out: list[Suspicion] = []
    left = list(range(len(known)))
    ph = np.array([k.ph for k in known])
    while len(out) < 3:
        chosen = [known[i] for i in left]
        found = _worst([replace(k, ph=float(ph[i])) for i, k in zip(left, chosen, strict=True)], ph_range)
        if found is None:
            break
        photos = tuple(left[i] for i in found.photos)
        out.append(replace(found, photos=photos, said=tuple(known[i].ph for i in photos)))
        if found.way == "foreign":
            left = [i for i in left if i not in photos]
        else:
            ph[list(photos)] = found.fits
    return out


def _worst(known: list[KnownPads], ph_range: tuple[float, float]) -> Suspicion | None:
    """The way that explains the photos best, if it is sure enough."""
    if len({k.ph for k in known}) < ENOUGH:
        return None
    colours = _whitened(known)
    ph = colours.ph
    plain, length, noise = _evidence(ph, colours)
    strange = _strangeness(colours, length, noise)
    values = np.unique(ph)
    of_liquid = {float(v): np.flatnonzero(ph == v) for v in values}
    liquids = sorted(of_liquid, key=lambda v: -float(strange[of_liquid[v]].max()))[:SUSPECTS]
    photos = [int(i) for i in np.argsort(-strange)[:SUSPECTS]]
    groups = [of_liquid[v] for v in liquids] + [np.array([i]) for i in photos if len(of_liquid[float(ph[i])]) > 1]
    ways: list[tuple[float, Way, tuple[int, ...], Array]] = []
    for one in groups:
        for other in [*of_liquid.values(), *(np.array([i]) for i in range(len(ph)))]:
            alike = (len(one) == 1) == (len(other) == 1) or len(one) == len(other)
            if alike and abs(ph[one[0]] - ph[other[0]]) >= APART - 1e-9:
                moved = ph.copy()
                moved[one], moved[other] = ph[other[0]], ph[one[0]]
                both = tuple(int(i) for i in (*one, *other))
                ways.append((_evidence(moved, colours)[0], "exchanged", both, moved))
        for at in np.arange(ph_range[0], ph_range[1] + STEP / 2, STEP):
            if abs(at - ph[one[0]]) >= APART - 1e-9:
                moved = ph.copy()
                moved[one] = at
                ways.append((_evidence(moved, colours)[0], "elsewhere", tuple(int(i) for i in one), moved))
        if len(one) == 1:  # photos that agree with each other are of one liquid, whatever the curve does there
            ways.append((_foreign(colours, one), "foreign", tuple(int(i) for i in one), ph))
    if not ways:
        return None
    # The ways of one sort share its part of what is known beforehand.
    counts = {way: sum(w == way for _, w, _, _ in ways) for way in ("exchanged", "elsewhere", "foreign")}
    weighed = np.array([e - plain - np.log(3 * counts[way]) for e, way, _, _ in ways]) + np.log(
        BEFOREHAND / (1.0 - BEFOREHAND)
    )
    best = int(np.argmax(weighed))
    if weighed[best] < np.log(SURE):
        return None
    _unused, way, about, moved = ways[best]
    chance = float(1.0 / (1.0 + np.exp(-min(weighed[best], 50.0))))
    fits = () if way == "foreign" else tuple(float(moved[i]) for i in about)
    return Suspicion(way, about, tuple(float(ph[i]) for i in about), fits, chance)


def _whitened(known: list[KnownPads]) -> _Colours:
    """Colours in units of the scatter that photos have, uncorrelated but for what pH makes of them."""
    scatter = Sizes(PRIOR["common"][0], PRIOR["own"][0], 1.0).scatter().cov(pad_count(known))
    cov = scatter + np.mean([k.cov for k in known], axis=0)
    root = np.linalg.inv(np.linalg.cholesky(cov))
    values = np.array([k.lab.reshape(-1) for k in known]) @ root.T
    ph = np.array([k.ph for k in known])
    of_liquid = np.array([np.median(values[ph == v], axis=0) for v in np.unique(ph)])
    values = values - of_liquid.mean(axis=0)
    return _Colours(ph, values, np.maximum(of_liquid.var(axis=0), 1.0))


def _evidence(ph: Array, colours: _Colours) -> tuple[float, float, float]:
    """Logarithm of how likely the colours are with these labels (n,), at the length and noise that suit them best."""
    best = (-np.inf, LENGTHS[0], NOISES[0])
    for length in LENGTHS:
        w, V = np.linalg.eigh(gaussian_between(ph, ph, length))
        z = (V.T @ colours.values) ** 2
        signal = np.maximum(w, 0.0)[:, None] * colours.size
        for noise in NOISES:
            var = signal + noise
            value = float(-0.5 * (z / var + np.log(var)).sum())
            if value > best[0]:
                best = (value, length, noise)
    return best


def _strangeness(colours: _Colours, length: float, noise: float) -> Array:
    """How far each photo lies from what the other liquids foretell, mean square in its own doubt (n,)."""
    out = np.zeros(len(colours.ph))
    near = gaussian_between(colours.ph, colours.ph, length)
    for v in np.unique(colours.ph):
        here = np.flatnonzero(colours.ph == v)
        rest = np.flatnonzero(colours.ph != v)
        for c, size in enumerate(colours.size):
            K = size * near[np.ix_(rest, rest)] + noise * np.eye(len(rest))
            to = size * near[np.ix_(here, rest)]
            solved = np.linalg.solve(K, to.T)
            var = size + noise - (to * solved.T).sum(axis=1)
            out[here] += (colours.values[here, c] - solved.T @ colours.values[rest, c]) ** 2 / var
    return np.asarray(out / colours.values.shape[1])


def _foreign(colours: _Colours, group: NDArray[np.int64]) -> float:
    """Evidence where the photos of a group have colours of their own: as different as any two pH are, or more."""
    rest = np.setdiff1d(np.arange(len(colours.ph)), group)
    others = replace(colours, ph=colours.ph[rest], values=colours.values[rest])
    value, _length, noise = _evidence(others.ph, others)
    mean = colours.values[group].mean(axis=0)
    spread = len(group) * 2.0 * colours.size + noise
    value += float(-0.5 * (len(group) * mean**2 / spread + np.log(spread)).sum())
    inside = colours.values[group] - mean
    scatter = float((inside**2 / noise).sum()) + (len(group) - 1) * mean.size * float(np.log(noise))
    return float(value - 0.5 * scatter)
