"""Every note that a person writes can be asked for by a form, and what a form asks for is what the note takes."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.bench.note_forms import form_of, note_forms
from service.bench.notes import CONTENTS, KINDS, Note, checked, words_of
from service.bench.readings import Observation, logged
from service.bench.state import state_of
from service.commands.batch import _NOTES
from stripread.ph.range_end import range_end
from stripread.reasons import because

FORMS = {form.kind: form for form in note_forms()}


def test_the_kinds_are_offered_in_one_order_and_the_stages_write_theirs_alone():
    assert list(FORMS) == [content.kind for content in CONTENTS if content.kind not in ("procedure", "move", "amended")]


def test_the_command_line_takes_the_same_kinds():
    assert set(_NOTES) == set(FORMS)


@pytest.mark.parametrize("kind", FORMS)
def test_a_form_asks_for_all_that_its_note_must_have_and_for_nothing_else(kind):
    fields = {field.name: field for field in FORMS[kind].fields}
    model = KINDS[kind].model_fields
    assert set(fields) <= set(model)
    assert {name for name, info in model.items() if info.is_required()} <= set(fields)
    for name, field in fields.items():
        assert field.required == model[name].is_required()
        if field.form == "choice":
            assert {value for value, _ in field.options} - {""} == set(words_of(KINDS[kind], name))


def test_the_form_of_a_field_for_the_command_line():
    forms = [form_of(name) for name in ("acid", "metals", "moisture", "grams", "what", "looks", "nothing")]
    assert forms == ["flag", "words", "range", "number", "text", "choice", None]


def test_what_is_in_the_log_is_not_held_to_rules_that_came_later():
    nothing = {"of": "chloride", "grams": 0.0}
    assert checked("weight", nothing, in_log=True).fields() == nothing
    with pytest.raises(ValueError, match="weight's grams: must be above 0"):
        checked("weight", nothing)
    empty = Note(checked("vessel", {"retained_l": 0.0}, in_log=True), "2026-03-01")
    assert state_of([empty], []).verdict.state == "cannot tell"


@given(st.floats(0.0, 14.0), st.floats(0.0, 3.0), st.floats(0.0, 3.0))
def test_the_end_of_a_range_is_found_again_from_the_written_numbers(ph, down, up):
    """The side that the reading itself named is the side that its logged interval and its profile's range give."""
    strip = (4.0, 9.0)
    low, high = max(strip[0], min(ph, 9.0) - down), min(strip[1], max(ph, 4.0) + up)
    bound = range_end((low, high), strip)
    if bound is None:
        return
    reason = because("end_of_range", "x", bound=bound, value=high if bound == "at most" else low, unit="pH")
    said = [{"code": reason.code, "message": ""}]
    written = {"kind": "ph", "ph": ph, "interval": [round(low, 3), round(high, 3)], "reasons": said}
    assert Observation("", logged(written), strip_range=strip).bound() == reason.bound


def test_what_a_form_leaves_out_is_what_the_note_takes_it_for():
    """A vessel that is named to catch fines must not become one for something else, since that stood there at first."""
    for form in FORMS.values():
        for field in form.fields:
            default = KINDS[form.kind].model_fields[field.name].default
            if field.omit and field.value:
                assert field.value in (default, str(default).lower()), (form.kind, field.name)
    what_for = next(field for field in FORMS["named_vessel"].fields if field.name == "what_for")
    assert (what_for.value, what_for.omit) == ("buffer", False)
    assert next(field for field in FORMS["decant"].fields if field.name == "acid").omit
