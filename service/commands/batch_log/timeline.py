"""`stripread batch timeline` and `batch correct`: a batch as one list, and what is put right in it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from service.moments import in_zone, spoken
from service.terminal.log_options import log_options, opened
from stripread.errors import CallError
from stripread.json_line import json_line
from stripread.states.table import state
from stripread.words import _, say

if TYPE_CHECKING:
    from service.log.timeline.build import Item


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
            raise CallError(_("there is no batch {batch}", batch=batch))
        items, _count = timeline(c, row)
    for item in items:
        if as_json:
            asked = [question.model_dump(mode="json", exclude_none=True) for question in item.asked]
            click.echo(json_line({**asdict(item), "asked": asked}))
        else:
            click.echo(_lines(item, row["zone"]))
    return 0


def _lines(item: Item, zone: str) -> str:
    n = {"n": str(item.number)}
    what = {"batch": "", "reading": f"{_('entry {n}', **n)}: ", "note": f"{_('note {n}', **n)}: "}[item.source]
    kind = say(item.kind.replace("_", " "))
    by = f" ({item.who})" if item.who else ""
    mark = "" if item.standing == "counts" else f"  [{state('entry', item.standing).printed}]"
    lines = [f"{spoken(in_zone(item.at, zone))}  {what}{kind} {item.words}{by}{mark}"]
    lines += [f"    ? {question.sentence}" for question in item.asked]
    for change in item.history:
        who = f" {_('by {who}', who=change.who)}" if change.who else ""
        before = _("before: {what}", what=change.before)
        lines.append(f"    {say(change.what)}{who}: {change.why or _('no reason said')}; {before}")
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
        raise CallError(_("--wash and --note are of an entry; a note's fields are given as FIELD=VALUE"))
    if sum([bool(fields), o["confirm"], o["withdraw"], o["undo"]]) != 1:
        raise CallError(_("give one of FIELD=VALUE, --confirm, --withdraw, --undo"))
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
    click.echo(_("note {number}: {why} (written down as {made})", number=str(number), why=o["why"], made=str(made.id)))
    return 0


def _entry(batch: int, number: int, fields: tuple[str, ...], o: dict[str, Any]) -> int:
    from service.errors import ServiceError
    from service.log import store
    from service.log.correction import Correction
    from service.log.timeline.correcting import correct_entry
    from service.readers.add_photos import value_words

    if fields:
        raise CallError(_("an entry is corrected by --wash, --note, --confirm, --withdraw or --undo"))
    told = {name: o[name] for name in ("why", "wash", "note", "confirm", "withdraw", "undo")}
    try:
        said = Correction.model_validate({"by": o["who"] or "", **told})
        with opened(o["data"], o["database"]) as log, log.write() as c:
            if store.known_entry(c, number)["batch_id"] != batch:
                raise CallError(_("entry {number} is not of batch {batch}", number=str(number), batch=str(batch)))
            made = correct_entry(c, number, said)
    except ServiceError as problem:
        raise CallError(problem.detail.rstrip(".")) from None
    except ValueError:
        raise CallError(_("--why has 1 to 500 characters, --who at most 100, --note at most 2000")) from None
    new = str(made["log"]["id"])
    click.echo(_("entry {new} in place of {number}: {value}", new=new, number=str(number), value=value_words(made)))
    for question in made["log"]["asked"]:
        click.echo(f"    ? {question['sentence']}")
    return 0
