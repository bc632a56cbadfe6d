"""Examples at the end of each command's help; a test runs them as printed, in a folder of the demo's files."""

from __future__ import annotations

import click

from stripread.words import say

FOLDER = "demo-out"
HEAD = f"Examples, in the folder that `stripread demo --files` fills ({FOLDER}):"

# by the command's words, in an order in which they can be run one after the other
EXAMPLES: dict[str, tuple[str, ...]] = {
    "card": ("stripread card --out card.pdf --paper letter",),
    "describe": ('stripread describe --roll --name "roll 3-11" --range 3 11 --out roll.toml',),
    "calibrate": ("stripread calibrate strip.toml --buffers buffers/buffers.csv --out own.toml",),
    "read": (
        "stripread read photos/05-wash-04.jpg --profile profile.toml --overlay wash4.png",
        "stripread read photos/02-wash-02.jpg photos/04-wash-03.jpg --json",
        "stripread read photos/14-wash-09.jpg --dipped-at 35 --temperature-c 25 --rinse",
        "stripread read photos/12-wash-08.jpg --blank photos/14-wash-09.jpg",
    ),
    "check": ("stripread check profile.toml --buffers photos/known.csv --out check.png",),
    "tint": (
        "stripread tint windows/tint-2-later-wash.jpg --path-mm 25 --wash acid",
        "stripread tint windows/tint-3-last-wash.jpg --path-mm 25 --ammonia-ph 10 --flakes no",
    ),
    "calibrate-tint": ("stripread calibrate-tint windows/standards.csv --out tint.toml",),
    "solid": (
        "stripread solid windows/solid-1-early.jpg windows/solid-2-later.jpg --series",
        "stripread solid windows/solid-3-done.jpg --overlay pictures",
    ),
    "serve": ("stripread serve --data bench --profile profile.toml", "stripread serve --demo"),
    "install-launcher": ("stripread install-launcher --folder . --data bench",),
    "demo": ("stripread demo --files",),
    "batch new": ('stripread batch new "June" --water tap --alkalinity 3', 'stripread batch new "July"'),
    "batch list": ("stripread batch list",),
    "batch add": (
        "stripread batch add 1 photos/01-wash-01.jpg --wash 1 --profile profile.toml",
        "stripread batch add 1 windows/tint-2-later-wash.jpg --kind tint --path-mm 25 --wash 9",
    ),
    "batch note": (
        'stripread batch note 1 weight of=chloride grams="1 lb" moisture=0.2-0.4',
        'stripread batch note 1 decant name="wash 1" litres="900 ml" settled_h="90 min"',
        'stripread batch note 1 decant name="wash 2" litres="900 ml" settled_h="12 h" into=buffer',
        'stripread batch note 1 moved how="rinse back" vessel=buffer into=main',
    ),
    "batch correct": (
        'stripread batch correct 1 note 7 grams="2 lb" --why "misread" --who me',
        'stripread batch correct 1 entry 1 --note "first strip" --why "added later"',
    ),
    "batch timeline": ("stripread batch timeline 1",),
    "batch vessels": ("stripread batch vessels 1",),
    "batch show": ("stripread batch show 1",),
    "batch zone": ("stripread batch zone 1 Europe/Lisbon",),
    "batch next": ('stripread batch next 1 --reason "the strips ran out" --who me',),
    "batch stock": ("stripread batch stock",),
    "batch report": ("stripread batch report 1 --out june.pdf",),
    "batch labels": ("stripread batch labels 1 --out labels.pdf --address http://192.168.1.5:8000",),
    "batch procedure": ('stripread batch procedure 1 chloride_zinc --to acid-wash --reason "no lye at hand"',),
    "batch find": ("stripread batch find wash --since 2026-01-01", "stripread batch find --kind ph --status refused"),
    "batch compare": ("stripread batch compare 1 2 --csv both.csv --plot both.png",),
    "batch share": ("stripread batch share 1 --out wash1.png",),
    "batch close": ("stripread batch close 1",),
    "batch reopen": ('stripread batch reopen 1 --reason "one more wash" --who me',),
    "batch demo": ("stripread batch demo --out made-up.html",),
    "bench add": ('stripread bench add "north window"',),
    "bench list": ("stripread bench list",),
    "bench token": ('stripread bench token "north window"',),
    "bench link": ('stripread bench link "north window" --address http://192.168.1.5:8000',),
    "bench profiles": ('stripread bench profiles "north window"',),
    "bench give": ('stripread bench give "north window" 1', 'stripread bench give "north window" 1 --back'),
    "bench rename": ('stripread bench rename "north window" "by the window"',),
    "bench revoke": ('stripread bench revoke "by the window"',),
    "reread": ("stripread reread 1", "stripread reread --all --out again"),
    "log check": ("stripread log check",),
    "log phones": ("stripread log phones",),
    "log backup": ("stripread log backup log.tar",),
    "log photos": ("stripread log photos",),
    "log recount": ("stripread log recount",),
    "log move": ("stripread log move --from sqlite:///stripread-data/log.sqlite3 --to sqlite:///moved.sqlite3",),
    "log restore": ("stripread log restore log.tar --to copy",),
    "plan wash": ('stripread plan wash --retained "80 ml" --added "800 ml" --reading 1:1.2 --reading 2:2.1',),
    "plan lye": ('stripread plan lye --chloride "1 lb" --moisture 20-40% --unit oz',),
    "plan metal": ('stripread plan metal --chloride "500 g" --moisture dry --metal iron --bottle "31 %, 1.16 g/ml"',),
    "plan acid": ('stripread plan acid --litres 1 --bottle "31 %, 1.15 g/ml"',),
    "plan expected": ("stripread plan expected --metal 120 --fineness 0.925",),
    "plan melt": ("stripread plan melt --powder 200 --bar 195.2/176.6 --flux 10 --slag 12",),
    "plan portions": ("stripread plan portions --portion 0:0.95 --portion 40:0.55 --portion 40:0.2",),
    "plan volume": ("stripread plan volume --water 1200 --sludge 1320 --empty 250",),
    "plan silver": ("stripread plan silver --litres 8 --silver 50-200 --by salt",),
    "plan waste": ('stripread plan waste --poured 2:1.5 --metal copper --bottle "soda lye: 2 mol/l"',),
    "plan yield": ('stripread plan yield --chloride "500 g" --moisture dry --weighed "370 g"',),
}


def with_examples(command: click.Command, words: str) -> click.Command:
    """The command with its examples at the end of its help, and those of its own commands at the end of theirs."""
    if words in EXAMPLES:
        # \b: click leaves the lines as they are
        command.epilog = "\n".join(["\b", say(HEAD), *(f"  {line}" for line in EXAMPLES[words])])
    if isinstance(command, click.Group):
        for name, inner in command.commands.items():
            with_examples(inner, f"{words} {name}")
    return command
