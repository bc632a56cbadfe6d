"""The command line: `stripread COMMAND …`. Each command lives in its own file and is loaded only when called.

Exit codes: 0 every photo was read · 1 at least one photo was refused · 2 the call itself was wrong (one line on
standard error, no traceback).
"""

from __future__ import annotations

import difflib
import importlib
import re
import sys

import click

from service.terminal.examples import with_examples
from stripread import __version__
from stripread.errors import CallError

# command -> (module in service.commands, one line for the help). The help text stands here so that listing the
# commands imports none of them.
COMMANDS: dict[str, tuple[str, str]] = {
    "card": ("card", "Write the reference card to print."),
    "calibrate": ("calibrate", "Learn a strip kind from photos at known pH, from the maker's chart, or both."),
    "read": ("read", "Read the pH from photos of a strip on the card."),
    "check": ("check", "Say whether a calibration is still true, from new photos at known pH."),
    "tint": ("tint", "Look for copper's ammonia blue in a vial beside its blank."),
    "calibrate-tint": ("calibrate_tint", "Learn from standards how blue a concentration of copper is."),
    "solid": ("solid", "Read the colour and the pale share of a solid."),
    "serve": ("serve", "Run the bench service: the phone's page, the readings and the log."),
    "log": ("log", "Check the log of the bench service, back it up, restore it."),
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
        return with_examples(command, name)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in COMMANDS.items()])


@click.group(cls=_Lazy, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="stripread")
def app() -> None:
    """Turn a phone photo of a strip on the printed card into a pH with an honest interval."""


def suggestion(wrong: click.ClickException) -> str:
    """Which command may have been meant by one that there is not, where click itself suggests none."""
    context = getattr(wrong, "ctx", None)
    found = re.match(r"No such command '(.*)'(?!.*Did you mean)", wrong.format_message())
    if found is None or context is None or not isinstance(context.command, click.Group):
        return ""
    near = difflib.get_close_matches(found[1], context.command.list_commands(context), n=2, cutoff=0.5)
    return f" Did you mean {' or '.join(near)}?" if near else f" See: {context.command_path} --help"


def main(argv: list[str] | None = None) -> None:
    """Run the command line and exit with its code. The one broad ``except``: nobody at a bench needs a traceback."""
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
        print(f"stripread: internal problem ({type(problem).__name__}: {problem}); please report it", file=sys.stderr)
        sys.exit(2)


if __name__ == "__main__":
    main()
