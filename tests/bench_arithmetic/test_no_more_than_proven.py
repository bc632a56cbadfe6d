"""What is said of silver, portions, bars and vials claims no more than was seen."""

from __future__ import annotations

import pytest

from service.bench.dosing.at_stage import portions_of
from service.bench.dosing.by_volume import by_volume
from service.bench.dosing.plan import portions_plan
from service.bench.ledger.play import metal_lots
from service.bench.melting.fineness import by_density
from service.bench.melting.of_batch import melts_of, silver_weighed
from service.bench.notes import Note, checked
from service.bench.quantities import WrongQuantity
from service.bench.readings import Observation, logged
from service.bench.reminding.of_vials import vials_to_acidify
from service.bench.silver_back.dose import silver_dose
from service.bench.silver_back.plan import silver_plan
from service.bench.stages.gate_kinds import PaleBelow
from service.bench.vessel.running import Held, go_on
from service.moments import hours_words
from stripread.errors import CallError


def _at(minutes):
    return f"2026-03-{1 + minutes // 1440:02d}T{minutes // 60 % 24:02d}:{minutes % 60:02d}:00"


def _note(kind, minutes, **data):
    return Note(checked(kind, data), _at(minutes), minutes)


@pytest.mark.parametrize(
    ("poured", "down", "is_down"),
    [
        ({"ph": 1.5}, {}, True),
        ({"ph": 9.0, "ammonia": True}, {}, False),  # silver stays in ammonia, whatever chloride there is
        ({"ph": 1.5, "ammonia": True}, {}, True),  # in acid ammonia holds none
        ({"ph": 4.0, "contents": ["fixer"]}, {}, False),
        ({"ph": 10.0, "contents": ["cyanide"]}, {}, False),
        ({"ph": 4.0, "contents": ["fixer"]}, {"left": [0, 2]}, True),  # an assay sees it all
        ({"ph": 1.5}, {"left": [50, 200]}, False),
    ],
)
def test_a_clear_drop_counts_where_it_would_have_clouded(poured, down, is_down):
    note = _note("poured", 1, what="washes", litres=5.0, metals=["silver"], **poured)
    held = go_on(Held(), [(1, note)])
    held = go_on(held, [(1, _note("silver_down", 2, by="chloride", drop="clear", **down))])
    assert held.holds_silver is not is_down


def test_silver_that_is_bound_has_no_plan_and_lye_meets_no_zinc():
    for word in ("fixer", "cyanide"):
        with pytest.raises(CallError, match="No plan for that here"):
            silver_plan(10.0, (50.0, 100.0), "salt", contains=(word,))
    with pytest.raises(CallError):
        silver_plan(10.0, (50.0, 100.0), "zinc", contains=("lye",))
    assert silver_plan(10.0, (50.0, 100.0), "iron", contains=("lye",)).dose is not None
    said = [words for _what, words in silver_plan(10.0, (50.0, 100.0), "acid", ammonia=True).said]
    assert any("on top of" in words for words in said)
    assert not any("on top of" in words for _what, words in silver_plan(10.0, (50.0, 100.0), "acid").said)


def test_no_more_stays_dissolved_than_was_there():
    for way in ("salt", "copper"):
        low, value, high = silver_dose(10.0, (0.0, 1.0), way).left_mg_l
        assert 0.0 == low <= value <= high <= 1.0


def test_a_bar_too_small_for_its_scale_tells_no_density():
    for air, water, scale in ((1.0, 0.98, 0.01), (20.0, 18.1, 1.0)):
        with pytest.raises(ValueError, match="too coarse"):
            by_density(air, water, scale_g=scale)
    bar = _note("bar", 5, name="b", grams=1.0, in_water_g=0.98)
    (melt,) = melts_of([bar])  # the batch goes on, and says so
    assert "too coarse" in melt.bars[0].fineness.sentence


def test_bars_of_two_melts_may_bear_one_name():
    notes = [_note("melt", 1, powder_g=100), _note("bar", 2, name="bar 1", grams=99, assay=[0.999, 0.999]),
             _note("melt", 3, powder_g=80), _note("bar", 4, name="Bar 1", grams=78, assay=[0.999, 0.999]),
             _note("bar", 5, name="bar 1", grams=79, assay=[0.999, 0.999])]  # fmt: skip
    melts = melts_of(notes)
    assert [[bar.grams for bar in melt.bars] for melt in melts] == [[99.0], [79.0]]
    assert silver_weighed(notes, melts)[1] == pytest.approx(178.0 * 0.999, rel=1e-3)


def test_the_ledger_counts_the_lots_that_the_balance_counts():
    notes = [_note("weight", 1, of="silver", grams=100), _note("weight", 2, of="silver", grams=80, again="adds"),
             _note("weight", 3, of="silver", grams=178)]  # fmt: skip
    assert metal_lots(notes) == {3: "silver"}
    assert silver_weighed(notes, ())[1] == 178.0


def _solid(minutes, pale, status="ok"):
    reasons = [] if status == "ok" else [{"code": "some_glare", "severity": "doubt", "message": "x"}]
    share = {"pale_fraction": pale, "pale_interval": [pale * 0.5, pale * 1.2]}
    data = {"kind": "solid", **share, "status": status, "reasons": reasons}
    return Observation(_at(minutes), logged(data), entry=minutes)


def test_portions_end_by_pictures_that_are_sure_and_by_a_small_share():
    used = [_note("used", 10, what="lye", grams=20), _note("used", 30, what="lye", grams=20)]
    seen = [_solid(5, 0.7), _solid(20, 0.4)]
    told = {
        status: portions_of(PaleBelow(share=0.01), ("solid",), used, [*seen, _solid(40, 0.002, status)], "").sentence
        for status in ("ok", "doubtful")
    }
    assert "no more is needed" in told["ok"]
    assert "no more is needed" not in told["doubtful"]
    for slip in (5.0, 0.5, 0.0):
        with pytest.raises(WrongQuantity, match="small pale share"):
            portions_plan(["0:0.95", "20:0.9"], slip)


def test_another_liquid_than_water_wants_the_vessels_volume():
    with pytest.raises(ValueError, match="weigh it empty"):
        by_volume(1500.0, 1700.0, liquid=(1.04, 1.06))
    water, glass, liquid, dry = 0.9982, 500.0, 1.05, 200.0
    full = 1000.0
    sludge = glass + (full - dry / 5.56) * liquid + dry
    low, _value, high = by_volume(glass + full * water, sludge, empty_g=glass, liquid=(1.04, 1.06)).dry_g
    assert low < dry < high


def test_a_vial_is_asked_about_until_somebody_wrote_that_it_was_acidified():
    test = _note("ammonia_test", 0, ml=2, mol_l=1)
    for hours in (2, 73, 500):
        late = vials_to_acidify([test], [], _at(60 * hours))
        assert late.state == "late"
        assert "If it was acidified in time, write that down" in late.sentence
    assert vials_to_acidify([test, _note("acidified", 30, ph=2)], [], _at(60 * 500)) is None


def test_hours_as_a_clock_shows_them():
    assert [hours_words(h) for h in (1 / 6, 1.0, 2.5, 24.0, 168.2)] == ["10 min", "1 h", "2.5 h", "24 h", "168 h"]
