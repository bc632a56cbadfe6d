"""Which made-up batch goes by which shipped procedure."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from service.bench.procedure import shipped
from service.demo import by_copper, by_lye, by_metal
from service.demo.script import Script


def script_of(procedure: str) -> Script:
    """The made-up batch by a shipped procedure.

    Raises
    ------
    CallError
        If no procedure of that name is shipped.
    """
    scripts: dict[str, Callable[[], Script]] = {by_lye.PROCEDURE: by_lye.script, by_copper.PROCEDURE: by_copper.script}
    scripts |= {f"chloride_{metal}": partial(by_metal.script, metal) for metal in by_metal.METALS}
    return scripts[shipped(procedure)]()
