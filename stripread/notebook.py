"""A result as a piece of HTML for a notebook: value, interval on its range, picture, error budget, reasons.

It takes the result's JSON and its picture and knows no readings. Everything is escaped, styles stand inline (notebooks
strip style sheets), and there is no script.
"""

from __future__ import annotations

import base64
import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

from stripread.states.table import paper, state, table
from stripread.words import N_, _, number, say

PICTURE_PX = 1100  # wide in the page: its smallest words can still be read, in some 150 kB
PICTURE_QUALITY = 82
# Okabe and Ito's palette (from memory), as in the pictures: told apart whatever colours an eye sees
_INK, _PALE, _LINE, _GROUND, _BAND = "#1b2026", "#5d6670", "#c9ced4", paper(), "#0072B2"


@dataclass(frozen=True)
class Scale:
    """A value with its interval on the range it is shown on, all in ``unit``; ``ticks`` are numbers to write below."""

    value: float
    interval: tuple[float, float]
    range: tuple[float, float]
    ticks: tuple[float, ...]
    unit: str


def html_of(reading: Mapping[str, Any], picture: bytes | None) -> str:
    """The result as HTML.

    Parameters
    ----------
    reading
        The JSON object of a reading: pH, tint, solid, or combined pH.
    picture
        Its picture as PNG file, or None.
    """
    shown = state("reading", reading["status"])
    badge = _tag("span", shown.text, f"color:{shown.tone.light};border:2px solid;border-radius:3px;padding:0 8px")
    head = _tag("span", _headline(reading), "font-size:24px;font-weight:600;margin-right:12px") + badge
    scale = scale_of(reading)
    parts = [
        f'<div style="margin:0 0 6px">{head}</div>',
        "" if scale is None else _drawn_scale(scale),
        _alternatives(reading.get("alternatives", ())),
        _sentence(reading.get("claim", "")),
        _reasons(reading["reasons"]),
        _parts(reading.get("combined_from", ())),
        _budget(reading.get("budget", {})),
        "" if picture is None else _picture(picture, _headline(reading)),
        _tag("div", _origin(reading), f"color:{_PALE};font-size:12px;margin-top:6px;overflow-wrap:anywhere"),
    ]
    box = (
        f"max-width:{PICTURE_PX}px;padding:14px 18px;border:1px solid {_LINE};border-radius:6px;background:{_GROUND};"
        f"color:{_INK};font-family:sans-serif;font-size:14px;line-height:1.45;text-align:left"
    )
    return f'<div style="{box}">{"".join(parts)}</div>'


def scale_of(reading: Mapping[str, Any]) -> Scale | None:
    """Where the reading's value lies on its range: pH 0 to 14, share 0 to 100 %, tint from 0 up; else None."""
    kind = reading["kind"]
    if kind == "ph" and reading["ph"] is not None and reading["interval"] is not None:
        low, high = reading["interval"]
        ends = (min(0.0, math.floor(low)), max(14.0, math.ceil(high)))
        return Scale(reading["ph"], (low, high), ends, tuple(range(0, 15, 2)), "pH")
    if kind == "solid" and reading["pale_fraction"] is not None and reading["pale_interval"] is not None:
        low, high = (100 * v for v in reading["pale_interval"])
        return Scale(100 * reading["pale_fraction"], (low, high), (0.0, 100.0), (0, 25, 50, 75, 100), _("% pale"))
    if kind == "tint" and reading["mg_per_l"] is not None and reading["interval"] is not None:
        return _from_zero(reading["mg_per_l"], reading["interval"], reading["detection_limit"] or 0.0, _("mg/L copper"))
    if kind == "tint" and reading["absorbance"] is not None and reading["absorbance_interval"] is not None:
        limit = (reading["absorbance_limits"] or (0.0, 0.0))[1]
        return _from_zero(reading["absorbance"], reading["absorbance_interval"], limit, "absorbance")
    return None


def _from_zero(value: float, interval: Sequence[float], limit: float, unit: str) -> Scale:
    """A range from nothing to a round number beyond the interval and twice the detection limit."""
    most = max(interval[1], 2 * limit, value)
    if not most > 0:
        return Scale(value, (interval[0], interval[1]), (min(interval[0], -1.0), 1.0), (0.0,), unit)
    step = 10.0 ** math.floor(math.log10(most))
    top = step * math.ceil(most / step)
    return Scale(value, (interval[0], interval[1]), (min(0.0, interval[0]), top), (0.0, top / 2, top), unit)


def inline_picture(png: bytes) -> str:
    """The picture as a data URI: a JPEG at most ``PICTURE_PX`` wide."""
    from PIL import Image  # noqa: PLC0415 - only for a picture

    image = Image.open(io.BytesIO(png)).convert("RGB")
    if image.width > PICTURE_PX:
        image = image.resize((PICTURE_PX, round(image.height * PICTURE_PX / image.width)), Image.Resampling.LANCZOS)
    out = io.BytesIO()
    image.save(out, "JPEG", quality=PICTURE_QUALITY, optimize=True)
    return "data:image/jpeg;base64," + base64.b64encode(out.getvalue()).decode("ascii")


def _headline(reading: Mapping[str, Any]) -> str:
    kind = reading["kind"]
    if kind == "ph":
        return _("pH: no reading") if reading["ph"] is None else _("pH {ph:.2f}", ph=reading["ph"])
    if kind == "solid":
        share = reading["pale_fraction"]
        return _("Solid: no reading") if share is None else _("{share:.1f} % pale", share=100 * share)
    if reading["absorbance"] is None:
        return _("Copper: no reading")
    told = {"copper": N_("Copper"), "none seen": N_("No copper seen")}.get(reading["decision"], N_("Copper: undecided"))
    return say(told)


def _drawn_scale(scale: Scale) -> str:
    """The interval as a band, the value as a line on it, and the range below; words first, for those who hear it."""
    low, high = scale.interval
    digits = 2 if scale.range[1] < 100 else 1
    digits = 4 if scale.unit == "absorbance" else digits
    value = number(scale.value, f".{digits}f")
    words = f"pH {value}" if scale.unit == "pH" else f"{value} {say(scale.unit)}"
    words += _(", 95 % interval {low:.{digits}f} to {high:.{digits}f}", low=low, high=high, digits=digits)
    left, right, line = (_percent(v, scale.range) for v in (low, high, scale.value))
    band = f"position:absolute;left:{left:.2f}%;width:{max(right - left, 0.3):.2f}%;top:0;height:18px;opacity:.45"
    mark = f"position:absolute;left:{line:.2f}%;width:2px;margin-left:-1px;top:-3px;height:24px;background:{_INK}"
    track = (
        f'<div style="position:relative;height:18px;background:#e9ebee;border-radius:2px">'
        f'<div style="{band};background:{_BAND}"></div><div style="{mark}"></div></div>'
    )
    ticks = "".join(
        _tag(
            "span",
            f"{number(tick, 'g')}",
            f"position:absolute;left:{_percent(tick, scale.range):.2f}%;{_shift(tick, scale)}",
        )
        for tick in scale.ticks
    )
    below = f'<div style="position:relative;height:18px;color:{_PALE};font-size:12px" aria-hidden="true">{ticks}</div>'
    return _tag("div", words, "margin:0 0 6px") + f'<div style="max-width:560px;margin:4px 0 10px">{track}{below}</div>'


def _percent(value: float, ends: tuple[float, float]) -> float:
    return 100.0 * min(1.0, max(0.0, (value - ends[0]) / (ends[1] - ends[0])))


def _shift(tick: float, scale: Scale) -> str:
    """The first and last numbers stay within the range, the others stand below their place."""
    if tick <= scale.range[0]:
        return "transform:none"
    return "transform:translateX(-100%)" if tick >= scale.range[1] else "transform:translateX(-50%)"


def _alternatives(others: Sequence[Mapping[str, Any]]) -> str:
    return "".join(
        _sentence(
            _(
                "or pH {ph:.2f} ({low:.2f} to {high:.2f}), weight {weight:.0f} %",
                ph=other["ph"],
                low=other["interval"][0],
                high=other["interval"][1],
                weight=100 * other["weight"],
            )
        )
        for other in others
    )


def _sentence(text: str) -> str:
    return _tag("div", text, "margin:2px 0") if text else ""


def _reasons(reasons: Sequence[Mapping[str, str]]) -> str:
    """Every reason with its remedy; what turned the photo away first, then doubts, then notes."""
    order = list(table().states["reason"])
    rows = [
        f'<li style="margin:2px 0">{_tag("b", _label(r))} {escape(r["message"])}</li>'
        for r in sorted(reasons, key=lambda r: order.index(r["severity"]))
    ]
    return f'<ul style="margin:6px 0;padding-left:20px">{"".join(rows)}</ul>' if rows else ""


def _label(reason: Mapping[str, str]) -> str:
    """The severity; a caution is no mere note."""
    caution = reason["code"].startswith("caution_")
    return (state("notice", "caution") if caution else state("reason", reason["severity"])).word


def _budget(budget: Mapping[str, float | None]) -> str:
    """Causes of the interval by their share of the variance; what correlation takes off is said, not drawn."""
    known = {cause: v for cause, v in budget.items() if v is not None}
    total = sum(v for v in known.values() if v > 0)
    if not total > 0:
        return ""
    rows = []
    for cause, value in sorted(known.items(), key=lambda item: -item[1]):
        if (share := value / total) < 0.005:
            continue
        bar = f'<div style="height:10px;width:{max(1, round(180 * share))}px;background:{_BAND}"></div>'
        cells = (escape(say(cause.replace("_", " "))), f"{100 * share:.0f} %", bar)
        rows.append("<tr>" + "".join(_cell(cell) for cell in cells) + "</tr>")
    less = -sum(v for v in known.values() if v < 0) / total
    if less >= 0.005:
        rows.append("<tr>" + _cell(_("correlation takes off")) + _cell(f"{100 * less:.0f} %") + _cell("") + "</tr>")
    return _title(_("Where the uncertainty comes from (share of the variance)")) + _table(rows)


def _parts(parts: Sequence[Mapping[str, Any]]) -> str:
    """What a combined reading was combined from."""
    rows = []
    for part in parts:
        value = _("no reading")
        if part["ph"] is not None:
            low, high = part["interval"]
            value = _("pH {ph:.2f} ({low:.2f} to {high:.2f})", ph=part["ph"], low=low, high=high)
        used = _("weight {weight:.2f}", weight=part["weight"]) if part["used"] else _("left out")
        rows.append("<tr>" + "".join(_cell(escape(text)) for text in (part["photo"], value, used)) + "</tr>")
    return _title(_("Combined from")) + _table(rows) if rows else ""


def _picture(png: bytes, words: str) -> str:
    source = inline_picture(png)
    what = escape(_("Picture of the reading: {words}", words=words))
    return f'<img src="{source}" alt="{what}" style="width:100%;margin-top:10px">'


def _origin(reading: Mapping[str, Any]) -> str:
    facts = [reading["photo"], reading["taken_at"], reading.get("profile"), reading["software"]]
    return " · ".join([str(fact) for fact in facts if fact] + [_("photo {sha256}", sha256=reading["sha256"][:12])])


def _title(text: str) -> str:
    return _tag("div", text, "font-weight:600;margin:10px 0 2px")


def _table(rows: Sequence[str]) -> str:
    return (
        f'<table style="border-collapse:collapse;border:0;margin:0;font-size:14px;color:{_INK}">{"".join(rows)}</table>'
    )


def _cell(content: str) -> str:
    return f'<td style="padding:1px 14px 1px 0;border:0;text-align:left;background:{_GROUND}">{content}</td>'


def _tag(name: str, text: str, style: str = "") -> str:
    return f'<{name} style="{style}">{escape(text)}</{name}>' if style else f"<{name}>{escape(text)}</{name}>"
