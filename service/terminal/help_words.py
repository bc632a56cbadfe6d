"""A command's help in the language of the call: paragraphs and options are looked up where the help is shown."""

from __future__ import annotations

import copy
import inspect
import re

import click

from stripread.words import SOURCE, say, spoken


def in_language(command: click.Command) -> click.Command:
    """The command as it speaks now: itself in English, else a copy with its help told, its own commands too."""
    if spoken() == SOURCE:
        return command
    told = copy.copy(command)
    told.help = None if command.help is None else paragraphs(command.help)
    told.params = [in_words(parameter) for parameter in command.params]
    if isinstance(told, click.Group) and isinstance(command, click.Group):
        told.commands = {name: in_language(inner) for name, inner in command.commands.items()}
    return told


def paragraphs(text: str) -> str:
    """Each paragraph of a help told by itself; one that is to stay as it is set (after a backspace) stays."""
    found = re.split(r"\n\s*\n", inspect.cleandoc(text).split("\f")[0])
    return "\n\n".join(part if part.startswith("\b") else say(" ".join(part.split())) for part in found)


def in_words(parameter: click.Parameter) -> click.Parameter:
    """An option with its help told; itself where there is nothing to tell."""
    if not isinstance(parameter, click.Option) or not parameter.help:
        return parameter
    told = copy.copy(parameter)
    told.help = say(parameter.help)
    return told
