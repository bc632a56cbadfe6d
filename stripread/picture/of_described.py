"""Picture of a described strip: outline and pads on the photo, and the same as a drawing with millimetres."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from stripread.picture.frame import Headline, Outline, Panel, card_edge_px, compose, photo_of
from stripread.picture.parts import BLUE, INK, PALE, SKY, VERMILION, png, straighten
from stripread.words import _, _n

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stripread.describe.read import DescriptionTrace
    from stripread.describe.result import StripDescription


def described_picture(trace: DescriptionTrace) -> bytes:
    """PNG file of the description; whatever it did not come to is left out."""
    described = trace.description
    assert described is not None
    photo = photo_of(trace.card)
    outlines, panels, ribbon = [], [], None
    edge = card_edge_px(trace.card)
    if edge is not None and described.width is None:
        outlines.append(Outline(edge, "card", _("card")))
    if described.width is not None:
        assert trace.card.photo is not None
        scale = _working(trace)
        strip = np.array(described.outline_px) * scale
        ribbon = straighten(photo, strip)
        outlines.append(Outline(strip, "strip", _("strip")))
        for number, pad in enumerate(described.pads):
            label = f"{number + 1}" if pad.doubt is None else f"{number + 1}?"
            outlines.append(Outline(np.array(pad.corners_px) * scale, "pad", label))
        panels.append(Panel(_("Millimetres from the dipped end"), 130, lambda axes: _ruler(axes, described)))
    image = compose(
        photo,
        outlines,
        Headline(described.status, _big(described), "", _below(described)),
        described.reasons,
        panels,
        title=Path(described.stamp.photo).name,
        caption=_(
            "strip · {software} · photo {sha256}",
            software=described.stamp.software,
            sha256=described.stamp.sha256[:12],
        ),
        ribbon=ribbon,
    )
    return png(image)


def _working(trace: DescriptionTrace) -> float:
    """Pixels of the picture shown for one of the full-size photo."""
    assert trace.card.photo is not None
    unit = trace.card.photo.to_full(np.array([[0.0, 0.0], [1000.0, 0.0]]))
    return float(1000.0 / (unit[1, 0] - unit[0, 0]))


def _big(described: StripDescription) -> str:
    if described.width is None:
        return _("no strip")
    if described.roll:
        return _("roll paper")
    return _n("{count} pad", "{count} pads", len(described.pads), count=len(described.pads))


def _below(described: StripDescription) -> tuple[str, ...]:
    """The strip's size, then each pad in a line."""
    if described.width is None or described.length is None:
        return ()
    lines = [
        _("{width:.1f} mm wide, {length:.1f} mm long", width=described.width.mm, length=described.length.mm),
    ]
    for number, pad in enumerate(described.pads if not described.roll else ()):
        line = _(
            "pad {number}: {start:.1f} to {stop:.1f} mm",
            number=number + 1,
            start=pad.offset.mm,
            stop=pad.offset.mm + pad.length.mm,
        )
        lines.append(line if pad.doubt is None else _("{line}, not sure", line=line))
    return tuple(lines)


def _ruler(axes: Axes, described: StripDescription) -> None:
    """The strip drawn to scale; unsure pads are hatched."""
    assert described.length is not None
    assert described.width is not None
    half = described.width.mm / 2
    axes.fill_between([0.0, described.length.mm], -half, half, facecolor="white", edgecolor=INK, lw=1.2)
    for number, pad in enumerate(described.pads):
        ends = [pad.offset.mm, pad.offset.mm + pad.length.mm]
        sure = pad.doubt is None
        axes.fill_between(
            ends,
            -half,
            half,
            facecolor=SKY,
            edgecolor=BLUE if sure else VERMILION,
            hatch=None if sure else "///",
            lw=1.2,
        )
        axes.text(sum(ends) / 2, 0.0, f"{number + 1}", ha="center", va="center", fontsize=11, weight="bold", color=INK)
    axes.set_ylim(-2.2 * half, 2.2 * half)
    axes.set_xlim(-2.0, described.length.mm + 2.0)
    axes.tick_params(axis="x", labelcolor=PALE)
