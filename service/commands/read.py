"""`stripread read`: photos of a strip on the card to pH."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import click

from service.terminal.quantity_types import Quantity
from stripread.errors import CallError
from stripread.json_line import json_line
from stripread.words import _

DEFAULT_PROFILE = "profile.toml"


@click.command("read")
@click.argument("photos", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--profile",
    type=click.Path(path_type=Path),
    help=f"What `stripread calibrate` wrote for these strips (default: {DEFAULT_PROFILE} in this folder).",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line, a photo each.")
@click.option(
    "--overlay",
    type=click.Path(path_type=Path),
    help="Write a picture of the reading: a PNG file for one photo, a folder for several.",
)
@click.option(
    "--combine",
    is_flag=True,
    help="The photos are of the same liquid: also say what they tell together. One strip photographed again, unless "
    "--several-strips is given.",
)
@click.option(
    "--several-strips", is_flag=True, help="With --combine: every strip is another one, dipped in the same liquid."
)
@click.option(
    "--dipped-at",
    help="When the strip was dipped: seconds before the photo, or the phone's clock then (10:04:30, or with date).",
)
@click.option("--temperature-c", type=Quantity("temp_c"), help="Temperature of the sample when dipped, °C.")
@click.option("--rinse", is_flag=True, help="The liquid is rinse water: warn where it has no buffer.")
@click.option(
    "--blank",
    type=click.Path(path_type=Path),
    help="Photo of a strip dipped in the rinse water itself: does the wash still differ from it? Implies --rinse.",
)
@click.option(
    "--beside",
    metavar="LIQUID",
    help="Two strips of one bottle lie in the lane: the sample's nearer the card's top edge, below it one dipped in "
    "LIQUID at the same time. A pH (7.0), a buffer and its temperature ('phosphate 22 C'), or water: the rinse water "
    "itself.",
)
def command(  # noqa: PLR0917 - click passes by name
    photos: tuple[Path, ...],
    profile: Path | None,
    as_json: bool,
    overlay: Path | None,
    combine: bool,
    several_strips: bool,
    dipped_at: str | None,
    temperature_c: float | None,
    rinse: bool,
    blank: Path | None,
    beside: str | None,
) -> int:
    """Read the pH from PHOTOS of a strip lying on the printed card.

    Two strips in the lane are both read; the photo's own value is that of the one nearer the card's top edge.

    With --combine the last line is the reading from all photos together. What they share (the strips' lot, the
    calibration, the light if it was the same) does not average away, so photos under different light, or by different
    phones, narrow the interval most.

    --blank reads the wash and the water it is washed with together: errors that both share cancel in the difference.
    Each photo is compared, a combined reading is not.

    --beside does the same within one photo, where phone, light and bottle cancel best. Against a liquid of known pH the
    sample's own pH becomes surer, the more the nearer the two lie.

    Exit code 0 when every photo was read, 1 when one was refused, 2 when the call was wrong.
    """
    from service.terminal.lines import blank_line, combined_line, ph_line, water_line
    from service.terminal.once import said_once
    from service.terminal.photo_batch import observe_strips
    from service.terminal.picture_paths import overlay_paths
    from stripread.ph.blank import against_blank
    from stripread.ph.buffers import liquid_of
    from stripread.ph.circumstances import Circumstances, dip_time
    from stripread.ph.combined_reading import combine as combine_seen
    from stripread.ph.profile import load_profile

    path = profile or Path(DEFAULT_PROFILE)
    if profile is None and not path.exists():
        raise CallError(_("no profile: give --profile, made by `stripread calibrate` for your strips"))
    learned = load_profile(path)
    places = overlay_paths(photos, overlay, [] if blank is None else [blank])
    if several_strips and not combine:
        raise CallError(_("--several-strips says what --combine is to combine: give both"))
    if beside is not None and (combine or blank is not None):
        other = "--combine" if combine else "--blank"
        raise CallError(
            _("--beside compares two strips in one photo, {other} several photos: give one of the two", other=other)
        )
    dipped = None if dipped_at is None else dip_time(dipped_at)
    liquid = None if beside is None else liquid_of(beside)
    said = Circumstances(dipped, rinse or blank is not None, temperature_c, liquid)
    water = None if blank is None else next(observe_strips([blank], learned, [None], replace(said, dipped=None)))
    if water is not None and not as_json and water_line(water.reading):
        click.echo(water_line(water.reading))
    all_seen = []
    with said_once(click.echo) as run:
        for seen in observe_strips(photos, learned, places, said):
            all_seen.append(seen)
            told = None if water is None else against_blank(seen, water, learned)
            if as_json:
                click.echo(json_line((told or seen.reading).to_dict()))
            else:
                click.echo(ph_line(seen.reading, run) + ("" if told is None else "\n" + blank_line(told)))
            sys.stdout.flush()
    if combine:
        together = combine_seen(all_seen, learned, same_strip=not several_strips)
        click.echo(json_line(together.to_dict()) if as_json else combined_line(together))
    every = all_seen if water is None else [*all_seen, water]
    return 1 if any(seen.reading.status == "refused" for seen in every) else 0
