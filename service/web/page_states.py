"""The table of states for the page: a module with words and signs, and a sheet with the colours of both themes."""

from __future__ import annotations

import json
from collections.abc import Mapping

from stripread.states.table import Table, table


def page_files() -> dict[str, tuple[str, str]]:
    """Address of each file that is made from the table -> its text and its media type."""
    found = table()
    return {
        "/states.js": (_script(found), "text/javascript; charset=utf-8"),
        "/states.css": (_sheet(found), "text/css; charset=utf-8"),
    }


def _script(found: Table) -> str:
    words = {
        kind: {code: {"word": one.english, "sign": one.sign, "tone": one.tone.name} for code, one in codes.items()}
        for kind, codes in found.states.items()
    }
    return (
        "// Made from the one table of states; the sheet of the same name has its colours.\n"
        f"export const STATES = {json.dumps(words, ensure_ascii=False, indent=1)};\n"
    )


def _sheet(found: Table) -> str:
    def variables(theme: str, colours: Mapping[str, str]) -> str:
        tones = "".join(f" --{name}: {getattr(tone, theme)};" for name, tone in found.tones.items())
        return f":root {{ color-scheme: {theme}; --ink: {colours['ink']}; --paper: {colours['ground']};{tones} }}"

    light, dark = (variables(theme, found.themes[theme]) for theme in ("light", "dark"))
    classes = "\n".join(f".tone-{name} {{ color: var(--{name}); }}" for name in found.tones)
    return f"{light}\n@media (prefers-color-scheme: dark) {{ {dark} }}\n{classes}\n"
