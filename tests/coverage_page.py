"""``docs/coverage.md``: everything between its marks is written here, no number by hand."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from tests import coverage_tables as t
from tests.coverage_picture import draw
from tests.coverage_rows import NO_PROFILE, Row, bottle_of
from tests.coverage_setups import FEWEST, by_setup, of_setups, spread_of
from tests.judged import Judged

START, END = "<!-- study: written by the program, do not edit -->", "<!-- /study -->"
WANTED = ("what", "wanted", "found", "reached")
Line = list[object]
PAIR = ("four", "universal")  # the kinds with many setups
CHOSEN = 3  # every such setup of those served to choose how far dyes are doubted
HEAD = "# Do the intervals hold what they promise?\n"
RULE = (
    '"Confidently wrong": status ok, off by more than 0.5, truth outside the interval. Intervals behind a share are '
    "binomial 95 % (Clopper and Pearson), and decide the verdict: the intervals fit where it lies wholly between "
    f"{t.ALLOWED[0]:.0%} and {t.ALLOWED[1]:.0%}; they are too narrow or too wide where it lies wholly below or above "
    f"the {t.PROMISED:.0%} promised; else there are too few photos to say. Of twenty groups that hold what is "
    "promised, one is called too narrow or too wide by chance."
)
SPREAD = (
    "Told is the coverage that 95 of 100 setups surpass. Few photos a setup scatter by chance, which is taken out: the "
    "setups' own coverages are taken as beta distributed, what is seen of each as binomial, and the distribution's 5th "
    "percentile is given with its 95 % interval (beta-binomial, flat priors; `tests/coverage_setups.py`)."
)
ERRORS = (
    "Errors are absolute, of the photos answered (ok or doubtful), in pH. Refused photos have no error and no "
    "interval: they are counted as refused and nowhere else."
)
LEVELS_SHOWN = (
    "The posterior's shortest intervals at each level. The 95 % interval of the other tables is the one shown."
)
BUDGETS = "Mean shares of the readings' own error budgets."
REMAKE = """```sh
SCENE_SHELF=photos python -m tests.coverage_study --rows rows.csv    # hours; stopped, it goes on where it was
python -m tests.coverage_study --from rows.csv                       # this page and its picture
```"""


def verdicts(rows: Sequence[Row]) -> str:
    """What was wanted, and whether it is so."""
    photos = [r for r in t.photos(rows) if not r.by_user]
    users = [r for r in t.photos(rows) if r.by_user]
    lines = [wrong_line(rows), refused_line(photos)]
    keys: dict[str, t.Key] = {"in every band of 1 pH": t.band, "in every light": lambda r: r.lamp}
    keys["in every hard light"] = lambda r: r.trouble
    lines += [group_line(photos, name, key) for name, key in keys.items()]
    lines += [*spread_lines(photos, "strangers"), *spread_lines(users, "one user")]
    for kind, part in t.groups(t.answered(photos), lambda r: r.kind).items():
        ratio = t.beside_bound(part).ratio
        told = f"{ratio:.2f}"
        lines.append([f"mean error against bound with lots, {kind}", "at most 2 to 1", told, _yes(ratio <= 2.0)])
    return t.table(WANTED, lines)


def wrong_line(rows: Sequence[Judged]) -> Line:
    """Whether nothing is confidently wrong."""
    return ["confidently wrong", "0", sum(r.wrong for r in rows), _yes(not any(r.wrong for r in rows))]


def refused_line(rows: Sequence[Judged]) -> Line:
    """Whether next to no good photo is refused."""
    refused = t.share([r for r in rows if not r.hard], lambda r: r.status == "refused")
    return ["good photos refused", "at most 1 %", refused, _yes(refused.value <= 0.01)]


def group_line(rows: Sequence[Judged], name: str, key: t.Key) -> Line:
    """Whether the intervals of every group hold what they should, and which don't."""
    parts = {k: t.coverage(v).verdict() for k, v in t.groups(t.answered(rows), key).items()}
    out = {k: v for k, v in parts.items() if v != "fits"}
    told = "all fit" if not out else "; ".join(f"{v}: {', '.join(k)}" for v, k in _by_verdict(out).items())
    surely = [v for v in out.values() if v != "too few to say"]
    answer = "yes" if not out else "no" if surely else "can't be said of these"
    return [f"coverage {name}", "90 to 98 %", told, answer]


def spread_lines(rows: Sequence[Judged], name: str) -> list[Line]:
    """Whether 95 of 100 setups of each kind cover enough, where there are enough to say."""
    lines: list[Line] = []
    for kind, part in t.groups(t.answered(rows), lambda r: r.kind).items():
        if len(each := of_setups(part)) >= FEWEST:
            spread = spread_of(each)
            answer = {"fits": "yes", "too narrow": "no"}.get(spread.verdict(), "can't be said of these")
            lines.append([f"95 of 100 setups cover, {kind}, {name}", "at least 90 %", str(spread), answer])
    return lines


def _by_verdict(verdicts: dict[str, str]) -> dict[str, list[str]]:
    """Names of groups by their verdict, the worst verdict first."""
    order = ("too narrow", "too wide", "too few to say")
    return {v: names for v in order if (names := [k for k, own in verdicts.items() if own == v])}


def _yes(reached: bool) -> str:
    return "yes" if reached else "no"


def body(rows: Sequence[Row], picture: str = "coverage.png") -> str:
    """The page between the marks."""
    users = [r for r in t.photos(rows) if r.by_user]
    photos = [r for r in t.photos(rows) if not r.by_user]
    setups = {(r.kind, r.setup) for r in photos}
    failed = sum(r.status == NO_PROFILE for r in rows)
    codes = sorted({r.code for r in rows})
    hard = t.share(photos, lambda r: r.hard)
    whole = t.coverage(photos)
    sections = [
        f"{len(photos) + len(users):,} rendered photos of {len(setups)} setups (a printer, its sheet, a lot of strips, "
        f"a profile made from other rendered photos; {failed} setups gave no profile). {len(photos):,} are by "
        "strangers: every photo by another phone in another light, of another strip, half of the strips from the "
        "bottle that the profile was made with, half from other bottles; "
        f"{hard.value:.0%} are hard scenes. {len(users):,} are by one user for each setup: one phone (in every second "
        "setup the profile's own), one bottle, one bench. Tables are of the strangers' photos unless they say "
        f"otherwise. Code {', '.join(codes)}.",
        f"Remade by\n\n{REMAKE}",
        f"![Reliability, PIT histogram, coverage by pH and light, error against bound, budget]({picture})",
        "## What was wanted\n\n" + verdicts(rows),
        f"{RULE} Photos of one setup share its profile's error: from setup to setup the coverage of all, "
        f"{whole.value:.1%}, has a standard error of {t.setup_error(photos):.1%}.",
        "## By setup\n\n" + by_setup({"strangers": photos, "one user each": users}),
        "Somebody who uses this has one phone, one bottle and one bench: the average over strangers is not theirs. "
        + SPREAD,
        "## By strip\n\n" + t.by_kind(photos),
        ERRORS,
        "## Reliability\n\n" + t.reliability(photos),
        LEVELS_SHOWN,
        "## By band of 1 pH\n\n" + t.split(photos, "pH from", t.band, PAIR),
        "## By main light\n\n" + t.split(photos, "lamp", lambda r: r.lamp),
        "## By what makes a scene hard\n\n"
        + t.split(photos, "trouble", lambda r: r.trouble + (", local tone mapping" if r.local_tone else "")),
        "## By phone\n\n" + t.by_phone(photos),
        "## By bottle\n\n"
        + t.split(photos, "strip", lambda r: "the profile's" if bottle_of(r.setup, r.draw) == r.setup else "another"),
        *chosen_on(photos),
        "## By status\n\n" + t.split(photos, "status", lambda r: r.status),
        "## Error against the bound\n\n" + t.bounds(photos),
        "The bounds (`tests/scenes/bound.py`) are hybrid Cramér-Rao bounds, for each photo from its own lamps, phone "
        "and exposure: the standard deviation of a reader that knows light, phone and curve exactly and meets sensor "
        "noise only; then also strips of one lot that differ; then also a lot that it does not know. Normal errors at "
        "a bound of 1 have a mean absolute error of "
        f"{t.AT_BOUND:.2f}, hence the last column. Bounds are means over the photos, none larger than the standard "
        "deviation of a guess over the range.",
        "## Where the variance comes from\n\n" + t.budget(photos),
        BUDGETS,
        "## Reasons\n\n" + t.reasons(photos),
        "## Confidently wrong\n\n" + t.wrong(t.photos(rows)),
    ]
    return "\n\n".join(sections)


def chosen_on(photos: Sequence[Row]) -> list[str]:
    """Whether setups on which constants were chosen do better; of the measured world none was."""
    made_up = [r for r in photos if r.kind in PAIR and r.world == "made-up"]
    if not made_up:
        return ["No constant was chosen on these setups, cameras, lamps or prints."]
    return [
        "## By what constants were chosen on\n\n" + t.split(made_up, "setup", _chosen, PAIR),
        f"Every setup of number divisible by {CHOSEN}, of these kinds: how far dyes are doubted was chosen on "
        "its photos.",
    ]


def write_page(rows: Sequence[Row], folder: Path, name: str = "coverage", head: str = HEAD) -> None:
    """Draw the picture and write the page's part between the marks; what stands around them is left alone."""
    folder.mkdir(parents=True, exist_ok=True)
    picture = folder / f"{name}.png"
    draw([r for r in t.photos(rows) if not r.by_user], picture)
    between(folder / f"{name}.md", body(rows, picture.name), head)


def between(path: Path, text: str, head: str) -> None:
    """Put text between a page's marks; a page that is not there yet begins with ``head``.

    Raises
    ------
    ValueError
        If the page has lost its marks.
    """
    old = path.read_text(encoding="utf-8") if path.exists() else f"{head}\n{START}\n{END}\n"
    before, _, rest = old.partition(START)
    _, mark, after = rest.partition(END)
    if not mark:
        raise ValueError(f"{path} has lost its marks {START} and {END}")
    path.write_text(f"{before}{START}\n{text}\n{END}{after}", encoding="utf-8")


def _chosen(row: Row) -> str:
    """Whether constants were chosen on this photo's setup."""
    return "chosen on" if row.setup % CHOSEN == 0 else "not"
