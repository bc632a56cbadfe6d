"""Search, phones and opening again over HTTP and on the command line."""

import io
import json
import re
import time

import pytest
from fastapi.testclient import TestClient
from PIL import Image

from service.cli import main
from service.log.database import Database
from service.report.comparison import _lost
from service.web.app import create_app
from tests.server.conftest import a_photo


def phone_photo(make="Anyone", model="A-1", orders="ph=7.00") -> bytes:
    image = Image.open(io.BytesIO(a_photo(orders)))
    exif = Image.Exif()
    exif[271], exif[272] = make, model
    out = io.BytesIO()
    image.save(out, "JPEG", exif=exif)
    return out.getvalue() + f"FAKE:{orders};".encode()


def run(capsys, *words) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as end:
        main([str(word) for word in words])
    said = capsys.readouterr()
    return end.value.code, said.out, said.err


def test_search_over_http(client, batch, send):
    client.patch(f"/api/batches/{batch}", json={"name": "Only one of its kind"})
    send(note="very cloudy", wash="2")
    client.post(f"/api/batches/{batch}/notes", json={"kind": "decant", "data": {"name": "cloudy one", "litres": "1 l"}})
    found = client.get("/api/search", params={"words": "CLOUDY", "batch": batch}).json()
    assert [(f["what"], f["kind"], f["batch_name"]) for f in found["found"]] == [
        ("note", "decant", "Only one of its kind"),
        ("reading", "ph", "Only one of its kind"),
    ]
    assert found["after"] is None
    first = client.get("/api/search", params={"words": "cloudy", "batch": batch, "limit": 1}).json()
    rest = client.get("/api/search", params={"words": "cloudy", "batch": batch, "after": first["after"]}).json()
    assert first["found"] + rest["found"] == found["found"]
    assert client.get("/api/search", params={"kind": "wight"}).status_code == 422
    assert client.get("/api/search", params={"after": "x"}).status_code == 422
    assert client.get("/api/search", params={"since": "2026-05-12"}).status_code == 422  # whose day?
    assert client.get("/api/search", params={"since": "0001-01-01T00:00:00+14:00"}).status_code == 200
    choices = client.get("/api/search/choices").json()
    assert {"batch", "ph", "weight", "decant"} <= {kind["id"] for kind in choices["kinds"]}
    for kind in choices["kinds"]:
        assert client.get("/api/search", params={"kind": kind["id"]}).status_code == 200
    assert choices["stages"]


def test_a_phone_gets_its_users_name(client, send, batch):
    entry = send(phone_photo()).json()
    assert entry["log"]["phone"] == "Anyone A-1"
    assert send().json()["log"]["phone"] == "unknown phone"
    number = entry["log"]["phone_id"]
    named = client.patch(f"/api/phones/{number}", json={"name": "workshop phone"})
    assert (named.status_code, named.json()["label"]) == (200, "workshop phone")
    assert send(phone_photo()).json()["log"]["phone"] == "workshop phone"
    assert {p["label"]: p["photos"] for p in client.get("/api/phones").json()}["workshop phone"] == 2
    shown = client.get(f"/api/batches/{batch}/readings").json()
    assert [e["log"]["phone"] for e in shown] == ["workshop phone", "unknown phone", "workshop phone"]
    assert client.get(f"/api/batches/{batch}/export.csv").text.splitlines()[1].endswith(",workshop phone")
    assert client.patch("/api/phones/999", json={"name": "x"}).status_code == 404
    assert client.patch(f"/api/phones/{number}", json={"name": "x" * 61}).status_code == 422


def test_photos_of_an_older_log_are_looked_at_when_the_service_starts(settings, capsys):
    with TestClient(create_app(settings)) as c:
        batch = c.post("/api/batches", json={"name": "one"}).json()["id"]
        for photo in (phone_photo(), a_photo()):
            c.post(f"/api/batches/{batch}/readings", files={"photo": ("a.jpg", photo, "image/jpeg")})
    log = Database(settings.database_url)

    def forget():
        with log.write() as c:
            c.exec_driver_sql("DELETE FROM photo_phones")

    forget()
    code, out, _ = run(capsys, "log", "phones", "--data", settings.data, "--name", "1", "the old one")
    assert (code, out.splitlines()) == (
        0, ["   1  the old one: Anyone A-1, 1 photo", "   -  unknown phone: 1 photo that names none"]
    )  # fmt: skip
    forget()
    log.close()
    with TestClient(create_app(settings)) as c:
        until = time.monotonic() + 20
        while c.get("/api/phones").json()[0]["photos"] != 1:
            assert time.monotonic() < until, "nobody looked"
            time.sleep(0.05)
    code, _, err = run(capsys, "log", "phones", "--data", settings.data, "--name", "7", "x")
    assert (code, "There is no phone 7" in err, err.count("\n")) == (2, True, 1)


def test_a_closed_batch_is_opened_again_with_a_reason(client, batch, send):
    client.patch(f"/api/batches/{batch}", json={"closed": True})
    assert send().status_code == 409
    said = {"closed": False, "reason": "one more wash", "who": "A."}
    assert client.patch(f"/api/batches/{batch}", json=said).json()["closed_at"] is None
    assert client.get(f"/api/batches/{batch}").json()["events"][-1] == {
        "at": client.get(f"/api/batches/{batch}").json()["events"][-1]["at"],
        "what": "opened again",
        "detail": {"reason": "one more wash", "who": "A."},
    }
    assert send().status_code == 200


def test_the_command_line_finds_closes_and_opens(tmp_path, capsys):
    data = ("--data", tmp_path / "log")
    run(capsys, "batch", "new", "June", *data)
    run(capsys, "batch", "note", "1", "used", "what=blue powder", "grams=5", *data)
    assert "used: blue powder: 5 g" in run(capsys, "batch", "find", "powder", *data)[1]
    assert run(capsys, "batch", "find", "nowhere", *data)[1] == "nothing found\n"
    assert run(capsys, "batch", "close", "1", *data)[:2] == (0, "batch 1 is closed\n")
    assert "(closed)" in run(capsys, "batch", "find", "june", "--state", "closed", *data)[1]
    assert run(capsys, "batch", "close", "1", *data)[2] == "stripread: batch 1 is closed already\n"
    assert run(capsys, "batch", "reopen", "1", "--reason", " ", *data)[0] == 2
    assert run(capsys, "batch", "reopen", "1", "--reason", "more", *data)[:2] == (0, "batch 1 is open\n")
    code, _, err = run(capsys, "batch", "find", "--since", "yesterday", *data)
    assert (code, err.count("\n")) == (2, 1)
    paged = run(capsys, "batch", "find", "--limit", "1", *data)[1]
    after = paged.split("--after ")[1].strip()
    assert "There is more" not in run(capsys, "batch", "find", "--after", after, *data)[1]


def test_compare_over_http_and_on_the_command_line(tmp_path, capsys):
    """Water, share by volume and time by hand: 3 decants of 0.9 L over 80 mL kept: 0.08 / 0.98."""
    data = ("--data", tmp_path / "log")
    run(capsys, "batch", "new", "=June", *data)
    run(capsys, "batch", "new", "July", *data)
    for wash in (1, 2, 3):
        run(capsys, "batch", "note", "1", "decant", f"name=wash {wash}", "litres=0.9", "settled_h=12", *data)
    run(capsys, "batch", "note", "1", "vessel", "retained_l=80 ml", *data)
    run(capsys, "batch", "note", "1", "weight", "of=chloride", "grams=100", "moisture=0", "scale_g=0.1", *data)
    run(capsys, "batch", "note", "1", "weight", "of=silver", "grams=74", "scale_g=0.1", *data)
    picture, table = tmp_path / "both.svg", tmp_path / "both.csv"
    code, out, _ = run(capsys, "batch", "compare", "1", "2", "--csv", table, "--plot", picture, *data)
    rows = {cells[0]: cells[1] for line in out.splitlines()[2:] if (cells := re.split(r"\s{2,}", line))}
    assert code == 0
    assert (rows["Washes"], rows["Water poured off, L"], rows["Held back by volume, %"]) == ("3", "2.7", "8.16")
    assert rows["Yield, %"].startswith("98.3")  # 74 of 100 g of which 0.7526 is silver
    assert "Lost, g: fines in the decants" in rows
    assert picture.read_text(encoding="utf-8").count("<svg") == 1
    assert table.read_text(encoding="utf-8").splitlines()[1].startswith("1,'=June,False,")  # no formula
    found = json.loads(run(capsys, "batch", "compare", "2", "1", "--json", *data)[1])
    assert [b["number"] for b in found["batches"]] == [2, 1]
    assert found["batches"][1]["water_l"] == 2.7
    for wrong, told in ((("1",), "two to 8"), (("1", "1"), "once"), (("1", "9"), "no batch 9")):
        code, _, err = run(capsys, "batch", "compare", *wrong, *data)
        assert (code, told in err, err.count("\n")) == (2, True, 1)
    assert run(capsys, "batch", "compare", "1", "2", "--plot", tmp_path / "a.gif", *data)[0] == 2


def test_compare_over_http(client):
    one, other = (client.post("/api/batches", json={"name": name}).json()["id"] for name in ("one", "other"))
    for wash, ph in ((1, 2.0), (2, 3.0)):
        files = {"photo": ("a.jpg", a_photo(f"ph={ph}"), "image/jpeg")}
        client.post(f"/api/batches/{one}/readings", files=files, data={"wash": wash})
    found = client.get("/api/compare", params={"batch": [one, other]}).json()
    assert [b["washes"] for b in found["batches"]] == [2, 0]
    assert [(p["wash"], p["ph"]) for p in found["batches"][0]["points"]] == [(1, 2.0), (2, 3.0)]
    assert found["table"][0] == ["", f"{one} one", f"{other} other"]
    table = client.get("/api/compare.csv", params={"batch": [one, other]}).text.splitlines()
    assert table[0].startswith("number,name,")
    assert len(table) == 3
    assert client.get("/api/compare", params={"batch": [one]}).status_code == 422
    assert client.get("/api/compare", params={"batch": [one, 99999]}).status_code == 404


def test_a_shared_picture_tells_all_that_the_page_tells(client, send, batch, monkeypatch):
    told = []
    monkeypatch.setattr("service.report.shared_picture._Text.__init__", _keeping(told))
    entry = send(a_photo("ph=1.50"), wash="2", note="from the tap").json()
    answer = client.get(f"/api/readings/{entry['log']['id']}/share.png")
    assert (answer.status_code, answer.headers["content-type"]) == (200, "image/png")
    with Image.open(io.BytesIO(answer.content)) as picture:
        assert picture.width == 800  # as wide as the drawing
        assert picture.height > 400
    words = " | ".join(told)
    for part in ("pH 1.50 (1.20 to 1.80), 95 %", "✓ read", "Chloride of 12 May, wash 2", "UTC", "unknown phone",
                 "from the tap", "Strong acid", "local rules"):  # fmt: skip
        assert part in words
    told.clear()
    client.post(f"/api/readings/{entry['log']['id']}/corrections", json={"by": "M.", "why": "no", "withdraw": True})
    client.get(f"/api/readings/{entry['log']['id']}/share.png")
    assert any("No longer counts" in line for line in told)  # not the picture of before
    told.clear()
    tint = send(a_photo("copper"), kind="tint", path_mm="20").json()["log"]["id"]
    client.get(f"/api/readings/{tint}/share.png")
    assert any("explosive" in line for line in told)
    assert client.get("/api/readings/999999/share.png").status_code == 404


def _keeping(told):
    from service.report.shared_picture import _Text

    real = _Text.__init__

    def begin(self, lines, width):
        told.extend(text for text, *_ in lines)
        real(self, lines, width)

    return begin


def test_plans_over_http_are_those_of_the_command(client, capsys):
    said = {"chloride_g": "500 g", "moisture": "dry", "weighed_g": "370 g", "lye_wash_l": ["0.9", "900 ml"]}
    found = client.get("/api/plan/yield", params=said | {"alkalinity_mmol_l": "3"}).json()
    words = ["--chloride", "500 g", "--moisture", "dry", "--weighed", "370 g", "--lye-wash", "0.9", "--alkalinity", "3"]
    printed = json.loads(run(capsys, "plan", "yield", *words, "--lye-wash", "900 ml", "--json")[1])
    assert {name: found[name] for name in printed} == printed
    assert printed["chalk_g"][2] > 0
    waste = client.get("/api/plan/waste", params={"poured": "2:1.5", "contains": "copper"}).json()
    printed = json.loads(run(capsys, "plan", "waste", "--poured", "2:1.5", "--metal", "copper", "--json")[1])
    assert {name: waste[name] for name in printed if name != "cautions"} == {
        name: value for name, value in printed.items() if name != "cautions"
    }
    assert set(printed["cautions"]) <= set(waste["cautions"])


def test_the_command_shares_a_reading(tmp_path, capsys):
    code, _, err = run(capsys, "batch", "share", "1", "--data", tmp_path / "none")
    assert (code, err.count("\n")) == (2, 1)
    run(capsys, "batch", "new", "June", "--data", tmp_path)
    code, _, err = run(capsys, "batch", "share", "7", "--data", tmp_path, "--out", tmp_path / "a.png")
    assert (code, err) == (2, "stripread: there is no entry 7\n")
    assert not (tmp_path / "a.png").exists()


def test_losses_that_nobody_weighs_are_said_to_be_so():
    assert _lost((1e-7, 1e-6, 4e-6)) == "under 0.0001"
    assert _lost((8.81e-5, 0.00043, 0.000652)) == "0.0004 (0.0001 to 0.0007)"
    assert _lost((990.0, 1234.0, 1500.0)) == "1230 (990 to 1500)"
    assert _lost(None) == "-"
