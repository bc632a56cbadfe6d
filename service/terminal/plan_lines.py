"""What the commands of plans share: how wet the chloride is said to be, and printing a plan."""

from __future__ import annotations

from typing import Any

import click

from stripread.errors import CallError
from stripread.json_line import json_line
from stripread.words import say


def moisture_told(text: str | None) -> tuple[float, float] | None:
    """A share of water, "dry" or "drained" as (low, high); None where nothing is said."""
    from service.bench.weighings import moisture_of

    if text is None:
        return None
    try:
        return moisture_of(text)
    except ValueError as problem:
        raise CallError(f"--moisture: {problem}") from None


def print_plan(answer: dict[str, Any], lines: list[str], as_json: bool) -> int:
    """Print a plan as one JSON object or in words, with the rule above all plans."""
    from service.bench.chemistry.reagents import RULES

    if as_json:
        click.echo(json_line(answer))
    else:
        click.echo("\n".join([*lines, "", say(RULES)]))
    return 0
