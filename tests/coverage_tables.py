"""Rows of the coverage study counted: shares with their binomial doubt, errors, bounds, budget; as tables of text."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
from scipy.stats import beta, kstest

from tests.coverage_rows import NO_PROFILE, Row
from tests.judged import CAUSES, LEVELS, Judged
from tests.scenes.phone import phone

ALLOWED = (0.90, 0.98)  # coverage wanted in every band of pH and under every light
PROMISED = 0.95
AnyRow = TypeVar("AnyRow", bound=Judged)
AT_BOUND = float(np.sqrt(2.0 / np.pi))  # mean |error| of a normal error with standard deviation 1
Key = Callable[[Any], object]


@dataclass(frozen=True)
class Share:
    """So many of so many, and the 95 % interval of the true share (Clopper and Pearson 1934)."""

    hits: int
    count: int

    @property
    def value(self) -> float:
        """The share seen."""
        return self.hits / self.count if self.count else float("nan")

    @property
    def interval(self) -> tuple[float, float]:
        """Between which shares the true one lies."""
        k, n = self.hits, self.count
        if n == 0:
            return 0.0, 1.0
        low = float(beta.ppf(0.025, k, n - k + 1)) if k > 0 else 0.0
        high = float(beta.ppf(0.975, k + 1, n - k)) if k < n else 1.0
        return low, high

    def __str__(self) -> str:
        if not self.count:
            return "-"
        low, high = self.interval
        return f"{self.value:.1%} ({low:.1%} to {high:.1%})"

    def verdict(self) -> str:
        """The interval's verdict about what is promised (95 %) and what is wanted (``ALLOWED``).

        "fits": it lies wholly in what is wanted. "too narrow", "too wide": it lies wholly below or above what is
        promised, so the intervals read are too narrow or too wide. Else too few photos to say.
        """
        low, high = self.interval
        if low >= ALLOWED[0] and high <= ALLOWED[1]:
            return "fits"
        return "too narrow" if high < PROMISED else "too wide" if low > PROMISED else "too few to say"


def share(rows: Sequence[AnyRow], true: Callable[[AnyRow], bool]) -> Share:
    """Share of rows of which something is true."""
    return Share(sum(true(r) for r in rows), len(rows))


def answered(rows: Sequence[AnyRow]) -> list[AnyRow]:
    """Rows that have a value."""
    return [r for r in rows if r.answered]


def coverage(rows: Sequence[Judged]) -> Share:
    """Coverage of the interval shown, of the photos answered."""
    return share(answered(rows), lambda r: r.covered)


def groups(rows: Sequence[AnyRow], key: Key) -> dict[str, list[AnyRow]]:
    """Rows by a key, in the keys' order."""
    out: dict[object, list[AnyRow]] = {}
    for row in rows:
        out.setdefault(key(row), []).append(row)
    return {str(k): out[k] for k in sorted(out, key=lambda k: (str(type(k)), k))}  # type: ignore[type-var]


def photos(rows: Sequence[Row]) -> list[Row]:
    """Rows that are photos (a setup that gave no profile has a row too)."""
    return [r for r in rows if r.status != NO_PROFILE]


def setup_error(rows: Sequence[Judged]) -> float:
    """Standard error of the coverage from setup to setup: photos of one setup share its profile's errors."""
    each = [coverage(part).value for part in groups(answered(rows), lambda r: (r.kind, r.setup)).values()]
    return float(np.std(each, ddof=1) / np.sqrt(len(each))) if len(each) > 1 else float("nan")


def table(head: Sequence[str], lines: Sequence[Sequence[object]]) -> str:
    """A table in Markdown."""
    rows = [list(head), ["---"] * len(head), *[[str(v) for v in line] for line in lines]]
    return "\n".join("| " + " | ".join(row) + " |" for row in rows)


FIGURES = ("photos", "refused", "doubtful", "mean error", "median", "99 %", "largest")
FIGURES += ("coverage of 95 %", "width", "confidently wrong")


def figures(rows: Sequence[Judged]) -> list[object]:
    """What ``FIGURES`` names, of some photos: errors, coverage and widths of those answered."""
    seen = answered(rows)
    refused, doubtful = (share(rows, lambda r, s=s: r.status == s).value for s in ("refused", "doubtful"))  # type: ignore[misc]
    line: list[object] = [len(rows), f"{refused:.1%}", f"{doubtful:.1%}"]
    if not seen:
        return [*line, "-", "-", "-", "-", "-", "-", 0]
    error = np.abs([r.error for r in seen])
    line += [f"{v:.3f}" for v in (error.mean(), np.median(error), np.quantile(error, 0.99), error.max())]
    return [*line, coverage(rows), f"{np.mean([r.high - r.low for r in seen]):.2f}", sum(r.wrong for r in rows)]


def by_kind(rows: Sequence[Judged]) -> str:
    """Error, coverage, refusals of each kind, good scenes and hard ones."""
    lines = []
    for kind, part in {**groups(rows, lambda r: r.kind), "all": list(rows)}.items():
        for name, some in (("good", [r for r in part if not r.hard]), ("hard", [r for r in part if r.hard])):
            if some:
                lines.append([kind, name, *figures(some)])
    return table(["strip", "scenes", *FIGURES], lines)


def by(rows: Sequence[Judged], title: str, key: Key) -> str:
    """All figures, and the verdict on the intervals, by a key."""
    parts = groups(rows, key).items()
    return table(
        [title, *FIGURES, "verdict"],
        [[name, *figures(part), coverage(part).verdict() if answered(part) else "-"] for name, part in parts],
    )


def reliability(rows: Sequence[Judged]) -> str:
    """Coverage of the posterior's shortest intervals at each level."""
    lines = []
    for kind, part in {**groups(rows, lambda r: r.kind), "all": list(rows)}.items():
        seen = answered(part)
        held = [share(seen, lambda r, level=level: r.holds(level)) for level in LEVELS]  # type: ignore[misc]
        far = float(kstest([r.pit for r in seen], "uniform").statistic) if seen else float("nan")
        lines.append([kind, len(seen), *held, f"{far:.3f}"])
    head = ["strip", "photos", *(f"{level:.0%}" for level in LEVELS), "PIT: largest distance from uniform"]
    return table(head, lines)


def split(rows: Sequence[Judged], title: str, key: Key, kinds: Sequence[str] = ()) -> str:
    """Coverage, error and refusals by a key; a column of coverage for each kind named."""
    head = [title, "photos", "refused", "mean error", "coverage of 95 %", f"{ALLOWED[0]:.0%} to {ALLOWED[1]:.0%}"]
    lines = []
    for name, part in groups(rows, key).items():
        seen = answered(part)
        error = f"{np.mean(np.abs([r.error for r in seen])):.3f}" if seen else "-"
        line = [name, len(part), f"{share(part, lambda r: r.status == 'refused').value:.1%}", error, coverage(part)]
        line.append(coverage(part).verdict() if seen else "-")
        lines.append(line + [coverage([r for r in part if r.kind == kind]) for kind in kinds])
    return table([*head, *kinds], lines)


def band(row: Judged) -> int:
    """The band of 1 pH that the truth lies in, by its lower end."""
    return int(np.floor(row.truth))


def phone_traits(rows: Sequence[Row]) -> dict[str, Key]:
    """Phones by what sets them apart; numbers are cut into thirds of those seen."""

    def thirds(name: str) -> Key:
        values = [float(getattr(phone(r.phone, r.world), name)) for r in rows]
        cuts = np.quantile(values, [1 / 3, 2 / 3])
        words = (f"1: below {cuts[0]:.3g}", "2: between", f"3: above {cuts[1]:.3g}")
        return lambda r: words[int(np.searchsorted(cuts, getattr(phone(r.phone, r.world), name)))]

    return {
        "electrons at full well": thirds("electrons"),
        "contrast added": thirds("s_curve"),
        "highlights rolled off": thirds("shoulder"),
        "saturation added": thirds("saturation"),
        "JPEG quality": thirds("quality"),
        "tone curve": lambda r: "sRGB" if phone(r.phone, r.world).gamma == 0 else "power",
    }


def by_phone(rows: Sequence[Row]) -> str:
    """Coverage by the phones' traits."""
    lines = []
    for trait, key in phone_traits(rows).items():
        for name, part in groups(rows, key).items():
            seen = answered(part)
            error = f"{np.mean(np.abs([r.error for r in seen])):.3f}" if seen else "-"
            lines.append([trait, name, len(part), error, coverage(part), coverage(part).verdict()])
    return table(["phone", "which", "photos", "mean error", "coverage of 95 %", "verdict"], lines)


@dataclass(frozen=True)
class Beside:
    """Errors beside the bounds, all as pH: means over the photos answered; bounds no wider than not looking at all."""

    mean_error: float
    rms_error: float
    noise: float
    strip: float
    lot: float

    @property
    def ratio(self) -> float:
        """Mean |error| over the bound that includes the variation from lot to lot."""
        return self.mean_error / self.lot


def beside_bound(rows: Sequence[Row]) -> Beside:
    """Mean error and mean bounds. A flat stretch of the curve has no finite bound: the range itself then is one."""
    seen = answered(rows)
    error = np.array([r.error for r in seen])
    span = max(r.ph for r in seen) - min(r.ph for r in seen)
    most = max(span, 0.1) / np.sqrt(12.0)  # standard deviation of a uniform guess
    each = [(r.bound_noise, r.bound_strip, r.bound_lot) for r in seen]
    noise, strip, lot = np.minimum(np.array(each), most).mean(axis=0)
    return Beside(
        float(np.abs(error).mean()), float(np.sqrt((error**2).mean())), float(noise), float(strip), float(lot)
    )


def bounds(rows: Sequence[Row]) -> str:
    """Errors beside the bounds, by kind."""
    head = ["strip", "mean error", "rms error", "bound: sensor noise", "with strips of one lot", "with lots"]
    head += ["mean error / bound with lots", "mean error / mean error at that bound"]
    lines = []
    for kind, part in groups(answered(rows), lambda r: r.kind).items():
        b = beside_bound(part)
        numbers = (b.mean_error, b.rms_error, b.noise, b.strip, b.lot)
        lines.append([kind, *(f"{v:.4f}" for v in numbers), f"{b.ratio:.2f}", f"{b.ratio / AT_BOUND:.2f}"])
    return table(head, lines)


def budget_shares(rows: Sequence[Judged]) -> dict[str, float]:
    """Mean share of each cause in the variance of a reading, causes in their order."""
    parts = np.array([r.budget for r in answered(rows)])
    shares = np.nanmean(parts / np.nansum(parts, axis=1, keepdims=True), axis=0)
    return dict(zip(CAUSES, map(float, shares), strict=True))


def budget(rows: Sequence[Judged]) -> str:
    """Where the variance comes from, by kind."""
    lines = []
    for kind, part in groups(answered(rows), lambda r: r.kind).items():
        lines.append([kind, *(f"{v:.0%}" for v in budget_shares(part).values())])
    return table(["strip", *(cause.replace("_", " ") for cause in CAUSES)], lines)


def reasons(rows: Sequence[Judged]) -> str:
    """How often each reason was given, by status."""
    lines = []
    for status in ("refused", "doubtful"):
        counted = Counter(code for r in rows if r.status == status for code in r.reasons.split())
        hard = Counter(code for r in rows if r.status == status and r.hard for code in r.reasons.split())
        lines += [[status, code, n, hard[code]] for code, n in counted.most_common()]
    return table(["status", "reason", "photos", "of them hard"], lines) if lines else "None."


def wrong(
    rows: Sequence[Judged], name: Sequence[str] = ("setup", "draw"), light: Sequence[str] = ("lamps", "trouble")
) -> str:
    """Every confidently wrong reading; ``name`` and ``light``: fields of the row that name the photo and its light."""
    lines = [
        [r.kind, *(getattr(r, f) for f in name), f"{r.truth:.2f}", f"{r.read:.2f}", f"{r.low:.2f} to {r.high:.2f}"]
        + [getattr(r, f) for f in light]
        for r in rows
        if r.wrong
    ]
    return table(["strip", *name, "pH", "read", "interval", *light], lines) if lines else "None."
