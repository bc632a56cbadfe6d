"""Options that say how far acid and ammonia diluted a copper test: the ratio itself, or drops and volumes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

from service.terminal.quantity_types import Quantity
from stripread.errors import CallError
from stripread.words import _

F = TypeVar("F", bound=Callable[..., Any])


def dilution_options(command: F) -> F:
    """Add ``--dilution``, ``--sample-ml``, ``--drops`` and ``--added-ml`` to a command."""
    for option in (
        click.option("--added-ml", type=Quantity("added_ml"), help="Acid and ammonia added to it, mL, beside drops."),
        click.option("--drops", type=click.IntRange(0, 2000), default=0, help="Drops of ammonia (and acid) added."),
        click.option("--sample-ml", type=Quantity("ml"), help="The sample before anything was added, mL."),
        click.option(
            "--dilution", type=Quantity("dilution"), help="Volume after acid and ammonia over the sample's own: 1.2."
        ),
    ):
        command = option(command)
    return command


def dilution_said(dilution: float | None, sample_ml: float | None, drops: int, added_ml: float | None) -> float | None:
    """The dilution as given or worked out; None where nothing was said.

    Raises
    ------
    CallError
        If both were given, or drops without the sample's volume.
    """
    from stripread.tint.conditions import dilution_of

    if sample_ml is None:
        if drops or added_ml is not None:
            raise CallError(_("drops and added volume need --sample-ml, the sample before anything was added"))
        return dilution
    if dilution is not None:
        raise CallError(_("give --dilution, or --sample-ml with what was added, not both"))
    if not drops and added_ml is None:
        raise CallError(_("--sample-ml needs --drops or --added-ml: what was added to it"))
    return round(dilution_of(sample_ml, drops, added_ml or 0.0), 4)
