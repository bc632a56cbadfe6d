"""A question about an entry put to who sits at the terminal; nobody is asked where nobody can answer."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from stripread.words import _

if TYPE_CHECKING:
    from service.bench.question import Choice, Question


def answer_of(question: Question) -> Choice | None:
    """The answer that was chosen, with a wash number that was typed; None where nobody can be asked, or says later."""
    if not sys.stdin.isatty():
        return None
    click.echo(f"? {question.sentence}", err=True)
    for place, choice in enumerate(question.choices, 1):
        click.echo(f"  {place}  {choice.label}", err=True)
    click.echo(_("  0  Later: it does not count until then"), err=True)
    chosen = click.prompt(_("Which"), type=click.IntRange(0, len(question.choices)), default=0, err=True)
    if chosen == 0:
        return None
    choice = question.choices[chosen - 1]
    if choice.do == "wash" and choice.wash is None:
        return choice.model_copy(update={"wash": click.prompt(_("Wash"), type=click.IntRange(0, 999), err=True)})
    return choice
