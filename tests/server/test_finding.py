"""Search, phones and opening again over HTTP and on the command line."""

import io

import pytest
from fastapi.testclient import TestClient
from PIL import Image

from service.cli import main
from service.log.database import Database
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
        0, ["   1  the old one: Anyone A-1, 1 photos", "   -  unknown phone: 1 photos that name none"]
    )  # fmt: skip
    forget()
    log.close()
    with TestClient(create_app(settings)) as c:
        for _ in range(200):
            if c.get("/api/phones").json()[0]["photos"] == 1:
                break
        else:
            pytest.fail("nobody looked")
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
