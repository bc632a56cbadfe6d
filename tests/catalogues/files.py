"""The files of the catalogues: what is extracted, the ``.po`` that people edit, the ``.mo`` that are read."""

from __future__ import annotations

import io
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.mofile import read_mo, write_mo
from babel.messages.pofile import read_po, write_po

from service.web.page_words import OPTIONS
from stripread.words.say import DOMAIN, FOLDER
from tests.catalogues.tables import sentences

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("stripread", "calibration", "service")
KEYWORDS = {"_": None, "N_": None, "_n": (1, 2), "t": None, "tn": (1, 2)}
METHODS = [
    ("**.py", "tests.catalogues.calls:of_python"),
    ("**/page/uplot.js", "ignore"),
    ("**/page/*.js", "javascript"),
    ("**/page/index.html", "service.web.page_words:of_html"),
]
OPTIONS_MAP = {"**/page/*.js": OPTIONS}


def po_path(language: str) -> Path:
    return FOLDER / language / "LC_MESSAGES" / f"{DOMAIN}.po"


def mo_path(language: str) -> Path:
    return po_path(language).with_suffix(".mo")


@cache
def extracted() -> Catalog:
    """Every sentence of the sources, each with the files it stands in."""
    catalog = Catalog(project=DOMAIN, charset="utf-8")
    for package in PACKAGES:
        found = extract_from_dir(
            str(ROOT / package), METHODS, options_map=OPTIONS_MAP, keywords=KEYWORDS, strip_comment_tags=True
        )
        for name, _line, message, _comments, _context in found:
            if any(ch.isalpha() for ch in str(message)):
                catalog.add(message, locations=[(f"{package}/{name}", None)])
    for message, place in sentences():
        catalog.add(message, locations=[(place, None)])
    return catalog


def read_po_of(language: str) -> Catalog:
    with po_path(language).open("rb") as file:
        return read_po(file, locale=language, domain=DOMAIN)


def update_po(language: str) -> None:
    """Bring a ``.po`` up to date: new sentences come untranslated, none is guessed from a like one."""
    path = po_path(language)
    path.parent.mkdir(parents=True, exist_ok=True)
    old = read_po_of(language) if path.exists() else Catalog(locale=language, domain=DOMAIN)
    new = Catalog(locale=language, domain=DOMAIN, project=DOMAIN, charset="utf-8", fuzzy=False)
    for message in extracted():
        if message.id:
            kept = old.get(message.id)
            string = kept.string if kept is not None and not kept.fuzzy else None
            new.add(message.id, string=string, locations=sorted(set(message.locations)))
    with path.open("wb") as file:
        write_po(
            file, new, width=120, sort_by_file=False, omit_header=False, ignore_obsolete=True, include_lineno=False
        )
    text = path.read_text(encoding="utf-8")
    path.write_text(_without_dates(text), encoding="utf-8")


def _without_dates(text: str) -> str:
    """Without what changes from run to run and says nothing."""
    noise = (
        '"POT-Creation-Date',
        '"PO-Revision-Date',
        '"Generated-By',
        '"Last-Translator',
        '"Report-Msgid',
        '"Language-Team',
    )
    return "".join(line for line in text.splitlines(keepends=True) if not line.startswith(noise))


def compiled(language: str) -> bytes:
    """The bytes of the ``.mo`` that belongs to the ``.po``."""
    catalog = read_po_of(language)
    catalog.creation_date = catalog.revision_date = datetime(2000, 1, 1, tzinfo=UTC)  # not when it was made
    out = io.BytesIO()
    write_mo(out, catalog)
    return out.getvalue()


def content(mo: bytes) -> tuple[str, dict[str, str]]:
    """What a ``.mo`` says: its rule for plurals and its sentences, whichever version of Babel wrote it."""
    catalog = read_mo(io.BytesIO(mo))
    return catalog.plural_expr, {str(m.id): str(m.string) for m in catalog if m.id}


def compile_po(language: str) -> None:
    mo_path(language).write_bytes(compiled(language))
