"""The command line: `stripread COMMAND …`. Each command lives in its own file and is loaded only when called.

Exit codes: 0 every photo was read · 1 at least one photo was refused · 2 the call itself was wrong (one line on
standard error, no traceback).
"""

from __future__ import annotations

import copy
import difflib
import importlib
import re
import sys

import click

from service.terminal.examples import with_examples
from service.terminal.help_words import in_language, in_words, paragraphs
from service.terminal.language import asked_for, speaking_on_terminal
from stripread import __version__
from stripread.errors import CallError
from stripread.words import LANGUAGES, _, say, speaking

# command -> (module in service.commands, one line for the help). The help text stands here so that listing the
# commands imports none of them.
COMMANDS: dict[str, tuple[str, str]] = {
    "card": ("card", "Write the reference card to print."),
    "describe": ("first_day.describe", "Measure an unused strip on the card and write its kind's file."),
    "calibrate": ("calibrate", "Learn a strip kind from photos at known pH, from the maker's chart, or both."),
    "read": ("read", "Read the pH from photos of a strip on the card."),
    "check": ("check", "Say whether a calibration is still true, from new photos at known pH."),
    "tint": ("tint", "Look for copper's ammonia blue in a vial beside its blank."),
    "calibrate-tint": ("calibrate_tint", "Learn from standards how blue a concentration of copper is."),
    "solid": ("solid", "Read the colour and the pale share of a solid."),
    "serve": ("serve", "Run the bench service: the phone's page, the readings and the log."),
    "install-launcher": ("starting.install_launcher", "Write something to press that starts the bench service."),
    "log": ("log", "Check the log of the bench service, back it up, restore it."),
    "bench": ("benches.bench", "Name benches that see their own batches alone; their tokens, links and profiles."),
    "reread": ("reread", "Read a batch of the log again and say what changed."),
    "demo": ("demo", "Read the shipped photos of a made-up workshop."),
    "batch": ("batch", "Run a batch of the log: stage and gate, weights, decants, report."),
    "plan": ("plan", "Washes, lye and sugar, waste, yield: what to expect, with its range."),
}


class _Lazy(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        command = importlib.import_module(f"service.commands.{COMMANDS[name][0]}").command
        assert isinstance(command, click.Command)
        return with_examples(in_language(command), name)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section(say("Commands")):
            formatter.write_dl([(name, say(text)) for name, (_module, text) in COMMANDS.items()])

    def format_help_text(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        told = copy.copy(self)
        told.help = paragraphs(self.help or "")
        click.Group.format_help_text(told, ctx, formatter)

    def get_params(self, ctx: click.Context) -> list[click.Parameter]:
        return [in_words(parameter) for parameter in super().get_params(ctx)]


def _speak(ctx: click.Context, _parameter: click.Parameter, language: str | None) -> None:
    if language is not None:
        ctx.with_resource(speaking(language))


@click.group(cls=_Lazy, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="stripread")
@click.option(
    "--language",
    type=click.Choice(LANGUAGES),
    is_eager=True,
    expose_value=False,
    callback=_speak,
    help="Language of all words, wherever in the call it stands (default: that of LANGUAGE, LC_ALL or LANG).",
)
def app() -> None:
    """Turn a phone photo of a strip on the printed card into a pH with an honest interval."""


def suggestion(wrong: click.ClickException) -> str:
    """Which command may have been meant by one that there is not, where click itself suggests none."""
    context = getattr(wrong, "ctx", None)
    said = re.escape(say("No such command {name!r}.")).replace(re.escape("{name!r}."), "'(.*)'")
    found = re.match(rf"{said}(?!.*\?)", wrong.format_message())
    if found is None or context is None or not isinstance(context.command, click.Group):
        return ""
    near = difflib.get_close_matches(found[1], context.command.list_commands(context), n=2, cutoff=0.5)
    if near:
        return _(" Did you mean {near}?", near=_(" or ").join(near))
    return _(" See: {path} --help", path=context.command_path)


def main(argv: list[str] | None = None) -> None:
    """Run the command line and exit with its code. The one broad ``except``: nobody at a bench needs a traceback."""
    try:
        language, argv = asked_for(sys.argv[1:] if argv is None else argv)
    except CallError as wrong:
        print(f"stripread: {wrong}", file=sys.stderr)
        sys.exit(2)
    with speaking_on_terminal(language):
        _run(argv)


def _run(argv: list[str]) -> None:
    try:
        code = app.main(args=argv, standalone_mode=False)
        sys.exit(code if isinstance(code, int) else 0)
    except click.exceptions.Exit as stop:
        sys.exit(stop.exit_code)
    except click.Abort:
        sys.exit(130)
    except click.ClickException as wrong:
        print(f"stripread: {wrong.format_message()}{suggestion(wrong)}", file=sys.stderr)
        sys.exit(2)
    except CallError as wrong:
        print(f"stripread: {wrong}", file=sys.stderr)
        sys.exit(2)
    except BrokenPipeError:
        sys.exit(0)
    except Exception as problem:
        what = f"{type(problem).__name__}: {problem}"
        print(f"stripread: {_('internal problem ({what}); please report it', what=what)}", file=sys.stderr)
        sys.exit(2)


if __name__ == "__main__":
    main()
