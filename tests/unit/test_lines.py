"""What readings say in a terminal: a line for each reason with its remedy; what a whole run shares once, at its end."""

import json
import re
from pathlib import Path

import pytest

from service.cli import main
from service.readers.add_photos import entry_lines
from service.readers.intake import Taken
from service.terminal.lines import ph_line, water_line
from service.terminal.once import said_once
from stripread.reasons import REASONS, because
from stripread.results import PhReading, Stamp, StripReading

WINDOWS = Path("service/demo/windows")
TINTS = [str(WINDOWS / name) for name in ("tint-1-first-wash.jpg", "tint-2-later-wash.jpg")]
SOLIDS = [str(WINDOWS / name) for name in ("solid-2-later.jpg", "solid-3-done.jpg")]
STAMP = Stamp("p.jpg", "", "", 0.0)
DOES = re.compile(
    r"(?:[.:;?,]|or|and|Else) (send|go|lay|uncover|hold|lower|turn|use|print|look|calibrate|step|take|move|tilt|dip|"
    r"wait|compare|stir|spread|stand|check|thin|let|add|wash|push|name|mend|see|cool|photograph|put|say|measure)\b|\bhelps\b",
    re.IGNORECASE,
)


def out_of(args, capsys):
    with pytest.raises(SystemExit):
        main(args)
    return capsys.readouterr().out


def test_several_tints_say_their_cautions_once_and_last(capsys):
    said = out_of(["tint", *TINTS], capsys)
    cautions = [text for code, (_, text) in REASONS.items() if code.startswith("caution_")]
    assert said.splitlines()[-4:] == [f"! {text}" for text in cautions]
    for text in [*cautions, REASONS["path_unknown"][1]]:
        assert said.count(text) == 1
    assert [said.count(f"{photo}: copper") for photo in TINTS] == [1, 1]


def test_every_line_of_json_has_its_cautions(capsys):
    for line in out_of(["tint", *TINTS, "--json"], capsys).splitlines():
        assert "caution_explosive" in [reason["code"] for reason in json.loads(line)["reasons"]]


def test_several_solids_say_once_that_colours_are_no_identification(capsys):
    said = out_of(["solid", *SOLIDS], capsys)
    assert said.splitlines()[-1] == "! A description of the colour, not an identification."
    assert said.count("not an identification") == 1
    assert said.count("The colour fits: ") > 2


def test_cautions_are_told_where_a_run_breaks_off():
    told = []
    with pytest.raises(OSError, match="gone"), said_once(told.append) as run:  # noqa: PT012 - the run is what breaks off
        run.own([("caution_fumes", "fumes"), ("blurred", "blurred")])
        raise OSError("gone")
    assert told == ["! fumes"]


def test_a_note_says_how_many_photos_it_goes_for_where_not_all():
    told = []
    with said_once(told.append) as run:
        assert run.own([("no_photo_time", "no time"), ("path_unknown", "no depth")]) == []
        assert run.own([("path_unknown", "no depth"), ("blurred", "own")]) == ["own"]
    assert told == ["no time (1 of 2 photos)", "no depth"]


def test_entries_of_a_log_hold_their_cautions_back_too():
    entry = {"kind": "ph", "ph": None, "status": "refused", "reasons": [{"code": "blurred", "message": "B"}]}
    told = []
    with said_once(told.append) as run:
        for number in (1, 2):
            taken = Taken(number, entry={**entry, "log": {"cautions": ["lye"]}}, repeated=False)
            assert entry_lines(taken, run.own) == f"entry {number}: no value  [✕ not read]\n    B"
    assert told == ["! lye"]


def test_each_reason_of_a_reading_has_its_line_also_of_a_second_strip():
    both, own, second = because("poor_light", "x"), because("some_glare"), because("glare_on_pads")
    strips = (StripReading(7.0, (6.8, 7.2)), StripReading(None, None, reasons=(both, second)))
    lines = ph_line(PhReading(STAMP, 7.0, (6.8, 7.2), reasons=(both, own), strips=strips)).splitlines()
    assert lines[1:] == [
        "    strip 2 of 2: no value  [✕ not read]",
        f"        {second.message}",
        f"    {both.message}",
        f"    {own.message}",
    ]


def test_the_rinse_water_s_strip_says_why_it_was_not_read():
    refused = PhReading(STAMP, None, None, reasons=(because("blurred"),))
    assert water_line(refused).splitlines() == [
        "rinse water, p.jpg: no value  [✕ not read]",
        f"    {because('blurred').message}",
    ]
    assert not water_line(PhReading(STAMP, 7.0, (6.8, 7.2)))


@pytest.mark.parametrize("code", [code for code, (severity, _) in REASONS.items() if severity != "note"])
def test_every_doubt_and_refusal_says_what_to_do(code):
    assert DOES.search(REASONS[code][1])
