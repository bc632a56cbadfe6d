"""`stripread batch add`: photos into a batch of the local log."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from service.terminal.dilution import dilution_options, dilution_said
from service.terminal.log_options import log_options, no_folder
from service.terminal.quantity_types import Quantity
from stripread.errors import CallError
from stripread.json_line import json_line
from stripread.words import _

if TYPE_CHECKING:
    from service.readers.intake import Taken


@click.command("add")
@click.argument("batch", type=click.IntRange(1, 2**31 - 1))
@click.argument("photos", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--kind",
    type=click.Choice(["ph", "tint", "solid", "cells"]),
    default="ph",
    show_default=True,
    help="What the photos show: a strip, a tint, a solid, or a pair of vials by itself.",
)
@click.option("--wash", type=click.IntRange(0, 999), help="Number of the wash that it belongs to.")
@click.option("--note", default="", help="A word to go with it.")
@click.option("--profile", type=click.Path(path_type=Path), help="pH profile (default: profile.toml, if it is here).")
@click.option("--standards", type=click.Path(path_type=Path), help="Tint profile, for copper in mg/L.")
@click.option("--path-mm", type=Quantity("path_mm"), help="Depth of the liquid of a tint, mm.")
@click.option("--liquid", type=click.Choice(["acid", "neutral", "unknown"]), default="unknown", help="Of a tint.")
@click.option(
    "--ammonia-excess", type=click.Choice(["yes", "no", "unknown"]), default="unknown", help="Did a tint smell of it?"
)
@click.option("--ammonia-ph", type=Quantity("ph"), help="A strip's pH on the ammoniated drop of a tint: 9.5 or more.")
@click.option(
    "--flakes", type=click.Choice(["yes", "no", "unknown"]), default="unknown", help="Do pale flakes float in the drop?"
)
@click.option(
    "--water", type=click.Choice(["soft", "hard", "unknown"]), default="unknown", help="The rinse water of a tint."
)
@dilution_options
@click.option(
    "--matching",
    type=click.Choice(["blank", "swapped"]),
    default="blank",
    help="Of `--kind cells`, a photo that measures a pair of vials: both with one blank, or a tint's two exchanged.",
)
@click.option(
    "--cells", type=click.IntRange(1, 2**31 - 1), help="Entry (of the kind cells) that measures a tint's vials."
)
@click.option("--vials-changed", is_flag=True, help="Vials or their places were changed since that entry's photo.")
@click.option("--dipped-at", help="When a strip was dipped: seconds before the photo, or the phone's clock (10:04:30).")
@click.option("--temperature-c", type=Quantity("temp_c"), help="Temperature of a strip's sample when dipped, °C.")
@click.option("--rinse", is_flag=True, help="The liquid is rinse water: warn where it has no buffer.")
@click.option(
    "--blank", type=click.IntRange(1, 2**31 - 1), help="Entry of the rinse water's own strip, to compare with."
)
@click.option(
    "--beside",
    metavar="LIQUID",
    help="Two strips in the lane: what the lower one was dipped in. A pH, a buffer ('phosphate 22 C'), or water.",
)
@click.option("--who", help="Who took them.")
@click.option("--confirm", is_flag=True, help="They count as they are, whatever would be asked about them first.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line, a photo each.")
@log_options
def add(
    batch: int,
    photos: tuple[Path, ...],
    as_json: bool,
    data: Path,
    database: str | None,
    **o: Any,  # noqa: ANN401
) -> int:
    """Read PHOTOS and write them into BATCH, as the phone's page does. Refused photos are logged too.

    A photo counts from when it was taken, by its own clock (EXIF; in the batch's zone where it names none), else by
    its file's, as far as that can be. The same photo again within a minute counts once. Exit code 0 when every photo
    was read, 1 when one was refused, 2 when the call was wrong.
    """

    from sqlalchemy.exc import SQLAlchemyError

    from service.log.entries import file_name
    from service.moments import file_time
    from service.readers.add_photos import add_photos, entry_lines
    from service.readers.intake import Submission
    from service.readers.statement import StripStatement
    from service.readers.taking import taking_of
    from service.settings import Settings
    from service.terminal.once import said_once
    from service.terminal.photo_batch import check_photos

    if not data.is_dir():
        raise no_folder(data)
    profile = o["profile"] or (Path("profile.toml") if Path("profile.toml").is_file() else None)
    check_photos(photos)
    for path in (profile, o["standards"]):
        if path is not None and not path.is_file():
            raise CallError(_("no such file: {path}", path=path))
    if profile is None and o["kind"] == "ph":
        raise CallError(_("a strip needs its --profile, made by `stripread calibrate`"))
    if len(o["note"]) > 2000:
        raise CallError(_("a note has at most 2000 characters"))
    tint = o["kind"] == "tint"
    diluted = dilution_said(o["dilution"], o["sample_ml"], o["drops"], o["added_ml"])
    taking = taking_of(
        wash=o["liquid"],
        dilution=diluted,
        **{name: o[name] for name in ("water", "ammonia_excess", "ammonia_ph", "flakes")},
    )
    if o["kind"] == "cells":
        taking = {"matching": o["matching"]}
    if o["cells"] is not None and not tint:
        raise CallError(_("--cells goes with --kind tint: it names the entry that measures the tint's vials"))
    if o["vials_changed"] and o["cells"] is None:
        raise CallError(_("--vials-changed says that the vials of --cells were changed: give --cells too"))
    strip = o["kind"] == "ph"
    if o["beside"] is not None and o["blank"] is not None:
        raise CallError(_("--beside compares two strips in one photo, --blank two photos: give one of the two"))
    rinse = o["rinse"] or o["blank"] is not None
    said = StripStatement(o["dipped_at"], o["temperature_c"], rinse, None, o["beside"]) if strip else StripStatement()
    sent = [
        Submission(
            batch,
            o["kind"],
            file_name(p.name),
            o["wash"],
            o["note"].strip(),
            o["path_mm"] if tint else None,
            taking if tint or o["kind"] == "cells" else {},
            snapped_at=file_time(p),
            snapped_by="file",
            own_time=True,
            said=said,
            blank_entry=o["blank"] if strip else None,
            cells_entry=o["cells"],
            vials_changed=o["vials_changed"],
            who=o["who"],
            confirm=o["confirm"],
        )
        for p in photos
    ]

    def told(taken: Taken) -> None:
        click.echo(json_line(taken.entry) if as_json else entry_lines(taken, run.own))

    settings = Settings(data, database, profiles=(profile,) if profile else (), tint_standards=o["standards"])
    try:
        with said_once(click.echo) as run:
            done = add_photos(settings, list(zip(sent, photos, strict=True)), told)
    except SQLAlchemyError as problem:
        raise CallError(_("can't use the log: {splitlines_0}", splitlines_0=str(problem).splitlines()[0])) from None
    except OSError as problem:
        raise CallError(_("can't write to the log: {value}", value=problem.strerror or problem)) from None
    for taken in [taken for taken in done if taken.entry["log"].get("asked") and not as_json]:
        _ask(taken, data, database, o["who"])
    return int(any(taken.entry["status"] == "refused" for taken in done))


def _ask(taken: Taken, data: Path, database: str | None, who: str | None) -> None:
    """Put what is asked about an entry to who sits at the terminal; what stays unanswered does not count."""
    from service.bench.question import Question
    from service.log.correction import Correction
    from service.log.timeline.correcting import correct_entry
    from service.terminal.log_options import opened
    from service.terminal.questions import answer_of

    choice = answer_of(Question.model_validate(taken.entry["log"]["asked"][0]))
    if choice is None:
        return
    answers: dict[str, dict[str, Any]] = {"wash": {"wash": choice.wash}, "withdraw": {"withdraw": True}}
    said = answers.get(choice.do, {"confirm": True})
    correction = Correction.model_validate({"by": who or "", "why": f"asked when it was added: {choice.label}", **said})
    with opened(data, database) as log, log.write() as c:
        made = correct_entry(c, taken.entry_id, correction)
    click.echo(f"entry {made['log']['id']} in place of {taken.entry_id}: {choice.label}")
