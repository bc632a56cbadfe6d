"""Every command's help: each option with a word and its unit, and examples at the end that run as they are printed."""

import re
import shlex
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from service.cli import app, main
from service.commands import demo
from service.terminal.examples import EXAMPLES
from service.terminal.quantity_types import Quantity

OF_LOG = {"batch", "bench", "log", "reread"}
LONG = {"serve", "demo", "batch demo", "calibrate"}  # run for ever, or longer than a quick test may


def commands(group, words=()):
    with click.Context(group) as context:
        for name in group.list_commands(context):
            command = group.get_command(context, name)
            if isinstance(command, click.Group):
                yield from commands(command, (*words, name))
            else:
                yield " ".join((*words, name)), command


COMMANDS = dict(commands(app))


def printed(words):
    """The examples as the command's help prints them."""
    shown = CliRunner().invoke(app, [*words.split(), "--help"]).output
    return [line.strip() for line in shown.splitlines() if re.match(r"  +stripread ", line)]


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """The folder that `stripread demo --files` fills."""
    demo.copy_files(tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(line, capsys):
    """Run a printed line as a shell would; returns what it printed."""
    program, *words = shlex.split(line)
    assert program == "stripread"
    with pytest.raises(SystemExit) as end:
        main(words)
    said = capsys.readouterr()
    assert end.value.code == 0, f"{line}: {said.err}{said.out}"
    return said.out


@pytest.mark.parametrize("words", COMMANDS)
def test_every_command_has_a_sentence_and_examples(words):
    assert COMMANDS[words].help
    assert printed(words) == list(EXAMPLES[words])
    assert all(line.startswith(f"stripread {words}") for line in printed(words))
    assert set(EXAMPLES) == set(COMMANDS)


@pytest.mark.parametrize("words", COMMANDS)
def test_every_option_says_what_it_is_and_in_which_unit(words):
    command = COMMANDS[words]
    with click.Context(command) as context:
        options = [p for p in command.get_params(context) if isinstance(p, click.Option)]
        for option in options:
            assert option.help, option.opts
            told = " ".join(option.get_help_record(context))
            if isinstance(option.type, Quantity):
                assert re.search(r"\[\S+\]|mol/L|pH|Times|Volume .* over", told), told
            elif isinstance(option.type, click.types.FloatParamType):
                raise AssertionError(f"{told}: a number is read by Quantity, with its unit")


@pytest.mark.parametrize("words", [words for words in EXAMPLES if words.split()[0] not in OF_LOG and words not in LONG])
def test_examples_run(words, folder, capsys):
    for line in printed(words):
        assert run(line, capsys)


def test_examples_of_the_log_run_one_after_the_other(folder, capsys):
    of_log = [w for w in EXAMPLES if w.split()[0] in OF_LOG and w not in LONG]
    for line in [line for words in of_log for line in printed(words)]:
        assert run(line, capsys)
    assert Path("june.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.slow
@pytest.mark.thorough
@pytest.mark.parametrize("words", sorted(LONG - {"serve"}))
def test_long_examples_run(words, folder, capsys):
    for line in printed(words):
        assert run(line, capsys)


@pytest.mark.parametrize("words", sorted(LONG))
def test_long_examples_name_options_that_there_are(words, folder):
    for line in printed(words):
        COMMANDS[words].make_context(words, shlex.split(line)[1 + len(words.split()) :])
