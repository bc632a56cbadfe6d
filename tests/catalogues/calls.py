"""Calls that say a sentence, found in Python by its own parser: those inside other calls and f-strings, too."""

from __future__ import annotations

import ast
from collections.abc import Collection, Iterator
from typing import IO, Any


def of_python(
    fileobj: IO[bytes],
    keywords: Collection[str],
    comment_tags: Collection[str],
    options: dict[str, Any],
) -> Iterator[tuple[int, str, tuple[str | None, ...], list[str]]]:
    """Every call of a keyword with its literal texts."""
    for node in ast.walk(ast.parse(fileobj.read())):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in keywords:
            texts = tuple(_text(argument) for argument in node.args)
            if texts and texts[0] is not None:
                yield node.lineno, node.func.id, texts, []


def _text(argument: ast.expr) -> str | None:
    return argument.value if isinstance(argument, ast.Constant) and isinstance(argument.value, str) else None
