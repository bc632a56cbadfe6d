"""One reading as a picture to send on: what was read, its state, its batch and its cautions around the drawing.

It says by itself all that the page says, since the picture travels without the page.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import matplotlib as mpl
from PIL import Image, ImageDraw, ImageFont

from stripread.picture.parts import readable

_INK, _PAPER, _LINE = "#111111", "#ffffff", "#555555"
_SIGNS = {"ok": ("✓ well read", "#14532d"), "doubtful": ("! doubtful", "#6b4300"), "refused": ("✕ not read", "#8f0000")}
_EDGE = 48  # px
_BIG, _MIDDLE, _SMALL = 84, 44, 34  # px of the letters, on a drawing 1600 px wide


@dataclass(frozen=True)
class SharedWords:
    """What stands around the drawing: value with its interval, ``status`` (ok, doubtful, refused), and lines.

    ``about`` is the batch, the wash, the time, the phone; ``said`` the reasons; ``cautions`` what to be careful of.
    """

    value: str
    status: str
    about: tuple[str, ...]
    said: tuple[str, ...]
    cautions: tuple[str, ...]


def shared_picture(drawing: bytes, words: SharedWords) -> bytes:
    """PNG of the drawing (a PNG) with the words above and below it; the same of the same."""
    with Image.open(io.BytesIO(drawing)) as opened:
        drawn = opened.convert("RGB")
    width = drawn.width
    sign, colour = _SIGNS[words.status]
    above = [(words.value, _BIG, True, _INK), (sign, _MIDDLE, True, colour)]
    above += [(line, _MIDDLE, False, _INK) for line in words.about]
    below = [(line, _SMALL, False, _INK) for line in words.said]
    below += [(f"⚠ {line}", _SMALL, True, _INK) for line in words.cautions]
    top, bottom = _Text(above, width), _Text(below, width)
    whole = Image.new("RGB", (width, top.height + drawn.height + bottom.height), _PAPER)
    draw = ImageDraw.Draw(whole)
    top.draw(draw, 0)
    whole.paste(drawn, (0, top.height))
    bottom.draw(draw, top.height + drawn.height)
    for y in (top.height, top.height + drawn.height - 1):
        draw.line([(0, y), (width, y)], fill=_LINE, width=2)
    out = io.BytesIO()
    whole.save(out, "PNG", optimize=True)
    return out.getvalue()


class _Text:
    """Lines of words, each (text, px, bold, colour), wrapped to a width; how high they are together."""

    def __init__(self, lines: Sequence[tuple[str, int, bool, str]], width: int) -> None:
        self._rows: list[tuple[str, ImageFont.FreeTypeFont, str, int]] = []
        for text, px, bold, colour in lines:
            font = _font(px, bold=bold)
            for n, row in enumerate(_wrapped(readable(text), font, width - 2 * _EDGE)):
                self._rows.append((row, font, colour, round(px * (1.45 if n == 0 else 1.25))))
        self.height = sum(step for *_, step in self._rows) + (_EDGE if self._rows else 0)

    def draw(self, draw: ImageDraw.ImageDraw, y: int) -> None:
        y += _EDGE // 2
        for row, font, colour, step in self._rows:
            draw.text((_EDGE, y), row, font=font, fill=colour)
            y += step


def _font(px: int, *, bold: bool) -> ImageFont.FreeTypeFont:
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return ImageFont.truetype(Path(mpl.get_data_path()) / "fonts" / "ttf" / name, px)


def _wrapped(text: str, font: ImageFont.FreeTypeFont, width: int) -> list[str]:
    """The text in rows that fit; a word that is too long by itself is cut."""
    rows: list[str] = []
    for word in text.split():
        left = word
        if rows and font.getlength(f"{rows[-1]} {left}") <= width:
            rows[-1] += f" {left}"
            continue
        while font.getlength(left) > width:
            fits = next(n for n in range(len(left) - 1, 0, -1) if font.getlength(left[:n]) <= width)
            rows.append(left[:fits])
            left = left[fits:]
        rows.append(left)
    return rows
