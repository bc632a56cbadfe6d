"""The colours of the card by optimal design: ``python -m tests.design_card``; what it prints goes into card/layout.py.

Criterion (I-optimality): the mean, over the colours that will be read and over made-up printers and cameras, of the
variance that the colour correction would have after seeing the card. The correction is a Gaussian process whose
kernel is the sum of a ridge-regularised model (linear and root-polynomial terms of degree 2: Finlayson, Mackiewicz,
Hurlbert 2015) and of a smooth residual over CIELAB, length 25 units. The grey ramp and the whites are on the card
anyway and count. Greedy choice first, then exchanges until none helps. See docs/card-design.md.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stripread.card.layout import COLOURS, GREYS, layout
from stripread.colour import delta_e, rgb_to_lab, srgb_decode, srgb_encode
from tests.design_spectra import Printer, camera, lab_of, targets

COUNT = 36
RIDGE_SD = 0.15  # prior sd of a coefficient of the camera's mixing
RESIDUAL_SD = 4.0  # CIELAB units: inks, dyes and lights that the linear part can't follow
LENGTH_LAB = 25.0
NOISE_SD = 1.2  # CIELAB units: a patch as measured, print unevenness included
APART_LAB = 12.0  # least distance between two colours as sent to the printer
APART_GREY = 1.2  # least mean step in lightness if the card is printed without colour (36 colours over some 60 L*)
APART_SEEN = 6.0  # ... the same in CIEDE2000, which counts less in saturated colours
APART_PRINTED = 5.0  # ... and as any of the printers lays them down
GAMUT_MISS = 25.0  # CIELAB units that a colour may lie outside of a printer's gamut (a little is only moved) ...
GAMUT_SHARE = 0.75  # ... in at least this share of the printers


@dataclass(frozen=True)
class Case:
    """One printer seen by one camera: prior covariances among candidates + fixed patches, and with the targets.

    own (C, C); cross (C, T); prior (): mean prior variance of the targets.
    """

    own: np.ndarray
    cross: np.ndarray
    prior: float


def candidates() -> np.ndarray:
    """sRGB levels (C, 3), 8 bit: a grid without the neutrals (those are on the card anyway)."""
    levels = np.arange(32, 249, 24)
    grid = np.stack(np.meshgrid(levels, levels, levels, indexing="ij"), axis=-1).reshape(-1, 3)
    return grid[np.ptp(grid, axis=1) > 0]


def fixed() -> np.ndarray:
    """sRGB levels of the greys and whites of the card, shape (F, 3)."""
    return np.array([p.srgb for p in layout().patches if p.role != "colour"])


def printers(rng: np.random.Generator, count: int = 8) -> list[Printer]:
    """Made-up printers, half of them colour-managed, half straight."""
    return [Printer.made_up(rng, managed=bool(n % 2)) for n in range(count)]


def _features(rgb: np.ndarray, lab: np.ndarray) -> np.ndarray:
    """Root-polynomial terms of device RGB (N, 3), in CIELAB units at that lightness: shape (N, 6)."""
    r, g, b = np.maximum(rgb, 1e-4).T
    terms = np.stack([r, g, b, np.sqrt(r * g), np.sqrt(g * b), np.sqrt(r * b)], axis=1)
    luminance = np.maximum((lab[:, :1] + 16) / 116, 0.2) ** 3
    return terms * (116 / 3) * luminance ** (-2 / 3)


def _kernel(x: tuple[np.ndarray, np.ndarray], y: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    square = ((x[1][:, None, :] - y[1][None, :, :]) ** 2).sum(axis=2)
    return RIDGE_SD**2 * x[0] @ y[0].T + RESIDUAL_SD**2 * np.exp(-0.5 * square / LENGTH_LAB**2)


def make_cases(srgb: np.ndarray, machines: list[Printer], rng: np.random.Generator) -> list[Case]:
    """Covariances for patches ``srgb`` (C, 3; 8 bit) on each printer, each with a camera and targets of its own."""
    cases = []
    for machine in machines:
        weights, spectra, wanted = camera(rng), machine.printed(srgb / 255.0), targets(rng)
        paper = machine.spectra[0] @ weights
        patch = (_features(spectra @ weights / paper, lab_of(spectra)), lab_of(spectra))
        aim = (_features(wanted @ weights / paper, lab_of(wanted)), lab_of(wanted))
        prior = float((RIDGE_SD**2 * (aim[0] ** 2).sum(axis=1) + RESIDUAL_SD**2).mean())
        cases.append(Case(_kernel(patch, patch), _kernel(patch, aim), prior))
    return cases


def criterion(cases: list[Case], chosen: np.ndarray) -> float:
    """Root of the mean predicted variance (Delta E) with the patches ``chosen`` (indices into the cases)."""
    total = 0.0
    for case in cases:
        gram = case.own[np.ix_(chosen, chosen)] + NOISE_SD**2 * np.eye(len(chosen))
        half = np.linalg.solve(np.linalg.cholesky(gram), case.cross[chosen])
        total += case.prior - float((half**2).sum(axis=0).mean())
    return float(np.sqrt(total / len(cases)))


def gains(cases: list[Case], chosen: np.ndarray) -> np.ndarray:
    """How much each candidate would lower the mean variance if added to ``chosen``: shape (C,)."""
    total = np.zeros(len(cases[0].own))
    for case in cases:
        gram = case.own[np.ix_(chosen, chosen)] + NOISE_SD**2 * np.eye(len(chosen))
        root = np.linalg.cholesky(gram)
        a, b = np.linalg.solve(root, case.own[chosen]), np.linalg.solve(root, case.cross[chosen])
        cross = case.cross - a.T @ b
        variance = np.diag(case.own) - (a**2).sum(axis=0) + NOISE_SD**2
        total += (cross**2).mean(axis=1) / variance
    return total / len(cases)


def closeness(labs: np.ndarray) -> np.ndarray:
    """Pairs too alike: (C, C) of bool from labs (1 + printers, C, 3), the first as sent to the printer."""
    gaps = [np.sqrt(((lab[:, None] - lab[None]) ** 2).sum(axis=2)) for lab in labs]
    seen = delta_e(labs[0][:, None], labs[0][None])
    return (gaps[0] < APART_LAB) | (seen < APART_SEEN) | (np.min(gaps[1:], axis=0) < APART_PRINTED)


def allowed(lightness: np.ndarray, alike: np.ndarray, chosen: list[int]) -> np.ndarray:
    """Candidates far enough from those chosen, as colours and as steps of grey: shape (C,) of bool."""
    crowd = (np.abs(lightness[:, None] - lightness[None, chosen]) < 1.5 * APART_GREY).sum(axis=1)
    return ~alike[:, chosen].any(axis=1) & (crowd < 3)


def choose(cases: list[Case], labs: np.ndarray, open_to: np.ndarray, base: np.ndarray) -> list[int]:
    """Greedy choice of ``COUNT`` candidates, then exchanges until a whole pass changes nothing."""
    chosen: list[int] = []
    lightness, alike = labs[0, :, 0], closeness(labs)
    while len(chosen) < COUNT:
        gain = gains(cases, np.array([*base, *chosen]))[: len(lightness)]
        chosen.append(int(np.argmax(np.where(open_to & allowed(lightness, alike, chosen), gain, -1))))
    for _ in range(6):
        changed = False
        for n in range(COUNT):
            rest = chosen[:n] + chosen[n + 1 :]
            gain = gains(cases, np.array([*base, *rest]))[: len(lightness)]
            best = int(np.argmax(np.where(open_to & allowed(lightness, alike, rest), gain, -1)))
            if gain[best] > gain[chosen[n]] * (1 + 1e-9):
                chosen[n], changed = best, True
        if not changed:
            break
    return chosen


def arrange(srgb: np.ndarray, rng: np.random.Generator, rounds: int = 20000) -> np.ndarray:
    """Order of the colours over the colour cells: neighbours unlike each other, no trend of colour over the card."""
    cells = np.array([p.rect_mm[:2] for p in layout().patches if p.role == "colour"])
    near = [(i, j) for i in range(COUNT) for j in range(i) if np.hypot(*(cells[i] - cells[j])) < 12.0]
    first, second = np.array(near).T
    lab = rgb_to_lab(srgb_decode(srgb / 255.0))
    apart = np.sqrt(((lab[:, None] - lab[None]) ** 2).sum(axis=2))
    place = (cells - cells.mean(axis=0)) / cells.std(axis=0)
    trends = np.concatenate([place, place**2 - 1, place[:, :1] * place[:, 1:]], axis=1)
    unit = (lab - lab.mean(axis=0)) / lab.std(axis=0)

    def score(order: np.ndarray) -> float:
        gaps = apart[order[first], order[second]]
        return float(gaps.min() + 0.2 * gaps.mean() - 40.0 * np.abs(trends.T @ unit[order] / COUNT).max())

    order = rng.permutation(COUNT)
    best = score(order)
    for _ in range(rounds):
        i, j = rng.integers(COUNT, size=2)
        trial = order.copy()
        trial[[i, j]] = trial[[j, i]]
        if (value := score(trial)) >= best:
            order, best = trial, value
    return order


def even_greys(count: int = 12, lightest: float = 95.6) -> tuple[int, ...]:
    """sRGB levels of a ramp even in CIELAB lightness, from black to just under paper white."""
    f = (np.linspace(0, lightest, count) + 16) / 116
    luminance = np.where(f > 6 / 29, f**3, (116 * f - 16) * 27 / 24389)
    return tuple(int(v) for v in np.rint(255 * srgb_encode(luminance)))


def rivals(rng: np.random.Generator, draws: int = 20) -> dict[str, list[np.ndarray]]:
    """Other sets of ``COUNT`` colours to compare with: a uniform grid and random draws."""
    grid = [(r, g, b) for r in (32, 136, 240) for g in (32, 136, 240) for b in (32, 136, 240) if not r == g == b]
    grid += [(r, g, b) for r in (84, 188) for g in (84, 188) for b in (84, 188) if not r == g == b]
    grid += [(136, 84, 84), (84, 136, 84), (84, 84, 136), (188, 136, 136), (136, 188, 136), (136, 136, 188)]
    return {"uniform grid": [np.array(grid)], "random": [rng.integers(32, 249, (COUNT, 3)) for _ in range(draws)]}


def judge(sets: dict[str, list[np.ndarray]], seed: int = 2) -> dict[str, float]:
    """Mean criterion of each kind of set, on printers, cameras and targets that the choice has not seen."""
    names = [name for name, group in sets.items() for _ in group]
    everything = np.concatenate([s for group in sets.values() for s in group] + [fixed()])
    rng = np.random.default_rng(seed)
    cases = make_cases(everything, printers(rng), rng)
    base = np.arange(COUNT * len(names), len(everything))
    scores: dict[str, list[float]] = {}
    for n, name in enumerate(names):
        scores.setdefault(name, []).append(criterion(cases, np.array([*range(COUNT * n, COUNT * n + COUNT), *base])))
    return {name: float(np.mean(values)) for name, values in scores.items()}


def optimal(seed: int = 1) -> tuple[np.ndarray, float]:
    """The choice, arranged: sRGB levels (36, 3), and the criterion of the card without any colour."""
    rng = np.random.default_rng(seed)
    machines, pool, ground = printers(rng), candidates(), fixed()
    misses = np.array([m.misses(pool / 255.0) for m in machines])
    printable = (misses < GAMUT_MISS).mean(axis=0) >= GAMUT_SHARE
    cases = make_cases(np.concatenate([pool, ground]), machines, rng)
    base = np.arange(len(pool), len(pool) + len(ground))
    labs = np.stack([rgb_to_lab(srgb_decode(pool / 255.0)), *(lab_of(m.printed(pool / 255.0)) for m in machines)])
    chosen = pool[choose(cases, labs, printable, base)]
    return chosen[arrange(chosen, rng)], criterion(cases, base)


def main() -> None:
    """Choose, arrange, compare, print."""
    ordered, bare = optimal()
    print(f"greys even in L*: {even_greys()}, in card/layout.py: {GREYS}")
    print("\n".join(f"    {tuple(int(v) for v in c)}," for c in ordered))
    sets = {"optimal": [ordered], "card/layout.py": [np.array(COLOURS)], **rivals(np.random.default_rng(1))}
    print("root of the mean predicted variance, Delta E, on printers drawn anew (five draws):")
    draws = [judge(sets, seed) for seed in range(2, 7)]
    for name in sets:
        print(f"  {name:14s}{np.mean([draw[name] for draw in draws]):6.3f}")
    print(f"  greys and whites alone, on the printers of the choice: {bare:.3f}")


if __name__ == "__main__":
    main()
