"""Photos in, readings out, everything logged."""

import csv
import hashlib
import io

import pytest

from service.log import store
from service.web.schemas import PhEntry
from stripread.results import PhReading, Stamp
from tests.server.conftest import a_photo


def test_a_photo_becomes_a_logged_reading(send, client, batch):
    photo = a_photo("ph=6.50")
    answer = send(photo, wash="2", note="third beaker")
    assert answer.status_code == 200
    reading = answer.json()
    assert (reading["ph"], reading["interval"], reading["status"]) == (6.5, [6.2, 6.8], "ok")
    assert reading["sha256"] == hashlib.sha256(photo).hexdigest()
    assert (reading["log"]["wash"], reading["log"]["note"], reading["log"]["batch"]) == (2, "third beaker", batch)
    assert answer.headers["location"] == f"/api/readings/{reading['log']['id']}"
    assert client.get(answer.headers["location"]).json() == reading
    assert client.get(f"/api/batches/{batch}/readings").json() == [reading]


def test_the_reading_is_the_command_lines_json(send):
    reading = send().json()
    expected = PhReading(Stamp("", "", "", 0.0), None, None).to_dict()
    assert set(expected) == set(reading) - {"log"}
    assert set(PhEntry.model_fields) - {"log"} <= set(expected)


def test_a_refused_photo_is_part_of_the_log(send, client, batch):
    answer = send(a_photo("refuse"))
    assert answer.status_code == 200
    assert answer.json()["status"] == "refused"
    assert answer.json()["ph"] is None
    assert answer.json()["reasons"][0]["code"] == "no_card"
    assert len(client.get(f"/api/batches/{batch}/readings").json()) == 1


@pytest.mark.parametrize(("kind", "field"), [("tint", "decision"), ("solid", "pale_fraction")])
def test_other_kinds(send, kind, field):
    reading = send(kind=kind, path_mm="20").json()
    assert reading["kind"] == kind
    assert field in reading


def test_how_a_tint_was_made_is_logged_for_reading_it_again(send, client):
    reading = send(kind="tint", path_mm="20", ammonia_excess="yes", liquid="acid").json()
    with client.app.state.service.database.read() as c:
        extras = store.entry(c, reading["log"]["id"])["extras"]
    assert (extras["path_mm"], extras["taking"]) == (20.0, {"wash": "acid", "ammonia_excess": "yes"})


def test_ammonia_brings_its_caution(send):
    assert "explosive" in send(kind="tint").json()["log"]["cautions"][0]


@pytest.mark.parametrize(("ph", "word"), [("1.00", "acid"), ("13.00", "lye")])
def test_strong_liquids_bring_their_caution(send, ph, word):
    assert word in send(a_photo(f"ph={ph}")).json()["log"]["cautions"][0].lower()


def test_colours_stand_beside_the_curves(send):
    colours = send().json()["log"]["colours"]
    assert len(colours) == 4
    assert all(c["seen"].startswith("#") and c["curve"].startswith("#") for c in colours)
    assert colours[0]["difference"] == pytest.approx(3**0.5, abs=0.06)  # (1, 1, 1) apart


def test_photos_are_kept_as_they_were_sent(send, data):
    photo = a_photo()
    sha256 = send(photo).json()["sha256"]
    assert (data / "photos" / sha256[:2] / sha256).read_bytes() == photo


def test_a_correction_is_a_new_entry(send, client, batch):
    old = send(wash="1").json()["log"]["id"]
    new = client.post(f"/api/readings/{old}/corrections", json={"by": "M.", "why": "it was the second wash", "wash": 2})
    assert new.status_code == 201
    entries = client.get(f"/api/batches/{batch}/readings").json()
    assert [e["log"]["wash"] for e in entries] == [1, 2]
    assert entries[0]["log"]["corrected_by"] == entries[1]["log"]["id"]
    assert entries[1]["log"]["corrects"] == old
    assert (entries[1]["log"]["made_by"], entries[1]["log"]["why"]) == ("M.", "it was the second wash")
    assert entries[0]["ph"] == entries[1]["ph"]


def test_a_value_by_hand_needs_an_interval_around_it(send, client):
    old = send().json()["log"]["id"]
    bad = client.post(f"/api/readings/{old}/corrections", json={"by": "M.", "why": "meter", "ph": 6.1})
    assert (bad.status_code, bad.json()["code"]) == (422, "bad_correction")
    good = client.post(
        f"/api/readings/{old}/corrections", json={"by": "M.", "why": "meter", "ph": 6.1, "interval": [6.0, 6.2]}
    )
    assert good.json()["ph"] == 6.1
    assert good.json()["reasons"][0]["code"] == "by_hand"


def test_only_the_newest_can_be_corrected(send, client):
    old = send().json()["log"]["id"]
    body = {"by": "M.", "why": "wrong beaker", "withdraw": True}
    assert client.post(f"/api/readings/{old}/corrections", json=body).json()["log"]["withdrawn"]
    again = client.post(f"/api/readings/{old}/corrections", json=body)
    assert (again.status_code, again.json()["code"]) == (409, "already_corrected")


def test_a_correction_must_change_something(send, client):
    old = send().json()["log"]["id"]
    assert client.post(f"/api/readings/{old}/corrections", json={"by": "M.", "why": "?"}).status_code == 422


def test_batches_are_renamed_closed_and_opened_with_a_history(client, batch, send):
    client.patch(f"/api/batches/{batch}", json={"name": "Chloride of 13 May"})
    client.patch(f"/api/batches/{batch}", json={"closed": True})
    refused = send()
    assert (refused.status_code, refused.json()["code"]) == (409, "batch_closed")
    client.patch(f"/api/batches/{batch}", json={"closed": False})
    assert send().status_code == 200
    page = client.get(f"/api/batches/{batch}").json()
    assert [e["what"] for e in page["events"]] == ["opened", "renamed", "closed", "opened again"]
    assert page["events"][1]["detail"] == {"from": "Chloride of 12 May", "to": "Chloride of 13 May"}


def test_csv_has_every_entry_and_no_formulas(send, client, batch):
    old = send(note="=cmd|x", wash="1").json()["log"]["id"]
    client.post(f"/api/readings/{old}/corrections", json={"by": "M.", "why": "wash", "wash": 2})
    answer = client.get(f"/api/batches/{batch}/export.csv")
    assert answer.headers["content-type"].startswith("text/csv")
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert [r["wash"] for r in rows] == ["1", "2"]
    assert rows[0]["note"] == "'=cmd|x"
    assert rows[1]["corrects"] == str(old)
    assert rows[0]["corrected_by"] == rows[1]["id"]


def test_json_export_holds_readings_and_history(send, client, batch):
    send()
    whole = client.get(f"/api/batches/{batch}/export.json").json()
    assert whole["readings"] == client.get(f"/api/batches/{batch}/readings").json()
    assert whole["events"][0]["what"] == "opened"


def test_forecast_says_when_it_cannot_tell(send, client, batch):
    send(wash="1")
    told = client.get(f"/api/batches/{batch}/forecast").json()
    assert told["status"] == "cannot tell"
    assert told["washes"] is None


def test_forecast_after_three_washes_of_acid(send, client, batch):
    for wash, ph in ((1, "1.00"), (2, "2.00"), (3, "3.00")):  # a tenth retained, as after decanting
        send(a_photo(f"ph={ph}"), wash=str(wash))
    client.patch(f"/api/batches/{batch}", json={"water": {"water": "pure"}})
    told = client.get(f"/api/batches/{batch}").json()["forecast"]
    assert told["status"] == "ok"
    assert 1 < told["washes"] < 6
    assert told["interval"][0] <= told["washes"] <= told["interval"][1]


def test_without_a_profile_nothing_is_read(own_client, settings, profile):
    profile.unlink()
    batch = own_client.post("/api/batches", json={"name": "b"}).json()["id"]
    answer = own_client.post(f"/api/batches/{batch}/readings", files={"photo": ("a.jpg", a_photo())})
    assert (answer.status_code, answer.json()["code"]) == (409, "no_profile")


def test_only_the_last_part_of_a_name_is_kept(send):
    assert send(name="../../etc/passwd").json()["photo"] == "passwd"
    assert send(name="C:\\Users\\me\\snap.jpg").json()["photo"] == "snap.jpg"
