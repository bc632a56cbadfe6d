"""The stock vessel in the log: a dangerous pouring is stopped before it is written; one that was made stays shown."""

from __future__ import annotations

import json

import pytest

from service.cli import main

STRONG = ("what=washes with silver", "litres=5", "ph=1", "metals=silver", "ammonia=yes")


@pytest.fixture
def run(capsys, tmp_path):
    def call(*args):
        with pytest.raises(SystemExit) as stop:
            main(["batch", *args, "--data", str(tmp_path / "log")])
        out = capsys.readouterr()
        return stop.value.code, out.out, out.err

    assert call("new", "one")[0] == 0
    assert call("new", "two")[0] == 0
    return call


def _pour(run, batch, *fields):
    return run("note", str(batch), "poured", *fields)


@pytest.mark.parametrize(
    ("held", "incoming", "words"),
    [
        (STRONG, ("what=spent lye", "litres=1", "ph=13"), "explode"),
        (("what=acid", "litres=2", "ph=1"), ("what=cleaner", "litres=1", "contents=bleach"), "chlorine"),
        (("what=acid", "litres=2", "ph=2", "contents=nitric acid"), ("what=syrup", "litres=1", "ph=7"), "brown fumes"),
        (("what=bath", "litres=1", "ph=12", "contents=cyanide"), ("what=rinse", "litres=1", "ph=3"), "breath can kill"),
        (("what=acid", "litres=1", "mol=6"), ("what=lye", "litres=1", "mol=-6"), "boil up"),
    ],
)  # fmt: skip
def test_a_dangerous_pouring_is_stopped_before_it_is_written(run, held, incoming, words):
    assert _pour(run, 1, *held)[0] == 0
    code, out, err = _pour(run, 2, *incoming)  # of another batch: the vessel is the same
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert err.startswith("stripread: STOP, nothing was written")
    assert words in err
    assert "Don't pour" in err
    shown = run("stock")[1]
    assert shown.count("batch 1:") == 1
    assert "batch 2:" not in shown


def test_one_that_was_made_all_the_same_stays_shown_until_it_was_dealt_with(run):
    _pour(run, 1, *STRONG)
    code, out, _ = _pour(run, 2, "what=spent lye", "litres=1", "ph=13", "despite=it was poured before anybody looked")
    assert code == 0
    number = out.split(":")[0].removeprefix("note ")
    for shown in (run("stock")[1], run("show", "2")[1]):
        assert f"Danger from note {number}" in shown
        assert "before anybody looked" in shown
    state = json.loads(run("show", "2", "--json")[1])
    assert len(state["dangers"]) == 1
    assert state["cautions"][0] == state["dangers"][0]
    assert "To neutralise" not in run("stock")[1]
    assert json.loads(run("show", "1", "--json")[1])["dangers"] == []
    code, _, err = run("note", "2", "made_safe", "note=99", "what=acidified")
    assert code == 2
    assert "no pouring 99" in err
    assert run("note", "2", "made_safe", f"note={number}", "what=acid to pH 2, chloride settled", "who=A.")[0] == 0
    assert json.loads(run("show", "2", "--json")[1])["dangers"] == []
    assert "Danger from note" not in run("stock")[1]
    assert "never make it alkaline" in run("stock")[1]  # what it holds is still so


@pytest.mark.parametrize(
    ("held", "read", "danger"),
    [
        (STRONG, ("ph=9.2",), True),
        (STRONG, ("ph=7.6",), True),
        (STRONG, ("ph=7", "interval=6.2-8.3"), True),  # it may be alkaline: it counts as such
        (STRONG, ("ph=7", "interval=6.5-7.5"), False),
        (STRONG, ("ph=2",), False),
        (("what=acid", "litres=5", "ph=1", "metals=silver"), ("ph=9.2",), False),
        (("what=acid", "litres=5", "ph=1", "metals=copper", "ammonia=yes"), ("ph=9.2",), False),
    ],
)  # fmt: skip
def test_a_reading_that_shows_silver_with_ammonia_alkaline_opens_a_danger(run, held, read, danger):
    assert _pour(run, 1, *held)[0] == 0
    code, out, _ = run("note", "2", "mixed", *read)  # of another batch: the vessel is the same
    number = out.split(":")[0].removeprefix("note ")
    assert code == 0
    for shown in (out, run("stock")[1], run("show", "2")[1]):
        assert (f"Danger from note {number}: The stock vessel was read at pH" in shown) == danger
    if not danger:
        return
    assert "call the fire brigade" in run("stock")[1]
    assert "portions" not in run("stock")[1]  # no way to neutralise it is given
    run("note", "2", "mixed", "ph=2")  # acid again: it stays until somebody says what was done
    assert f"Danger from note {number}" in run("stock")[1]
    assert run("note", "2", "made_safe", f"note={number}", "what=acid to pH 2, chloride settled")[0] == 0
    assert "Danger from note" not in run("stock")[1]


def test_what_a_reading_says_takes_no_content_away(run):
    _pour(run, 1, *STRONG)
    run("note", "1", "mixed", "ph=2")
    assert _pour(run, 1, "what=lye", "litres=1", "ph=12")[0] == 2
    run("note", "1", "emptied", "what=handed over")
    assert _pour(run, 1, "what=lye", "litres=1", "ph=12")[0] == 0


def test_unknown_contents_are_asked_about(run):
    code, _, err = _pour(run, 1, "what=x", "litres=1", "ph=7", "contents=gubbins")
    assert code == 2
    assert "what is 'gubbins'?" in err
    code, _, err = _pour(run, 1, "what=x", "litres=1", "ph=7", "metals=slver", "despite=yes")
    assert code == 2
    assert "Did you mean silver" in err


def test_acidified_vials_into_acid_are_let_through(run):
    assert _pour(run, 1, "what=washes", "litres=5", "ph=1", "metals=silver,copper")[0] == 0
    assert _pour(run, 1, "what=ammonia test vials", "litres=20 ml", "ph=2")[0] == 0


def test_a_second_weight_is_asked_about(run):
    assert run("note", "1", "weight", "of=chloride", "grams=100", "moisture=0-0.01")[0] == 0
    code, _, err = run("note", "1", "weight", "of=chloride", "grams=50", "moisture=0-0.01")
    assert code == 2
    assert "again=replaces or again=adds" in err
    assert run("note", "1", "weight", "of=chloride", "grams=50", "moisture=0-0.01", "again=adds")[0] == 0
    expected = json.loads(run("show", "1", "--json")[1])["balance"]["expected_g"]
    assert expected[1] == pytest.approx(150 * 0.995 * 0.752648, rel=1e-4)
    assert run("note", "1", "weight", "of=powder", "grams=110")[0] == 0
    assert run("note", "1", "weight", "of=powder", "grams=109.9")[0] == 0  # it dries: the last counts


def test_chloride_weighed_wet_without_a_moisture_is_a_wide_range(run):
    run("note", "1", "weight", "of=chloride", "grams=100")
    low, _, high = json.loads(run("show", "1", "--json")[1])["balance"]["expected_g"]
    assert (low, high) == pytest.approx((50 * 0.752648, 100 * 0.752648), rel=1e-4)


def test_a_second_weight_takes_confirm_and_notes_are_put_right(run):
    assert run("note", "1", "weight", "of=chloride", "grams=100", "moisture=0-0.01", "--who", "M.")[0] == 0
    assert run("note", "1", "weight", "of=chloride", "grams=50", "moisture=0-0.01", "--confirm")[0] == 0
    code, _, err = run("note", "1", "weight", "of=chloride", "grams=5", "moisture=0-0.01", "again=replaces")
    assert code == 2
    assert "which one does 5 g replace? Say replaces=NOTE" in err

    def expected():
        return json.loads(run("show", "1", "--json")[1])["balance"]["expected_g"][1] / (0.995 * 0.752648)

    assert expected() == pytest.approx(150, rel=1e-4)
    out = run("timeline", "1")[1].splitlines()
    first = next(line for line in out if "100 g" in line)
    number = first.partition("note ")[2].partition(":")[0]
    assert first.endswith("(M.)")
    assert run("correct", "1", "note", number, "grams=80", "--why", "misread", "--who", "A.")[0] == 0
    assert expected() == pytest.approx(130, rel=1e-4)
    assert "    corrected by A.: misread; before: chloride: 100 g" in run("timeline", "1")[1]
    assert run("correct", "1", "note", number, "--withdraw", "--why", "wrong batch")[0] == 0
    assert expected() == pytest.approx(50, rel=1e-4)
    assert "[withdrawn]" in run("timeline", "1")[1]
    assert run("correct", "1", "note", number, "--undo", "--why", "it was right")[0] == 0
    assert run("correct", "1", "note", number, "--undo", "--why", "and not misread")[0] == 0
    assert expected() == pytest.approx(150, rel=1e-4)
    code, _, err = run("correct", "1", "note", number, "--why", "nothing said")
    assert (code, "give one of FIELD=VALUE" in err) == (2, True)
    code, _, err = run("correct", "1", "entry", "7", "--confirm", "--why", "x")
    assert (code, "There is no reading 7" in err) == (2, True)
