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
from tests.server.conftest import settings_in


def test_three_thousand_strings_are_read_as_the_judge_reads_them():
    counts, wrong = run(3000, 11)
    assert wrong == []
    assert min(counts["read"], counts[ASK], counts[REFUSE]) > 100


@pytest.mark.parametrize(
    ("field", "text", "choice"),
    [("grams", "1,000 g", "1000 g"), ("grams", "1.000 g", "1000 g"), ("grams", "5 gr", "5 grains"),
     ("grams", "2 oz", "2 troy oz"), ("litres", "2 oz", "2 fl oz"), ("litres", "80 ML", "80 ml"),
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
     ("grams", "2 oz avdp"), ("grams", "2 troy oz"), ("litres", "2 fl oz")],
)  # fmt: skip
def test_every_choice_that_is_offered_is_understood(field, text):
    assert typed_number(field, text) > 0


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("door")


@pytest.fixture(scope="module")
def client(folder):
    with TestClient(create_app(settings_in(folder))) as c:
        yield c


def _command(capsys, *args):
    with pytest.raises(SystemExit) as stop:
        main(list(args))
    out = capsys.readouterr()
    return stop.value.code, out.out, out.err


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
