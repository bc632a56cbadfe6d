"""Which chosen numbers a command remakes: the files name the commands that there are, and the rest grows no longer."""

import pytest
from click.testing import CliRunner

from tests.tune import __main__ as tune
from tests.tune.engine import Finding, Measure
from tests.tune.names import SETUPS, TUNINGS, command, entries

MOST_WITHOUT = 228  # 212 before the guided photo, whose finder and pace have no command yet


def test_numbers_without_a_command_grow_fewer():
    without = [name for name, entry in entries().items() if not entry.command]
    assert len(without) <= MOST_WITHOUT, f"{len(without)} numbers have no command: {', '.join(without)}"


def test_the_entries_name_the_commands_that_there_are():
    named = {name: entry.command for name, entry in entries().items() if entry.command.startswith(command(""))}
    assert named == {name: command(name) for name in TUNINGS}


def test_every_command_has_its_setups():
    assert SETUPS.keys() == TUNINGS.keys()
    assert all(count >= 2 for count in SETUPS.values())


def run(*arguments):
    return CliRunner().invoke(tune.main, list(arguments))


def test_the_list_tells_numbers_with_and_without_a_command():
    text = run("--list").output
    assert "python -m tests.tune edge_sd" in text
    assert any(line.startswith("wide ") and "no command; ASTM" in line for line in text.splitlines())
    assert run().output == text


def test_a_wrong_name_is_told_in_one_line():
    for name, words in (("wide", "wide has no command yet"), ("nonsense", "no number is called nonsense")):
        got = run(name)
        assert got.exit_code == 2
        assert words in got.output
        assert "Traceback" not in got.output


@pytest.fixture
def calls(monkeypatch):
    """Setups that were drawn and numbers that were fitted, in place of doing it."""
    made = []

    def draw_halves(draw, *arguments):
        made.append((draw, *arguments))
        return [f"fit {len(made)}"], [f"report {len(made)}"]

    def remake(name, tuning, *halves):
        made.append((name, tuning, *halves))
        return Finding(0.05, 0.07, 3, 4, {"width": Measure(0.4, 0.3, 0.01)})

    monkeypatch.setattr("tests.tune.engine.draw_halves", draw_halves)
    monkeypatch.setattr("tests.tune.engine.remake", remake)
    return made


def test_a_run_prints_stored_and_fitted(calls):
    text = run("edge_sd", "--setups", "8", "--workers", "1").output
    tuning = TUNINGS["edge_sd"]
    assert calls == [(tuning.draw, 700, 8, 1), ("edge_sd", tuning, ["fit 1"], ["report 1"])]
    assert "stored 0.05; fitted on 3 setups: 0.07" in text
    assert "on 4 others" in text
    assert "0.4000    0.3000   (-0.1000, 0.0100)" in text


def test_numbers_of_the_same_photos_share_them(calls):
    assert run("edge_sd", "speck_sd", "called").exit_code == 0
    assert [c[0] for c in calls] == [TUNINGS["edge_sd"].draw, "edge_sd", "speck_sd", TUNINGS["called"].draw, "called"]
    assert calls[0][2] == SETUPS["edge_sd"]
    assert calls[2][2] == calls[1][2]


def test_several_numbers_are_printed_together():
    found = Finding((0.05, 0.1), (0.06, 0.2), 3, 4, {})
    assert "stored 0.05, 0.1; fitted on 3 setups: 0.06, 0.2" in tune.report("channel_sd", found)
