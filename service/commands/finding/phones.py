"""`stripread log phones`: the phones that took the photos, by the names of their user."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import click

from service.errors import ServiceError
from service.terminal.log_options import log_options, opened
from stripread.errors import CallError
from stripread.json_line import json_line
from stripread.words import _, _n, say


@click.command("phones")
@click.option("--name", "named", nargs=2, metavar="PHONE NAME", help='Its user\'s name for it: 1 "workshop phone".')
@click.option("--json", "as_json", is_flag=True, help="One JSON object a phone.")
@log_options
def phones(named: tuple[str, str] | None, as_json: bool, data: Path, database: str | None) -> int:
    """The phones of the log by number, name, make and model. Photos of an older log are looked at first.

    With --name one of them is called so from now on, beside its earlier readings too; an empty name takes it away.
    """
    from service.log.aside.phones import UNKNOWN, all_phones, name_phone, unknown_photos
    from service.log.photos.place import blobs_of
    from service.readers.earlier.phones import look_at_earlier_now

    with opened(data, database) as log:
        look_at_earlier_now(log, blobs_of(data, reading=True))
        if named is not None:
            number, name = _number(named[0]), named[1]
            try:
                with log.write(alone=True) as c:
                    name_phone(c, number, name)
            except ServiceError as problem:
                raise CallError(problem.detail) from None
        with log.read() as c:
            found, unknown = all_phones(c), unknown_photos(c)
    for phone in found:
        photos = _n("{n} photo", "{n} photos", phone.photos)
        words = f"{phone.id:4d}  {phone.label}: {phone.make} {phone.model}, {photos}"
        click.echo(json_line(asdict(phone) | {"label": phone.label}) if as_json else words)
    if not as_json and (unknown or not found):
        photos = _n("{n} photo that names none", "{n} photos that name none", unknown)
        click.echo(f"   -  {say(UNKNOWN)}: {photos}")
    return 0


def _number(text: str) -> int:
    if not text.isascii() or not text.isdigit() or len(text) > 9:
        raise CallError(
            _("--name takes a phone's number and its name, not {text!r}: see `stripread log phones`", text=text)
        )
    return int(text)
