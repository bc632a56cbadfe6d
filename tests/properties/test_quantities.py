"""Typed quantities: the door and an independent reading agree, through all three entrances; a question stays one."""

from __future__ import annotations

import json
import random

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import insert

from service.bench.quantities import WrongQuantity, typed_number
from service.cli import main
from service.log.models import events, now
from service.terminal.log_options import opened
from service.web.app import create_app
from tests.fuzz_quantities import a_text, run
from tests.properties.quantity_judge import ASK, REFUSE, judged
from tests.server.conftest import a_photo, settings_in


def test_four_thousand_strings_are_read_as_the_judge_reads_them():
    counts, wrong = run(4000, 11)
    assert wrong == []
    assert min(counts["read"], counts[ASK], counts[REFUSE]) > 100


@pytest.mark.parametrize(
    ("field", "text", "choice"),
    [("grams", "1,000 g", "1000 g"), ("grams", "1.000 g", "1000 g"), ("grams", "5 gr", "5 grains"),
     ("grams", "2 oz", "2 troy oz"), ("litres", "2 oz", "2 UK fl oz"),
     ("litres", "2 gal", "2 US gal"), ("litres", "3 pints", "3 UK pint"), ("ml", "1 pt", "1 US pint"),
     ("added_ml", "5 fl. oz.", "5 UK fl oz"), ("litres", "1,5 quart", "1.5 UK qt"), ("path_mm", "1,000", "1.0000"),
     ("litres", "80 ML", "80 ml"),
     ("grams", "5 Mg", "5 mg")],
)  # fmt: skip
def test_what_may_mean_two_things_is_asked_back(field, text, choice):
    with pytest.raises(WrongQuantity) as asked:
        typed_number(field, text)
    assert choice in asked.value.choices
    assert choice in str(asked.value)


@pytest.mark.parametrize(
    ("field", "text"),
    [("grams", "1000 g"), ("grams", "1.0000 g"), ("grams", "5 grains"),
     ("grams", "2 oz avdp"), ("grams", "2 troy oz"), ("litres", "2 US fl oz"),
     ("litres", "2 UK gal"), ("ml", "1 UK pint"), ("litres", "1 US qt")],
)  # fmt: skip
def test_every_choice_that_is_offered_is_understood(field, text):
    assert typed_number(field, text) > 0


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("door")


@pytest.fixture(scope="module")
def client(folder):
    with TestClient(create_app(settings_in(folder, posts_per_minute=5000))) as c:
        yield c


def _command(capsys, *args):
    with pytest.raises(SystemExit) as stop:
        main(list(args))
    out = capsys.readouterr()
    return stop.value.code, out.out, out.err


def _photo(client, batch, **form):
    orders = "ph=6.50" if form.get("kind") == "ph" else "copper"
    files = {"photo": ("w.jpg", a_photo(orders), "image/jpeg")}
    return client.post(f"/api/batches/{batch}/readings", files=files, data={"kind": "tint", **form})


def _kept(answer, field):
    """What the log keeps of the field in a reading that was posted."""
    entry = answer.json()
    if field == "temp_c":
        return entry["log"]["said"].get("temperature_c")
    return entry["taken"].get({"ph": "ammonia_ph"}.get(field, field))


FORM = {"dilution": {}, "ph": {}, "temp_c": {"kind": "ph"}}  # what is kept as it was typed
FORM_NAMES = {"ph": "ammonia_ph", "temp_c": "temperature_c"}


@pytest.mark.parametrize("field", FORM)
def test_a_readings_form_reads_numbers_as_the_judge_does(client, field):
    batch = client.post("/api/batches", json={"name": "form"}).json()["id"]
    chance = random.Random(7)
    texts = ["1,000", "nan", "1e400", "-3", "2,5", "1.5", "0", *(a_text(chance, field) for _ in range(25))]
    for text in texts:
        if not text.strip():
            continue  # an empty field of a form says nothing
        wanted = judged(field, text)
        answer = _photo(client, batch, **{"kind": "tint", **FORM[field], FORM_NAMES.get(field, field): text})
        if isinstance(wanted, str):
            problem = answer.json()
            assert answer.status_code == 422, text
            assert problem["code"] == ("which_quantity" if wanted == ASK else "bad_quantity"), text
            assert problem["detail"].startswith(f"{FORM_NAMES.get(field, field)}: ")
            assert "\n" not in problem["detail"]
        else:
            assert answer.status_code == 200, (text, answer.text)
            assert _kept(answer, field) == pytest.approx(float(wanted), rel=1e-9, abs=1e-12), text


@pytest.mark.parametrize("name", ["path_mm", "dilution", "sample_ml", "added_ml", "temperature_c", "ammonia_ph"])
@pytest.mark.parametrize(
    ("text", "code"),
    [("nan", "bad_quantity"), ("1e400", "bad_quantity"), ("-7", "bad_quantity"), ("1.5 kg", "bad_quantity"),
     ("1_0", "bad_quantity"), ("1,5,5", "bad_quantity")],
)  # fmt: skip
def test_no_number_of_a_readings_form_is_anything_else(client, name, text, code):
    batch = client.post("/api/batches", json={"name": "form"}).json()["id"]
    kind = "ph" if name == "temperature_c" else "tint"
    more = {"sample_ml": "8"} if name == "added_ml" else {"drops": "2"} if name == "sample_ml" else {}
    answer = _photo(client, batch, **{"kind": kind, **more, name: text})
    assert (answer.status_code, answer.json()["code"]) == (422, code)
    assert answer.json()["detail"].startswith(name)


@pytest.mark.parametrize(
    ("name", "text"), [("path_mm", "1,000"), ("path_mm", "1.000 mm"), ("dilution", "1.000"), ("sample_ml", "1,000 ml"),
                       ("sample_ml", "1 pt"), ("added_ml", "2 fl oz"), ("drops", "1,000")]
)  # fmt: skip
def test_a_readings_form_asks_back_what_may_be_two_things(client, name, text):
    batch = client.post("/api/batches", json={"name": "form"}).json()["id"]
    answer = _photo(client, batch, **{name: text})
    assert (answer.status_code, answer.json()["code"]) == (422, "which_quantity")
    assert answer.json()["choices"]
    assert client.get(f"/api/batches/{batch}/readings").json() == []


def test_units_and_commas_of_a_readings_form(client):
    batch = client.post("/api/batches", json={"name": "form"}).json()["id"]
    near = _photo(client, batch, path_mm="2,5 cm", sample_ml="0,5 UK fl oz", drops="20", added_ml="0").json()
    # 0.5 imperial fluid ounces are 14.2065 mL (from memory); 20 drops of 0.05 mL are 1 mL: 15.2065 / 14.2065.
    assert near["taken"]["dilution"] == pytest.approx(1.0704, abs=1e-4)
    assert near["detection_limit"] is not None


@pytest.mark.parametrize("value", ["51,000", "nan", "-2", "1e400", "soft", True, [2], {"a": 1}, 51, "2 mg"])
def test_a_wire_number_that_is_none_is_one_sentence(client, value):
    answer = client.post("/api/batches", json={"name": "w", "water": {"water": "tap", "alkalinity_mmol_l": value}})
    assert (answer.status_code, answer.json()["code"]) == (422, "bad_quantity")
    assert answer.json()["detail"].startswith("alkalinity_mmol_l: ")
    assert "\n" not in answer.json()["detail"]


def test_wire_numbers_come_as_text_or_as_numbers(client):
    for value in ("2,5", "2.5", 2.5):
        made = client.post("/api/batches", json={"name": "w", "water": {"water": "tap", "alkalinity_mmol_l": value}})
        assert made.json()["water"]["alkalinity_mmol_l"] == 2.5
    batch = made.json()["id"]
    entry = _photo(client, batch, kind="ph").json()["log"]["id"]
    said = {"by": "M.", "why": "meter"}
    raw = {"content-type": "application/json"}
    for bad in ('"ph": "1e400", "interval": [6, 7]', '"ph": 6.5, "interval": [-Infinity, 7]', '"ph": NaN',
                '"ph": 6.5, "interval": [6, "x"]', '"wash": "2.5"', '"wash": "1,000"',
                '"wash": -1', '"ph": 6.5, "interval": [6]', '"ph": ' + "9" * 400):  # fmt: skip
        body = '{"by": "M.", "why": "meter", ' + bad + "}"
        answer = client.post(f"/api/readings/{entry}/corrections", content=body, headers=raw)
        assert (answer.status_code, answer.json()["code"]) == (422, "bad_quantity"), bad
    made = client.post(f"/api/readings/{entry}/corrections", json={**said, "ph": "6,5", "interval": "6.2 to 6,8"})
    assert (made.json()["ph"], made.json()["interval"]) == (6.5, [6.2, 6.8])


@pytest.mark.parametrize(
    ("query", "code"),
    [("moisture_low=nan", "bad_quantity"), ("moisture_high=1,000", "bad_quantity"), ("portions=1.5", "bad_quantity"),
     ("portions=1_0", "bad_quantity"), ("moisture_low=25 %25", None), ("moisture_low=0,25", None)],
)  # fmt: skip
def test_shares_and_counts_of_a_plan(client, query, code):
    answer = client.get(f"/api/plan/lye?chloride_g=100&{query}")
    if code is None:
        assert answer.json()["chloride"]["dry_g"][2] == pytest.approx(75.0)
    else:
        assert (answer.status_code, answer.json()["code"]) == (422, code)


def test_the_three_entrances_answer_alike(client, folder, capsys):
    batch = client.post("/api/batches", json={"name": "door"}).json()["id"]
    chance = random.Random(5)
    texts = ["1,000 g", "5 gr", "2 oz", "2 troy oz", "0", "nan", "1e300", *(a_text(chance, "grams") for _ in range(60))]
    for text in texts:
        wanted = judged("grams", text)
        note = client.post(
            f"/api/batches/{batch}/notes", json={"kind": "weight", "data": {"of": "silver", "grams": text}}
        )
        plan = client.get("/api/plan/lye", params={"chloride_g": text})
        code, out, err = _command(capsys, "plan", "lye", f"--chloride={text}", "--json")
        if isinstance(wanted, str):
            assert (note.status_code, plan.status_code, code) == (422, 422, 2), text
            assert "internal problem" not in err
            assert err.count("\n") == 1
            if text.strip() and len(text) <= 60:
                assert bool(note.json().get("choices")) == (wanted == ASK), text
                assert note.json()["code"] == ("which_quantity" if wanted == ASK else "bad_quantity")
        else:
            assert (note.status_code, plan.status_code, code) == (201, 200, 0), text
            assert note.json()["data"]["grams"] == pytest.approx(float(wanted), rel=1e-9)
            assert json.loads(out)["dose"] == plan.json()["dose"]


@pytest.mark.parametrize("args", [
    ("plan", "waste", "--poured", "nan:1"), ("plan", "waste", "--poured", "1:nan"),
    ("plan", "waste", "--poured", "1,000:2"),
    ("plan", "waste", "--poured", "-1:2"), ("plan", "yield", "--metal", "0"), ("plan", "yield", "--metal", "1 t"),
    ("plan", "yield", "--chloride", "5", "--decant", "inf:1"),
    ("plan", "wash", "--retained", "0.1", "--reading", "nan:3"),
    ("plan", "wash", "--retained", "0.1", "--added", "1", "--acid", "nan"), ("tint", "x.jpg", "--dilution", "inf"),
    ("plan", "wash", "--retained", "0.1", "--added", "1", "--kind", "tap", "--alkalinity", "nan"),
    ("tint", "x.jpg", "--dilution", "nan"), ("tint", "x.jpg", "--dilution", "0"), ("tint", "x.jpg", "--path-mm", "inf"),
    ("tint", "x.jpg", "--dilution", "-2"), ("read", "x.jpg", "--temperature-c", "nan"),
    ("plan", "lye", "--chloride", "5", "--lye-excess", "inf"), ("plan", "lye", "--chloride", "5", "--temp", "nan"),
])  # fmt: skip
def test_no_option_takes_a_number_that_is_none(capsys, args):
    code, out, err = _command(capsys, *args)
    assert (code, out) == (2, "")
    assert err.startswith(f"stripread: {args[-2]}")
    assert err.count("\n") == 1


def test_a_stored_weight_of_nothing_breaks_no_page(client, folder, capsys):
    batch = client.post("/api/batches", json={"name": "old log"}).json()["id"]
    data = str(folder / "data")
    with opened(folder / "data", None) as log, log.write() as c:
        detail = json.dumps({"of": "chloride", "grams": 0.0})
        c.execute(insert(events).values(batch_id=batch, at=now(), what="bench:weight", detail=detail))
    assert client.get(f"/api/batches/{batch}/bench").status_code == 200
    assert client.get(f"/api/batches/{batch}/report.html").status_code == 200
    assert _command(capsys, "batch", "show", str(batch), "--data", data)[0] == 0
    code, _, err = _command(capsys, "batch", "next", str(batch), "--data", data, "--reason", "tried")
    assert (code, err) == (0, "")
