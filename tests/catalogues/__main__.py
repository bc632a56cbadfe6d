"""`python -m tests.catalogues --extract --compile --check`: the catalogues, brought up to date and looked at."""

import sys

import click

from stripread.words import LANGUAGES, SOURCE
from tests.catalogues.checks import faults
from tests.catalogues.files import compile_po, read_po_of, update_po


@click.command()
@click.option("--extract", is_flag=True, help="Bring the .po up to date with the sources.")
@click.option("--compile", "compiling", is_flag=True, help="Make the .mo from the .po.")
@click.option("--check", is_flag=True, help="Say what is missing, left over, or wrong; exit code 1 if anything is.")
@click.option("--missing", is_flag=True, help="Print what has no translation yet.")
def main(extract: bool, compiling: bool, check: bool, missing: bool) -> None:
    for language in LANGUAGES:
        if language == SOURCE:
            continue
        if extract:
            update_po(language)
        if compiling:
            compile_po(language)
        if missing:
            for message in read_po_of(language):
                if message.id and not all([message.string] if isinstance(message.string, str) else message.string):
                    click.echo(f"{language}: {message.id!r}")
    wrong = [f"{language}: {fault}" for language in LANGUAGES if language != SOURCE for fault in faults(language)]
    if check:
        click.echo("\n".join(wrong) or "The catalogues are complete.")
        sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
