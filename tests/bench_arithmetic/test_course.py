"""Readings that can't be one washing's course are asked back; the rest goes by wash, by time taken, by the notes."""

from __future__ import annotations

from dataclasses import replace

import pytest

from service.bench.chemistry.water import pure_water
from service.bench.gates.neutral import judge_neutral
from service.bench.notes import Note, checked
from service.bench.procedure import load_procedure
from service.bench.readings import Observation, logged
from service.bench.stages.gate_kinds import PhNeutral
from service.bench.washing.course import course
from service.bench.washing.forecast import forecast
from service.bench.washing.parts import breaks, part_of
from service.bench.washing.reading import Reading
from service.log.taken import taken_at, taken_times

OPENED = "2026-03-01T06:00:00+00:00"


def _reading(wash, ph, half=0.3, hour=None, part=0):
    at = "" if hour is None else f"2026-03-01T{hour:02d}:00:00"
    return Reading(wash, ph, (ph - half, ph + half), 0, f"entry {wash}", at, part)


def _seen(wash, ph, hour, half=0.3, **more):
    data = {"kind": "ph", "ph": ph, "interval": [ph - half, ph + half]}
    at = f"2026-03-01T{hour:02d}:00:00"
    return Observation(at, logged(data), wash, strip_range=(0.0, 14.0), entry=hour, **more)


@pytest.mark.parametrize(
    ("readings", "says"),
    [
        # By time alone: in wash order these read like a course.
        ([_reading(1, 1.5, hour=1), _reading(3, 3.5, hour=2), _reading(2, 2.5, hour=3)], "was taken after"),
        ([_reading(8, 6.0), _reading(5, 6.2, part=1)], "washing before"),
        ([_reading(1, 1.5), _reading(2, 6.9)], "further from"),
    ],
)
def test_what_cannot_be_is_asked_back_by_entry(readings, says):
    found = course(readings, alkalinity=0.0).questions
    assert says in found[0].sentence
    assert "ntry" in found[0].sentence


def test_hard_water_may_leap_where_soft_may_not():
    assert course([_reading(1, 2.3), _reading(2, 6.7)], alkalinity=4e-3).questions == ()
    assert course([_reading(1, 1.5), _reading(2, 6.9)], alkalinity=0.0).questions


def test_a_leap_opens_only_when_read_again():
    washes = [_seen(3, 2.3, 3), _seen(None, 7.2, 1, blank=True), _seen(4, 7.0, 4)]
    gate = PhNeutral(band=(6.0, 8.0))
    assert "leap" in judge_neutral(gate, sorted(washes, key=lambda o: o.at)).sentence
    again = [*washes, _seen(4, 7.1, 5)]
    assert judge_neutral(gate, sorted(again, key=lambda o: o.at)).state == "open"
    other = [*washes, _seen(4, 4.8, 5)]
    assert "disagree" in judge_neutral(gate, sorted(other, key=lambda o: o.at)).sentence


def test_a_wash_of_an_earlier_stage_opens_nothing():
    before = [_seen(8, 6.5, 3), _seen(9, 6.9, 4)]
    late = _seen(8, 6.6, 5)
    found = judge_neutral(PhNeutral(), [late], [*before, late])
    assert found.state == "cannot tell"
    alone = _seen(10, 6.9, 6)
    assert judge_neutral(PhNeutral(), [alone], [*before, alone]).state == "open"


def test_done_only_where_the_newest_says_so():
    # Alkalinity unknown: the others' tail would say that it is done.
    sour = [_reading(n, ph) for n, ph in enumerate((1.1, 2.2, 3.3, 4.4), 1)]
    found = forecast(sour, pure_water(), (6.9, (6.6, 7.2)))
    assert found.status == "ok"
    assert found.done_now <= 0.025


def test_a_blank_that_is_no_water_counts_for_nothing_and_is_named():
    washes = [_reading(n, ph) for n, ph in enumerate((1.1, 2.2, 3.3, 4.0), 1)]
    with_blank = forecast(washes, pure_water(), (4.0, (3.7, 4.3)))
    assert "no plausible water" in with_blank.sentence
    assert with_blank.done_now == forecast(washes, pure_water()).done_now


def test_a_new_washing_begins_by_the_notes():
    procedure = load_procedure("chloride_lye_sugar")

    def note(kind, hour, **data):
        return Note(checked(kind, data), f"2026-03-01T{hour:02d}:00:00", hour)

    def to(stage, hour):
        return note("move", hour, to=stage, state="open", sentence="x")

    notes = [to("neutral-wash", 1), to("lye-sugar", 2), to("lye-wash", 3)]
    assert len(breaks(notes, procedure)) == 1
    assert part_of("2026-03-01T01:30:00", breaks(notes, procedure)) == 0
    assert part_of("2026-03-01T04:00:00", breaks(notes, procedure)) == 1
    rinse = [*notes, note("acid_rinse", 5, acid_mol=0.01, oxide_silver_g=0.0)]
    assert part_of("2026-03-01T06:00:00", breaks(rinse, procedure)) == 2


@pytest.mark.parametrize(
    ("snapped", "taken"),
    [
        ("2026-03-01T09:00:00+01:00", "2026-03-01T08:00:00.000000+00:00"),  # it lay in the phone's queue
        ("2026-03-01T09:59:00+00:00", "2026-03-01T10:00:00+00:00"),  # at once
        ("2026-03-01T12:00:00+00:00", "2026-03-01T10:00:00+00:00"),  # a clock ahead
        ("1970-01-01T00:00:00+00:00", "2026-03-01T10:00:00+00:00"),  # a clock that is plainly wrong
        ("2026-03-01T09:00:00", "2026-03-01T10:00:00+00:00"),  # no zone
        ("soon", "2026-03-01T10:00:00+00:00"),
        (None, "2026-03-01T10:00:00+00:00"),
    ],
)
def test_a_photo_counts_from_when_it_was_taken(snapped, taken):
    assert taken_at("2026-03-01T10:00:00+00:00", snapped, OPENED) == taken


def test_a_correction_keeps_its_originals_time():
    rows = [
        {"id": 1, "corrects_id": None, "received_at": "2026-03-01T08:00:00+00:00", "snapped_at": None},
        {"id": 2, "corrects_id": 1, "received_at": "2026-03-01T11:00:00+00:00", "snapped_at": None},
    ]
    assert taken_times(rows, OPENED)[2] == "2026-03-01T08:00:00+00:00"


WASHED = (1.5, 2.6, 3.7, 4.9, 6.2)  # of washes 1 to 5


def _washed(last, **more):
    """A course that is nearly done, and one wash after it."""
    readings = [_reading(wash, ph, 0.15, wash) for wash, ph in enumerate((*WASHED, last), 1)]
    return [*readings[:-1], replace(readings[-1], **more)]


def test_done_only_where_the_newest_reading_itself_says_so():
    assert forecast(_washed(6.9)).status == "done"
    doubted = forecast(_washed(6.9, doubtful=True))
    assert (doubted.status, doubted.whole) == ("cannot tell", None)
    assert 'Entry 6 (wash 6, pH 6.9) says "look twice"' in doubted.sentence
    outside = forecast(_washed(5.75))  # 5.60 to 5.90: all of it below 6
    assert (outside.status, outside.whole, outside.washes) == ("cannot tell", None, None)
    assert "Entry 6 (wash 6, pH 5.8) lies outside neutral" in outside.sentence


def test_the_chance_of_done_is_small_where_the_newest_interval_lies_outside():
    """Of a 95 % interval 2.5 % lie beyond each end: no more may be left, whatever the washes before say."""
    assert forecast(_washed(6.9)).done_now > 0.9
    assert forecast(_washed(5.75)).done_now <= 0.025


def test_a_gate_is_not_opened_by_a_wash_of_an_earlier_stage():
    gate = PhNeutral(band=(6.0, 8.0))
    washes = [_seen(5, 6.3, 5), _seen(6, 6.7, 6), _seen(7, 6.8, 7)]
    assert judge_neutral(gate, washes, washes).state == "open"
    held = judge_neutral(gate, washes[1:2], washes)
    assert held.state == "cannot tell"
    assert "Entry 7 (wash 7, pH 6.8) was read in an earlier stage" in held.sentence
