"""The picture of a check: values against the truth, errors below on the same pH scale, the verdict beside them.

It has the form of a reading's picture. Nothing rests on colour alone: every sort of photo has its own mark.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from calibration.check import Check
from calibration.check_words import advice, figures, headline
from calibration.shared_error import Checked
from stripread.ph.profile import Profile
from stripread.picture.parts import (
    BLUE,
    FAINT,
    GROUND,
    HEIGHT,
    INK,
    ORANGE,
    PALE,
    SKY,
    VERMILION,
    axes_at,
    clip,
    new_figure,
    pixels,
    png,
    readable,
    wrap,
    write,
)
from stripread.states.table import state
from stripread.words import N_, _, say

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LEFT, _LEFT_W, _RIGHT, _RIGHT_W = 90, 850, 1010, 550  # px
_APART = 0.012  # of the pH range: photos of one pH stand beside each other
_SHOWN = 1.0  # pH: errors up to this are always on the scale, so that small ones look small
_BEYOND = 2.0  # pH: errors beyond this are drawn at the edge
_NAMED = 3  # photos outside their interval are named, where there are no more than this
# label, filled or not, marker, colour
_MARKS = {
    "ok": (state("reading", "ok").english, True, "o", BLUE),
    "doubtful": (state("reading", "doubtful").english, False, "^", ORANGE),
    "outside": (N_("truth outside its interval"), False, "s", VERMILION),
}


def picture_of(found: Check, profile: Profile) -> bytes:
    """PNG file of the check."""
    figure = new_figure()
    write(figure, _LEFT - 50, 56, clip(_("Check of {name}", name=profile.name), 62), 15, weight="bold")
    made = _(
        "{name} · made {made} by {software} from {evidence}",
        name=profile.name,
        made=profile.made,
        software=profile.software,
        evidence=profile.evidence,
    )
    write(figure, _LEFT - 50, HEIGHT - 20, clip(made, 130), 8.5, colour=PALE)
    span = _span(found, profile)
    write(figure, _LEFT - 50, 92, _("Value read, with its 95 % interval, against the known pH"), 10.5, weight="bold")
    _values(_scaled(axes_at(figure, _LEFT, 108, _LEFT_W, 440), span), found, span)
    write(figure, _LEFT - 50, 612, _("Error: value read less known pH"), 10.5, weight="bold")
    _errors(_scaled(axes_at(figure, _LEFT, 628, _LEFT_W, 280), span), found, span)
    _beside(figure, found)
    return png(pixels(figure))


def _span(found: Check, profile: Profile) -> tuple[float, float]:
    """The pH scale: the strip's range, cut to the photos where they cover only a part."""
    truth = [p.truth for p in found.photos]
    low, high = profile.kind.range
    return max(low, min(truth) - 1.0) - 0.2, min(high, max(truth) + 1.0) + 0.2


def _places(found: Check, span: tuple[float, float]) -> list[tuple[Checked, float]]:
    """The photos that count, each with its place on the pH scale."""
    photos = [p for p in found.photos if p.use != "known"]
    out = []
    for truth in sorted({p.truth for p in photos}):
        group = [p for p in photos if p.truth == truth]
        step = min(_APART, 0.06 / len(group)) * (span[1] - span[0])
        out += [(p, truth + step * (n - (len(group) - 1) / 2)) for n, p in enumerate(group)]
    return out


def _sort(photo: Checked) -> str:
    if not photo.inside:
        return "outside"
    return photo.reading.status


def _values(axes: Axes, found: Check, span: tuple[float, float]) -> None:
    axes.plot(span, span, color=PALE, lw=1.2, ls=(0, (6, 3)), zorder=1)
    axes.set_ylim(*span)
    for photo, at in _places(found, span):
        if photo.reading.ph is None or photo.reading.interval is None:
            axes.plot(at, span[0] + 0.02 * (span[1] - span[0]), marker="x", color=INK, ms=8, mew=1.8, ls="none")
            continue
        _bar(axes, at, photo.reading.ph, photo.reading.interval, _sort(photo))
    axes.set_ylabel(_("value read, pH"), fontsize=9.5, color=INK)


def _errors(axes: Axes, found: Check, span: tuple[float, float]) -> None:
    reach = [_SHOWN]
    for photo, _unused in _places(found, span):
        if photo.reading.interval is not None:
            reach += [abs(v - photo.truth) * 1.1 for v in photo.reading.interval]
    top = min(_BEYOND, max(reach))
    axes.set_ylim(-top, top)
    if found.freedom:
        allowed = found.bias_allowed
        axes.fill_between(span, -allowed, allowed, facecolor="none", edgecolor=FAINT, hatch="////", lw=0.0, zorder=0)
        low, high = found.bias_interval
        axes.fill_between(span, low, high, color=SKY, alpha=0.35, lw=0.0, zorder=1)
        axes.plot(span, [found.bias] * 2, color=BLUE, lw=1.6, ls="-.", zorder=2)
    axes.axhline(0.0, color=PALE, lw=1.2, ls=(0, (6, 3)), zorder=1)
    missed = [p for p in found.photos if p.use != "known" and not p.inside and p.use != "refused"]
    named = missed if len(missed) <= _NAMED else []  # more would only lie over each other
    for photo, at in _places(found, span):
        if photo.reading.ph is None or photo.reading.interval is None:
            axes.plot(at, -0.94 * top, marker="x", color=INK, ms=8, mew=1.8, ls="none")
            continue
        low, high = (v - photo.truth for v in photo.reading.interval)
        error = float(np.clip(photo.error, -0.97 * top, 0.97 * top))
        _bar(axes, at, error, (low, high), _sort(photo))
        if photo in named:
            axes.annotate(
                readable(clip(photo.name.rsplit("/", 1)[-1], 22)),
                (at, error),
                xytext=(9, 0) if at < span[0] + 0.75 * (span[1] - span[0]) else (-9, 0),
                textcoords="offset points",
                fontsize=9,
                color=INK,
                ha="left" if at < span[0] + 0.75 * (span[1] - span[0]) else "right",
                va="center",
                parse_math=False,
            )
    axes.set_xlabel(_("known pH"), fontsize=9.5, color=INK)
    axes.set_ylabel("error, pH", fontsize=9.5, color=INK)


def _bar(axes: Axes, at: float, value: float, interval: tuple[float, float], sort: str) -> None:
    _, filled, marker, colour = _MARKS[sort]
    axes.plot([at, at], interval, color=colour, lw=2.0, solid_capstyle="butt", zorder=3)
    axes.plot(
        at,
        value,
        marker=marker,
        ms=9 if sort == "outside" else 7,
        mfc=colour if filled else GROUND,
        mec=colour,
        mew=1.8,
        ls="none",
        zorder=4,
    )


def _scaled(axes: Axes, span: tuple[float, float]) -> Axes:
    """Both axes with a quiet grid and the same pH scale."""
    from matplotlib.ticker import MaxNLocator  # noqa: PLC0415

    axes.set_xlim(*span)
    axes.xaxis.set_major_locator(MaxNLocator(15, steps=[1, 2, 5, 10]))
    axes.yaxis.set_major_locator(MaxNLocator(9, steps=[1, 2, 5, 10]))
    axes.grid(visible=True, color=FAINT, lw=0.6, zorder=0)
    axes.set_axisbelow(True)
    return axes


def _beside(figure: Figure, found: Check) -> None:
    """The right column: verdict, figures, what to do, and what the marks mean."""
    y = 92.0
    for line in wrap(_capital(headline(found)), 0.85 * _RIGHT_W, 18):  # bold letters are wider than those measured
        write(figure, _RIGHT, y, line, 18, weight="bold")
        y += 34
    y = _lines(figure, y + 16, "", figures(found))
    y = _lines(figure, y + 18, _("What to do"), advice(found))
    _legend(figure, max(y + 40, 760.0), found)


def _lines(figure: Figure, y: float, title: str, items: list[str]) -> float:
    if title:
        write(figure, _RIGHT, y, title, 12, weight="bold")
        y += 28
    for item in items:
        write(figure, _RIGHT, y, "·", 11.5, weight="bold")
        for line in wrap(_capital(item), _RIGHT_W - 18, 11.5):
            write(figure, _RIGHT + 18, y, line, 11.5)
            y += 22
        y += 6
    return y


def _legend(figure: Figure, y: float, found: Check) -> None:
    axes = axes_at(figure, _RIGHT, y, _RIGHT_W, 170)
    axes.set_axis_off()
    axes.set_xlim(0, _RIGHT_W)
    axes.set_ylim(170, 0)
    shown = [(say(label), at) for at, (label, *_) in _MARKS.items()]
    row = 12.0
    for n, (label, sort) in enumerate(shown):
        x = 12 + 130 * n
        axes.plot([x, x], [row - 11, row + 11], color=_MARKS[sort][3], lw=2.0)
        _bar(axes, x, row, (row - 11, row + 11), sort)
        axes.text(x + 14, row, label, fontsize=10, color=INK, va="center")
    rows = [(state("reading", "refused").word, "mark"), (_("no error"), "line")]
    if found.freedom:
        rows += [
            (_("shift of these photos, and its 95 % interval"), "shift"),
            (_("shift that the intervals allow for"), "band"),
        ]
    for label, what in rows:
        row += 32
        if what == "mark":
            axes.plot(12, row, marker="x", color=INK, ms=8, mew=1.8, ls="none")
        elif what == "line":
            axes.plot([0, 24], [row, row], color=PALE, lw=1.2, ls=(0, (6, 3)))
        elif what == "shift":
            axes.fill_between([0, 24], row - 9, row + 9, color=SKY, alpha=0.35, lw=0.0)
            axes.plot([0, 24], [row, row], color=BLUE, lw=1.6, ls="-.")
        else:
            axes.fill_between([0, 24], row - 9, row + 9, facecolor="none", edgecolor=FAINT, hatch="////", lw=0.0)
        axes.text(36, row, label, fontsize=10, color=INK, va="center")


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
