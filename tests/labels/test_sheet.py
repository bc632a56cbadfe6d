"""The printed sheet, read back: codes by another library, the bar measured, words by language, contents by the log."""

import io
import re

import cv2
import numpy as np
import pypdfium2
import pytest
from pypdfium2 import raw

from service.bench.notes import Note, checked
from service.bench.procedure import load_procedure
from service.bench.readings import Observation, logged
from service.bench.state import state_of
from service.bench.vessel.contents import Poured
from service.bench.vessel.waste import stock
from service.report.labels.address import batch_address, page_root
from service.report.labels.of_batch import Known, labels_of
from service.report.labels.paper import Sheet, labels_pdf
from stripread.errors import CallError
from stripread.words import _, speaking
from tests.bench_arithmetic.test_report_paper import _elements, _size

ADDRESS = "http://192.168.1.5:8000/#batch=7"
MM = 72.0 / 25.4
SIZES = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # ISO 216; ANSI/ASME Y14.1
WASTE = [
    Poured("washes", 5.0, 1.3, (1.1, 1.5), metals=("silver", "copper")),
    Poured("spent lye", 3.0, 12.8, (12.6, 12.95)),
]


def _note(kind, at="2026-03-01T08:00:00", **data):
    return Note(checked(kind, data), at, 1)


def _known(*notes, seen=(), held=WASTE, dangers=()):
    notes = [_note("procedure", text=load_procedure("chloride_lye_sugar").text), *notes]
    found = stock(held) if held else None
    state = state_of(notes, list(seen))
    return Known(7, "June: silver from chloride", state, tuple(notes), tuple(seen), found, dangers)


def _at(stage, at="2026-03-01T09:00:00"):
    return _note("move", at, to=stage, state="open", sentence="done")


def _ph(ph, low, high, hour=10):
    return Observation(f"2026-03-01T{hour}:00:00", logged({"kind": "ph", "ph": ph, "interval": [low, high]}), wash=3)


def _of(known):
    return {label.vessel: label for label in labels_of(known)}


def _pdf(known, paper="a4"):
    sheet = Sheet(7, known.name, "2026-11-27", ADDRESS, labels_of(known))
    return pypdfium2.PdfDocument(io.BytesIO(labels_pdf(sheet, paper, ("ua-1",))))


@pytest.fixture(scope="module")
def page():
    document = _pdf(_known(seen=[_ph(1.3, 1.1, 1.5)]))
    assert len(document) == 1
    yield document[0]
    document.close()


def codes_of(page):
    """What OpenCV reads of each code on a page: it is looked for in windows, since it finds few on a whole sheet."""
    per_mm = 8
    picture = np.asarray(page.render(scale=per_mm / MM).to_pil().convert("L"))
    found = []
    for right in (page.get_width() / MM / 2 - 2.5, page.get_width() / MM - 13.5):
        column = picture[:, int((right - 24.5) * per_mm) : int((right + 0.5) * per_mm)]
        seen = -99.0
        for top in range(0, len(column) - 28 * per_mm, per_mm):
            text, corners, _code = cv2.QRCodeDetector().detectAndDecode(column[top : top + 28 * per_mm])
            if text and (middle := (top + corners[0, :, 1].mean()) / per_mm) > seen + 5.0:
                found.append(text)
                seen = middle
    return found


def test_every_code_opens_the_batch(page):
    assert codes_of(page) == [ADDRESS] * 5


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("language", ["en", "de", "es"])
def test_one_sheet_in_every_language_with_a_bar_of_50_mm(paper, language):
    with speaking(language):
        document = _pdf(_known(seen=[_ph(1.3, 1.1, 1.5)]), paper)
        wanted = [_("Danger"), _("Causes severe skin burns and eye damage."), _("Filter papers"), _("By hand:")]
    assert len(document) == 1
    assert [side / MM for side in document[0].get_size()] == pytest.approx(SIZES[paper], abs=0.1)
    assert _bar_mm(document[0]) == pytest.approx(50.0, abs=0.05)
    words = document[0].get_textpage()
    text = re.sub(r"\s+", " ", words.get_text_range().replace("\r\n", " ")).replace("\ufffe", "")
    assert [one for one in wanted if one not in text] == []
    assert min(_size(words, n) for n in range(words.count_chars()) if words.get_text_range(n, 1).strip()) >= 8.99
    document.close()


def _bar_mm(page):
    """Length of the widest thing that is 2.5 mm high."""
    bounds = [found.get_bounds() for found in page.get_objects([raw.FPDF_PAGEOBJ_PATH], max_depth=1)]
    sizes = [((right - left) / MM, (top - bottom) / MM) for left, bottom, right, top in bounds]
    return max(wide for wide, high in sizes if abs(high - 2.5) < 0.05)


def test_the_bar_is_50_mm(page):
    assert _bar_mm(page) == pytest.approx(50.0, abs=0.05)


def test_the_address_names_the_batch_behind_the_hash():
    assert batch_address(page_root("http://192.168.1.5:8000/"), 7) == ADDRESS


def test_labels_are_tagged_and_say_their_language(page):
    found = _elements(page)
    kinds = [path[-1] for path, _alt in found]
    assert kinds.count("H1") == 1
    assert kinds.count("H2") == 5
    told = [alt for path, alt in found if path[-1] == "Figure"]
    assert sum(ADDRESS in alt for alt in told) == 5
    assert all(told)
    with speaking("de"):
        data = labels_pdf(Sheet(7, "x", "2026-11-27", ADDRESS, labels_of(_known())))
    assert b"/Lang (de)" in data or b"/Lang(de)" in data


def test_the_main_vessel_says_what_it_holds_by_the_newest_reading_of_its_stage():
    acid = _of(_known(seen=[_ph(1.3, 1.1, 1.5), _ph(3.0, 2.7, 3.3, 11)]))["main"]
    assert acid.holds[0] == "silver chloride under acid rinse water"
    assert acid.holds[1].endswith("pH 3.0 (2.7 to 3.3)")
    assert [one.code for one in acid.statements] == ["H410"]
    lye = _of(_known(_at("lye-sugar", "2026-03-01T12:00:00"), seen=[_ph(6.9, 6.5, 7.3)]))["main"]
    assert "in lye" in lye.holds[0]  # the neutral reading is of the stage before
    assert [one.code for one in lye.statements] == ["H290", "H314", "H410"]


def test_dry_metal_is_not_corrosive_and_a_bar_has_no_statement():
    powder = _of(_known(_at("dry"), _note("weight", "2026-03-01T10:00:00", of="powder", grams=195.2, scale_g=0.05)))
    assert [one.code for one in powder["main"].statements] == ["H410"]
    assert powder["metal"].title == "Silver powder"
    assert powder["metal"].holds == ("last weighed: 195.2 ± 0.05 g",)
    assert "decant" not in powder
    bar = _of(_known(_at("melt"), _note("weight", "2026-03-01T10:00:00", of="silver", grams=194.0)))["metal"]
    assert (bar.title, bar.signal, bar.statements) == ("Silver bar", None, ())


def test_the_stock_vessel_has_its_danger_first_and_never_a_drain():
    label = _of(_known(dangers=("Danger from note 5: it may explode.", "Danger from note 6: chlorine.")))["stock"]
    assert label.signal == "danger"
    assert label.cautions[0] == "Danger from note 5: it may explode."
    assert "page" in label.cautions[1]
    assert any("down a drain" in text for text in label.cautions)
    empty = _of(_known(held=[]))["stock"]
    assert (empty.signal, empty.statements) == (None, ())


def test_a_log_from_before_procedures_said_their_contents_has_them_all_the_same():
    text = load_procedure("chloride_lye_sugar").text
    old = "\n".join(line for line in text.splitlines() if not line.startswith(("holds", "contents")))
    notes = [_note("procedure", text=old)]
    label = _of(Known(7, "x", state_of(notes, []), tuple(notes), (), None))["main"]
    assert label.holds[0] == "silver chloride under acid rinse water"


def test_a_procedure_of_ones_own_that_does_not_say_asks_for_the_hand():
    notes = [_note("procedure", text='name = "mine"\n[[stage]]\nid = "a"\ntitle = "Stir"\nread = ["ph"]\n')]
    label = _of(Known(7, "x", state_of(notes, []), tuple(notes), (), None))["main"]
    assert label.statements == ()
    assert "write it here" in label.cautions[0]


WRONG = ["bench.local", "ftp://a", "http://", "http://a b", "http://a/page", "http://a:99999", "javascript:x"]
WRONG += ["http://u@a", "http://a#x", "http://" + "a" * 300]


@pytest.mark.parametrize("text", WRONG)
def test_a_wrong_address_is_said_in_one_sentence(text):
    with pytest.raises(CallError, match="--address: give the page's address"):
        page_root(text)


@pytest.mark.parametrize("text", ["http://bench.local:8000", "https://192.168.1.5:8443/", "http://[fe80::1]:8000"])
def test_an_address_keeps_its_name_and_port(text):
    assert page_root(text) == text.rstrip("/")
