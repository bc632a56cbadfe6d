"""What holds for every ledger: sums close, causes err together, old notes keep their meaning, a loss has one place."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.bench.chemistry.balance import GLASS_G, PAPER_G, Decant, decant_loss
from service.bench.ledger.draws import N, between, normal, of_span, range_of
from service.bench.ledger.ledger import ledger_of
from service.bench.ledger.play import play
from service.bench.ledger.pouring import Elsewhere
from service.bench.ledger.weighed import Site, Weighed, compare
from service.bench.notes import DecantNote, Note, checked, decant_of, in_force
from service.bench.state import state_of
from tests.ledger_study import PLACES, made_batch, named_by, study

AG = 107.8682 / 143.3182


def written(*said):
    """Notes of (kind, fields), an hour between them."""
    return [
        Note(checked(kind, fields), f"2026-03-01T{number:02d}:00:00.000000+00:00", number)
        for number, (kind, fields) in enumerate(said, 1)
    ]


CHLORIDE = ("weight", {"of": "chloride", "grams": 100.0, "moisture": [0, 0.01], "scale_g": 0.1})


def by_key(notes, **more):
    return {one.key: one for one in ledger_of(notes, **more).vessels}


def test_draws_are_fixed_by_their_cause_and_have_the_range_they_are_given():
    once = of_span((1.0, 10.0, 100.0), "fines")
    normal.cache_clear()  # as in another process
    assert np.array_equal(of_span((1.0, 10.0, 100.0), "fines"), once)
    assert abs(np.corrcoef(normal("fines"), normal("scale 7"))[0, 1]) < 0.08
    for span in ((1.0, 10.0, 100.0), (8.0, 10.0, 13.0), (0.0, 0.5, 2.0)):
        drawn = of_span(span, "any")
        assert np.quantile(drawn, (0.05, 0.5, 0.95)) == pytest.approx(span, rel=0.12, abs=0.05)
        assert drawn.min() >= 0.0
    assert range_of(between((0.2, 0.5), "x"))[0] >= 0.2


@st.composite
def moves(draw):
    """A made-up course over named vessels: every sentence of it is possible."""
    vessels, said = ["main"], [CHLORIDE]
    for number in range(draw(st.integers(1, 7))):
        out = draw(st.sampled_from(vessels))
        into = draw(st.sampled_from([v for v in ["main", "a", "b", "c"] if v != out]))
        kind = draw(st.sampled_from(["decant", "split", "pour", "merge", "filtered", "spilled", "handed_over"]))
        share = draw(st.sampled_from([[0.1, 0.2], [0.5, 0.5], [0.9, 1.0]]))
        if kind == "decant":
            said.append((kind, {"name": f"d{number}", "litres": 1.0, "looks": "cloudy", "vessel": out, "into": into}))
        elif kind == "filtered":
            said.append((kind, {"vessel": out, "paper": f"p{number}", "into": into}))
            vessels.append(f"p{number}")
        elif kind == "spilled":
            said.append((kind, {"vessel": out, "share": share}))
        elif kind == "handed_over":
            said.append((kind, {"vessel": out, "what": "x"}))
        else:
            more = {} if kind == "merge" else {"share": share}
            said.append(("moved", {"how": kind, "vessel": out, "into": into, **more}))
        vessels.append(into)
    return written(*said)


@given(notes=moves())
@settings(max_examples=25, deadline=None)
def test_whatever_goes_wherever_the_silver_stays_the_same(notes):
    """In every single draw all vessels and accounts add up to what came in; nothing goes below 0."""
    books = play(notes, 0, Elsewhere(), decant_of).books
    total = sum(held.silver[:N] for held in books.holdings.values())
    assert total == pytest.approx(books.inputs[:N], rel=1e-9)
    assert min(held.silver[:N].min() for held in books.holdings.values()) > -1e-9


def test_shared_causes_err_together_and_others_do_not():
    """Ten like decants err alike: their sum is as wide as ten times one, not as the root of ten."""
    one = written(CHLORIDE, ("decant", {"name": "1", "litres": 1.0, "looks": "hazy", "chloride": 0.1}))
    ten = written(
        CHLORIDE, *[("decant", {"name": str(n), "litres": 1.0, "looks": "hazy", "chloride": 0.1}) for n in range(10)]
    )
    narrow, wide = by_key(one)["stock"].silver_g, by_key(ten)["stock"].silver_g
    assert wide == pytest.approx([10 * x for x in narrow], rel=0.02)
    # Lots of chloride, whose water one person judged, likewise; two scales' last digits not.
    two = written(CHLORIDE, ("weight", {**CHLORIDE[1], "again": "adds"}))
    spread = [ledger_of(written(*n)).inputs_g for n in ([CHLORIDE],)] + [ledger_of(two).inputs_g]
    assert spread[1][2] - spread[1][0] == pytest.approx(2 * (spread[0][2] - spread[0][0]), rel=0.02)


def test_notes_of_old_logs_keep_their_meaning():
    """Decants and pourings of before there were vessels: the same silver in the same places as the balance has it."""
    notes = written(
        CHLORIDE,
        ("decant", {"name": "wash 1", "litres": 2.0, "settled_h": 2.0, "chloride": 0.1}),
        ("poured", {"what": "wash 1", "litres": 2.0, "ph": 1.0}),
        ("vessel", {"retained_l": 0.1, "papers": 2, "glasses": 3}),
        ("weight", {"of": "powder", "grams": 76.0}),
        ("weight", {"of": "powder", "grams": 75.0}),
    )
    found, before = by_key(notes), by_key(notes[:4])
    dissolved, fines = decant_loss(Decant("wash 1", 2.0, 0.1, settled_h=2.0))
    assert before["stock"].solid_g[1] == pytest.approx(fines.silver_g[1], rel=0.05)
    assert before["stock"].dissolved_g[1] == pytest.approx(dissolved.silver_g[1], rel=0.1)
    assert before["·papers"].silver_g[1] == pytest.approx(2 * PAPER_G[1], rel=0.3)
    assert before["·glass"].silver_g[1] == pytest.approx(3 * GLASS_G[1], rel=0.3)
    assert found["main"].silver_g[1] == pytest.approx(75.0, abs=0.1)  # a drying weighs again: the last counts
    balance = state_of(notes, []).balance
    assert ledger_of(notes).inputs_g == pytest.approx(balance.expected_g, rel=0.005)


def test_a_stock_vessel_that_was_handed_over_holds_nothing_of_the_batch():
    said = (CHLORIDE, ("decant", {"name": "1", "litres": 5.0, "looks": "milky", "chloride": 0.1}))
    held = by_key(written(*said))["stock"].silver_g[1]
    mine = by_key(written(*said, ("emptied", {"what": "all"})))
    assert mine["stock"].silver_g[2] == 0.0
    assert mine["·gone"].silver_g[1] == pytest.approx(held)
    # by a note of another batch, between two decants of this one
    again = (*said, ("decant", {"name": "2", "litres": 5.0, "looks": "milky", "chloride": 0.1}))
    notes = [*written(*again[:2]), Note(written(*again)[2].content, "2026-03-02T00:00:00.000000+00:00", 9)]
    theirs = by_key(notes, elsewhere=Elsewhere(emptied=(5,)))
    assert theirs["stock"].silver_g[1] == pytest.approx(held, rel=0.01)
    assert theirs["·gone"].silver_g[1] == pytest.approx(held, rel=0.01)


def test_a_note_withdrawn_or_corrected_never_was_or_always_was_so():
    notes = written(CHLORIDE, ("moved", {"how": "split", "into": "pot", "share": [0.4, 0.4]}))
    half = by_key(in_force(notes))["pot"].silver_g[1]
    assert half == pytest.approx(0.4 * 100 * AG, rel=0.02)
    fixed = [*notes, *written(*[("named_vessel", {"vessel": "x"})] * 2, ("amended", {
        "note": 2, "data": {"how": "split", "into": "pot", "share": [0.2, 0.2]}, "why": "misread"}))[2:]]  # fmt: skip
    assert by_key(in_force(fixed))["pot"].silver_g[1] == pytest.approx(half / 2, rel=0.02)
    out = [*notes, *written(*[("named_vessel", {"vessel": "x"})] * 2, ("strike", {"note": 2, "why": "no"}))[2:]]
    assert "pot" not in by_key(in_force(out))


def test_a_vessel_weighed_with_its_tare_is_known_by_the_scale():
    said = (CHLORIDE, ("named_vessel", {"vessel": "Pot", "tare_g": 300.0, "what_for": "other"}),
            ("moved", {"how": "split", "into": "pot", "share": [0.3, 0.5]}))  # fmt: skip
    before = by_key(written(*said))
    weighed = ("vessel_weighed", {"vessel": "POT", "grams": 338.0, "moisture": [0, 0.01], "scale_g": 0.1})
    found = by_key(written(*said, weighed))
    assert found["pot"].silver_g[1] == pytest.approx(38.0 * AG * 0.995, rel=0.005)
    assert found["pot"].silver_g[2] - found["pot"].silver_g[0] < 0.1 * (
        before["pot"].silver_g[2] - before["pot"].silver_g[0]
    )
    # and what stayed behind with it: they are parts of one lot
    assert found["main"].silver_g[1] == pytest.approx(62.0 * AG, rel=0.02)
    assert found["main"].silver_g[2] - found["main"].silver_g[0] < 2.0
    nameless = by_key(written(*said[:1], ("moved", {"how": "split", "into": "cup", "share": [0.3, 0.5]}),
                              ("vessel_weighed", {"vessel": "cup", "grams": 338.0})))  # fmt: skip
    assert not nameless["cup"].weighed  # without a tare nobody knows what is in it


@pytest.mark.parametrize("place", PLACES)
def test_a_hidden_loss_of_a_tenth_is_pointed_to_where_it_was(place, monkeypatch):
    monkeypatch.setattr("tests.ledger_study.HIDDEN", 0.1)
    bench, gone = made_batch(2002, place)
    found = ledger_of(bench.notes)
    assert found.suspect is not None
    assert found.suspect.key in {"main": {"main"}, "melt": {"·bar", "·melt"}}.get(place, {place})
    assert found.suspect.silver_g[0] <= gone <= found.suspect.silver_g[2]
    assert found.missing[0].suspected
    assert found.open_g[0] <= gone <= found.open_g[2]
    sound = ledger_of(made_batch(2002, None)[0].notes)
    assert sound.closes
    assert named_by(sound) == set()


def test_no_loss_is_larger_than_what_a_vessel_held():
    """5 g are missing from one weighing: not out of a buffer that held half a gram, however alike the pattern."""
    weighing = Weighed("main", 9, "", 5.0 + 0.5 * normal("scale 9"), np.ones(2))
    found = compare([weighing], [Site(0, "buffer", 1, 0.5), Site(1, "main", 1, 100.0)])
    assert found.found is not None
    assert [site.vessel for site in found.found.sites] == ["main"]
    assert found.found.grams == pytest.approx(5.0)
    assert found.found.sd_g == pytest.approx(0.5, rel=0.01)


def test_the_study_in_small():
    found = study(24, 4000)
    assert found["closes"].yes >= 10  # of 12
    assert found["pointed"].yes >= 0.8 * found["pointed"].of
    assert found["vessels"].yes >= 0.92 * found["vessels"].of


def test_bars_written_down_one_by_one_are_what_there_is():
    bar = {"scale_g": 0.1, "assay": [0.999, 1.0]}
    notes = written(
        CHLORIDE,
        ("weight", {"of": "powder", "grams": 74.8, "scale_g": 0.1}),
        ("melt", {"powder_g": 74.8}),
        ("bar", {"name": "bar 1", "grams": 40.0, **bar}),
        ("bar", {"name": "bar 2", "grams": 34.5, **bar}),
    )
    found = ledger_of(notes)
    assert found.vessel("·bar").silver_g[1] == pytest.approx(74.5, abs=0.1)
    assert found.vessel("·melt").silver_g[1] == pytest.approx(0.3, abs=0.2)
    assert found.closes


def test_more_weighed_than_came_in_is_said_so():
    notes = written(CHLORIDE, ("weight", {"of": "powder", "grams": 90.0, "scale_g": 0.1}))
    found = ledger_of(notes)
    assert found.suspect is None
    assert not found.closes
    assert "more were weighed than came in" in found.sentence


def test_litres_and_decants_out_of_a_vessel_whose_volume_is_known():
    notes = written(
        CHLORIDE,
        ("decant", {"name": "1", "litres": 1.0, "looks": "milky", "chloride": 0.1, "into": "buffer"}),
        ("vessel_holds", {"vessel": "buffer", "litres": 1.0}),
        ("decant", {"name": "2", "litres": 0.8, "looks": "clear", "vessel": "buffer", "solid": "chloride"}),
    )
    found = by_key(notes)
    assert found["buffer"].litres[1] == pytest.approx(0.2, rel=0.01)
    assert found["stock"].dissolved_g[1] == pytest.approx(4.0 * found["buffer"].dissolved_g[1], rel=0.02)
    assert found["buffer"].solid_g[1] > 0.9  # it settled: the clear liquid takes no more than its fines
    assert isinstance(notes[1].content, DecantNote)
    left = by_key([*notes, *written(*[("named_vessel", {"vessel": "x"})] * 4,
                                    ("evaporated", {"vessel": "buffer", "left_l": 0.1}))[4:]])  # fmt: skip
    assert left["buffer"].litres[1] == pytest.approx(0.1)
    assert left["buffer"].silver_g == pytest.approx(found["buffer"].silver_g)
