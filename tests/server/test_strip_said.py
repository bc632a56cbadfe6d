"""What is said of a strip beside its photo: which kind it is, when it was dipped, how warm, in which water."""

import csv
import io
import json
from dataclasses import replace

import pytest
from click.testing import CliRunner
from fastapi.testclient import TestClient

from service.commands.read import command as read_command
from service.readers.pictures import clean
from service.readers.reread import differences
from service.web.app import create_app
from tests.server.conftest import a_photo, settings_in
from tests.server.test_real_reader import DEMO, PHOTO, served  # noqa: F401 - a fixture

WATER = DEMO / "batch" / "rinse-water.jpg"


@pytest.fixture(scope="module")
def two_kinds(tmp_path_factory):
    """A service that knows two kinds of strip, one of them with a reading window."""
    folder = tmp_path_factory.mktemp("kinds")
    settings = settings_in(folder)
    acid = folder / "acid.toml"
    acid.write_text('name = "acid 0-3"\n[kind]\nread_after_s = [5, 30]\n', encoding="utf-8")
    with TestClient(create_app(replace(settings, profiles=(*settings.profiles, acid)))) as c:
        c.post("/api/batches", json={"name": "two kinds"})
        yield c


def _send(client, photo, **form):
    return client.post("/api/batches/1/readings", files={"photo": ("a.jpg", photo)}, data=form)


def test_the_kind_of_strip_is_chosen_by_name(two_kinds):
    known = two_kinds.get("/api/about").json()["profiles"]
    assert known == [{"name": "fake", "read_after_s": None}, {"name": "acid 0-3", "read_after_s": [5.0, 30.0]}]
    photo = a_photo()
    usual = _send(two_kinds, photo).json()
    acid = _send(two_kinds, photo, profile="acid 0-3").json()
    assert (usual["profile"], acid["profile"]) == ("fake", "acid 0-3")
    assert usual["log"]["profile_sha256"] != acid["log"]["profile_sha256"]
    assert usual["log"]["id"] != acid["log"]["id"]  # the same photo, but another reading
    again = _send(two_kinds, photo, profile="acid 0-3")
    assert again.json()["log"]["id"] == acid["log"]["id"]
    assert again.headers["Idempotency-Replayed"] == "true"


def test_a_kind_that_is_not_there_is_named_with_those_that_are(two_kinds):
    refused = _send(two_kinds, a_photo(), profile="lye 9-13")
    assert (refused.status_code, refused.json()["code"]) == (409, "no_profile")
    assert "fake, acid 0-3" in refused.json()["detail"]


def test_profiles_of_one_name_are_told_apart_by_their_files(tmp_path):
    settings = settings_in(tmp_path)
    other = tmp_path / "other.toml"
    other.write_text('name = "fake"\n', encoding="utf-8")
    with TestClient(create_app(replace(settings, profiles=(*settings.profiles, other)))) as c:
        names = [strip["name"] for strip in c.get("/api/about").json()["profiles"]]
    assert names == ["fake (profile.toml)", "fake (other.toml)"]


def test_what_was_said_is_in_the_log(send):
    entry = send(dipped_at="35", temperature_c="20.5", rinse="true", snapped_at="2026-05-12T10:00:00+02:00").json()
    said = {"dipped_at": "35", "temperature_c": 20.5, "rinse": True, "snapped_at": "2026-05-12T10:00:00+02:00"}
    assert entry["log"]["said"] == said
    assert send(temperature_c="0").json()["log"]["said"] == {"temperature_c": 0.0}
    assert send(snapped_at="2026-05-12T10:00:00Z").json()["log"]["said"] == {}
    assert send(kind="tint", temperature_c="20").json()["log"]["said"] == {}


@pytest.mark.parametrize(
    ("form", "code"),
    [({"dipped_at": "soon"}, "invalid_request"), ({"dipped_at": "-3"}, "invalid_request"),
     ({"beside": "vinegar"}, "invalid_request"), ({"beside": "phosphate"}, "invalid_request"),
     ({"beside": "water", "blank_entry": "1"}, "invalid_request"),
     ({"temperature_c": "120"}, "bad_quantity"), ({"temperature_c": "nan"}, "bad_quantity")],
)  # fmt: skip
def test_what_can_not_be_is_refused(send, form, code):
    refused = send(**form)
    assert (refused.status_code, refused.json()["code"]) == (422, code)


def test_what_lay_beside_the_strip_is_in_the_log_and_part_of_what_was_said(send):
    photo = a_photo()
    first = send(photo, beside="phosphate 22 C").json()
    assert first["log"]["said"] == {"beside": "phosphate 22 C"}
    other = send(photo, beside="water")
    assert (other.status_code, other.json()["code"]) == (409, "other_details")
    assert send(photo, beside="phosphate 22 C").json()["log"]["id"] == first["log"]["id"]


def test_a_key_stands_for_what_was_said_too(send):
    photo = a_photo()
    first = send(photo, key="said-1", dipped_at="20")
    assert send(photo, key="said-1", dipped_at="20").json() == first.json()
    assert send(photo, key="said-1", dipped_at="30").json()["code"] == "key_reused"


def test_a_blank_must_be_a_reading_of_this_batch(send):
    assert send(blank_entry="999999").json()["code"] == "not_a_blank"
    tint = send(kind="tint").json()["log"]["id"]
    assert send(blank_entry=str(tint)).json()["code"] == "not_a_blank"


def _command_line(settings, *options):
    told = CliRunner().invoke(
        read_command,
        [str(PHOTO), "--profile", str(settings.profiles[0]), "--json", *options],
        standalone_mode=False,
        catch_exceptions=False,
    )
    return json.loads(told.stdout)


def _alike(one, other):
    """Equal but for names of files and times of this run."""
    drop = {"photo", "seconds", "log"}
    one, other = ({k: v for k, v in r.items() if k not in drop} for r in (one, other))
    blanks = [{k: v for k, v in (r.pop("blank", None) or {}).items() if k not in drop} for r in (one, other)]
    assert one == other
    assert blanks[0] == blanks[1]


def test_the_same_json_as_on_the_command_line(served):  # noqa: F811
    client, settings = served
    water = client.post("/api/batches/1/readings", files={"photo": (WATER.name, WATER.read_bytes())}).json()
    photo = PHOTO.read_bytes() + b"#said"  # another hash than in other tests of this service
    form = {"dipped_at": "95", "temperature_c": "45", "rinse": "true"}
    sent = client.post("/api/batches/1/readings", files={"photo": (PHOTO.name, photo)}, data=form).json()
    assert {"read_too_late", "hot_sample"} <= {r["code"] for r in sent["reasons"]}
    assert (sent["waited_s"], sent["status"]) == (95.0, "doubtful")
    rows = csv.DictReader(io.StringIO(client.get("/api/batches/1/export.csv").text))
    row = next(row for row in rows if row["id"] == str(sent["log"]["id"]))
    assert (row["waited_s"], row["temperature_c"], row["rinse"]) == ("95.0", "45.0", "yes")
    alone = _command_line(settings, "--dipped-at", "95", "--temperature-c", "45", "--rinse")
    _alike({**sent, "sha256": alone["sha256"]}, alone)

    compared = client.post(
        "/api/batches/1/readings",
        files={"photo": (PHOTO.name, PHOTO.read_bytes() + b"#blank")},
        data={"blank_entry": water["log"]["id"]},
    ).json()
    assert compared["blank"]["probability_differs"] is not None
    assert compared["log"]["blank_entry"] == water["log"]["id"]
    alone = _command_line(settings, "--blank", str(WATER))
    _alike({**compared, "sha256": alone["sha256"]}, alone)

    form = {"beside": "water"}  # one strip alone in this photo: nothing to compare, on either way
    photo = PHOTO.read_bytes() + b"#beside"
    sent = client.post("/api/batches/1/readings", files={"photo": (PHOTO.name, photo)}, data=form).json()
    assert (sent["status"], sent["ph"]) == ("refused", None)
    assert "one_strip" in {r["code"] for r in sent["reasons"]}
    _alike({**sent, "sha256": alone["sha256"]}, _command_line(settings, "--beside", "water"))

    again = client.post("/api/batches/1/reread").json()
    assert again["changes"] == []
    assert again["missing"] == []
    assert differences(sent, {**sent, "reasons": []}) == ["reasons"]  # what was said would have shown there
    drawn = client.get(f"/api/readings/{compared['log']['id']}/overlay")
    assert drawn.headers["content-type"] == "image/png"


@pytest.mark.slow
def test_a_photo_without_its_own_time_has_that_of_the_page(served):  # noqa: F811
    client, _ = served
    form = {"dipped_at": "2026-05-12T10:00:00", "snapped_at": "2026-05-12T10:00:40+02:00"}
    sent = client.post("/api/batches/1/readings", files={"photo": ("x.jpg", clean(PHOTO))}, data=form).json()
    assert sent.get("taken_at") is None
    assert sent["waited_s"] == 40.0
