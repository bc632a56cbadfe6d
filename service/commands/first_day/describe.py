"""`stripread describe`: an unused strip on the card, measured, to the file of its kind."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from service.terminal.quantity_types import Quantity
from stripread.errors import CallError
from stripread.json_line import json_line
from stripread.words import _

if TYPE_CHECKING:
    from stripread.describe.result import StripDescription
    from stripread.kind import StripKind


@click.command("describe")
@click.argument("photo", required=False, type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="The strip kind's file to write, such as strip.toml.")
@click.option("--name", help="What the strip is called (needed with --out).")
@click.option(
    "--range",
    "ph_range",
    nargs=2,
    type=Quantity("ph"),
    help="The lowest and the highest pH of the strip, such as 0 14 (needed with --out).",
)
@click.option(
    "--read-after",
    "read_after_s",
    nargs=2,
    type=Quantity("read_after_s"),
    help="The maker's reading window after dipping, in [s]: 10 60.",
)
@click.option("--roll", is_flag=True, help="Paper off a roll: one colour all along; no photo is needed.")
@click.option("--pads", type=click.IntRange(1, 24), help="How many pads it has, counted: a missed one is told.")
@click.option("--overlay", type=click.Path(path_type=Path), help="Write a picture of what was found: a PNG file.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def command(  # noqa: PLR0917 - the command's options
    photo: Path | None,
    out: Path | None,
    name: str | None,
    ph_range: tuple[float, float] | None,
    read_after_s: tuple[float, float] | None,
    roll: bool,
    pads: int | None,
    overlay: Path | None,
    as_json: bool,
) -> int:
    """Measure an unused strip in PHOTO and write its kind's file.

    Lay one dry, unused strip in the card's lane, the end that is dipped to the left, pads up, and photograph the whole
    card. Look at the picture: what is not sure is said, and can be corrected in the file with a ruler.

    Exit code 0 when the strip was measured, 1 when the photo was refused, 2 when the call was wrong.
    """
    from service.terminal.targets import check_target
    from stripread.kind import roll_kind

    if photo is None and not roll:
        raise CallError(_("nothing to measure: give a photo of an unused strip, or --roll for paper off a roll"))
    if out is not None and (not name or ph_range is None):
        raise CallError(_("--out needs --name and --range: say what the strip is called and which pH it shows"))
    if photo is not None:
        from service.terminal.photo_batch import check_photos

        check_photos((photo,))
    inputs = [] if photo is None else [photo]
    if out is not None:
        check_target(out, "--out", inputs)
    if overlay is not None:
        check_target(overlay, "--overlay", inputs, ".png")
    if photo is None:
        assert name is not None or out is None
        if out is not None and name is not None and ph_range is not None:
            _written(out, roll_kind(name, ph_range, read_after_s), sure=True)
        return 0
    described = _described(photo, overlay, pads)
    click.echo(json_line(described.to_dict()) if as_json else _lines(described, photo))
    if described.status == "refused":
        return 1
    if out is not None and name is not None and ph_range is not None:
        kind = described.kind(name, ph_range, read_after_s)
        if roll and not kind.is_roll:
            kind = roll_kind(name, ph_range, read_after_s, width_mm=kind.width_mm, length_mm=kind.length_mm)
        _written(out, kind, sure=described.status == "ok", quiet=as_json)
    return 0


def _described(photo: Path, overlay: Path | None, pads: int | None) -> StripDescription:
    from stripread.describe.read import trace_description

    trace = trace_description(photo.read_bytes(), str(photo), pads)
    assert trace.description is not None
    if overlay is not None:
        from stripread.picture.of_described import described_picture

        overlay.write_bytes(described_picture(trace))
    return trace.description


def _written(out: Path, kind: StripKind, *, sure: bool, quiet: bool = False) -> None:
    """Write the kind's file and say what comes next; it is read again first, so that no file is written in vain."""
    from stripread.kind import kind_from_dict, kind_text

    kind_from_dict(kind.to_dict(), str(out))
    try:
        out.write_text(kind_text(kind), encoding="utf-8")
    except OSError as problem:
        raise CallError(_("can't write {out}: {value}", out=out, value=problem.strerror or problem)) from None
    if quiet:
        return
    if sure:
        said = _(
            "{out}: the strip kind '{name}'. Calibrate with it: stripread calibrate {out}", out=out, name=kind.name
        )
    else:
        said = _(
            "{out}: the strip kind '{name}', not sure yet. Correct in it with a ruler what is named above, or take "
            "another photo; then calibrate: stripread calibrate {out}",
            out=out,
            name=kind.name,
        )
    click.echo(said)


def _lines(described: StripDescription, photo: Path) -> str:
    """The description for the terminal."""
    from stripread.states.table import mark

    lines = []
    if described.width is not None and described.length is not None:
        head = _(
            "{photo}: {width:.1f} mm wide, {length:.1f} mm long",
            photo=photo,
            width=described.width.mm,
            length=described.length.mm,
        )
        head = _("{head}, roll paper", head=head) if described.roll else head
        lines.append(f"{head}  [{mark(described.status)}]")
        for number, pad in enumerate(() if described.roll else described.pads):
            line = _(
                "    pad {number}: {start:.1f} to {stop:.1f} mm from the dipped end, {width:.1f} mm wide",
                number=number + 1,
                start=pad.offset.mm,
                stop=pad.offset.mm + pad.length.mm,
                width=pad.width.mm,
            )
            lines.append(line if pad.doubt is None else _("{line}; not sure: {doubt}", line=line, doubt=pad.doubt))
    else:
        lines.append(f"{photo}: {_('no strip')}  [{mark(described.status)}]")
    return "\n".join([*lines, *(f"    {reason.message}" for reason in described.reasons)])
