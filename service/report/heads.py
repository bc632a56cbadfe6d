"""The words of a report's frame: its headings and the heads of its columns, the same on the page and on paper."""

from __future__ import annotations

import re

from stripread.words import _


def heads() -> dict[str, str]:
    """Name in the templates to word, in the language spoken now."""
    page, of, end = re.split(r"\{n\}|\{all\}", _("page {n} of {all}"))
    return {
        "title": _("batch report"),
        "stages": _("Stages"),
        "when": _("When"),
        "step": _("Step"),
        "gate": _("Gate"),
        "why": _("Why"),
        "against": _("Went on against the gate:"),
        "now": _("now"),
        "course": _("Course"),
        "silver": _("Silver"),
        "in_all": _("In all"),
        "of_it": _("Of it"),
        "where": _("Where some may be"),
        "grams": _("g (range)"),
        "at_present": _("Now"),
        "vessels": _("Where the silver is"),
        "vessel": _("Vessel"),
        "what_for": _("What for"),
        "touched": _("Last touched"),
        "written": _("Written down"),
        "what": _("What"),
        "words": _("Words"),
        "struck": _("struck out:"),
        "nothing": _("Nothing."),
        "readings": _("Readings"),
        "photo": _("Photo"),
        "wash": _("Wash"),
        "reading": _("Reading"),
        "source": _("Source"),
        "none": _("None."),
        "corrections": _("Corrections"),
        "cautions": _("Cautions"),
        "page": page,
        "of": of,
        "page_end": end,
    }


def procedure_line(name: str, version: int) -> str:
    """The procedure that the batch follows."""
    return _("Procedure: {name}, version {version}", name=name, version=version)


def on_to(title: str) -> str:
    """A step to another stage."""
    return _("on to {title}", title=title)


def photo_of(reading: int) -> str:
    """What stands for a photo where nobody sees it."""
    return _("photo of reading {reading}", reading=str(reading))


def entry_number(reading: int) -> str:
    """A reading by its number."""
    return _("no. {number}", number=str(reading))


def correction_line(at: str, numbers: tuple[int, int], who: str | None, why: str | None) -> str:
    """A correction: when, which entry replaces which, by whom and why."""
    new, old = (str(number) for number in numbers)
    line = _("{at}: no. {new} replaces no. {old}", at=at, new=new, old=old)
    return line + (_(", by {who}", who=who) if who else "") + (f": {why}" if why else "")
