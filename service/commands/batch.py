"""`stripread batch …`: a batch of the local log at the bench: its stage and gate, notes, report."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from service.commands.batch_add import add
from service.commands.batch_log.labels import labels
from service.commands.batch_log.procedure import procedure_
from service.commands.batch_log.reminder_lines import reminder_lines
from service.commands.batch_log.timeline import correct, timeline_
from service.commands.batch_log.vessels import vessels
from service.commands.finding.closing import close, reopen
from service.commands.finding.compare import compare
from service.commands.finding.find import find
from service.commands.finding.share import share
from service.terminal.log_options import log_options, opened
from service.terminal.quantity_types import Quantity
from service.terminal.targets import check_target, made_folder
from stripread.errors import CallError
from stripread.json_line import json_line
from stripread.states.table import state as state_word
from stripread.words import _, say

if TYPE_CHECKING:
    from service.bench.state import State
    from service.log.database import Database
    from service.report.batch_record import BatchRecord

_NOTES = [
    "weight",
    "decant",
    "used",
    "ammonia_test",
    "acidified",
    "acid_rinse",
    "metal_check",
    "named_test",
    "melt",
    "bar",
    "poured",
    "mixed",
    "emptied",
    "vessel",
]
_NOTES += ["made_safe", "strike", "named_vessel", "vessel_holds", "moved", "filtered", "evaporated", "spilled"]
_NOTES += ["vessel_weighed", "silver_down", "handed_over"]
_FILE = "File to write: .html or .pdf."


@click.group("batch")
def command() -> None:
    """Run a batch of the log: stage and gate, weights, decants, reagents, stock vessel, report."""


for more in (add, procedure_, timeline_, correct, vessels, find, compare, share, close, reopen, labels):
    command.add_command(more)


@command.command("new")
@click.argument("name")
@click.option(
    "--procedure", default="chloride_lye_sugar", show_default=True, help="A shipped procedure or a TOML file."
)
@click.option(
    "--water", type=click.Choice(["pure", "air", "tap", "unknown"]), default="unknown", help="The rinse water."
)
@click.option("--alkalinity", type=Quantity("alkalinity_mmol_l"), help="Of tap water, mmol/L.")
@click.option("--zone", metavar="NAME", help="Zone of its times (Europe/Lisbon, UTC); this computer's if not said.")
@log_options
def new(name: str, procedure: str, zone: str | None, data: Path, database: str | None, **rinse: Any) -> int:  # noqa: ANN401
    """Start a batch called NAME."""
    from service.bench.procedure import load_procedure
    from service.log import store
    from service.log.course.moving import choose_procedure
    from service.moments import checked_zone

    load_procedure(procedure)  # a wrong one leaves no batch behind
    place = None if zone is None else checked_zone(zone)
    if not 1 <= len(name.strip()) <= 200:
        raise CallError(_("a batch's name has 1 to 200 characters"))
    with opened(data, database, make=True) as log, log.write() as c:
        number = store.add_batch(c, name.strip(), place)
        details: dict[str, Any] = {"water": rinse["water"]}
        if rinse["alkalinity"] is not None:
            details["alkalinity_mmol_l"] = rinse["alkalinity"]
        store.change_batch(c, number, name=None, closed=None, details=details)
        choose_procedure(c, number, procedure)
    click.echo(f"batch {number}")
    return 0


@command.command("list")
@log_options
def list_(data: Path, database: str | None) -> int:
    """All batches, newest first, with when each was opened, in its own zone, and what is to be done by now."""
    from service.log import store
    from service.log.course.reminders import reminders_now
    from service.moments import in_zone, spoken

    with opened(data, database, reading=True) as log, log.read() as c:
        to_do = {one.batch: [r for r in one.reminders if r.state != "later"] for one in reminders_now(c)}
        for row in store.all_batches(c):
            closed = _(" (closed)") if row["closed_at"] else ""
            click.echo(
                _(
                    "{id:4d}  {at} {zone}  {name}{closed}, {entries} readings",
                    id=row["id"],
                    at=spoken(in_zone(row["opened_at"], row["zone"])),
                    zone=row["zone"],
                    name=row["name"],
                    closed=closed,
                    entries=row["entries"],
                )
            )
            for line in reminder_lines(to_do.get(row["id"], []), row["zone"]):
                click.echo(f"      {line}")
    return 0


@command.command("show")
@click.argument("batch", type=click.IntRange(min=1))
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@log_options
def show(batch: int, as_json: bool, data: Path, database: str | None) -> int:
    """The stage of BATCH, its gate, and what to do next."""
    from service.bench.state_view import state_view
    from service.log import store
    from service.log.course.state import batch_state

    with opened(data, database, reading=True) as log, log.read() as c:
        state = batch_state(c, batch)
        zone = store.known_batch(c, batch)["zone"]
    click.echo(json_line(state_view(state).model_dump(mode="json")) if as_json else _lines(state, zone))
    return 0


def _lines(state: State, zone: str) -> str:
    lines = [
        _(
            "{title}. Gate: {gate}. {sentence}",
            title=say(state.stage.title),
            gate=state_word("gate", state.verdict.state).printed,
            sentence=state.verdict.sentence,
        ),
        _("Next: {next_line}", next_line=state.next_line),
    ]
    lines += [f"! {text}" for text in (*(d.sentence for d in state.dangers), *map(say, state.stage.cautions))]
    if state.balance is not None:
        lines.append(_("Silver: {verdict}", verdict=state.balance.verdict))
        if state.balance.chalk_note:
            low, value, high = state.balance.chalk_g
            lines.append(
                _(
                    "Chalk in it: {value:.2g} g ({low:.2g} to {high:.2g} g). {chalk_note}",
                    value=value,
                    low=low,
                    high=high,
                    chalk_note=state.balance.chalk_note,
                )
            )
    lines += reminder_lines(state.reminders, zone)
    lines += [sentence for melt in state.melts for sentence in melt.sentences]
    if state.portions is not None:
        lines.append(_("Portions: {sentence}", sentence=state.portions.sentence))
    if state.drying is not None:
        lines.append(_("Drying: {sentence}", sentence=state.drying.sentence))
    if state.stock is not None:
        lines.append(_("Stock vessel: {sentence}", sentence=state.stock.sentence))
    return "\n".join([*lines, *state.worth_doing, state.rules])


@command.command("zone")
@click.argument("batch", type=click.IntRange(min=1))
@click.argument("name", required=False)
@log_options
def zone_(batch: int, name: str | None, data: Path, database: str | None) -> int:
    """The zone in which times of BATCH are shown; with NAME, such as Europe/Lisbon, it is set.

    A camera that names no zone is read in the batch's: setting it moves what such photos count from.
    """
    from service.errors import NotFound
    from service.log import store
    from service.moments import checked_zone

    wanted = None if name is None else checked_zone(name)
    with opened(data, database, reading=name is None) as log, log.write() if wanted else log.read() as c:
        try:
            store.known_batch(c, batch)
        except NotFound as lost:
            raise CallError(lost.detail.rstrip(".")) from None
        if wanted is not None:
            store.change_batch(c, batch, name=None, closed=None, details=None, zone=wanted)
        click.echo(store.known_batch(c, batch)["zone"])
    return 0


@command.command("next")
@click.argument("batch", type=click.IntRange(min=1))
@click.option("--to", help="A stage by its id, instead of the next one.")
@click.option("--reason", help="Needed to go on against the gate; it is logged.")
@click.option("--who", help="Who says so.")
@log_options
def next_(batch: int, data: Path, database: str | None, **how: Any) -> int:  # noqa: ANN401 - click's options
    """Go on to the next stage of BATCH."""
    from service.log import store
    from service.log.course.moving import move_on

    with opened(data, database) as log, log.write() as c:
        _, state = move_on(c, batch, how["to"], how["reason"], how["who"])
        zone = store.known_batch(c, batch)["zone"]
    click.echo(_lines(state, zone))
    return 0


@command.command("note")
@click.argument("batch", type=click.IntRange(min=1))
@click.argument("kind", type=click.Choice(_NOTES))
@click.argument("fields", nargs=-1, required=True)
@click.option("--who", help="Who writes it down.")
@click.option("--confirm", is_flag=True, help="A second weight of the same thing: it is another lot, and adds.")
@log_options
def note(batch: int, kind: str, fields: tuple[str, ...], data: Path, database: str | None, **how: Any) -> int:  # noqa: ANN401
    """Write down a weight, decant, reagent, pouring or vessel: FIELD=VALUE …, masses and volumes with units.

    For example `note 1 weight of=chloride grams="1 lb" moisture=0.2-0.4`, `note 1 decant name="wash 2" litres="900 ml"
    settled_h="90 min"`, `note 1 moved how=merge vessel="lot 2" from_batch=2`, `note 1 strike note=7 why="wrong batch"`.
    """
    from service.log.notes import AskedFirst, Said, add_note, dangers_by
    from service.terminal.note_fields_typed import field_typed
    from service.terminal.questions import answer_of

    given = dict(field_typed(text) for text in fields)
    with opened(data, database) as log, log.write() as c:
        try:
            made = add_note(c, batch, kind, given, Said(how["who"]))
        except AskedFirst as asked:
            told: dict[str, Any] | None = {"again": "adds"} if how["confirm"] and "again" not in given else None
            if told is None and (choice := answer_of(asked.question)) is not None and choice.do == "data":
                told = choice.data
            if told is None:
                raise
            made = add_note(c, batch, kind, {**given, **told}, Said(how["who"]))
        dangers = dangers_by(c, batch, made)
    click.echo(_("note {id}: {fields}", id=made.id, fields=json_line(made.content.fields())))
    click.echo("".join(f"! {danger.sentence}\n" for danger in dangers), nl=False)
    return 0


@command.command("stock")
@log_options
def stock(data: Path, database: str | None) -> int:
    """What the stock vessel holds, over all batches since it was handed over; what neutralises it, slowly."""
    from service.bench.notes import Pouring, VesselReading
    from service.bench.vessel import waste
    from service.log import store
    from service.log.noted.stock_silver import shared_stock
    from service.log.noted.vessel import dangers_now, held_now, poured_now, silver_words, stock_now
    from service.moments import in_zone, spoken

    with opened(data, database, reading=True) as log, log.read() as c:
        held, dangers, silver = stock_now(c), dangers_now(c), silver_words(held_now(c))
        pourings, _more = poured_now(c)
        shared = shared_stock(c)
        zones = {batch: store.known_batch(c, batch)["zone"] for batch in {batch for batch, _note in pourings}}
    for batch, made in pourings:
        d = made.content
        what = f"{d.what}, {d.litres:g} L" if isinstance(d, Pouring) else ""
        what = f"read, pH {d.ph:g}" if isinstance(d, VesselReading) else what
        at = spoken(in_zone(made.at, zones[batch]))
        click.echo(_("{at}  batch {batch}: {what}", at=at, batch=batch, what=what))
    click.echo(_("{litres:.3g} L in all. {sentence}", litres=held.litres, sentence=held.sentence))
    click.echo("".join(f"{text}\n" for text in (shared and shared.sentence, silver) if text), nl=False)
    first = [*(danger.sentence for danger in dangers), *held.first[len(held.stops) :]]
    click.echo("".join(f"! {text}\n" for text in first), nl=False)
    found = [f"  {way.sentence}" for way in waste.ways(held)]
    click.echo("\n".join([*found, *waste.recover(held), *(f"! {text}" for text in waste.cautions(held))]))
    return 0


@command.command("demo")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("demo-out"),
    show_default=True,
    help="Folder for batch.html and batch.pdf, or one .html or .pdf file.",
)
@click.option("--data", type=click.Path(path_type=Path), help="Keep the made-up log in this new folder.")
@click.option(
    "--procedure", default="chloride_lye_sugar", show_default=True, help="The shipped procedure that it goes by."
)
def demo(out: Path, data: Path | None, procedure: str) -> int:
    """Make a batch up, from first wash to weighed silver: its photos are read, its gates judged, its report written."""
    import tempfile

    from service.demo.play import play
    from service.demo.scripts import script_of

    script = script_of(procedure)
    single = out.suffix.lower() in (".html", ".pdf")
    places = [out] if single else [out / "batch.html", out / "batch.pdf"]
    if data is not None and data.exists():
        raise CallError(_("{data} is there already: the made-up batch gets a folder of its own", data=data))
    made_folder(out.parent if single else out, "--out")
    for report_file in places:
        check_target(report_file, "--out")
    if data is not None:
        made_folder(data, "--data")
    click.echo(_("Reading the photos of a made-up batch …"), err=True)
    with tempfile.TemporaryDirectory() as scratch:
        place = data or Path(scratch) / "log"
        place.mkdir(parents=True, exist_ok=True)
        batch = play(place, script)
        with opened(place, None) as log:
            record = _record(log, place, batch)
    for report_file in places:
        _write(record, report_file)
    if data is not None:
        click.echo(_("The log is kept: stripread batch show {batch} --data {data}", batch=batch, data=data))
    return 0


@command.command("report")
@click.argument("batch", type=click.IntRange(min=1))
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help=_FILE)
@log_options
def report(batch: int, out: Path | None, data: Path, database: str | None) -> int:
    """Write the report of BATCH as one HTML page or one PDF, from the log alone."""
    place = _ending(out or Path(f"batch-{batch}.html"))
    check_target(place, "--out")
    with opened(data, database, reading=True) as log:
        record = _record(log, data, batch)
    return _write(record, place)


def _record(log: Database, data: Path, batch: int) -> BatchRecord:
    """The batch as its report shows it, with thumbnails made from the log's own photos."""
    from service.log import store
    from service.log.photos.place import blobs_of
    from service.log.report_source import batch_record
    from service.readers.pictures import NotAPicture, thumbnail

    with log.read() as c:
        blobs = blobs_of(data, reading=True)
        small: dict[str, bytes] = {}
        for row in store.entries_of(c, batch):
            try:
                small[row["photo_sha256"]] = thumbnail(blobs.here(row["photo_sha256"]))
            except (NotAPicture, OSError):
                continue  # the reading stands in the report without its picture
        return batch_record(c, batch, small)


def _ending(place: Path) -> Path:
    if place.suffix.lower() not in (".html", ".pdf"):
        raise CallError(_("a report is .html or .pdf, not {value}", value=place.suffix or _("without an ending")))
    return place


def _write(record: BatchRecord, place: Path) -> int:
    from service.report.html import html_report
    from service.report.pdf import pdf_report

    pdf = _ending(place).suffix.lower() == ".pdf"
    data = pdf_report(record) if pdf else html_report(record).encode()
    try:
        place.write_bytes(data)
    except OSError as problem:
        raise CallError(_("can't write {place}: {strerror}", place=place, strerror=problem.strerror)) from None
    click.echo(str(place))
    return 0
