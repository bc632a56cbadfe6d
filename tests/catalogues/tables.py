"""Sentences that stand in tables and files of the package instead of in a call of ``_``: where each comes from."""

from __future__ import annotations

import csv
import inspect
import re
import tomllib
from collections.abc import Iterator
from importlib.resources import files

import click

from calibration.liquids.table import liquids
from service.bench.lye_plan import SUGARS
from service.bench.note_forms import note_forms
from service.bench.procedure import EARLIER, SHIPPED
from service.cli import COMMANDS, app
from service.terminal.examples import EXAMPLES, HEAD
from stripread.reasons import REASONS
from stripread.states.table import table as state_table
from stripread.words import SOURCE, speaking

# Codes of the JSON that people read as words, too: said by ``say`` where they are shown.
CODE_WORDS = (
    *("open", "hold", "cannot tell"),
    *("copper", "none seen", "undecided"),
    *("acid", "lye", "neither", "unknown", "chloride", "input", "powder", "silver", "glucose", "sucrose"),
    *("clear", "hazy", "cloudy", "milky", "oxide", "metal"),
    # notes by their kind, and the fields of those that are told field by field
    *("weight", "decant", "used", "vessel", "ammonia test", "acid rinse", "poured", "mixed", "made safe", "emptied"),
    *("metal check", "named test", "melt", "bar", "acidified"),
    *("acid ml", "bottle", "tin"),
    *("named vessel", "vessel holds", "moved", "filtered", "evaporated", "spilled", "vessel weighed", "silver down"),
    *("handed over", "left in", "brought down"),
    *("acid mol", "oxide silver g", "ph", "interval", "litres", "what", "note", "who", "why", "retained l", "papers"),
    "glasses",
    # what was done to an entry or a batch
    *("corrected", "withdrawn", "put back", "answered", "read again", "opened", "renamed", "closed", "opened again"),
    *("details", "tint", "solid", "cells", "move", "procedure", "reason", "zone"),
    # causes of doubt in a pH, and the channels of a picture
    *("correction", "calibration", "strip lot", "light", "tone", "noise", "texture", "comparison", "cross", "other"),
    *("red", "green", "blue", "absorbance"),
)
# What the library of the command line says to people: its own keys, as it looks them up in the catalogue of the call.
COMMAND_LINE = (
    *("Usage:", "Options", "Commands", "Show this message and exit.", "Show the version and exit."),
    *("%(prog)s, version %(version)s", "default: {default}", "Missing command.", "Missing argument", "Missing option"),
    *("Missing parameter", "Invalid value: {message}", "Invalid value for {param_hint}: {message}"),
    *("No such option {name!r}.", "No such option: {name}", "No such command {name!r}."),
    *("Option {name!r} does not take a value.", "{value!r} is not a valid {number_type}."),
    *("{value!r} is not a valid boolean.", "{value} is not in the range {range}."),
    *("{name} {filename!r} does not exist.", "{name} {filename!r} is a file.", "{name} {filename!r} is a directory."),
    *("{name} {filename!r} is not readable.", "{name} {filename!r} is not writable."),
    *("Choose from:\n\t{choices}", "Aborted!", "file", "directory", "path", "File", "Directory", "Path"),
    "Try '{command} {option}' for help.",
)
COMMAND_LINE_PLURALS = (
    ("Got unexpected extra argument ({args})", "Got unexpected extra arguments ({args})"),
    ("{value!r} is not {choice}.", "{value!r} is not one of {choices}."),
    ("Option {name!r} requires an argument.", "Option {name!r} requires {nargs} arguments."),
    ("Did you mean {possibility}?", "(Did you mean one of: {possibilities}?)"),
    ("Did you mean {possibility}?", "(Possible options: {possibilities})"),
)


def sentences() -> Iterator[tuple[str | tuple[str, str], str]]:
    """Every sentence of a table, or its singular and plural, with the name of the table."""
    with speaking(SOURCE):
        for _severity, text in REASONS.values():
            yield text, "stripread/reasons"
        for codes in state_table().states.values():
            for one in codes.values():
                yield one.english, "stripread/states/state_words.toml"
        for word in CODE_WORDS:
            yield word, "tests/catalogues/tables.py"
        for text in (*COMMAND_LINE, *COMMAND_LINE_PLURALS):
            yield text, "tests/catalogues/tables.py"
        yield from ((sugar, "service/bench/lye_plan.py") for sugar in SUGARS)
        yield HEAD, "service/terminal/examples.py"
        for _module, text in COMMANDS.values():
            yield text, "service/cli.py"
        for text in _help():
            yield text, "service/commands"
        yield from _bench()
        for liquid in liquids().values():
            texts = (liquid.name, liquid.made, liquid.need, liquid.caution)
            yield from ((text, "calibration/liquids/household.toml") for text in texts if text)
        table = (files("stripread.solid") / "precipitates.csv").read_text(encoding="utf-8")
        for row in csv.DictReader(table.splitlines()):
            yield row["description"], "stripread/solid/precipitates.csv"


def _help() -> Iterator[str]:
    """Help of every command and option, as ``service.terminal.help_words`` looks it up."""
    context = click.Context(app)
    left: list[click.Command] = [app, *(app.get_command(context, name) for name in app.list_commands(context))]
    while left:
        command = left.pop()
        for paragraph in re.split(r"\n\s*\n", inspect.cleandoc(command.help or "").split("\f")[0]):
            if paragraph and not paragraph.startswith("\b"):
                yield " ".join(paragraph.split())
        for parameter in command.params:
            if getattr(parameter, "help", None):
                yield parameter.help
        if isinstance(command, click.Group) and command is not app:
            left += command.commands.values()
    assert EXAMPLES


def _bench() -> Iterator[tuple[str, str]]:
    room = files("service.bench")
    for form in note_forms():
        yield form.label, "service/bench/notes/"
        for field in form.fields:
            yield field.label, "service/bench/notes/"
            yield from ((words, "service/bench/notes/") for _value, words in field.options if words)
    for name in (*SHIPPED, *EARLIER):
        place = f"service/bench/procedures/{name}.toml"
        procedure = tomllib.loads((room / "procedures" / f"{name}.toml").read_text(encoding="utf-8"))
        yield procedure["name"], place
        for stage in procedure["stage"]:
            yield from ((text, place) for text in (stage["title"], stage["do"]))
            yield from ((text, place) for text in [stage["holds"]] if text)
            yield from ((text, place) for key in ("cautions", "wrong") for text in stage.get(key, ()))
            gate = stage["gate"]
            yield from ((part["test"], place) for part in gate.get("of", (gate,)) if "test" in part)
    for entry in tomllib.loads((room / "data" / "hazards.toml").read_text(encoding="utf-8")).values():
        yield from ((entry[key], "service/bench/data/hazards.toml") for key in ("happens", "instead"))
    for name in ("neutralisers", "acids"):
        place = f"service/bench/data/{name}.toml"
        for one in tomllib.loads((room / "data" / f"{name}.toml").read_text(encoding="utf-8"))["neutraliser"]:
            texts = (one["name"], one["trade"][0], *(form["name"] for form in one["forms"]), *one["metals"].values())
            yield from ((text, place) for text in (*texts, *one["cautions"]))
