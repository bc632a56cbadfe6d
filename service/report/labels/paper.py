"""The sheet of labels as a tagged PDF, set by Typst: A4 or Letter, with a bar of 50 mm to check the printed size by."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Literal

import matplotlib as mpl
import segno
from typst import Compiler, Fonts

from service.report.labels.address import batch_address, vessel_address
from service.report.labels.label import Label
from service.report.labels.statements import SIGNALS, Symbol, symbols_of
from stripread.words import N_, _, say, spoken

Paper = Literal["a4", "letter"]
CODE_MM = 24.0  # a code of 41 modules with its quiet zone: 0.6 mm each, sharp for a phone at arm's length
LEAST_MM = 50.0
_TEMPLATES = Path(__file__).parents[1] / "templates"
_UNIT = re.compile(r"([\d.,]) (%|g|L|mg/L)(?!\w)")  # a number and its unit stay on one line
_PAPERS = {"a4": "a4", "letter": "us-letter"}
SYMBOL_WORDS: dict[Symbol, str] = {
    "corrosion": N_("Symbol: corrosive"),
    "exclamation": N_("Symbol: exclamation mark"),
    "environment": N_("Symbol: dangerous for the environment"),
}


@dataclass(frozen=True)
class Sheet:
    """The labels of one batch: its number and name, the day (ISO 8601), the page's address, the log's mark."""

    number: int
    name: str
    day: str
    root: str
    log: str
    labels: tuple[Label, ...]

    def address(self, label: Label) -> str:
        """Where a label's code leads."""
        if label.key is None:
            return batch_address(self.root, self.number)
        return vessel_address(self.root, self.number, self.log, label.key)


def labels_pdf(sheet: Sheet, paper: Paper = "a4", standards: Sequence[Any] = ()) -> bytes:
    """The sheet as a PDF in the language spoken now, the same bytes from the same sheet.

    ``standards`` are names of PDF standards that it must keep, as Typst has them ("ua-1"); ``typst.TypstError`` if it
    can't.
    """
    used = {symbol for label in sheet.labels for symbol in symbols_of(label.statements)}
    files = {
        "labels.typ": (_TEMPLATES / "labels.typ").read_bytes(),
        "labels.json": json.dumps(_content(sheet, paper)).encode(),
        **{f"code-{place}.svg": _code(sheet.address(label)) for place, label in enumerate(sheet.labels)},
        **{f"{symbol}.svg": (_TEMPLATES / "symbols" / f"{symbol}.svg").read_bytes() for symbol in used},
    }
    fonts = Fonts(include_system_fonts=False, font_paths=[Path(mpl.get_data_path()) / "fonts" / "ttf"])
    with TemporaryDirectory(prefix="labels-") as folder:
        for name, content in files.items():
            (Path(folder) / name).write_bytes(content)
        compiler = Compiler(Path(folder) / "labels.typ", root=folder, font_paths=fonts)
        data = compiler.compile(format="pdf", pdf_standards=list(standards))
    assert isinstance(data, bytes)
    return data


def _code(address: str) -> bytes:
    made = io.BytesIO()
    segno.make(address, error="m", micro=False).save(made, kind="svg", border=4, dark="#000", light="#fff")
    return made.getvalue()


def _content(sheet: Sheet, paper: Paper) -> dict[str, Any]:
    """Every word and size of the sheet, as the template takes them."""
    return {
        "paper": _PAPERS[paper],
        "lang": spoken(),
        "title": _("Labels for batch {number}", number=sheet.number),
        "replaces_none": _(
            "By the log of {day}: what nobody wrote down is not on them. Cut out and print anew as the contents "
            "change. They replace no label that the law asks for: local codes and licensed practice come first. "
            "Statements: CLP, Annex III.",
            day=sheet.day,
        ),
        "scale": _("This bar is 50 mm long. Print at 100 %."),
        "by_hand": _("By hand:"),
        "code_mm": CODE_MM,
        "least_mm": LEAST_MM,
        "labels": [_label(sheet, label, place) for place, label in enumerate(sheet.labels)],
    }


def _label(sheet: Sheet, label: Label, place: int) -> dict[str, Any]:
    symbols = symbols_of(label.statements)
    of_all = label.vessel == "stock"  # of no one batch: its label names none
    day = label.day or sheet.day
    return {
        "code": f"code-{place}.svg",
        "code_alt": _("Code that opens it on the page: {address}", address=sheet.address(label)),
        "title": label.title,
        "name": None if of_all else sheet.name,
        "about": day if of_all else _("Batch {number} · {day}", number=sheet.number, day=day),
        "holds": [_UNIT.sub("\\1\u00a0\\2", text[0].upper() + text[1:]) for text in label.holds],
        "signal": None if label.signal is None else say(SIGNALS[label.signal]),
        "symbols": [{"file": f"{symbol}.svg", "alt": say(SYMBOL_WORDS[symbol])} for symbol in symbols],
        "statements": [one.sentence for one in label.statements],
        "cautions": list(label.cautions),
    }
