"""Gates and readings in the report: sign and word of the one table, in its colour for a white page."""

from __future__ import annotations

from markupsafe import Markup

from stripread.states.table import Kind, state


def gate_html(code: str) -> Markup:
    """A gate's state as a small frame with sign and word."""
    shown = state("gate", code)
    return Markup('<span class="gate" style="color:{}">{}</span>').format(shown.tone.light, shown.text)


def gate_cell(code: str) -> dict[str, str]:
    """The same as a cell of the PDF: its words, and their colour."""
    shown = state("gate", code)
    return {"toned": shown.text, "tone": shown.tone.light}


def word_of(code: str, kind: Kind = "reading") -> str:
    """A state's word alone, for running text."""
    return state(kind, code).word
