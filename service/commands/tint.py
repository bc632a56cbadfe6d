"""`stripread tint`: photos of a sample vial beside its blank to a decision about copper."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, cast

import click

from service.terminal.dilution import dilution_options, dilution_said
from service.terminal.quantity_types import Quantity
from stripread.errors import CallError
from stripread.json_line import json_line
from stripread.words import _

if TYPE_CHECKING:
    from stripread.tint.cells import SecondPhoto
    from stripread.tint.conditions import Answer, Wash, Water


@click.command("tint")
@click.argument("photos", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--path-mm", type=Quantity("path_mm"), help="Depth of the liquid in mm, the same in both vials. Without it no mg/L."
)
@click.option(
    "--standards", type=click.Path(path_type=Path), help="What `stripread calibrate-tint` wrote: narrower intervals."
)
@click.option("--wash", type=click.Choice(["acid", "neutral", "unknown"]), default="unknown", help="The wash so far.")
@click.option("--water", type=click.Choice(["soft", "hard", "unknown"]), default="unknown", help="The rinse water.")
@click.option(
    "--ammonia-excess", type=click.Choice(["yes", "no", "unknown"]), default="unknown", help="Did it smell of ammonia?"
)
@click.option(
    "--retained-ml",
    type=Quantity("retained_ml"),
    help="Liquid left with the solid, mL: what the reading means for the metal.",
)
@click.option("--silver-g", type=Quantity("silver_g"), help="Mass of the silver, g: the same as parts per million.")
@click.option("--ammonia-ph", type=Quantity("ph"), help="A strip's pH on the drop after the ammonia: 9.5 or more.")
@click.option(
    "--flakes", type=click.Choice(["yes", "no", "unknown"]), default="unknown", help="Do pale flakes float in it?"
)
@dilution_options
@click.option(
    "--cell-blank",
    type=click.Path(path_type=Path),
    help="A photo of both vials with the same blank in the same windows: takes out what the vials differ by.",
)
@click.option(
    "--swapped",
    type=click.Path(path_type=Path),
    help="A photo of the same filled vials exchanged between the windows: takes out what their places differ by.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line, a photo each.")
@click.option(
    "--overlay", type=click.Path(path_type=Path), help="Write a picture: a PNG file for one photo, else a folder."
)
def command(  # noqa: PLR0917 - click passes by name
    photos: tuple[Path, ...],
    path_mm: float | None,
    standards: Path | None,
    wash: str,
    water: str,
    ammonia_excess: str,
    retained_ml: float | None,
    silver_g: float | None,
    ammonia_ph: float | None,
    flakes: str,
    dilution: float | None,
    sample_ml: float | None,
    drops: int,
    added_ml: float | None,
    cell_blank: Path | None,
    swapped: Path | None,
    as_json: bool,
    overlay: Path | None,
) -> int:
    """Look for copper's ammonia blue in PHOTOS of two vials standing in the card's windows.

    Small beakers, flat dishes and wells of a white spot plate do as well as vials, two alike. In a rounded well the
    depth that counts is that of the middle.

    How to do it well: take a few drops of clear, decanted liquid apart from the batch; the same sort of vial, filled
    to the same depth, for the sample (left) and for clean water (right); ammonia drop by drop, in good air, until it
    smells of it; wait a minute; photo from straight above, away from lamps' reflections. Twice the depth shows half as
    little copper: measure the depth and give it with --path-mm. Acidify at once afterwards, never store it.

    Exit code 0 when every photo was read, 1 when one was refused, 2 when the call was wrong.
    """
    from service.terminal.once import said_once
    from service.terminal.photo_batch import read_tints
    from service.terminal.picture_paths import overlay_paths
    from service.terminal.window_lines import tint_lines
    from stripread.tint.conditions import TintConditions
    from stripread.tint.profile import default_response, load_tint_profile
    from stripread.tint.read import TintRequest

    profile = default_response() if standards is None else load_tint_profile(standards)
    # click lets only these words through
    conditions = TintConditions(
        cast("Wash", wash), cast("Water", water), cast("Answer", ammonia_excess), ammonia_ph, cast("Answer", flakes)
    )
    diluted = dilution_said(dilution, sample_ml, drops, added_ml)
    if cell_blank is not None and swapped is not None:
        raise CallError(_("give --cell-blank or --swapped, not both: the cell blank takes out more"))
    places = overlay_paths(photos, overlay, [path for path in (cell_blank, swapped) if path is not None])
    cells = _second_photo(cell_blank, swapped)
    request = TintRequest(path_mm, profile, conditions, retained_ml, silver_g, diluted, cells)
    refused = False
    with said_once(click.echo) as run:
        for reading in read_tints(photos, request, places):
            refused = refused or reading.status == "refused"
            click.echo(json_line(reading.to_dict()) if as_json else tint_lines(reading, run))
            sys.stdout.flush()
    return 1 if refused else 0


def _second_photo(cell_blank: Path | None, swapped: Path | None) -> SecondPhoto | None:
    """The photo that measures the pair of vials, where one was given."""
    from stripread.tint.read import measure_cells

    path = cell_blank or swapped
    if path is None:
        return None
    try:
        data = path.read_bytes()
    except OSError as problem:
        raise CallError(_("can't read {path}: {strerror}", path=path, strerror=problem.strerror)) from None
    return measure_cells(data, "swapped" if cell_blank is None else "blank")
