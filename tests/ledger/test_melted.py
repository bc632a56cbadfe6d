"""A melt's own weights in the ledger: slag and crucible as places, bounded and correlated with powder and bars."""

from __future__ import annotations

import numpy as np
import pytest

from service.bench.ledger.draws import N
from service.bench.ledger.ledger import ledger_of
from service.bench.ledger.play import play
from service.bench.ledger.pouring import Elsewhere
from service.bench.melting.melt import IN_SLAG
from service.bench.notes import decant_of
from tests.ledger.test_laws import CHLORIDE, by_key, written

POWDER = ("weight", {"of": "powder", "grams": 75.0, "scale_g": 0.1})
WEIGHED = {"powder_g": 75.0, "flux_g": 10.0, "slag_g": 6.0, "crucible_before_g": 300.0, "crucible_after_g": 302.0}


def bar(grams, name="bar 1"):
    return ("bar", {"name": name, "grams": grams, "scale_g": 0.1, "assay": [1.0, 1.0]})


def test_slag_and_crucible_may_hold_so_much_of_their_mass_as_slags_do():
    """Of 6 g of slag and 2 g in the crucible three quarters of what they hold are in the slag, in every draw."""
    notes = written(CHLORIDE, ("melt", WEIGHED), bar(74.9))
    books = play(notes, 0, Elsewhere(), decant_of).books
    slag, crucible = books.holdings["·slag"].solid[:N], books.holdings["·crucible"].solid[:N]
    assert slag == pytest.approx(3.0 * crucible)
    assert np.quantile(slag + crucible, (0.05, 0.5, 0.95)) == pytest.approx([8.0 * x for x in IN_SLAG], rel=0.15)
    assert (slag + crucible).max() <= 8.0 - 5.0 + 1e-9  # at least half of the flux's mass is glass
    total = sum(held.silver[:N] for held in books.holdings.values())
    assert total == pytest.approx(books.inputs[:N], rel=1e-9)


def test_powder_and_bars_bound_what_they_hold_and_they_stand_in_what_may_be_missing_largest_first():
    wide = by_key(written(CHLORIDE, ("melt", {**WEIGHED, "scale_g": 5.0}), bar(74.9)))["·slag"].silver_g
    little = ledger_of(written(CHLORIDE, POWDER, ("melt", WEIGHED), bar(74.9)))
    by = {one.key: one for one in little.vessels}
    low, _value, high = by["·slag"].silver_g
    assert low <= 0.75 * 0.1 <= high < 0.25  # 0.1 g went from powder to bar
    assert wide[2] > 0.25
    much = ledger_of(written(CHLORIDE, POWDER, ("melt", WEIGHED), bar(74.0)))
    by = {one.key: one for one in much.vessels}
    assert by["·slag"].silver_g[1] == pytest.approx(0.75, abs=0.1)
    assert by["·crucible"].silver_g[1] == pytest.approx(0.25, abs=0.05)
    assert by["·crucible"].what_for == "crucible"
    assert much.closes
    assert much.suspect is None
    names = [one.key for one in much.missing]
    assert names[0] == "·slag"
    assert names.index("·slag") < names.index("·crucible")
    total = sum(one.silver_g[1] for one in much.vessels)
    assert total == pytest.approx(much.inputs_g[1], rel=0.01)


def test_a_slag_with_a_name_takes_it_and_a_melt_without_weights_is_as_it_was():
    named = [("named_vessel", {"vessel": "Tin 3", "what_for": "slag"})]
    found = by_key(written(CHLORIDE, *named, POWDER, ("melt", WEIGHED), bar(74.0)))
    assert found["tin 3"].silver_g[1] == pytest.approx(0.75, abs=0.1)
    assert "·slag" not in found
    plain = by_key(written(CHLORIDE, POWDER, ("melt", {"powder_g": 75.0}), bar(74.6)))
    assert "·melt" in plain
    assert "·slag" not in plain
    flux = by_key(written(CHLORIDE, POWDER, ("melt", {"powder_g": 75.0, "flux_g": 10.0}), bar(74.6)))
    assert flux["·melt"].silver_g[1] == pytest.approx(0.4, abs=0.1)


def test_powder_that_was_not_melted_yet_stays_in_the_batchs_vessel():
    found = ledger_of(written(CHLORIDE, POWDER, ("melt", {"powder_g": 40.0, "slag_g": 3.0}), bar(39.9)))
    by = {one.key: one for one in found.vessels}
    assert by["main"].silver_g[1] == pytest.approx(35.0, abs=0.3)
    assert found.suspect is None
    second = (("melt", {"powder_g": 35.0, "slag_g": 3.0}), bar(34.9, "bar 2"))
    notes = written(CHLORIDE, POWDER, ("melt", {"powder_g": 40.0, "slag_g": 3.0}), bar(39.9), *second)
    done = {one.key: one for one in ledger_of(notes).vessels}
    assert done["main"].silver_g[2] < 0.01
    assert done["·bar"].silver_g[1] == pytest.approx(74.8, abs=0.2)


def test_what_went_into_the_crucible_is_a_weighing_of_the_powder_where_nobody_else_weighed_it():
    notes = written(CHLORIDE, ("melt", {"powder_g": 70.0, "slag_g": 0.5}), bar(69.9))
    found = ledger_of(notes)
    assert found.weighings == 2
    assert found.suspect is not None  # 5 g were gone before the melt
    assert found.suspect.key == "main"
    assert ledger_of(written(CHLORIDE, POWDER, ("melt", WEIGHED), bar(74.9))).weighings == 2
