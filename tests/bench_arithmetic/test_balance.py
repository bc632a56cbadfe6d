"""Mass balance and the stock vessel: hand-worked sums, ranges that stay honest, refusals."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.bench.chemistry.balance import (
    Decant,
    Loss,
    add_spans,
    ammonia_test_loss,
    back_to_chloride_loss,
    balance,
    decant_loss,
    dropping_out,
    expected_from_chloride,
    expected_from_metal,
    filters_and_glass,
    unconverted_loss,
)
from service.bench.chemistry.reagents import chloride
from service.bench.vessel import waste


def test_expected_by_hand():
    # 132.8643 g of dry chloride hold 100 g of silver: 1.328643 g a g, tests/data/constants.csv.
    assert expected_from_chloride(chloride(132.8643))[1] == pytest.approx(100.0, rel=1e-5)
    assert expected_from_metal(500.0, (0.92, 0.93))[1] == pytest.approx(462.5)


def test_ten_hot_litres_lose_a_tenth_of_a_gram_at_most():
    # Source: PHREEQC, four databases: 11 to 20 mg/L at 80-95 °C, so ten litres 0.1 to 0.2 g.
    dissolved, _ = decant_loss(Decant("hot wash", 10.0, chloride=0.0, temp_c=90.0))
    assert 0.1 < dissolved.silver_g[1] < 0.2
    assert dissolved.silver_g[2] < 0.25


def test_fines_of_a_hurried_decant_outweigh_what_dissolves():
    # Common practice, no source: decanted fines outweigh dissolution.
    dissolved, fines = decant_loss(Decant("wash 2", 2.0, chloride=0.01, settled_h=0.2))
    assert fines.silver_g[1] > 10.0 * dissolved.silver_g[1]
    patient = decant_loss(Decant("wash 2", 2.0, chloride=0.01, settled_h=12.0))[1]
    assert patient.silver_g[1] < fines.silver_g[1] / 10.0


def test_the_ammonia_test_on_solid_takes_up_to_a_fifth_of_a_gram():
    # Source: PHREEQC and ideal: 3 mol/L ammonia takes 16 to 23 g/L; 10 mL on solid up to 0.2 g.
    assert ammonia_test_loss(10.0, 3.0, on_solid=True).silver_g[2] == pytest.approx(0.23, abs=0.02)
    assert "acidify" in ammonia_test_loss(10.0, 3.0, on_solid=True).note
    assert ammonia_test_loss(1.0, 3.0).silver_g[2] < 1e-5


def test_a_shortfall_is_explained_or_said_not_to_be():
    expected = (99.0, 100.0, 101.0)
    small = (Loss("on glass and rods", (0.001, 0.01, 0.05), "x"),)
    assert "agrees" in balance(expected, (99.5, 0.1), small).verdict
    assert "explain at most" in balance(expected, (80.0, 0.1), small).verdict
    assert "more than expected" in balance(expected, (110.0, 0.1), small).verdict
    big = (Loss("fines in wash 1", (2.0, 15.0, 30.0), "x", decant="wash 1"),)
    found = balance(expected, (85.0, 0.1), big)
    assert found.settle_again == ("wash 1",)
    assert "explain 15 g" in found.verdict
    assert found.share is not None
    assert found.share[0] < 0.85 < found.share[2]


def test_nothing_weighed_yet():
    found = balance((9.0, 10.0, 11.0), None, ())
    assert found.share is None
    assert found.verdict == "Not weighed yet."


@given(
    st.lists(st.tuples(st.floats(0, 5), st.floats(0, 5), st.floats(0, 5)).map(lambda t: tuple(sorted(t))), max_size=6)
)
def test_sums_keep_their_order_and_are_no_wider_than_the_ends(spans):
    low, mid, high = add_spans(spans)
    assert sum(s[0] for s in spans) - 1e-9 <= low + 1e-9
    assert low <= mid + 1e-9
    assert mid <= high + 1e-9
    assert high <= sum(s[2] for s in spans) + 1e-9


def test_oxide_meets_acid_no_more_than_there_is_of_either():
    assert back_to_chloride_loss(5.0, 0.01).silver_g[2] == pytest.approx(1.078682)
    assert back_to_chloride_loss(0.5, 1.0).silver_g == (0.0, 0.25, 0.5)


def test_pale_share_and_paper():
    assert unconverted_loss(100.0, (0.008, 0.013, 0.02)).silver_g[1] == pytest.approx(1.3)
    assert len(filters_and_glass(2, 3)) == 2
    assert filters_and_glass(0, 0) == ()


def test_strong_acid_decants_are_worth_dropping_out_and_weak_ones_not():
    assert dropping_out(Decant("first liquid", 3.0, chloride=3.0)) is not None
    assert dropping_out(Decant("wash 5", 3.0, chloride=0.003)) is None


@pytest.mark.parametrize(
    "call",
    [lambda: decant_loss(Decant("x", -1.0)), lambda: decant_loss(Decant("x", 1.0, looks="murky")),
     lambda: expected_from_metal(10.0, (92.5, 93.0))],
)  # fmt: skip
def test_nonsense_is_refused(call):
    with pytest.raises(ValueError, match=r"volume|looks|fineness"):
        call()


# --- the stock vessel


def test_acid_from_a_reading_by_hand():
    # 2 L at pH 1.0: 0.1 mol/L activity, coefficient near 0.78-0.83: 0.24 to 0.26 mol; one unit each way is tenfold.
    low, mid, high = waste.acid_in(2.0, 1.0, (0.5, 1.5))
    assert 0.23 < mid < 0.27
    assert low == pytest.approx(2.0 * 10**-1.5 / 0.85, rel=0.05)
    assert high > 0.7


def test_lye_is_negative_and_meets_the_acid():
    held = waste.stock([waste.Poured("acid wash", 1.0, mol=1.0), waste.Poured("lye", 1.0, mol=-0.4)])
    assert held.mol[1] == pytest.approx(0.6)
    answer = waste.neutralise(held, "soda lye (NaOH)")
    assert answer.grams[1] == pytest.approx(0.6 * 39.997, rel=1e-3)
    assert answer.portions >= 5
    # At the most 1.1 mol of acid and 0.36 of lye, a tenth unsure each: 0.74 mol at 57.6 kJ/mol in 2 L, no losses.
    assert answer.rise_k == pytest.approx(0.74 * 57.6 / (2.0 * 4.18), rel=1e-6)


def test_a_saturated_strip_means_at_least():
    held = waste.stock([waste.Poured("spent lye", 1.0, ph=14.0, interval=(13.5, 14.0))])
    assert held.at_least
    assert "at least" in held.sentence
    assert "or more" in waste.neutralise(held, "citric acid").sentence


ACID, LYE = waste.Poured("acid", 1.0, ph=1.5), waste.Poured("lye", 1.0, ph=12.5)


@pytest.mark.parametrize(
    ("poured", "side"),
    [
        ([], "neither"),
        ([waste.Poured("last wash", 5.0, ph=7.0)], "neither"),
        ([ACID], "acid"),
        ([LYE], "lye"),
        ([ACID, LYE], "unknown"),  # 0.01 to 0.1 mol of each: whichever is more
        ([waste.Poured("acid", 1.0, mol=1.0), LYE], "acid"),  # the acid's amount is known, and more
        ([waste.Poured("acid", 1.0, mol=1.0), waste.Poured("lye", 0.1, ph=14.0)], "unknown"),  # "at least" so much lye
        ([ACID, waste.Poured("more acid", 1.0, ph=0.0)], "acid"),  # "at least", on the same side
        ([ACID, waste.Poured("who knows", 0.5)], "unknown"),
    ],
)
def test_the_side_is_named_only_when_it_is_certain(poured, side):
    held = waste.stock(poured)
    assert held.side == side
    assert ("read its pH first" in held.sentence) == (side == "unknown")
    assert bool(waste.ways(held)) == (side in ("acid", "lye"))


def test_acid_or_lye_is_said_with_its_range():
    held = waste.stock([ACID, LYE])
    assert held.sentence.startswith("Could be acid or lye: read its pH first")
    assert "mol of lye to" in held.sentence
    with pytest.raises(ValueError, match="could be acid or lye"):
        waste.neutralise(held, "citric acid")


def test_wrong_side_and_unknown_neutralisers_are_refused():
    held = waste.stock([waste.Poured("acid", 1.0, mol=1.0)])
    with pytest.raises(ValueError, match="would add to it"):
        waste.neutralise(held, "citric acid")
    with pytest.raises(ValueError, match="no such"):
        waste.neutralise(held, "bleach")


def test_no_text_of_the_waste_module_offers_a_drain():
    held = waste.stock([waste.Poured("acid", 1.0, mol=1.0, metals=("silver", "copper"))])
    texts = [held.sentence, *waste.recover(held), *waste.cautions(held)]
    texts += [way.sentence for way in waste.ways(held)]
    drains = [t for t in texts if "drain" in t.lower() or "sewer" in t.lower() or "sink" in t.lower()]
    assert drains == [waste.NO_DRAIN]
    assert drains[0].startswith("Nothing of this goes down a drain")


def test_over_silver_with_ammonia_no_line_speaks_of_making_it_alkaline():
    """Raising the pH over silver with ammonia is the hazard (common practice, no source)."""
    silver = waste.stock([waste.Poured("acid", 5.0, mol=0.5, metals=("silver",), ammonia=True)])
    plain = waste.stock([waste.Poured("acid", 5.0, mol=0.5, metals=("silver",))])
    assert "pH 9 to 10" in " ".join(waste.cautions(plain))
    assert "pH 9" not in " ".join((silver.sentence, *silver.first, *waste.cautions(silver), *waste.recover(silver)))
    assert waste.ways(silver) == ()


def test_ammonia_in_the_vessel_comes_first():
    held = waste.stock([waste.Poured("test vials", 0.1, mol=0.05, ammonia=True)])
    assert waste.ways(held) == ()  # silver may be in it
    assert "Is silver in it?" in held.first[0]
    with_copper = waste.stock([waste.Poured("test vials", 0.1, mol=0.05, metals=("copper",), ammonia=True)])
    assert all("stop at pH 6 to 7" in way.sentence for way in waste.ways(with_copper))
