"""The sheet to print: two reference cards, a scale bar and a slip to cut out, as vector PDF with the same bytes always.

Every patch is a rectangle in device RGB, so that card and reader take the same numbers from ``card.layout``. Lengths
are millimetres with y down; only ``_Sheet`` knows that PDF counts points from the bottom.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

from stripread.card.layout import (
    DICTIONARY,
    LANE_PRINT_MM,
    MARKER_MM,
    RING_RADIUS_MM,
    RING_SRGB,
    RING_WIDTH_MM,
    SIZE_MM,
    VERSION,
    layout,
)

if TYPE_CHECKING:
    from reportlab.lib.styles import ParagraphStyle

_POINTS = 72.0 / 25.4
_LABEL = (60, 60, 60)  # words on the card, for an eye at arm's length: they stand where the reader does not look
_OUTLINE = (205, 205, 205)
_CUT = (170, 170, 170)
_TEXT = (40, 40, 40)
_MARGIN_MM = 12.0
_SCALE_MM = 100.0


@dataclass(frozen=True)
class Paper:
    """A paper size: ``size_mm`` and the top left corner of each card on it."""

    title: str
    size_mm: tuple[float, float]
    origins_mm: tuple[tuple[float, float], ...]


def _paper(title: str, width: float, height: float, top: float) -> Paper:
    left = (width - SIZE_MM[0]) / 2
    return Paper(title, (width, height), ((left, top), (left, top + SIZE_MM[1])))


PAPERS = {"a4": _paper("A4", 210.0, 297.0, 29.0), "letter": _paper("Letter", 215.9, 279.4, 20.5)}

# What the slip says, column by column: a heading, then short paragraphs. The cautions' sources: docs/card-design.md.
INSTRUCTIONS = (
    (
        "Print and keep",
        (
            "Print at <b>100 %</b>, in <b>colour</b>, on white <b>matt</b> paper. The bar must measure 100 mm.",
            "Dry for a day. Write the date on the card; keep it dry, clean and dark.",
            "<b>The same card</b> calibrates and reads. Printed anew, or faded: calibrate again.",
        ),
    ),
    (
        "Lay out and photograph",
        (
            "Card flat. Strip in the lane, <b>dipped end left</b>, pads up, the drop shaken off.",
            "Tint: the vial on <b>sample</b>; untreated liquid or clean water, as deep, in a like vial on "
            "<b>blank</b>.",
            "One light: daylight or one white lamp. No shadow on the card, no shine, nothing coloured close by.",
            "Phone 20 to 45 cm above, whole card in the picture, sharp.",
        ),
    ),
    (
        "Take care",
        (
            "<b>Silver and ammonia turn explosive on standing.</b> Test drops of clear liquid, apart from the batch. "
            "After the photo <b>acidify at once</b>, slowly, with dilute hydrochloric acid. "
            "Never store it, never let it dry, never add it to lye, oxide or sugar.",
            "Acid and lye burn; acid and ammonia fume: gloves, goggles, long sleeves, a hood or outdoors. "
            "Lye into cold water, slowly. No acid to bleach, cyanide or sulfide.",
            "Collect all waste. Local rules and the data sheets come first.",
        ),
    ),
)
_SLIP_POINTS = (8.5, 8.25, 8.0, 7.75, 7.5, 7.25, 7.0)  # the largest that fits is taken
_SLIP_FOOT_MM = 13.5  # the widest foot margin of common inkjets is 12.7 mm (common practice, no source)
_SLIP_GAP_MM, _SLIP_INSET_MM = 5.0, 2.5


class _Sheet:
    """A page that takes millimetres from its top left corner and 8-bit sRGB."""

    def __init__(self, size_mm: tuple[float, float]) -> None:
        from reportlab.pdfgen.canvas import Canvas  # noqa: PLC0415 - heavy, and the layout as JSON does not need it

        self._height = size_mm[1]
        self._buffer = io.BytesIO()
        self.canvas = Canvas(
            self._buffer, pagesize=(size_mm[0] * _POINTS, size_mm[1] * _POINTS), invariant=1, pageCompression=1
        )
        self.canvas.setTitle(f"Reference card {VERSION}")
        self.canvas.setAuthor("stripread")
        self.canvas.setViewerPreference("PrintScaling", "None")  # ask the viewer not to "fit to page"

    def rects(self, rects: list[tuple[float, float, float, float]], srgb: tuple[int, int, int]) -> None:
        """Fill rectangles (x, y, w, h) as one path: no hairline where two of them touch."""
        path = self.canvas.beginPath()
        for x, y, w, h in rects:
            path.rect(x * _POINTS, (self._height - y - h) * _POINTS, w * _POINTS, h * _POINTS)
        self.canvas.setFillColorRGB(*(v / 255.0 for v in srgb))
        self.canvas.drawPath(path, stroke=0, fill=1)

    def line(
        self, start: tuple[float, float], end: tuple[float, float], srgb: tuple[int, int, int], width: float = 0.15
    ) -> None:
        """A straight line, ``width`` in mm."""
        self._pen(srgb, width)
        (x0, y0), (x1, y1) = start, end
        height = self._height
        self.canvas.line(x0 * _POINTS, (height - y0) * _POINTS, x1 * _POINTS, (height - y1) * _POINTS)

    def frame(self, rect: tuple[float, float, float, float], srgb: tuple[int, int, int], width: float = 0.15) -> None:
        """The outline of a rectangle."""
        self._pen(srgb, width)
        x, y, w, h = rect
        self.canvas.rect(x * _POINTS, (self._height - y - h) * _POINTS, w * _POINTS, h * _POINTS, stroke=1, fill=0)

    def circle(self, centre: tuple[float, float], radius: float, srgb: tuple[int, int, int], width: float) -> None:
        """A ring, ``width`` in mm, centred on ``radius``."""
        self._pen(srgb, width)
        self.canvas.circle(
            centre[0] * _POINTS, (self._height - centre[1]) * _POINTS, radius * _POINTS, stroke=1, fill=0
        )

    def text(
        self,
        at: tuple[float, float],
        words: str,
        size: float,
        srgb: tuple[int, int, int],
        *,
        align: str = "left",
        bold: bool = False,
        turned: float = 0.0,
    ) -> None:
        """One line of text, ``size`` in points, its base line's start, middle or end ``at``."""
        self.canvas.saveState()
        self.canvas.translate(at[0] * _POINTS, (self._height - at[1]) * _POINTS)
        self.canvas.rotate(turned)
        self.canvas.setFont("Helvetica-Bold" if bold else "Helvetica", size)
        self.canvas.setFillColorRGB(*(v / 255.0 for v in srgb))
        draw = {"left": self.canvas.drawString, "middle": self.canvas.drawCentredString}
        draw.get(align, self.canvas.drawRightString)(0, 0, words)
        self.canvas.restoreState()

    def paragraph(self, at: tuple[float, float] | None, width: float, markup: str, style: ParagraphStyle) -> float:
        """Text broken to ``width`` below ``at``, or only measured; returns its height in mm."""
        from reportlab.platypus import Paragraph  # noqa: PLC0415 - heavy

        block = Paragraph(markup, style)
        _, height = block.wrapOn(self.canvas, width * _POINTS, 1000.0)
        if at is not None:
            block.drawOn(self.canvas, at[0] * _POINTS, (self._height - at[1]) * _POINTS - height)
        return float(height) / _POINTS

    def finish(self) -> bytes:
        """Close the page and give the file."""
        self.canvas.showPage()
        self.canvas.save()
        return self._buffer.getvalue()

    def _pen(self, srgb: tuple[int, int, int], width: float) -> None:
        self.canvas.setStrokeColorRGB(*(v / 255.0 for v in srgb))
        self.canvas.setLineWidth(width * _POINTS)


def draw_sheet(paper: str = "a4") -> bytes:
    """The PDF file of one sheet with two cards.

    Parameters
    ----------
    paper
        A key of ``PAPERS``.

    Raises
    ------
    KeyError
        If the paper is not known.
    """
    page = PAPERS[paper]
    sheet = _Sheet(page.size_mm)
    _draw_head(sheet, page)
    for origin in page.origins_mm:
        _draw_card(sheet, origin)
    _draw_cut_marks(sheet, page)
    _draw_slip(sheet, page)
    return sheet.finish()


def marker_cells(number: int) -> list[tuple[float, float, float, float]]:
    """Black parts (x, y, w, h in mm from the marker's corner) of one fiducial, its border included, row by row."""
    import cv2  # noqa: PLC0415 - heavy, and the layout as JSON does not need it

    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY))
    count = dictionary.markerSize + 2
    black = dictionary.generateImageMarker(number, count, borderBits=1) == 0
    cell = MARKER_MM / count
    return [(c * cell, r * cell, cell, cell) for r in range(count) for c in range(count) if black[r, c]]


def _draw_card(sheet: _Sheet, origin: tuple[float, float]) -> None:
    card = layout()
    ox, oy = origin
    for marker in card.markers:
        mx, my = marker.corners_mm[0]
        sheet.rects([(ox + mx + x, oy + my + y, w, h) for x, y, w, h in marker_cells(marker.id)], (0, 0, 0))
    for patch in card.patches:
        if patch.role != "white":  # a white patch is bare paper
            x, y, w, h = patch.rect_mm
            sheet.rects([(ox + x, oy + y, w, h)], patch.srgb)
    x, y, w, h = card.lane_mm
    sheet.frame((ox + x, oy + y, w, h), _OUTLINE)
    (left, top, _, tall), (right, _, wide, _) = LANE_PRINT_MM
    _arrow(sheet, (ox + left + 0.6, oy + top + tall / 2))
    sheet.text((ox + left + 5.2, oy + top + tall - 0.2), "DIPPED", 7.5, _LABEL, bold=True)
    sheet.text((ox + right + wide - 0.2, oy + top + tall - 0.2), "PADS UP", 7.5, _LABEL, align="right", bold=True)
    for window in card.windows.values():
        cx, cy = window.centre_mm
        sheet.circle((ox + cx, oy + cy), window.radius_mm, _OUTLINE, 0.15)
        sheet.circle((ox + cx, oy + cy), RING_RADIUS_MM, RING_SRGB, RING_WIDTH_MM)
    # In the outer lower corners of the windows, farther from their rims than the reader looks.
    sheet.text((ox + 20.6, oy + 82.4), "SAMPLE", 11, _LABEL, bold=True)
    sheet.text((ox + 127.4, oy + 82.4), "BLANK", 11, _LABEL, align="right", bold=True)
    # Beside the windows, well away from the lane: what is written here by hand must not pass for a strip.
    sheet.line((ox + 26.3, oy + 77.5), (ox + 26.3, oy + 55.0), _OUTLINE)
    sheet.text((ox + 29.4, oy + 77.5), "printed on", 8.5, _LABEL, turned=90, bold=True)
    sheet.text((ox + 121.0, oy + 77.5), "dipped end left", 8.5, _LABEL, turned=90, bold=True)
    sheet.text((ox + 124.6, oy + 77.5), "same card always", 8.0, _LABEL, turned=90, bold=True)
    sheet.text((ox + 127.9, oy + 77.5), f"card {VERSION}", 8.0, _LABEL, turned=90, bold=True)


def _arrow(sheet: _Sheet, tip: tuple[float, float]) -> None:
    """A small arrow to the left with its tip at ``tip``."""
    x, y = tip
    sheet.line((x, y), (x + 4.0, y), _LABEL, 0.35)
    sheet.line((x, y), (x + 1.3, y - 0.8), _LABEL, 0.35)
    sheet.line((x, y), (x + 1.3, y + 0.8), _LABEL, 0.35)


def _draw_cut_marks(sheet: _Sheet, page: Paper) -> None:
    """Short marks outside each corner, and a pale line along the cut."""
    for x, y in page.origins_mm:
        sheet.frame((x, y, *SIZE_MM), (225, 225, 225), 0.1)
    left, right = page.origins_mm[0][0], page.origins_mm[0][0] + SIZE_MM[0]
    top, bottom = page.origins_mm[0][1], page.origins_mm[-1][1] + SIZE_MM[1]
    for y in (*(origin[1] for origin in page.origins_mm), bottom):
        sheet.line((left - 6.0, y), (left - 1.0, y), _CUT)
        sheet.line((right + 1.0, y), (right + 6.0, y), _CUT)
    for x in (left, right):
        sheet.line((x, top - 4.0), (x, top - 1.0), _CUT)
        sheet.line((x, bottom + 1.0), (x, bottom + 4.0), _CUT)


def _draw_head(sheet: _Sheet, page: Paper) -> None:
    """Title on the left, scale bar on the right."""
    top = page.origins_mm[0][1] - 12.5
    sheet.text((_MARGIN_MM, top + 3.2), "Reference card", 15, _TEXT, bold=True)
    sheet.text((_MARGIN_MM, top + 7.6), "two cards for strips, tints and solids", 8, _TEXT)
    end = page.size_mm[0] - _MARGIN_MM
    x0, x1 = scale_bar_mm(page)
    sheet.rects([(x0, top + 4.0, _SCALE_MM, 0.5)], (0, 0, 0))
    for n in range(11):
        tall = 3.0 if n % 5 == 0 else 1.6
        # End ticks lie inside, so that the bar's outer edges are the measure.
        x = min(max(x0 + n * _SCALE_MM / 10 - 0.125, x0), x1 - 0.25)
        sheet.rects([(x, top + 4.5 - tall, 0.25, tall)], (0, 0, 0))
    sheet.text((x0, top + 7.6), "must measure 100 mm", 8, _TEXT, bold=True)
    sheet.text((end, top + 7.6), "if not: print again at 100 %, without “fit to page”", 7, _TEXT, align="right")


def scale_bar_mm(page: Paper) -> tuple[float, float]:
    """Left and right end (mm from the left of the page) of the scale bar."""
    end = page.size_mm[0] - _MARGIN_MM
    return end - _SCALE_MM, end


def _draw_slip(sheet: _Sheet, page: Paper) -> None:
    """Below the cards a slip in a dashed frame of its own: what is cut off the cards is kept with them."""
    bottom = page.origins_mm[-1][1] + SIZE_MM[1]
    left, top = _MARGIN_MM - _SLIP_INSET_MM, bottom + _SLIP_GAP_MM
    width, height = page.size_mm[0] - 2 * left, page.size_mm[1] - _SLIP_FOOT_MM - top
    for size in _SLIP_POINTS:
        if _slip_words(sheet, page, size, None) < height - _SLIP_INSET_MM:
            break
    sheet.canvas.setDash(3, 2)
    sheet.frame((left, top, width, height), _TEXT, 0.2)
    sheet.canvas.setDash()
    _slip_words(sheet, page, size, top)


def _slip_words(sheet: _Sheet, page: Paper, points: float, top: float | None) -> float:
    """Three columns of the slip from ``top`` on, or only measured; returns the height in mm of the tallest."""
    from reportlab.lib import styles  # noqa: PLC0415 - heavy

    body = styles.ParagraphStyle("body", fontName="Helvetica", fontSize=points, leading=1.16 * points, textColor="#111")
    head = styles.ParagraphStyle("head", parent=body, fontName="Helvetica-Bold", fontSize=9.5, leading=11.5)
    gap, shares = 4.5, (0.26, 0.35, 0.39)
    whole = page.size_mm[0] - 2 * _MARGIN_MM - gap * (len(INSTRUCTIONS) - 1)
    x, tallest = _MARGIN_MM, 0.0
    for share, (heading, paragraphs) in zip(shares, INSTRUCTIONS, strict=True):
        width, y = share * whole, 1.2
        for words, style in ((heading, head), *((words, body) for words in paragraphs)):
            at = None if top is None else (x, top + y)
            y += sheet.paragraph(at, width, words, style) + 0.6
        x, tallest = x + width + gap, max(tallest, y)
    return tallest
