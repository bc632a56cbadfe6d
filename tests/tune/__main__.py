"""Remake chosen numbers: ``python -m tests.tune NAME... [--setups N]``; ``--list`` names all of them."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from stripread.tuned import Value
    from tests.tune.engine import Finding


def words(value: Value) -> str:
    """A value as it is printed."""
    return ", ".join(f"{v:g}" for v in value) if isinstance(value, tuple) else f"{value:g}"


def report(name: str, found: Finding) -> str:
    """What was found, as lines of text."""
    from tests.tune.names import entries

    unit = entries()[name].unit
    lines = [
        f"{name} ({unit})",
        f"  stored {words(found.stored)}; fitted on {found.fitted_on} setups: {words(found.fitted)}",
        f"  on {found.judged_on} others:                          stored    fitted   (difference, standard error)",
    ]
    for measure, got in found.measures.items():
        change = f"({got.fitted - got.stored:+.4f}, {got.difference_se:.4f})"
        lines.append(f"    {measure:46s} {got.stored:9.4f} {got.fitted:9.4f}   {change}")
    return "\n".join(lines)


def listing() -> str:
    """Every chosen number with its value, and whether it has a command."""
    from tests.tune.names import TUNINGS, entries

    rows = [
        f"{name:24s} {words(entry.value):32s} {entry.command or 'no command; ' + entry.source}"
        for name, entry in entries().items()
    ]
    return "\n".join([*rows, f"{len(rows)} numbers, {len(TUNINGS)} with a command"])


@click.command()
@click.argument("names", nargs=-1)
@click.option("--setups", type=click.IntRange(min=2), help="Setups drawn; one half is fitted on, the other reported.")
@click.option("--first", default=700, show_default=True, help="Number of the first setup.")
@click.option("--workers", default=os.cpu_count(), show_default=True, help="Processes.")
@click.option("--list", "listed", is_flag=True, help="Name all numbers.")
def main(names: tuple[str, ...], setups: int | None, first: int, workers: int, *, listed: bool) -> None:
    """Fit chosen numbers anew on half of the setups and report on the other half. Nothing is written.

    Each number is fitted alone, the others as stored; those that need the same photos share them.
    """
    for limit in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(limit, "1")  # before numpy is loaded: small matrices, and a process for each core
    from stripread.errors import CallError
    from tests.tune.engine import draw_halves, remake
    from tests.tune.names import SETUPS, TUNINGS, entries

    if listed or not names:
        click.echo(listing())
        return
    for name in names:
        if name not in TUNINGS:
            known = name in entries()
            raise click.UsageError(
                f"{name} has no command yet" if known else f"no number is called {name}; --list names them"
            )
    drawn: dict[Any, Any] = {}
    for name in names:
        tuning = TUNINGS[name]
        try:
            if tuning.draw not in drawn:
                drawn[tuning.draw] = draw_halves(tuning.draw, first, setups or SETUPS[name], workers)
        except CallError as problem:
            raise click.ClickException(f"{name}: {problem}") from None
        click.echo(report(name, remake(name, tuning, *drawn[tuning.draw])))


if __name__ == "__main__":
    main()
