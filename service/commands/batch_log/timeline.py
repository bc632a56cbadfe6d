"""`stripread batch timeline` and `batch correct`: a batch as one list, and what is put right in it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from service.terminal.log_options import log_options, opened
from stripread.errors import CallError
from stripread.json_line import json_line

if TYPE_CHECKING:
    from service.log.timeline.build import Item

_MARK = {"counts": "", "asked": "  [asked, does not count]", "withdrawn": "  [withdrawn]", "unreadable": "  [damaged]"}


@click.command("timeline")
@click.argument("batch", type=click.IntRange(min=1))
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line, an entry each.")
@log_options
def timeline_(batch: int, as_json: bool, data: Path, database: str | None) -> int:
    """Everything of BATCH in one list, newest first: photos, notes, stages, corrections with who and why."""
    from dataclasses import asdict

    from service.log import store
    from service.log.timeline.build import timeline

    with opened(data, database, reading=True) as log, log.read() as c:
        row = store.batch(c, batch)
        if row is None:
            raise CallError(f"there is no batch {batch}")
        items, _ = timeline(c, row)
    for item in items:
        if as_json:
            asked = [question.model_dump(mode="json", exclude_none=True) for question in item.asked]
            click.echo(json_line({**asdict(item), "asked": asked}))
        else:
            click.echo(_lines(item))
    return 0


def _lines(item: Item) -> str:
    what = "" if item.source == "batch" else f"{'entry' if item.source == 'reading' else 'note'} {item.number}: "
    by = f" ({item.who})" if item.who else ""
    lines = [f"{item.at[:16].replace('T', ' ')}  {what}{item.kind} {item.words}{by}{_MARK[item.standing]}"]
    lines += [f"    ? {question.sentence}" for question in item.asked]
    for change in item.history:
        who = f" by {change.who}" if change.who else ""
        lines.append(f"    {change.what}{who}: {change.why or 'no reason said'}; before: {change.before}")
    return "\n".join(lines)


@click.command("correct")
@click.argument("batch", type=click.IntRange(min=1))
@click.argument("what", type=click.Choice(["entry", "note"]))
@click.argument("number", type=click.IntRange(1, 2**31 - 1))
@click.argument("fields", nargs=-1)
@click.option("--why", required=True, help="Why; the log keeps it.")
@click.option("--who", help="Who says so.")
@click.option("--wash", type=click.IntRange(0, 999), help="Of an entry: the wash that it was.")
@click.option("--note", help="Of an entry: its word.")
@click.option("--confirm", is_flag=True, help="It is right as it is: the answer to what is asked about it.")
@click.option("--withdraw", is_flag=True, help="It counts no longer; it stays in the list.")
@click.option("--undo", is_flag=True, help="Take its withdrawal back, else its newest correction.")
@log_options
def correct(batch: int, what: str, number: int, fields: tuple[str, ...], **o: Any) -> int:  # noqa: ANN401
    """Correct entry or note NUMBER of BATCH, answer what is asked about it, withdraw it or undo that.

    For example `correct 1 entry 7 --wash 3 --why "miscounted"`, `correct 1 note 9 grams=412 --why "a digit left out"`,
    `correct 1 note 9 --undo --why "it was right"`.
    """
    if what == "entry":
        return _entry(batch, number, fields, o)
    if o["wash"] is not None or o["note"] is not None:
        raise CallError("--wash and --note are of an entry; a note's fields are given as FIELD=VALUE")
    if sum([bool(fields), o["confirm"], o["withdraw"], o["undo"]]) != 1:
        raise CallError("give one of FIELD=VALUE, --confirm, --withdraw, --undo")
    from service.log.notes import Said
    from service.log.timeline.amending import amend_note, answer_note, undo_note, withdraw_note
    from service.terminal.note_fields_typed import field_typed

    said = Said(o["who"], why=o["why"])
    with opened(o["data"], o["database"]) as log, log.write() as c:
        if fields:
            made = amend_note(c, batch, number, dict(field_typed(text) for text in fields), said)
        else:
            made = (answer_note if o["confirm"] else withdraw_note if o["withdraw"] else undo_note)(
                c, batch, number, said
            )
    click.echo(f"note {number}: {o['why']} (written down as {made.id})")
    return 0


def _entry(batch: int, number: int, fields: tuple[str, ...], o: dict[str, Any]) -> int:
    from service.errors import ServiceError
    from service.log import store
    from service.log.correction import Correction
    from service.log.timeline.correcting import correct_entry
    from service.readers.add_photos import value_words

    if fields:
        raise CallError("an entry is corrected by --wash, --note, --confirm, --withdraw or --undo")
    told = {name: o[name] for name in ("why", "wash", "note", "confirm", "withdraw", "undo")}
    try:
        said = Correction.model_validate({"by": o["who"] or "", **told})
        with opened(o["data"], o["database"]) as log, log.write() as c:
            if store.known_entry(c, number)["batch_id"] != batch:
                raise CallError(f"entry {number} is not of batch {batch}")
            made, _ = correct_entry(c, number, said)
    except ServiceError as problem:
        raise CallError(problem.detail.rstrip(".")) from None
    except ValueError:
        raise CallError("--why has 1 to 500 characters, --who at most 100, --note at most 2000") from None
    click.echo(f"entry {made['log']['id']} in place of {number}: {value_words(made)}")
    for question in made["log"]["asked"]:
        click.echo(f"    ? {question['sentence']}")
    return 0
