"""The printed sheet, read back: codes by another library, the bar measured, words by language, contents by the log."""

import io
import re

import numpy as np
import pypdfium2
import pytest
import zxingcpp
from pypdfium2 import raw

from service.bench.ledger.ledger import ledger_of
from service.bench.ledger.marks import vessel_mark
from service.bench.notes import Note, checked
from service.bench.procedure import load_procedure
from service.bench.readings import Observation, logged
from service.bench.state import state_of
from service.bench.vessel.contents import Poured
from service.bench.vessel.waste import stock
from service.report.labels.address import Named, batch_address, named_by, page_root, vessel_address
from service.report.labels.of_batch import Known, labels_of
from service.report.labels.paper import Sheet, labels_pdf
from stripread.errors import CallError
from stripread.words import _, speaking
from tests.bench_arithmetic.test_report_paper import _elements, _size

ROOT, LOG = "http://192.168.1.5:8000", "k3f7"
ADDRESS = f"{ROOT}/#vessel=7.{LOG}.main"
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
    sheet = Sheet(7, known.name, "2026-11-27", ROOT, LOG, labels_of(known))
    return pypdfium2.PdfDocument(io.BytesIO(labels_pdf(sheet, paper, ("ua-1",))))


def sheet_page():
    """The one page of a sheet of a batch at its acid washes."""
    document = _pdf(_known(seen=[_ph(1.3, 1.1, 1.5)]))
    assert len(document) == 1
    return document[0]


@pytest.fixture(scope="module")
def page():
    return sheet_page()


def codes_of(page):
    """What another library reads of each code on a page, down the left column and then the right."""
    picture = np.asarray(page.render(scale=8 / MM).to_pil().convert("L"))
    found = zxingcpp.read_barcodes(picture, formats=zxingcpp.BarcodeFormat.QRCode)
    at = [(one.position.top_left.x > picture.shape[1] / 2, one.position.top_left.y, one.text) for one in found]
    return [text for _right, _top, text in sorted(at)]


def test_every_code_opens_its_vessel(page):
    """The decants' jug has no vessel of its own in the ledger: its code opens the batch, as all did once."""
    papers = f"{ROOT}/#vessel=7.{LOG}.{vessel_mark('·papers')}"
    wanted = [ADDRESS, papers, ADDRESS, f"{ROOT}/#batch=7", f"{ROOT}/#vessel={LOG}.stock"]
    assert codes_of(page) == wanted  # down the left column, then the right
    assert all(len(address) <= 62 for address in wanted)  # bytes of a code of 33 modules with level M, ISO/IEC 18004


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
    assert batch_address(page_root("http://192.168.1.5:8000/"), 7) == f"{ROOT}/#batch=7"


@pytest.mark.parametrize("key", ["main", "stock", "·bar", "blue bucket", "größe 3", "a" * 60, "塩"])
def test_a_vessels_address_is_read_again(key):
    found = named_by(vessel_address(ROOT, 7, LOG, key))
    assert found == Named(None if key == "stock" else 7, LOG, vessel_mark(key))
    assert named_by(vessel_address(ROOT, 7, "", key)) == Named(7)  # a log of the older form


@pytest.mark.parametrize(
    "text", ["", "http://a/", "http://a/#join=abc", "http://a/#vessel=7.main", "WIFI:S:x;;", "#batch=x"]
)
def test_other_codes_are_none_of_ours(text):
    assert named_by(text) is None


def test_names_that_are_one_vessel_have_one_mark_and_others_have_others():
    assert vessel_mark("Blue  Bucket") == vessel_mark("blue bucket") != vessel_mark("bluebucket")
    marks = {vessel_mark(f"pot {n}") for n in range(2000)}
    assert len(marks) == 2000


def test_labels_are_tagged_and_say_their_language(page):
    found = _elements(page)
    kinds = [path[-1] for path, _alt in found]
    assert kinds.count("H1") == 1
    assert kinds.count("H2") == 5
    told = [alt for path, alt in found if path[-1] == "Figure"]
    assert sum(ROOT in alt for alt in told) == 5
    assert all(told)
    with speaking("de"):
        data = labels_pdf(Sheet(7, "x", "2026-11-27", ROOT, LOG, labels_of(_known())))
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
    assert bar.holds[0] == "silver, 194 g"


def _ledgered(*said):
    """What is known of a batch with these notes, its vessels by its ledger."""
    text = load_procedure("chloride_lye_sugar").text
    notes = [Note(checked("procedure", {"text": text}), "2026-03-01T08:00:00+00:00", 1)]
    notes += [Note(checked(kind, data), f"2026-03-0{n}T09:00:00+00:00", n) for n, (kind, data) in enumerate(said, 2)]
    vessels = ledger_of(notes, 7).vessels
    return Known(7, "June: silver from chloride", state_of(notes, []), tuple(notes), (), None, vessels=vessels)


CHLORIDE = ("weight", {"of": "chloride", "grams": 100.0, "moisture": [0, 0.01]})


def test_each_bar_has_a_label_with_its_mass_fineness_and_day():
    melt = ("melt", {"powder_g": 75.0, "flux_g": 9.0, "slag_g": 8.0})
    first = ("bar", {"name": "bar 1", "grams": 40.0, "scale_g": 0.1, "assay": [0.985, 0.995]})
    second = ("bar", {"name": "bar 2", "grams": 34.6})
    labels = labels_of(_ledgered(CHLORIDE, melt, first, second))
    bars = [one for one in labels if one.vessel == "metal"]
    assert [one.title for one in bars] == ["bar 1", "bar 2"]
    assert bars[0].holds == ("silver, 40 ± 0.1 g", "fineness 990 ‰ (985 to 995 ‰), by an assay")
    assert "not known" in bars[1].holds[1]
    assert [one.day[:10] for one in bars] == ["2026-03-04", "2026-03-05"]
    assert {one.key for one in bars} == {"·bar"}
    assert all(one.signal is None for one in bars)
    slag = next(one for one in labels if one.key == "·slag")
    assert slag.title == "The slag that came off"
    assert "beads" in slag.cautions[0]
    weights = [
        ("weight", {"of": "silver", "grams": 40.0}),
        ("weight", {"of": "silver", "grams": 34.0, "again": "adds"}),
    ]
    lots = [one for one in labels_of(_ledgered(CHLORIDE, *weights)) if one.vessel == "metal"]
    assert [(one.title, one.holds[0]) for one in lots] == [
        ("Silver bar 1", "silver, 40 g"),
        ("Silver bar 2", "silver, 34 g"),
    ]


def test_each_named_vessel_has_a_label_of_what_it_holds():
    named = ("named_vessel", {"vessel": "Blue Bucket", "what_for": "buffer", "tare_g": 412.0})
    decant = ("decant", {"name": "wash 1", "litres": 0.8, "looks": "cloudy", "into": "blue bucket"})
    filtered = ("filtered", {"vessel": "blue bucket", "paper": "paper 1", "into": "clear pot"})
    by = {one.key: one for one in labels_of(_ledgered(CHLORIDE, named, decant))}
    bucket = by["blue bucket"]
    assert bucket.title == "Blue Bucket"
    assert bucket.holds[0] == "catches fines that go back"
    assert bucket.holds[1].startswith("silver chloride: ")
    assert bucket.holds[-1] == "empty it weighs 412 g"
    assert {"H314", "H410"} <= {one.code for one in bucket.statements}  # acid rinse water that nobody read
    assert "·papers" in by
    after = {one.key: one for one in labels_of(_ledgered(CHLORIDE, named, decant, filtered))}
    assert "burns fiercely" in after["paper 1"].cautions[0]
    assert "·papers" not in after
    assert "clear pot" in after


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_each_page_of_a_longer_sheet_has_its_bar(paper):
    pots = [("named_vessel", {"vessel": f"pot {n}", "what_for": "buffer"}) for n in range(7)]
    document = _pdf(_ledgered(CHLORIDE, *pots), paper)
    assert len(document) == 2
    for page in document:
        assert _bar_mm(page) == pytest.approx(50.0, abs=0.05)
        assert _("This bar is 50 mm long. Print at 100 %.") in " ".join(page.get_textpage().get_text_range().split())
        foot = min(found.get_bounds()[1] for found in page.get_objects([raw.FPDF_PAGEOBJ_PATH], max_depth=1)) / MM
        assert foot > 5.0  # mm that printers leave white
    document.close()


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


def test_each_label_of_a_sheet_has_its_own_address():
    labels = labels_of(_known())
    sheet = Sheet(7, "x", "2026-11-27", ROOT, LOG, labels)
    found = {label.vessel: sheet.address(label) for label in labels}
    assert found["main"] == ADDRESS
    assert found["stock"] == f"{ROOT}/#vessel={LOG}.stock"
    assert found["papers"] == f"{ROOT}/#vessel=7.{LOG}.{vessel_mark('·papers')}"
    assert found["decant"] == f"{ROOT}/#batch=7"
