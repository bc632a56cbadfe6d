"""`stripread batch procedure`: a batch goes on by another procedure, with a reason that the log keeps."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from service.terminal.log_options import log_options, opened
from stripread.words import _, say


@click.command("procedure")
@click.argument("batch", type=click.IntRange(min=1))
@click.argument("procedure")
@click.option("--reason", required=True, help="Why; the log keeps it.")
@click.option("--to", help="The stage of it in which the batch goes on, by its id; else that of the same name.")
@click.option("--who", help="Who says so.")
@log_options
def procedure_(batch: int, procedure: str, data: Path, database: str | None, **how: Any) -> int:  # noqa: ANN401
    """Let BATCH go on by PROCEDURE, a shipped one or a TOML file.

    It is undone like any note: `correct BATCH note NUMBER --withdraw --why …`.
    """
    from service.bench.procedure import load_procedure
    from service.log.course.moving import change_procedure

    found = load_procedure(procedure)
    with opened(data, database) as log, log.write() as c:
        made, state = change_procedure(c, batch, found, how["to"], how["reason"], how["who"])
    text = _(
        "note {id}: {procedure}, on in: {title}", id=made.id, procedure=say(found.name), title=say(state.stage.title)
    )
    click.echo(text)
    click.echo("".join(f"! {say(caution)}\n" for caution in state.stage.cautions), nl=False)
    return 0
