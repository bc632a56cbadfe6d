"""The coverage study as one picture: reliability, PIT, coverage by pH and by light, error against bound, budget."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
from PIL import Image

from tests.coverage_rows import Row
from tests.coverage_tables import ALLOWED, Share, answered, band, budget_shares, coverage, groups, share
from tests.judged import CAUSES, LEVELS, Judged

matplotlib.use("Agg")
import matplotlib.pyplot as plt

# Okabe and Ito's colours, told apart by colour-blind eyes too (from memory)
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9", "#F0E442", "#555555")
MOST_BYTES = 200_000


def _bars(axes: Any, at: Sequence[float], shares: Sequence[Share], **style: Any) -> None:
    """Shares as points with their binomial 95 % interval."""
    value = np.array([s.value for s in shares])
    ends = np.array([s.interval for s in shares])
    errors = np.abs(ends.T - value)
    axes.errorbar(at, value, yerr=errors, fmt="o", ms=3.5, lw=1, capsize=2, **style)


def _allowed(axes: Any) -> None:
    axes.axhspan(*ALLOWED, color="0.9", zorder=0)
    axes.axhline(0.95, color="0.5", lw=0.8)
    axes.set_ylabel("coverage of the 95 % interval")


def reliability(axes: Any, kinds: dict[str, list[Judged]]) -> None:
    """What intervals hold against what they promise, both stretched so that 95 and 99 % are told apart."""
    width = len(kinds)
    for n, (kind, rows) in enumerate(kinds.items()):
        held = [share(rows, lambda r, level=level: r.holds(level)) for level in LEVELS]  # type: ignore[misc]
        _bars(axes, np.arange(len(LEVELS)) + (n - (width - 1) / 2) * 0.13, held, color=COLOURS[n], label=kind)
    for n, level in enumerate(LEVELS):
        axes.plot([n - 0.4, n + 0.4], [level, level], color="0.3", lw=1)
    axes.set_xticks(range(len(LEVELS)), [f"{level:.0%}" for level in LEVELS])
    axes.set_xlabel("interval promises")
    axes.set_ylabel("interval holds")
    axes.set_title("Reliability (line: promised)")
    axes.legend(fontsize=7, loc="lower right")


def transform(axes: Any, rows: Sequence[Judged], bins: int = 20) -> None:
    """Histogram of the probability integral transform: flat where the posterior is honest."""
    counts, edges = np.histogram([r.pit for r in rows], bins, (0.0, 1.0))
    axes.bar(edges[:-1], counts, 1.0 / bins, align="edge", color=COLOURS[5], edgecolor="white")
    expected = len(rows) / bins
    spread = 1.96 * np.sqrt(expected * (1 - 1 / bins))
    axes.axhspan(expected - spread, expected + spread, color="0.5", alpha=0.25)
    axes.axhline(expected, color="0.3", lw=1)
    axes.set_ylim(bottom=0)
    axes.set_xlabel("posterior's share below the true pH")
    axes.set_ylabel("photos")
    axes.set_title("Probability integral transform")


def by_band(axes: Any, kinds: dict[str, list[Judged]]) -> None:
    """Coverage by band of 1 pH."""
    everything = [r for rows in kinds.values() for r in rows]
    shown = {"all": everything, **{k: kinds[k] for k in ("four", "universal") if k in kinds}}
    for n, (kind, rows) in enumerate(shown.items()):
        parts = groups(rows, band)
        at = [int(k) + 0.5 + (n - 1) * 0.2 for k in parts]
        colour = "black" if kind == "all" else COLOURS[list(kinds).index(kind)]
        _bars(axes, at, [coverage(part) for part in parts.values()], color=colour, label=kind)
    _allowed(axes)
    axes.set_xlabel("true pH")
    axes.set_title("By band of 1 pH")
    axes.legend(fontsize=7, loc="lower right")


def by_light(axes: Any, rows: Sequence[Judged]) -> None:
    """Coverage by main lamp, then by what makes a scene hard."""
    hard = groups([r for r in rows if r.hard], lambda r: "hard: " + r.trouble)
    by_group(axes, {**groups(rows, lambda r: r.lamp), **hard}, "By light")


def by_group(axes: Any, parts: dict[str, list[Judged]], title: str) -> None:
    """Coverage of groups named along the axis."""
    _bars(axes, range(len(parts)), [coverage(part) for part in parts.values()], color="black")
    _allowed(axes)
    axes.set_xticks(range(len(parts)), list(parts), rotation=75, fontsize=7)
    axes.set_title(title)


def against_bound(axes: Any, kinds: dict[str, list[Row]], bins: int = 6) -> None:
    """Mean |error| in bins of the bound that includes lots."""
    for n, (kind, rows) in enumerate(kinds.items()):
        bound, error = np.array([r.bound_lot for r in rows]), np.abs([r.error for r in rows])
        for part in np.array_split(np.argsort(bound), max(1, min(bins, len(rows) // 20))):
            doubt = error[part].std() / np.sqrt(len(part))
            axes.errorbar(bound[part].mean(), error[part].mean(), 1.96 * doubt, fmt="o", ms=3.5, lw=1, color=COLOURS[n])
        axes.plot([], [], "o", color=COLOURS[n], label=kind)
    axes.set_xscale("log")
    axes.set_yscale("log")
    span = np.array(axes.get_xlim())
    for times, style in ((np.sqrt(2 / np.pi), "-"), (2.0, "--")):
        axes.plot(span, times * span, style, color="0.4", lw=1)
    axes.set_xlim(*span)
    axes.set_xlabel("Cramér-Rao bound with lots, pH")
    axes.set_ylabel("mean |error|, pH")
    axes.set_title("Error against bound (line: at it; dashed: twice)")
    axes.legend(fontsize=7)


def budgets(axes: Any, kinds: dict[str, list[Judged]]) -> None:
    """Shares of the variance by cause."""
    left = np.zeros(len(kinds))
    shares = [budget_shares(rows) for rows in kinds.values()]
    for n, cause in enumerate(CAUSES):
        part = np.array([s[cause] for s in shares])
        axes.barh(range(len(kinds)), part, left=left, color=COLOURS[n], label=cause.replace("_", " "))
        left = left + part
    axes.set_yticks(range(len(kinds)), list(kinds))
    axes.set_xlim(0, 1)
    axes.set_xlabel("mean share of the variance")
    axes.set_title("Error budget")
    axes.legend(fontsize=6, ncols=4, loc="upper center", bbox_to_anchor=(0.5, -0.18))


def draw(rows: Sequence[Row], path: Path) -> None:
    """Draw the picture of the photos answered, rendered ones.

    Raises
    ------
    ValueError
        If the file grows larger than ``MOST_BYTES``.
    """
    kinds = groups(answered(rows), lambda r: r.kind)
    draw_with(rows, path, "rendered", lambda axes: against_bound(axes, kinds))


def draw_with(rows: Sequence[Judged], path: Path, made: str, third: Callable[[Any], None]) -> None:
    """Draw the picture of photos ``made`` so, with a ``third`` panel of the study's own.

    Raises
    ------
    ValueError
        If the file grows larger than ``MOST_BYTES``.
    """
    seen = answered(rows)
    kinds = groups(seen, lambda r: r.kind)
    figure, axes = plt.subplots(2, 3, figsize=(14, 8.4), dpi=100, layout="constrained")
    reliability(axes[0, 0], kinds)
    transform(axes[0, 1], seen)
    third(axes[0, 2])
    by_band(axes[1, 0], kinds)
    by_light(axes[1, 1], seen)
    budgets(axes[1, 2], kinds)
    figure.suptitle(f"{len(rows):,} {made} photos, {len(seen):,} answered. Bars: 95 % binomial. Grey: 90 to 98 %")
    drawn = io.BytesIO()
    figure.savefig(drawn, format="png")
    plt.close(figure)
    small = Image.open(drawn).convert("RGB").quantize(96)
    small.save(path, optimize=True)
    if path.stat().st_size > MOST_BYTES:
        raise ValueError(f"{path} has {path.stat().st_size} bytes, wanted {MOST_BYTES} at most")
