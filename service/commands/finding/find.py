"""`stripread batch find`: search over batches, notes and readings."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from service.terminal.log_options import log_options, opened
from stripread.errors import CallError
from stripread.json_line import json_line
from stripread.states.table import state
from stripread.words import _, say

if TYPE_CHECKING:
    from service.log.finding.search import Page


@click.command("find")
@click.argument("words", nargs=-1)
@click.option("--kind", help="batch, a kind of note (weight, decant …) or of reading (ph, tint, solid, cells).")
@click.option("--state", type=click.Choice(["open", "closed"]), help="Of the batch.")
@click.option("--stage", help="Id of the stage that the batch is in now.")
@click.option("--status", type=click.Choice(["ok", "doubtful", "refused"]), help="Of a reading.")
@click.option("--since", help="From this day or time on (2026-05-12, 2026-05-12T10:00), in this computer's zone.")
@click.option("--until", help="Before this day or time.")
@click.option("--batch", type=click.IntRange(1), help="Only in this batch.")
@click.option("--limit", type=click.IntRange(1, 200), default=30, show_default=True, help="At most so many.")
@click.option("--after", help="The next page, as the one before says.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@log_options
def find(words: tuple[str, ...], data: Path, database: str | None, **o: Any) -> int:  # noqa: ANN401 - click's options
    """Batches, notes and readings with all of WORDS, newest first."""
    from dataclasses import asdict

    from service.log.finding.search import search
    from service.log.finding.sources import Wanted

    said = (o["kind"], o["state"], o["stage"], o["status"])
    wanted = Wanted(" ".join(words), *said, _time(o["since"], "--since"), _time(o["until"], "--until"), o["batch"])
    with opened(data, database, reading=True) as log, log.read() as c:
        page = search(c, wanted, limit=o["limit"], after=o["after"])
    click.echo(json_line(asdict(page)) if o["as_json"] else _lines(page))
    return 0


def _time(text: str | None, option: str) -> datetime | None:
    if text is None:
        return None
    try:
        at = datetime.fromisoformat(text)
        return at.astimezone() if 2 <= at.year <= 9998 else None
    except (ValueError, OverflowError, OSError):
        raise CallError(
            _("{option} takes a day or a time, 2026-05-12 or 2026-05-12T10:00, not {text!r}", option=option, text=text)
        ) from None


def _lines(page: Page) -> str:
    lines = []
    for found in page.found:
        at = found.at[:16].replace("T", " ")
        said = {"batch": str(found.batch), "name": found.batch_name}
        where = _("batch {batch}, {name} (closed)", **said) if found.closed else _("batch {batch}, {name}", **said)
        if found.what == "batch":
            lines.append(f"{at}  {where}")
            continue
        n, kind = str(found.id), say(found.kind.replace("_", " "))
        what = _("note {n}", n=n) if found.what == "note" else _("reading {n}", n=n)
        more = "" if found.counts else f"  [{_('no longer counts')}]"
        more += f"  [{state('reading', found.status).word}]" if found.status else ""
        lines.append(f"{at}  {where}: {what}, {kind}: {found.text or '-'}{more}")
    if page.after is not None:
        lines.append(_("There is more: --after {after}", after=page.after))
    return "\n".join(lines or [_("nothing found")])
