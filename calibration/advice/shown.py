"""A learned curve to be looked at: colours and doubt by pH, each photo beside the curve, and a picture of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from calibration.learn import Learned
from calibration.report import grade, ph_doubt
from stripread.colour import delta_e, lab_to_rgb
from stripread.ph.profile import Profile
from stripread.words import _

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Array = NDArray[np.float64]

STEP = 0.25  # pH
_LEFT, _WIDTH, _STRIP = 90, 1440, 60  # px of the picture


@dataclass(frozen=True)
class CurveShown:
    """A curve on a grid: pH (N,), CIELAB (N, P, 3), doubt that the curve brings to a reading there (N,), pH."""

    ph: Array
    lab: Array
    doubt: Array

    def colours(self) -> list[list[str]]:
        """Screen colours of each pad at each pH, "#rrggbb": N lists of P."""
        return [[hex_of(pad) for pad in row] for row in self.lab]


def curve_shown(profile: Profile) -> CurveShown:
    """The profile's curve over its range."""
    low, high = profile.kind.range
    ph = np.round(np.arange(low, high + STEP / 2, STEP), 3)
    return CurveShown(ph, profile.curve(ph), np.minimum(ph_doubt(profile, ph), high - low))


def hex_of(lab: Array) -> str:
    """CIELAB (3,) as a screen colour."""
    linear = np.clip(lab_to_rgb(lab), 0.0, 1.0)
    encoded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)  # IEC 61966-2-1
    return "#" + "".join(f"{round(255 * float(v)):02x}" for v in encoded)


def evidence(learned: Learned) -> dict[str, Any]:
    """The curve, how well it reads what was left out, and each photo beside it, as plain data."""
    profile, fit, q = learned.profile, learned.fit, learned.profile.quality
    shown = curve_shown(profile)
    photos = []
    order = sorted(range(len(learned.known)), key=lambda i: learned.known[i].ph)  # as they were left out
    of_photo = {i: n for n, i in enumerate(order)} if len(fit.left_out.ph) == len(order) else {}
    for i, k in enumerate(learned.known):
        on_curve = profile.curve(np.array([k.ph]))[0]
        miss = delta_e(on_curve, on_curve + fit.residuals[i])
        entry: dict[str, Any] = {
            "sha256": k.photo_sha256,
            "file": k.photo_name,
            "ph": round(k.ph, 3),
            "ph_sd": round(k.ph_sd, 3),
            "colours": [hex_of(lab) for lab in k.lab],
            "misses_curve_by": [round(float(v), 1) for v in miss],
        }
        n = of_photo.get(i)
        if n is not None:
            entry["read_left_out"] = round(float(fit.left_out.read[n]), 2)
            entry["interval_left_out"] = [round(float(fit.left_out.low[n]), 2), round(float(fit.left_out.high[n]), 2)]
        photos.append(entry)
    return {
        "verdict": grade(q.loo_mean),
        "model": profile.model,
        "why": profile.why,
        "evidence": profile.evidence,
        "points": q.points,
        "photos": photos,
        "mean_error": _short(q.loo_mean),
        "worst_error": _short(q.loo_worst),
        "coverage": _short(q.loo_coverage),
        "narrow_intervals": profile.has_evidence,
        "curve": {
            "ph": [float(v) for v in shown.ph],
            "colours": shown.colours(),
            "lab": [[[round(float(v), 2) for v in pad] for pad in row] for row in shown.lab],
            "doubt": [round(float(v), 3) for v in shown.doubt],
        },
        "left_out": [{"file": p.name, "why": p.why} for p in learned.left_out],
    }


def picture(profile: Profile) -> bytes:
    """PNG file: each pad's colours over pH, the photos' places, and the curve's doubt below on the same scale."""
    from stripread.picture.parts import (  # noqa: PLC0415 - drawing is heavy and rare
        BLUE,
        INK,
        PALE,
        axes_at,
        clip,
        new_figure,
        pixels,
        png,
        write,
    )

    shown = curve_shown(profile)
    figure = new_figure()
    write(figure, 40, 56, clip(_("Curve of {name}", name=profile.name), 62), 15, weight="bold")
    write(figure, 40, 92, _("Colour of each pad by pH, from the dipped end"), 10.5, weight="bold")
    pads = shown.lab.shape[1]
    low, high = profile.kind.range

    def scaled(axes: Axes) -> Axes:
        axes.set_xlim(low - 0.2, high + 0.2)
        return axes

    for p in range(pads):
        axes = scaled(axes_at(figure, _LEFT, 108 + p * (_STRIP + 6), _WIDTH, _STRIP))
        for ph, lab in zip(shown.ph, shown.lab[:, p], strict=True):
            axes.axvspan(ph - STEP / 2, ph + STEP / 2, color=hex_of(lab), lw=0)
        axes.set_yticks([])
        axes.set_xticks([])
    top = 108 + pads * (_STRIP + 6) + 60
    write(figure, 40, top - 16, _("What the curve's own doubt adds to a reading, pH"), 10.5, weight="bold")
    axes = scaled(axes_at(figure, _LEFT, top, _WIDTH, min(400, 860 - top)))
    axes.plot(shown.ph, np.minimum(shown.doubt, 1.0), color=BLUE, lw=1.8)
    for ph in profile.photos_per_point:
        axes.axvline(ph, color=PALE, lw=1.0, ls=(0, (4, 3)))
    axes.set_ylim(0.0, 1.05 * max(0.2, float(np.minimum(shown.doubt, 1.0).max())))
    axes.set_xlabel(_("pH; dashed: liquids photographed"), fontsize=9.5, color=INK)
    return png(pixels(figure))


def _short(value: float) -> float | None:
    return round(value, 3) if np.isfinite(value) else None
