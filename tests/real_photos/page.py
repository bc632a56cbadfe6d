"""What came of a set of real photos, as a page: the tables of ``docs/coverage.md``, and what was measured with what."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from stripread.results import SOFTWARE
from tests import coverage_page as page
from tests import coverage_tables as t
from tests.coverage_picture import by_group, draw_with
from tests.coverage_rows import write_rows
from tests.coverage_setups import FEWEST, by_setup
from tests.judged import Judged
from tests.real_photos.judge import FAR_PALE, Made, RealRow
from tests.real_photos.table import RealPhoto

PAGE, ROWS, PICTURE = "real-photos.md", "rows.csv", "coverage.png"
MEASURED = ("phone", "lamp", "bottle", "printer", "meter", "kind", "profile")
ALIKE = (
    "Photos of one strip, and of one liquid, err alike: the binomial intervals, which take photos as independent, are "
    "narrower than they should be."
)
WINDOWS = {"tint": "Tint, mg/L of copper", "solid": "Solid, pale share"}


def measured_with(photos: Sequence[RealPhoto]) -> str:
    """Every phone, lamp, bottle, printer, meter, kind and profile, with its photos."""
    lines = []
    for what in MEASURED:
        used = Counter((getattr(p, what), p.use) for p in photos if getattr(p, what))
        for name in sorted({name for name, _ in used}):
            lines.append([what, name, used[name, "calibrate"], used[name, "read"]])
    return t.table(["what", "which", "photos to calibrate", "to read"], lines)


def liquids(photos: Sequence[RealPhoto]) -> str:
    """Every liquid: what it truly was, how that is known and how surely, and its photos."""
    lines = []
    parts = _parted(photos, "reading", "liquid").items()
    for (reading, name), part in sorted(parts, key=lambda item: (item[0][0], min(p.truth for p in item[1]), item[0])):
        by = sorted({f"{p.truth_by} {p.meter}".strip() for p in part})
        truths, doubts = [p.truth for p in part], [p.truth_sd for p in part]
        warm = [p.temp_c for p in part if p.temp_c is not None]
        used = Counter(p.use for p in part)
        lines.append(
            [name, reading, _span(truths), _span(doubts), ", ".join(by), _span(warm), used["calibrate"], used["read"]]
        )
    head = ["liquid", "reading", "truth", "its sd", "known by", "°C", "photos to calibrate", "to read"]
    return t.table(head, lines)


def profiles(made: dict[str, Made]) -> str:
    """What each profile was made from, and which photos were left out."""
    lines = []
    for name, one in made.items():
        photos = one.photos
        parts = [
            ", ".join(sorted({getattr(p, c) for p in photos})) or "-" for c in ("printer", "bottle", "phone", "lamp")
        ]
        points = len(one.profile.photos_per_point)
        lines.append([name, one.profile.kind.name, *parts, points, len(photos) - len(one.left_out), len(one.left_out)])
    head = ["profile", "strip", "card of printer", "bottle", "phone", "lamps", "pH values", "photos used", "left out"]
    left = [f"- {name}: {Path(p.name).name}: {p.why}" for name, one in made.items() for p in one.left_out]
    return "\n\n".join([t.table(head, lines), *(["Left out:\n\n" + "\n".join(left)] if left else [])])


def truth_doubt(rows: Sequence[RealRow]) -> str:
    """How sure the truths are beside the intervals, in a sentence."""
    seen = t.answered(rows)
    if not seen:
        return "Nothing was read."
    doubt, half = np.median([r.truth_sd for r in seen]), np.median([(r.high - r.low) / 2 for r in seen])
    allowed = t.share(seen, lambda r: r.covered_but_for_truth)
    return (
        f"The truth is counted as the table has it. Its own standard deviation is {doubt:.3g} (median), half an "
        f"interval is {half:.3g}. Of all {len(seen)} intervals {t.coverage(seen)} hold it; were each as much wider as "
        f"the truth is doubtful, {allowed}."
    )


def by_liquid(rows: Sequence[RealRow]) -> str:
    """All figures by liquid, the least truth first."""
    least: dict[str, float] = {}
    for row in rows:
        least[row.liquid] = min(row.truth, least.get(row.liquid, row.truth))
    order = {name: n for n, name in enumerate(sorted(least, key=lambda name: (least[name], name)), 1)}
    return t.by(rows, "liquid", lambda r: f"{order[r.liquid]:03}. {r.liquid}")


def verdicts(rows: Sequence[RealRow]) -> str:
    """What was wanted of the pH readings, and whether it is so."""
    lines = [page.wrong_line(rows), page.refused_line(rows)]
    keys: dict[str, t.Key] = {"in every band of 1 pH": t.band, "in every light": lambda r: r.lamp}
    keys |= {"by every phone": lambda r: r.phone, "of every bottle": lambda r: r.bottle}
    lines += [page.group_line(rows, name, key) for name, key in keys.items()]
    return t.table(page.WANTED, [*lines, *page.spread_lines(rows, "this set")])


def of_ph(rows: Sequence[RealRow]) -> list[str]:
    """The sections on pH."""
    own = [r for r in rows if r.own_phone]
    sections = ["## What was wanted\n\n" + verdicts(rows), page.RULE, f"{truth_doubt(rows)} {ALIKE}"]
    if t.answered(rows):
        sections.append(f"![Reliability, PIT histogram, coverage by phone, pH and light, budget]({PICTURE})")
    sections += [
        "## By setup\n\n" + t.by(rows, "phone x bottle x printer", lambda r: r.setup),
        "## From setup to setup\n\n" + by_setup({"this set": rows}),
        f"{page.SPREAD} With fewer than {FEWEST} setups nothing is said.",
        "## By strip\n\n" + t.by_kind(rows),
        page.ERRORS,
    ]
    if t.answered(rows):
        sections += ["## Reliability\n\n" + t.reliability(rows), page.LEVELS_SHOWN]
    sections += [
        "## By band of 1 pH\n\n" + t.by(rows, "pH from", t.band),
        "## By liquid\n\n" + by_liquid(rows),
        "## By lamp\n\n" + t.by(rows, "lamp", lambda r: r.lamp + (" (hard)" if r.hard else "")),
        "## By phone\n\n" + t.by(rows, "phone", lambda r: r.phone),
        "## By bottle\n\n" + t.by(rows, "bottle", lambda r: r.bottle),
        "## By printer\n\n" + t.by(rows, "printer", lambda r: r.printer),
    ]
    if own:
        keys = (("phone", "own_phone"), ("bottle", "own_bottle"), ("card", "own_card"))
        parts = [t.by(own, name, lambda r, f=field: getattr(r, f)) for name, field in keys]
        sections.append("## By what the profile was made with\n\n" + "\n\n".join(parts))
    sections.append("## By status\n\n" + t.by(rows, "status", lambda r: r.status))
    if t.answered(rows):
        sections += ["## Where the variance comes from\n\n" + t.budget(rows), page.BUDGETS]
    sections.append("## Reasons\n\n" + t.reasons(rows))
    names = {"name": ("photo", "liquid"), "light": ("setup", "lamp")}
    return [*sections, "## Confidently wrong\n\n" + t.wrong(rows, **names)]


def of_window(rows: Sequence[RealRow], reading: str) -> list[str]:
    """The sections on tints or on solids."""
    sections = [f"## {WINDOWS[reading]}", by_liquid(rows), truth_doubt(rows)]
    if reading == "tint":
        said = ("copper", "none seen", "undecided")
        lines = []
        for name, part in t.groups(rows, lambda r: r.liquid).items():
            counted = Counter(r.decision for r in part if r.status != "refused")
            lines.append([name, _span([r.truth for r in part]), *(counted[word] for word in said)])
        sections.append(t.table(["liquid", "mg/L", *(f"said: {word}" for word in said)], lines))
        sections.append(
            '"Confidently wrong": status ok, and copper said where there is none, or none seen where there is more '
            "than the reading's own detection limit."
        )
    else:
        sections.append(f'"Confidently wrong": status ok, off by more than {FAR_PALE:g}, truth outside the interval.')
    sections += [t.by(rows, "phone", lambda r: r.phone), t.by(rows, "lamp", lambda r: r.lamp)]
    return [*sections, t.reasons(rows)]


def body(photos: Sequence[RealPhoto], made: dict[str, Made], rows: Sequence[RealRow], code: str) -> str:
    """The whole page."""
    strips = [r for r in rows if r.reading == "ph"]
    taught = sum(p.use == "calibrate" for p in photos)
    setups = len({p.setup for p in photos if p.use == "read" and p.reading == "ph"})
    sections = [
        "# A set of real photos",
        f"{len(rows):,} real photos read, {len(strips):,} of them of strips in {setups} setups (a phone, a bottle of "
        f"strips, a printed card); {taught:,} others made the profiles. {SOFTWARE}, code {code}.",
        f"Every photo read is a line of `{ROWS}`; the profiles lie in `profiles/`.",
        "## What was measured with what\n\n" + measured_with(photos),
        liquids(photos),
    ]
    if made:
        sections.append("## Profiles\n\n" + profiles(made))
    if strips:
        sections += of_ph(strips)
    for reading in WINDOWS:
        if part := [r for r in rows if r.reading == reading]:
            sections += of_window(part, reading)
    return "\n\n".join(sections) + "\n"


def write_study(
    folder: Path, photos: Sequence[RealPhoto], made: dict[str, Made], rows: list[RealRow], code: str
) -> None:
    """Write page, picture and rows into a folder that is there and empty."""
    (folder / PAGE).write_text(body(photos, made, rows, code), encoding="utf-8")
    write_rows(folder / ROWS, rows, anew=True, of=RealRow)
    strips = [r for r in rows if r.reading == "ph"]
    seen = t.answered(strips)
    if seen:
        parts: dict[str, list[Judged]] = {**t.groups(seen, lambda r: r.phone)}
        draw_with(strips, folder / PICTURE, "real", lambda axes: by_group(axes, parts, "By phone"))


def _parted(photos: Sequence[RealPhoto], *columns: str) -> dict[tuple[str, ...], list[RealPhoto]]:
    out: dict[tuple[str, ...], list[RealPhoto]] = {}
    for photo in photos:
        out.setdefault(tuple(getattr(photo, c) for c in columns), []).append(photo)
    return out


def _span(values: Sequence[float]) -> str:
    """One number, or from the least to the most."""
    if not values:
        return "-"
    low, high = f"{min(values):.3g}", f"{max(values):.3g}"
    return low if low == high else f"{low} to {high}"
