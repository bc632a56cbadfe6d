"""Gates and readings in the report: sign and word of the one table, in its colour for a white page."""

from __future__ import annotations

from markupsafe import Markup
from reportlab.lib import colors
from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import Paragraph

from stripread.states.table import Kind, state


def gate_html(code: str) -> Markup:
    """A gate's state as a small frame with sign and word."""
    shown = state("gate", code)
    return Markup('<span class="gate" style="color:{}">{}</span>').format(shown.tone.light, shown.text)


def gate_pdf(code: str, style: ParagraphStyle) -> Paragraph:
    """The same as a paragraph of a PDF."""
    shown = state("gate", code)
    own = ParagraphStyle(f"gate {shown.tone.name}", parent=style, textColor=colors.HexColor(shown.tone.light))
    return Paragraph(shown.text, own)


def word_of(code: str, kind: Kind = "reading") -> str:
    """A state's word alone, for running text."""
    return state(kind, code).word
