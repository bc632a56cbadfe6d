"""From powder to bars: fineness by assay or density, what was lost, what the slag may hold; worked by hand."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from service.bench.chemistry.density import water_g_cm3
from service.bench.melting.fineness import by_assay, by_density
from service.bench.melting.melt import Bar, Weighed, melt_of
from service.bench.melting.of_batch import melted, melts_of, silver_weighed
from service.bench.melting.plan import bar_of_text
from service.bench.notes import Note, checked
from service.bench.quantities import WrongQuantity
from service.bench.state import state_of
from service.bench.state_view import state_view
from service.cli import app
from service.report.batch_record import note_text


def _note(n, kind, **data):
    return Note(checked(kind, data, in_log=True), f"2026-03-01T08:{n:02d}:00", n)


# Handbooks give sterling silver (925, rest copper) 10.36 and coin silver (900) 10.31 (from memory).
@pytest.mark.parametrize(("fineness", "density"), [(1.0, 10.49), (0.925, 10.36), (0.9, 10.31), (0.0, 8.96)])
def test_density_tells_the_fineness_that_handbooks_have_for_it(fineness, density):
    grams = 200.0
    water = grams - (grams / density) * water_g_cm3(20.0)  # weighed without air: the formula's own correction is small
    found = by_density(grams, water, scale_g=0.0)
    low, value, high = found.share
    assert value == pytest.approx(fineness, abs=0.012)  # handbook's two decimals are 0.006 of fineness and more
    assert low - 0.01 <= fineness <= high + 1e-9


def test_air_and_the_waters_temperature_are_counted():
    # 100 cm³ of silver: in water of 4 °C it loses 99.997 g, of 30 °C 99.565 g (handbook's table, from memory).
    for temp, displaced in ((4.0, 99.997), (30.0, 99.565)):
        found = by_density(1049.0, 1049.0 - displaced, temp_c=temp, scale_g=0.0)
        assert found.density[1] == pytest.approx(10.49, abs=0.001 + 0.012)  # air lifts a little of it: 0.0012 * 9.5
    cold = by_density(1049.0, 1049.0 - 99.565, temp_c=4.0, scale_g=0.0).density[1]
    assert cold > 10.52  # the wrong temperature shows


def test_pores_make_it_read_low_and_the_range_reaches_over_them():
    solid = by_density(200.0, 200.0 - 200.0 / 10.49 * water_g_cm3(20.0), scale_g=0.01)
    porous = by_density(200.0, 200.0 - 200.0 / (10.49 * 0.995) * water_g_cm3(20.0), scale_g=0.01)
    assert porous.share[1] < solid.share[1] - 0.02
    assert porous.share[2] == 1.0  # fine silver with half a per cent of holes is not excluded
    assert "pores make it read low" in porous.sentence


def test_another_metal_is_said_and_changes_the_answer():
    water = 200.0 - 200.0 / 10.2 * water_g_cm3(20.0)
    by = {other: by_density(200.0, water, other=other).share[1] for other in ("copper", "zinc", "iron", "tin")}
    assert by["copper"] < by["iron"] < by["zinc"]  # the lighter the other metal, the less of it
    assert "zinc" in by_density(200.0, water, other="zinc").sentence


def test_what_no_silver_alloy_has_tells_no_fineness():
    gold = by_density(200.0, 200.0 - 200.0 / 15.0 * water_g_cm3(20.0))
    assert gold.share is None
    assert "heavier than silver" in gold.sentence
    light = by_density(200.0, 200.0 - 200.0 / 5.0 * water_g_cm3(20.0))
    assert light.share is None
    assert "lighter than" in light.sentence
    for water in (0.0, 200.0, 210.0):
        with pytest.raises(ValueError, match="weighs less"):
            by_density(200.0, water)


def _bar(grams, fineness=None, scale=0.01):
    return Bar("bar", grams, scale, by_assay((fineness, fineness)) if fineness else by_assay((1.0, 1.0)))


def test_what_was_lost_on_the_way_by_hand():
    # 200.0 g of powder, bars of 120.0 and 77.0 g: 3.0 g lost, 1.5 %; at 995 ‰ 196.0 g of silver.
    found = melt_of(Weighed(200.0, 20.0, 18.0, scale_g=0.1), [_bar(120.0, 0.995), _bar(77.0, 0.995)])
    assert found.lost_g == pytest.approx((2.88, 3.0, 3.12))
    assert found.lost_share == pytest.approx(0.015)
    assert found.silver_g[1] == pytest.approx(197.0 * 0.995)
    # 18 g of slag: a per cent of it, 0.18 g; at most what it has over half-dried flux, 8 g, never over the loss.
    assert found.slag_silver_g == pytest.approx((0.009, 0.18, 3.12))
    assert any("1.50%" in text for text in found.sentences)


def test_slag_is_never_said_to_hold_more_than_is_missing():
    tight = melt_of(Weighed(197.05, 20.0, 30.0, scale_g=0.0), [_bar(197.0, scale=0.0)])
    assert tight.slag_silver_g[2] == pytest.approx(0.05)
    more = melt_of(Weighed(190.0, scale_g=0.1), [_bar(197.0)])
    assert any("weigh 7 g more than the powder" in text for text in more.sentences)
    assert more.slag_silver_g[2] == 0.0
    crucible = melt_of(Weighed(200.0, None, None, 500.0, 504.0), [_bar(196.0)])
    assert crucible.slag_silver_g[1] == pytest.approx(0.04)
    assert melt_of(Weighed(), [_bar(196.0)]).slag_silver_g is None
    with pytest.raises(ValueError, match="below 0"):
        melt_of(Weighed(-1.0), [])


def test_a_batchs_melts_and_bars():
    notes = [
        _note(1, "weight", of="chloride", grams=300.0, moisture=[0.0, 0.0], scale_g=0.1),
        _note(2, "weight", of="powder", grams=224.0, scale_g=0.1),
        _note(3, "melt", powder_g=150.0, flux_g=10.0, slag_g=9.0, scale_g=0.1),
        _note(4, "bar", name="Bar 1", grams=149.0, scale_g=0.1, assay=[0.99, 0.995]),
        _note(5, "melt", powder_g=74.0, scale_g=0.1),
        _note(6, "bar", name="Bar 2", grams=73.0, scale_g=0.01, in_water_g=66.0, water_c=20),
        _note(7, "bar", name="bar 1", grams=149.4, scale_g=0.1, assay=[0.99, 0.995]),  # weighed again
    ]
    melts = melts_of(notes)
    assert [len(m.bars) for m in melts] == [1, 1]
    assert melts[0].bars_g == 149.4
    assert melts[1].bars[0].fineness.by == "density"
    low, value, high = silver_weighed(notes, melts)
    assert low < value < high
    assert value == pytest.approx(149.4 * 0.9925 + 73.0 * melts[1].bars[0].fineness.share[1])
    assert melted(notes)
    state = state_of(notes, [])
    assert state.balance.weighed_g[1] == pytest.approx(value)
    assert [x.name for x in state.balance.losses].count("in slag and crucible") == 2
    view = state_view(state)
    assert view.melts[0].bars[0].by == "assay"
    assert view.melts[1].slag_silver_g is not None
    assert "Fineness by an assay, ‰: 990-995" in note_text(notes[3])


def test_without_bars_the_metals_last_weight_counts_and_lots_add_up():
    powder = [
        _note(1, "weight", of="powder", grams=100.0, scale_g=0.1),
        _note(2, "weight", of="powder", grams=99.0, scale_g=0.1),
    ]
    assert silver_weighed(powder, ()) == pytest.approx((98.9, 99.0, 99.1))
    lots = [*powder, _note(3, "weight", of="powder", grams=50.0, scale_g=0.1, again="adds")]
    assert silver_weighed(lots, ()) == pytest.approx((148.8, 149.0, 149.2))
    bar = [*lots, _note(4, "weight", of="silver", grams=147.0, scale_g=0.1)]
    assert silver_weighed(bar, ()) == pytest.approx((146.9, 147.0, 147.1))  # powder and bar are never added up
    assert silver_weighed([], ()) is None
    empty = [
        _note(5, "weight", of="silver", grams=0.0, scale_g=0.1),
        _note(6, "weight", of="silver", grams=0.0, scale_g=0.1),
    ]
    assert silver_weighed(empty, ()) is None  # an empty pan twice is no weight, in the balance either
    assert silver_weighed([*bar, *empty], ()) == pytest.approx((146.9, 147.0, 147.1))


def test_bar_and_powder_are_never_one_series_at_the_gate():
    """Notes of a batch: powder that lost water, then a bar as a note and as a weight; and an empty pan twice."""
    start = _note(1, "move", to="dry", state="open", sentence="x")
    powder = _note(2, "weight", of="powder", grams=100.0, scale_g=0.01)
    later_one = Note(checked("weight", {"of": "silver", "grams": 100.0, "scale_g": 0.01}), "2026-03-01T11:00:00", 9)
    bar = Note(checked("bar", {"name": "b", "grams": 100.0, "scale_g": 0.01}), "2026-03-01T11:00:00", 10)
    for more in ([later_one], [bar], [later_one, bar]):
        assert state_of([start, powder, *more], []).verdict.state == "cannot tell"
    pan = [
        Note(
            checked("weight", {"of": "powder", "grams": 0.0, "scale_g": 0.01}, in_log=True),
            f"2026-03-01T{h}:00:00",
            20 + h,
        )
        for h in (12, 14)
    ]
    assert state_of([start, *pan], []).verdict.state == "cannot tell"
    assert "tare the empty dish" in state_of([start, *pan], []).verdict.sentence
    dry = Note(checked("weight", {"of": "powder", "grams": 99.99, "scale_g": 0.01}), "2026-03-01T11:00:00", 11)
    assert state_of([start, powder, dry], []).verdict.state == "open"


def test_a_bar_weighed_wrongly_in_water_is_kept_and_said():
    bar = melts_of([_note(1, "bar", name="b", grams=73.0, in_water_g=80.0)])[0].bars[0]
    assert bar.fineness.by == "not said"
    assert "weighs less than in air" in bar.fineness.sentence


def test_a_bar_as_it_is_typed():
    assert bar_of_text("195.2 g:995 ‰", 1, 20.0, "copper", 0.01).fineness.share == (0.995, 0.995, 0.995)
    assert bar_of_text("195.2/176.6", 2, 20.0, "copper", 0.01).fineness.by == "density"
    assert bar_of_text("195.2", 3, 20.0, "copper", 0.01).fineness.by == "not said"
    for wrong in ("195.2:995", "x", "195.2/"):
        with pytest.raises(WrongQuantity):
            bar_of_text(wrong, 1, 20.0, "copper", 0.01)


def test_command_service_and_notes_say_the_same(tmp_path, capsys):
    from fastapi.testclient import TestClient

    from service.web.app import create_app
    from tests.server.conftest import settings_in

    words = [
        "plan",
        "melt",
        "--powder",
        "200",
        "--bar",
        "120:995 ‰",
        "--bar",
        "77/69.6",
        "--slag",
        "18",
        "--flux",
        "20",
    ]
    printed = json.loads(CliRunner().invoke(app, [*words, "--json"]).output)
    assert "! Any water" in CliRunner().invoke(app, words).output
    with TestClient(create_app(settings_in(tmp_path))) as client:
        asked = {"powder_g": "200", "bar": ["120:995 ‰", "77/69.6"], "slag_g": "18", "flux_g": "20"}
        assert client.get("/api/plan/melt", params=asked).json()["melt"] == printed["melt"]
        assert client.get("/api/plan/melt", params={"bar": "77/80"}).status_code == 422
        batch = client.post("/api/batches", json={"name": "x"}).json()["id"]
        for kind, data in (
            ("weight", {"of": "chloride", "grams": "265 g", "moisture": "0"}),
            ("melt", {"powder_g": "200 g", "flux_g": 20, "slag_g": 18, "scale_g": 0.01}),
            ("bar", {"name": "bar 1", "grams": "120 g", "assay": "0.995", "scale_g": 0.01}),
            ("bar", {"name": "bar 2", "grams": "77 g", "in_water_g": "69.6 g", "scale_g": 0.01}),
        ):
            made = client.post(f"/api/batches/{batch}/notes", json={"kind": kind, "data": data})
            assert made.status_code == 201, made.text
        bench = client.get(f"/api/batches/{batch}/bench").json()
        assert bench["melts"][0]["silver_g"] == pytest.approx(printed["melt"]["silver_g"])
        assert bench["balance"]["weighed_g"] == pytest.approx(printed["melt"]["silver_g"])
        report = tmp_path / "report.html"
    from service.cli import main

    with pytest.raises(SystemExit):
        main(["batch", "report", str(batch), "--out", str(report), "--data", str(tmp_path / "data")])
    assert "From powder to bar" in report.read_text()
    with pytest.raises(SystemExit):
        main(["batch", "show", str(batch), "--data", str(tmp_path / "data")])
    assert "Slag and crucible may hold" in capsys.readouterr().out
