"""Serial dilution and the forecast of washes to come."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.bench.chemistry.water import aired_water, liquid_ph, pure_water, tap_water
from service.bench.washing.decant import best_split, portion_for, retained_share, share_left, splits, washes_needed
from service.bench.washing.forecast import forecast
from service.bench.washing.phases import forecast as plain_forecast
from service.bench.washing.phases import latest_phase, named_water
from service.bench.washing.reading import Reading


def _batch(share, start, water, count, sign=1, *, half=0.2, exchange=0.3):
    """Readings of an ideal wash: the model of water.py, no noise."""
    rows = []
    for n in range(1, count + 1):
        ph = float(liquid_ph(sign * start * share**n, share**n, water, exchange))
        rows.append(Reading(n, ph, (ph - half, ph + half)))
    return rows


def test_the_textbook_serial_dilution():
    # Common practice, no source: 50 mL held back, 450 mL added is a tenfold dilution; three washes leave 1/1000.
    share = retained_share(50.0, 450.0)
    assert share == pytest.approx(0.1)
    assert share_left([share] * 3) == pytest.approx(1e-3)
    assert washes_needed(share, 1000.0) == 3


@pytest.mark.parametrize(("share", "air", "tap"), [(0.05, 4, 3), (0.1, 6, 4), (0.2, 8, 5), (0.3, 10, 7)])
def test_washes_until_like_the_water(share, air, tap):
    # Source: PHREEQC (phreeqc.dat): washes until within 0.5 pH of the water, read closed, from 1 mol/L acid.
    for water, expected in ((aired_water(), air), (tap_water(4e-3, 7.5, 6.5e-3), tap)):
        own = water.ph()
        n = next(k for k in range(1, 20) if own - float(liquid_ph(share**k, share**k, water)) <= 0.5)
        assert n == expected


@given(st.floats(0.5, 20.0), st.floats(0.05, 0.5))
def test_more_portions_leave_less_but_never_below_the_limit(volume, held):
    rows = splits(volume, held, 12, least_portion_l=0.001)
    lefts = [row.share_left for row in rows]
    assert lefts == sorted(lefts, reverse=True)
    assert lefts[-1] >= math.exp(-volume / held)
    assert best_split(rows) in rows


def test_portion_for_undoes_the_dilution():
    litres = portion_for(1000.0, 3, 0.05)
    assert retained_share(0.05, litres) ** 3 == pytest.approx(1e-3)


def test_one_wash_cannot_tell():
    found = forecast([Reading(1, 1.5, (1.3, 1.7)), Reading(1, 1.6, (1.4, 1.8))], pure_water())
    assert found.status == "cannot tell"
    assert "two different washes" in found.sentence


@pytest.mark.parametrize("share", [0.06, 0.12, 0.25])
@pytest.mark.parametrize("water", [aired_water(), tap_water(2e-3)], ids=["air", "tap"])
@pytest.mark.parametrize("sign", [1, -1], ids=["acid", "lye"])
def test_the_interval_holds_the_ideal_wash(share, water, sign):
    seen = 2 if share < 0.1 else 3
    found = forecast(_batch(share, 0.6, water, seen, sign), water)
    truth = 0.0
    own = water.ph(0.3)
    while True:  # continuous washes until inside 6-8 or within 0.5 of the water
        f = share ** (seen + truth)
        ph = float(liquid_ph(sign * 0.6 * f, f, water, 0.3))
        if 6.0 <= ph <= 8.0 or abs(ph - own) <= 0.5:
            break
        truth += 0.02
    assert found.kind == ("acid" if sign > 0 else "lye")
    assert found.washes is not None
    assert found.washes.low - 0.1 <= truth <= found.washes.high + 0.1
    assert found.share is not None
    assert found.share.low <= share <= found.share.high


def test_hard_water_needs_fewer_than_a_line_through_ph_says():
    rows = _batch(0.1, 1.0, tap_water(4e-3), 2)
    found = forecast(rows, tap_water(4e-3))
    line = (7.0 - rows[-1].ph) / (rows[-1].ph - rows[0].ph)
    assert found.washes is not None
    assert found.washes.high < line


def test_a_blank_tells_the_water():
    rows = _batch(0.1, 1.0, tap_water(4e-3), 2)
    without = forecast(rows)
    told = forecast(rows, blank=(7.9, (7.7, 8.1)))
    assert told.washes is not None
    assert told.washes.high < 4.0
    assert without.status == "cannot tell" or (
        without.washes is not None and without.washes.high - without.washes.low > told.washes.high - told.washes.low
    )


def test_surer_readings_never_widen_the_forecast():
    wide = forecast(_batch(0.1, 1.0, aired_water(), 3, half=0.6), aired_water())
    sure = forecast(_batch(0.1, 1.0, aired_water(), 3, half=0.1), aired_water())
    assert wide.washes is not None
    assert sure.washes is not None
    assert sure.washes.high - sure.washes.low <= wide.washes.high - wide.washes.low + 0.2


@pytest.mark.parametrize("phs", [(1.2, 1.25, 1.2, 1.2), (1.0, 4.0, 2.0, 5.0, 1.0)])
def test_a_wash_that_does_not_fall_is_not_forecast(phs):
    found = forecast([Reading(n, ph, (ph - 0.2, ph + 0.2)) for n, ph in enumerate(phs, 1)], aired_water())
    assert found.status == "cannot tell"


def test_done_when_the_reading_is_the_waters_own():
    found = forecast(_batch(0.1, 1.0, aired_water(), 8), aired_water(), (5.6, (5.4, 5.8)))
    assert found.status == "done"


def test_the_services_view_is_in_the_order_of_the_washes():
    found = plain_forecast([Reading(n, float(n), (n - 0.2, n + 0.2)) for n in (2, 1, 3)], named_water("air"))
    assert found.status == "ok"
    assert found.interval[0] <= found.washes <= found.interval[1]
    assert [point.wash for point in found.curve] == list(range(len(found.curve)))
    assert all(point.low <= point.ph <= point.high for point in found.curve)


def test_an_unknown_name_of_water_is_refused():
    with pytest.raises(ValueError, match="pure, air, tap or unknown"):
        named_water("spring")
    assert named_water("tap") is None


def test_lye_washes_after_acid_washes_are_a_washing_of_their_own():
    acid = [Reading(n, r.ph, r.interval) for n, r in enumerate(_batch(0.1, 1.0, aired_water(), 6), 1)]
    drawn = enumerate(_batch(0.12, 2.0, aired_water(), 3, -1), 1)
    lye = [Reading(6 + n, r.ph, r.interval, part=1) for n, r in drawn]
    phase, before = latest_phase(acid + lye)
    assert [r.wash for r in phase] == [7, 8, 9]
    assert before == 6
    found = plain_forecast(acid + lye, aired_water())
    assert found.kind == "lye"
    assert found.washes is not None
    assert found.washes > 1.0
    assert found.curve[0].wash == 6
    assert latest_phase(acid)[1] == 0
    assert latest_phase([]) == ([], 0)


def test_a_strip_at_its_end_is_a_bound_and_not_a_value():
    # The strip ends at pH 4.0; the first washes lie at 1, 2 and 3. Taken as values they would say that nothing moves.
    rows = _batch(0.1, 1.0, aired_water(), 4)
    ended = [Reading(r.wash, 4.0, (3.9, 4.1), -1) if r.ph < 4.0 else r for r in rows]
    taken = [Reading(r.wash, 4.0, (3.9, 4.1)) if r.ph < 4.0 else r for r in rows]
    bound, value = forecast(ended, aired_water()), forecast(taken, aired_water())
    truth = 1.0
    assert bound.washes is not None
    assert bound.washes.low - 0.3 <= truth <= bound.washes.high
    assert value.status == "cannot tell" or value.washes is None or value.washes.low > truth
    assert forecast(ended[:3], aired_water()).status == "cannot tell"
