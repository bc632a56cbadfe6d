"""Notes, the batch's state, and the report made from them."""

from __future__ import annotations

import dataclasses
import io
import re

import pypdfium2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from service.bench.notes import KINDS, Note, checked, contents, decant_of
from service.bench.notes import Move as MoveNote
from service.bench.readings import Observation, logged
from service.bench.state import state_of
from service.bench.state_view import state_view
from service.bench.vessel.history import poured_of
from service.report.batch_record import RecordedReading
from service.report.html import html_report, span_text
from service.report.pdf import pdf_report
from stripread.errors import CallError
from tests.bench_arithmetic.madeup import demo_batch, notes, readings


def _thumb():
    out = io.BytesIO()
    Image.new("RGB", (120, 90), (60, 160, 200)).save(out, "JPEG", quality=80)
    return out.getvalue()


def _with_pictures():
    made = demo_batch()
    return dataclasses.replace(made, readings=tuple(dataclasses.replace(r, thumbnail=_thumb()) for r in made.readings))


@pytest.fixture(scope="module")
def made_up():
    return _with_pictures()


def _pdf_text(data):
    document = pypdfium2.PdfDocument(io.BytesIO(data))
    try:
        text = "\n".join(document[i].get_textpage().get_text_range() for i in range(len(document)))
        return " ".join(text.split())
    finally:
        document.close()


def test_the_html_page_holds_the_batch_and_asks_nobody(made_up):
    page = html_report(made_up)
    # 222.4 g were weighed; seven lye washes of water of 0.6 mmol/L dropped 0.07 g of chalk by the table.
    assert "222.3 g of silver from 224.8 g expected: yield 98.9%" in page
    assert "Chalk in the weight" in page
    assert "7 washes after lye" in page
    assert page.count("data:image/jpeg;base64,") == len(made_up.readings)
    assert page.count("<svg") == 6  # each for a desk and for a hand
    assert "Went on against the gate:" in page
    assert "all dark by eye" in page
    for reading in made_up.readings:
        assert reading.text in page
    outside = [u for u in re.findall(r'(?:src|href)="([^"#]+)"', page) if not u.startswith("data:")]
    assert outside == []


def test_remade_it_is_the_same_byte_for_byte(made_up):
    assert html_report(made_up) == html_report(_with_pictures())
    assert pdf_report(made_up) == pdf_report(_with_pictures())


def test_the_pdf_says_the_same(made_up):
    text = _pdf_text(pdf_report(made_up))
    for words in (
        "224.8",
        "against the gate",
        "struck out: a digit left out",
        "fines in 7 decants",
        "most in wash 3",
        "Settle wash 3 a second time",
        "Local law",
        "drain",
    ):
        assert words in text
    for reading in made_up.readings:
        assert reading.text.split(" (")[0] in text


def test_names_with_markup_and_other_scripts_do_no_harm():
    name = "<script>alert(1)</script> & Łódź $x_{1}$ Ω"
    odd = demo_batch(name)
    noted = (*odd.notes, Note(checked("used", {"what": "<b>$\\frac$", "grams": 1.0}), "2026-03-04T09:00:00"))
    odd = dataclasses.replace(odd, notes=noted)
    page = html_report(odd)
    assert "<script>alert" not in page
    assert "&lt;script&gt;" in page
    text = _pdf_text(pdf_report(odd))
    assert "Łódź" in text
    assert "<b>$\\frac$" in text


def test_an_empty_batch_still_has_a_report(made_up):
    empty = dataclasses.replace(made_up, readings=(), notes=(), state=state_of([], []), forecasts=())
    assert "none" in html_report(empty)
    assert pdf_report(empty).startswith(b"%PDF")


def test_corrections_are_shown_beside_what_they_replace(made_up):
    old = dataclasses.replace(made_up.readings[0], corrected_by=99)
    new = RecordedReading(99, "2026-03-02T10:00:00", old.reading, 1, corrects=old.id, why="wrong wash", who="B.")
    page = html_report(dataclasses.replace(made_up, readings=(old, *made_up.readings[1:], new)))
    assert 'class="struck"' in page
    assert f"no. 99 replaces no. {old.id}, by B.: wrong wash" in page


# --- state


def test_the_stage_follows_the_moves_and_the_gate_its_readings():
    entries = [Observation(r.at, r.reading, r.wash) for r in readings() if r.corrected_by is None]
    found = state_of(list(notes()[:-1]), entries, 0.6, "tap")
    assert found.stage.id == "dry"
    assert found.verdict.state == "cannot tell"
    done = state_of(list(notes()), entries, 0.6, "tap")
    assert done.verdict.state == "open"
    assert done.next_line == "Go on to: Melt and weigh the metal."
    assert state_view(done).next_stage.id == "melt"


def test_the_made_up_batch_goes_against_a_gate_only_with_a_reason():
    moves = contents(list(notes()), MoveNote)
    assert all(m.reason for m in moves if m.state != "open")
    assert any(m.state == "hold" for m in moves)


def test_a_new_batch_starts_at_the_first_stage():
    found = state_of([], [])
    assert found.stage == found.procedure.stages[0]
    assert found.verdict.state == "cannot tell"
    assert found.balance is None
    assert state_view(found).next.startswith("Stir the chloride up")


def test_readings_from_before_the_stage_open_nothing():
    data = logged({"kind": "ph", "ph": 7.0, "interval": [6.7, 7.3]})
    move = Note(checked("move", {"to": "neutral-wash", "state": "open", "sentence": "x"}), "2026-03-02T00:00:00")
    early = [Observation("2026-03-01T00:00:00", data, 1), Observation("2026-03-01T00:10:00", data, 2)]
    late = [Observation("2026-03-03T00:00:00", data, 3)]
    assert state_of([move], early).verdict.state == "cannot tell"
    assert state_of([move], early + late).verdict.state == "open"
    assert state_of([move], late).verdict.state == "cannot tell"


SHOWN = {"ammonia_ph": 10.0, "flakes": "no", "dilution": 1.2}
CLEAR = logged({"kind": "tint", "decision": "none seen", "detection_limit": 5.0, "taken": SHOWN})


def test_hard_water_of_the_batch_holds_the_copper_gate():
    rows = [Observation(f"2026-03-01T0{h}:00:00", CLEAR, h) for h in (1, 2)]
    noted = [n for n in notes() if n.kind in ("weight", "vessel")]
    assert state_of(noted, rows, 0.3, "tap").verdict.state == "open"
    assert state_of(noted, rows, 4.0, "tap").verdict.state == "cannot tell"
    assert state_of(noted, rows, None, "tap").verdict.state == "cannot tell"


def test_a_clean_check_of_a_still_acid_wash_counts_in_hard_water_too():
    sour, plain = (logged({"kind": "ph", "ph": ph, "interval": [ph - 0.3, ph + 0.3]}) for ph in (2.0, 6.7))
    rows = [Observation(f"2026-03-01T0{h}:00:00", CLEAR, h) for h in (1, 2)]
    acid = [Observation(f"2026-03-01T0{h}:10:00", sour, h) for h in (1, 2)]
    late = [acid[0], Observation("2026-03-01T02:10:00", plain, 2)]
    noted = [n for n in notes() if n.kind in ("weight", "vessel", "strike")]
    assert state_of(noted, [*rows, *acid], 4.0, "tap").verdict.state == "open"
    assert state_of(noted, [*rows, *late], 4.0, "tap").verdict.state == "cannot tell"


def test_ammonia_tests_and_acid_rinses_enter_the_balance():
    noted = [n for n in notes() if n.kind == "weight"][:2]
    noted += [
        Note(checked("ammonia_test", {"ml": 10.0, "mol_l": 3.0, "on_solid": True}), "2026-03-01", 90),
        Note(checked("acid_rinse", {"acid_mol": 0.1, "oxide_silver_g": 2.0}), "2026-03-01", 91),
    ]
    found = {loss.name: loss.silver_g[2] for loss in state_of(noted, []).balance.losses}
    assert found["taken by the ammonia checks"] > 0.15
    assert found["turned back to chloride by the acid rinse"] == 2.0


# --- notes


@pytest.mark.parametrize(
    ("kind", "data", "says"),
    [
        ("weight", {"grams": 1.0}, "needs of"),
        ("weight", {"grams": -1.0, "of": "silver"}, "between 0"),
        ("weight", {"grams": float("nan"), "of": "silver"}, "number"),
        ("weight", {"grams": True, "of": "silver"}, "number"),
        ("weight", {"grams": 1.0, "of": "gold"}, "chloride"),
        ("decant", {"name": "x", "litres": 1.0, "looks": "murky"}, "clear"),
        ("decant", {"name": "x", "litres": 1.0, "colour": "red"}, "no field"),
        ("poured", {"what": "x", "litres": 1.0, "interval": [1.0]}, "can't be"),
        ("procedure", {"text": "x ="}, "TOML"),
        ("joke", {}, "no such note"),
    ],
)
def test_a_wrong_note_is_refused_by_name(kind, data, says):
    with pytest.raises(CallError, match=says):
        checked(kind, data)


_NAMES = st.sampled_from(sorted({f for content in KINDS.values() for f in content.model_fields}))
_VALUES = st.one_of(
    st.none(), st.booleans(), st.floats(), st.integers(), st.text(max_size=5), st.lists(st.floats(), max_size=3)
)


@given(st.sampled_from([k for k in KINDS if k != "procedure"]), st.dictionaries(_NAMES, _VALUES))
@settings(max_examples=150, deadline=None)  # a busy machine is no fault
def test_a_note_is_clean_or_refused_and_checking_twice_changes_nothing(kind, data):
    try:
        clean = checked(kind, data)
    except CallError:
        return
    assert checked(kind, clean.fields()).fields() == clean.fields()


def test_notes_become_what_the_models_take():
    decant = decant_of(checked("decant", {"name": "wash 1", "litres": 2.0}), 0.1)
    assert (decant.chloride, decant.temp_c, decant.solid) == (0.1, 25.0, "chloride")
    assert decant_of(checked("decant", {"name": "wash 1", "litres": 2.0, "chloride": 0.5}), 0.1).chloride == 0.5
    pour = poured_of(checked("poured", {"what": "x", "litres": 1.0, "ph": 1.0, "interval": [2, 0.5]}))
    assert pour.interval == (0.5, 2.0)


@pytest.mark.parametrize(
    ("fields", "wash"),
    [
        ({"name": "wash 3"}, 3),
        ({"name": "Wash #12"}, 12),
        ({"name": "first liquid"}, None),
        ({"name": "decant 2"}, None),
        ({"name": "2 L of wash 3"}, None),  # which number is the wash's nobody can say
        ({"name": "the evening's", "wash": 4}, 4),
        ({"name": "wash 3", "wash": 4}, 4),
    ],
)
def test_the_wash_that_a_decant_ends(fields, wash):
    assert checked("decant", {"litres": 1.0, **fields}).wash_number == wash


def test_ranges_are_written_with_sense():
    assert span_text((0.0, 0.0001, 0.0002)) == "below 0.001"
    assert span_text((99.0, 222.41, 223.0)) == "222.4 (99 to 223)"
