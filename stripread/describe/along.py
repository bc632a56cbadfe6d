"""The strip along its axis, cut into bare paper, bare carrier and pads: the cheapest way to explain its colours.

The paper's colour is known, the carrier has one colour wherever it is bare, and each pad one of its own. Every pad is
charged for, so that one is only put where it explains more than it costs. What blur mixes at an edge belongs to
neither side and counts for little.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stripread.robust import MAD_TO_SD, medians
from stripread.tuned import tuned

if TYPE_CHECKING:
    from stripread.strip.fit import Frame

Array = NDArray[np.float64]
Places = NDArray[np.int_]

_TUNED = tuned("stripread.describe")
PAD_COST = _TUNED.number("pad_cost")
TURN_COST = _TUNED.number("turn_cost")
COLUMN_CAP = _TUNED.number("column_cap")
PLAIN_SD = _TUNED.number("plain_sd")
MOTTLE = _TUNED.number("mottle")
SLACK = _TUNED.number("light_slack")
NO_SEAM_COST = _TUNED.number("no_seam_cost")
LONGEST_PAD_MM = _TUNED.number("longest_pad")
MEAN_MM = 0.33  # of columns averaged to one: ten a pad
CORE_SHARE = 0.3  # of the width, on either side of the axis: away from edges and seams
SEAM_MM = (0.1, 0.6)  # beyond the long edges: the thin dark line that anything lying on paper has
LEAST_PAD_MM = 2.4
LEAST_STRIP_MM = 12.0
HANDLE_MM = 8.0  # stretches as long as this are tried for the bare carrier
MOST_CARRIERS = 8  # tried
MOST_PADS = 24  # as a kind's file allows
CHEAPER, DEARER = (0.5, 0.25, 0.1), (2.0, 4.0)  # pads, where more or fewer of them were counted than seen


@dataclass(frozen=True)
class Profile:
    """The strip along its axis: s (N,) mm, core (N, 3) log ratio to the paper, seam (N,) the same of the two edges.

    known (N,): seen, and no print lies there. sd: of one value of the core; seam_sd: of the seam's.
    """

    s_mm: Array
    core: Array
    seam: Array
    known: NDArray[np.bool_]
    sd: float
    seam_sd: float

    @property
    def step_mm(self) -> float:
        """Between two values."""
        return float(self.s_mm[1] - self.s_mm[0])


@dataclass(frozen=True)
class Cut:
    """Where the strip begins and ends and its pads lie (mm along the axis), to about a third of a millimetre.

    carrier (3,): its log ratio to the paper. evidence (P,): by how much each pad is cheaper explained as a pad, in
    units of half chi-square. roll: one piece of one colour.
    """

    start: float
    stop: float
    pads: tuple[tuple[float, float], ...]
    carrier: Array
    evidence: tuple[float, ...] = field(default=())
    roll: bool = False


def profile_along(frame: Frame, width_mm: float) -> Profile:
    """Average the frame across the strip, and its two seams."""
    core = frame.along(CORE_SHARE * width_mm)
    beyond = np.abs(frame.t_mm) - width_mm / 2
    rows = (beyond > SEAM_MM[0]) & (beyond < SEAM_MM[1])
    if not rows.any():
        rows = np.abs(beyond - np.mean(SEAM_MM)) <= frame.step_mm
    seam = np.asarray(frame.ratio[rows].mean(axis=(0, 2)), dtype=np.float64)
    n = max(1, round(MEAN_MM / frame.step_mm))
    count = len(frame.s_mm) // n
    s, known = (v[: count * n].reshape(count, n).mean(axis=1) for v in (frame.s_mm, frame.known))
    core = core[: count * n].reshape(count, n, 3).mean(axis=1)
    seam = seam[: count * n].reshape(count, n).mean(axis=1)
    here = (s > -3.0) & (s < 103.0)
    s, core, seam, known = s[here], core[here], seam[here], known[here] > 0.7
    noise = MAD_TO_SD * float(medians(np.abs(np.diff(core, axis=0))).max()) / np.sqrt(2.0)
    rough = MAD_TO_SD * float(np.median(np.abs(np.diff(seam)))) / np.sqrt(2.0)
    return Profile(s, core, seam, known, max(PLAIN_SD, 1.5 * noise), max(2.0 * PLAIN_SD, 1.5 * rough))


def counted(profile: Profile, pads: int | None) -> Cut | None:
    """The cheapest cut; where somebody has counted ``pads``, the one with that many if pads may cost less or more."""
    found = cut(profile)
    if pads is None or found is None or found.roll:
        return found
    for factor in CHEAPER if len(found.pads) < pads else DEARER:
        if len(found.pads) == pads:
            break
        other = cut(profile, factor * PAD_COST)
        if other is not None and abs(len(other.pads) - pads) < abs(len(found.pads) - pads):
            found = other
    return found


def cut(profile: Profile, pad_cost: float | None = None) -> Cut | None:
    """The cheapest cut of all: of a piece of roll paper, or of a strip over all colours that its carrier may have.

    ``pad_cost`` in place of ``PAD_COST``. None where no strip explains anything.
    """
    pad_cost = PAD_COST if pad_cost is None else pad_cost
    least, best = _one_piece(profile, pad_cost)
    for carrier in _carriers(profile):
        cost, found = _cheapest(profile, carrier, pad_cost)
        if found is not None and cost < least:
            best, least = found, cost
    if best is None or best.roll:
        return best
    bare = _bare(profile, best)
    if bare is not None:  # once more, with the colour of all that is bare
        cost, found = _cheapest(profile, bare, pad_cost)
        if found is not None and cost <= least:
            return found
    return best


def _carriers(profile: Profile) -> list[Array]:
    """Colours (3,) that the carrier may have: those of even stretches, of which a strip's handle is one."""
    n = max(3, round(HANDLE_MM / profile.step_mm))
    tried: list[tuple[float, Array]] = []
    for first in range(0, len(profile.s_mm) - n, max(1, n // 3)):
        part = profile.core[first : first + n][profile.known[first : first + n]]
        if len(part) < n // 2:
            continue
        level = medians(part)
        tried.append((float(np.median(np.linalg.norm(part - level, axis=1))), np.asarray(level)))
    tried.sort(key=lambda one: one[0])
    kept: list[Array] = []
    for _spread, level in tried:
        if all(float(np.linalg.norm(level - other)) > 2.0 * profile.sd for other in kept):
            kept.append(level)
    return kept[:MOST_CARRIERS]


def _bare(profile: Profile, found: Cut) -> Array | None:
    """Median colour (3,) of the bare carrier of a cut, away from edges; None where too little of it is bare."""
    s = profile.s_mm
    on = (s > found.start + 1.0) & (s < found.stop - 1.0) & profile.known
    for a, b in found.pads:
        on &= (s < a - 0.7) | (s > b + 0.7)
    return None if on.sum() < 8 else np.asarray(medians(profile.core[on]))


def _one_piece(profile: Profile, pad_cost: float) -> tuple[float, Cut | None]:
    """The cheapest place of a piece of one colour on the paper, and its cost in units of half chi-square."""
    paper = np.concatenate([[0.0], np.cumsum(_paper_costs(profile))])
    count = len(profile.s_mm)
    i, j = np.triu_indices(count + 1, round(LEAST_STRIP_MM / profile.step_mm))
    total = paper[i] + _pad_costs(profile, np.zeros(3), i, j) + pad_cost + paper[-1] - paper[j] + 2 * TURN_COST
    if not len(total) or total.min() >= paper[-1]:
        return np.inf, None
    best = int(np.argmin(total))
    a, b = _borders(profile)[[i[best], j[best]]]
    gain = float(paper[j[best]] - paper[i[best]])
    return float(total[best]), Cut(float(a), float(b), ((float(a), float(b)),), np.zeros(3), (gain,), roll=True)


def _cheapest(profile: Profile, carrier: Array, pad_cost: float) -> tuple[float, Cut | None]:
    """The cheapest cut for one carrier's colour (3,), and its cost in units of half chi-square."""
    bare = _bare_costs(profile, carrier)
    count = len(profile.s_mm)
    sums = np.concatenate([[0.0], np.cumsum(_paper_costs(profile))])
    shortest, longest = round(LEAST_PAD_MM / profile.step_mm), round(LONGEST_PAD_MM / profile.step_mm)
    lengths = np.arange(shortest, longest + 1)
    first = np.arange(count + 1)[:, None] - lengths  # (end, length) -> where the pad begins
    pads = pad_cost + _pad_costs(profile, carrier, np.maximum(first, 0), np.maximum(first, 0) + lengths)
    pads[first < 0] = np.inf
    # on[j], off[j]: cheapest explanation of the columns before j that ends in bare carrier, or in a pad.
    on, off = np.full(count + 1, np.inf), np.full(count + 1, np.inf)
    came_on, came_off = np.zeros(count + 1, dtype=int), np.zeros(count + 1, dtype=int)
    begun_on, begun_off = np.zeros(count + 1, dtype=int), np.zeros(count + 1, dtype=int)
    for j in range(1, count + 1):
        choices = (on[j - 1], off[j - 1] + TURN_COST, sums[j - 1] + TURN_COST)
        which = int(np.argmin(choices))
        on[j], came_on[j] = choices[which] + bare[j - 1], which
        begun_on[j] = (begun_on[j - 1], begun_off[j - 1], j - 1)[which]
        i = first[j, : max(0, min(len(lengths), j - shortest + 1))]
        if not len(i):
            continue
        # Before a pad: bare carrier, another pad that touches it, or the paper.
        before = np.stack([on[i], off[i] + 2 * TURN_COST, sums[i]])
        source = np.argmin(before, axis=0)
        total = before[source, np.arange(len(i))] + TURN_COST + pads[j, : len(i)]
        k = int(np.argmin(total))
        off[j], came_off[j] = total[k], 3 * i[k] + source[k]
        begun_off[j] = (begun_on[i[k]], begun_off[i[k]], i[k])[source[k]]
    rest = sums[-1] - sums
    on_end, off_end = on + rest + TURN_COST, off + rest + TURN_COST
    at = np.arange(count + 1)
    least = round(LEAST_STRIP_MM / profile.step_mm)
    on_end[at - begun_on < least] = np.inf
    off_end[at - begun_off < least] = np.inf
    in_pad = bool(off_end.min() < on_end.min())
    cost = float(min(off_end.min(), on_end.min()))
    if not np.isfinite(cost) or cost >= sums[-1]:
        return np.inf, None
    stop = int(np.argmin(off_end if in_pad else on_end))
    start, spans = _traced(came_on, came_off, stop, in_pad=in_pad)
    edge = _borders(profile)
    gains = [float(bare[i:j].sum() - pads[j, j - i - shortest]) for i, j in spans]
    found = tuple((float(edge[i]), float(edge[j])) for i, j in spans)
    return cost, Cut(float(edge[start]), float(edge[stop]), found[:MOST_PADS], carrier, tuple(gains[:MOST_PADS]))


def _traced(came_on: Places, came_off: Places, stop: int, *, in_pad: bool) -> tuple[int, list[tuple[int, int]]]:
    """Walk the cheapest explanation back from its end: where the strip begins, and each pad's first and last column."""
    spans = []
    j = stop
    while True:
        if in_pad:
            i, source = divmod(int(came_off[j]), 3)
            spans.append((i, j))
        else:
            i, source = j - 1, int(came_on[j])
        if source == 2:
            return i, spans[::-1]
        in_pad = source == 1
        j = i


def _borders(profile: Profile) -> Array:
    """Where the columns begin, and where the last one ends, (N + 1,) mm."""
    half = profile.step_mm / 2
    return np.concatenate([profile.s_mm - half, profile.s_mm[-1:] + half])


def _paper_costs(profile: Profile) -> Array:
    """Cost of each column as bare paper, (N,)."""
    off = np.maximum(np.abs(profile.core) - SLACK, 0.0)
    beside = 0.5 * np.maximum(np.abs(profile.seam) - SLACK, 0.0) ** 2 / profile.seam_sd**2
    cost = 0.5 * (off**2).sum(axis=1) / profile.sd**2 + np.minimum(beside, 0.5 * COLUMN_CAP)
    return np.asarray(np.minimum(cost, COLUMN_CAP) * profile.known)


def _bare_costs(profile: Profile, carrier: Array) -> Array:
    """Cost of each column as bare carrier of a colour (3,): as that, and with a seam on either side, (N,)."""
    off = np.maximum(np.abs(profile.core - carrier) - SLACK, 0.0)
    variance = profile.sd**2 + MOTTLE**2 * float((carrier**2).sum()) / 3.0  # dyed paper is mottled all along
    cost = 0.5 * (off**2).sum(axis=1) / variance + NO_SEAM_COST * (profile.seam > -SLACK)
    return np.asarray(np.minimum(cost, COLUMN_CAP) * profile.known)


def _pad_costs(profile: Profile, carrier: Array, first: Places, end: Places) -> Array:
    """What a pad of one colour leaves over in the columns ``first`` to ``end`` - 1, in the shape of these."""
    inset = 1  # column on either side that blur mixes
    values = profile.core * profile.known[:, None]
    one = np.concatenate([np.zeros((1, 3)), np.cumsum(values, axis=0)])
    two = np.concatenate([[0.0], np.cumsum((values**2).sum(axis=1))])
    number = np.concatenate([[0.0], np.cumsum(profile.known.astype(np.float64))])
    count = len(profile.s_mm)
    a, b = np.clip(first + inset, 0, count), np.clip(end - inset, 0, count)
    n = np.maximum(number[b] - number[a], 1.0)
    level = (one[b] - one[a]) / n[..., None]
    left = np.maximum(two[b] - two[a] - n * (level**2).sum(axis=-1), 0.0)
    variance = profile.sd**2 + MOTTLE**2 * (((level - carrier) ** 2).sum(axis=-1) + float((carrier**2).sum())) / 3.0
    return np.asarray(0.5 * left / variance + 0.4 * n * np.log(variance / profile.sd**2) + 2 * inset)
