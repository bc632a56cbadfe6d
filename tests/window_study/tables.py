"""The study's rows counted, as tables of Markdown: false copper, limits, coverage; shares by band, doubts, refusals."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from tests.tint_cases import HEAPS
from tests.window_study.rows import Row

BANDS = ((0.0, 0.01), (0.01, 0.1), (0.1, 0.5), (0.5, 1.01))  # of the true pale share
Rows = Sequence[Row]


def share(rows: Rows, of: Callable[[Row], bool]) -> str:
    """How many of the rows are so, in words."""
    if not rows:
        return "-"
    many = sum(of(r) for r in rows)
    return f"{many} of {len(rows)} ({100 * many / len(rows):.1f} %)"


def held(rows: Rows) -> str:
    """How many of the intervals hold the truth."""
    return share([r for r in rows if r.answered], lambda r: r.held)


def table(head: Sequence[str], lines: Sequence[Sequence[str]]) -> str:
    """A table of Markdown."""
    return "\n".join(f"| {' | '.join(cells)} |" for cells in (head, ["---"] * len(head), *lines))


def median(values: Sequence[float]) -> str:
    """The median of those that are numbers."""
    known = [v for v in values if np.isfinite(v)]
    return f"{np.median(known):.1f}" if known else "-"


def pairs(rows: Rows) -> str:
    """Pairs of vials that are not alike, by what the reading was given."""
    lines = []
    for how, words in (("none", "read alone"), ("blank", "with a cell blank"), ("swapped", "swapped")):
        empty = [r for r in rows if r.how == how and r.name == "nothing" and r.status != "refused"]
        filled = [r for r in rows if r.how == how and r.name == "copper" and r.status != "refused"]
        limits = [median([r.limit for r in (*empty, *filled) if r.path_mm == path]) for path in (10.0, 20.0, 30.0)]
        lines.append(
            (
                words,
                share(empty, lambda r: r.decision == "copper"),
                share(empty, lambda r: r.decision == "none seen"),
                " / ".join(limits),
                share([r for r in filled if r.truth > r.limit], lambda r: r.decision == "copper"),
                held(empty),
                held(filled),
                share([r for r in empty if how != "none"], lambda r: r.used == "none"),
            )
        )
    head = ("vials not alike", "0 mg/L called copper", "none seen", "limit at 10 / 20 / 30 mm, mg/L",
            "above its limit called copper", "holds 0", "holds copper", "second photo left out")  # fmt: skip
    return table(head, lines)


def standards(rows: Rows) -> str:
    """Laboratories with standards and without, by who took the photo."""
    lines = []
    for how in sorted({r.how for r in rows if r.how != "no profile"}):
        here = [r for r in rows if r.how == how and r.answered]
        width = [(r.high - r.low) / r.truth for r in here]
        error = [abs(r.read - r.truth) / r.truth for r in here]
        each = [np.mean([r.held for r in here if r.number == n]) for n in sorted({r.number for r in here})]
        lines.append(
            (
                how,
                held(here),
                f"{min(each):.0%} to {max(each):.0%}",
                f"{np.median(error):.0%}",
                f"{np.median(width):.0%}",
            )
        )
    head = ("photo by, profile from", "interval holds", "by setup", "error, median", "width, median, of the truth")
    return table(head, lines)


def veils(rows: Rows) -> str:
    """Photos without copper in which something is hazy or brown."""
    lines = []
    for name in [*sorted({r.name for r in rows})]:
        here = [r for r in rows if r.name == name and r.status != "refused"]
        told = [share(here, lambda r, word=word: r.decision == word) for word in ("copper", "undecided", "none seen")]  # type: ignore[misc]
        sure = share(here, lambda r: r.decision == "copper" and r.status == "ok")
        lines.append((name, *told, sure))
    return table(("no copper, but", "called copper", "undecided", "none seen", "called copper without a doubt"), lines)


def heaps(rows: Rows) -> str:
    """Heaps by sort: how they ended, and the intervals."""
    lines = []
    for sort in (*HEAPS, ""):
        here = [r for r in rows if not sort or r.part == sort]
        if not here:
            continue
        known = [r for r in here if r.answered]
        sure = [r for r in known if r.status == "ok"]
        ends = [str(sum(r.status == word for r in here)) for word in ("ok", "doubtful", "refused")]
        empty = str(sum("no_solid" in r.reasons.split() for r in here))
        width = f"{np.median([r.high - r.low for r in known]):.3f}" if known else "-"
        wide = f"{np.median([r.high - r.low for r in sure]):.3f}" if sure else "-"
        lines.append((sort or "all", str(len(here)), *ends, empty, held(known), held(sure), width, wide))
    head = ("heap", "photos", "ok", "doubtful", "refused", "`no_solid`", "holds", "of ok", "width, median", "of ok")
    return table(head, lines)


def bands(rows: Rows) -> str:
    """Mean error of the pale share and coverage by band of the true share: ok ones, and all."""
    lines = []
    for low, high in BANDS:
        here = [r for r in rows if r.answered and low <= r.truth < high]
        sure = [r for r in here if r.status == "ok"]
        errors = [f"{np.mean([abs(r.read - r.truth) for r in some]):.4f}" if some else "-" for some in (sure, here)]
        lines.append((f"{low:g} to {min(high, 1.0):g}", errors[0], held(sure), errors[1], held(here)))
    head = ("true share", "mean error, ok", "holds, ok", "mean error, all", "holds, all")
    return table(head, lines)


def tables(rows: Rows) -> str:
    """All tables that the rows have something for."""
    parts = []
    for name, told in (("pairs", pairs), ("standards", standards), ("veils", veils)):
        here = [r for r in rows if r.part == name]
        if here:
            refused = sum(r.status == "refused" for r in here)
            parts.append(f"{name}: {len(here)} readings, {refused} refused\n\n{told(here)}")
    solid = [r for r in rows if r.part in HEAPS]
    if solid:
        parts += [heaps(solid), bands(solid)]
    return "\n\n".join(parts)
