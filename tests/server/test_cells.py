"""A tint that names the photo of its vials, over HTTP, on the command line, read again, and with the real reader."""

import csv
import io
import json

import pytest
from click.testing import CliRunner

from service.cli import app
from service.commands.tint import command as tint_command
from tests.cells_study import photos
from tests.server.conftest import a_photo
from tests.server.test_real_reader import served  # noqa: F401 - a fixture


def _vials(send, orders="none", **form):
    return send(a_photo(orders), kind="cells", **form).json()


def test_a_photo_of_the_vials_is_an_entry_and_no_copper_test(send, client, batch):
    made = _vials(send, wash="3")
    assert (made["kind"], made["matching"], made["status"]) == ("cells", "blank", "ok")
    assert made["log"]["cautions"] == []
    assert client.get(f"/api/batches/{batch}/bench").json()["gate"]["sentence"] == "No tint reading in this stage yet."
    exchanged = _vials(send, matching="swapped")
    assert exchanged["matching"] == "swapped"
    assert "explosive" in exchanged["log"]["cautions"][0]  # it holds what the tint holds
    assert send(kind="cells", matching="both").json()["code"] == "invalid_request"
    assert client.get("/api/about").json()["cells_hours"] == {"blank": 8.0, "swapped": 1.0}


def test_a_tint_names_it(send, client, batch):
    vials = _vials(send)["log"]["id"]
    tint = send(a_photo("none"), kind="tint", cells_entry=vials, vials_changed="true").json()
    assert (tint["log"]["cells_entry"], tint["log"]["vials_changed"]) == (vials, True)
    assert "cells_changed" in {reason["code"] for reason in tint["reasons"]}
    plain = send(a_photo("none"), kind="tint", vials_changed="true").json()["log"]
    assert (plain["cells_entry"], plain["vials_changed"]) == (None, False)
    assert send(a_photo("ph=5.0"), cells_entry=vials).json()["log"]["cells_entry"] is None  # of a strip it says nothing
    rows = list(csv.DictReader(io.StringIO(client.get(f"/api/batches/{batch}/export.csv").text)))
    assert [(r["kind"], r["cells_entry"], r["vials_changed"]) for r in rows] == [
        ("cells", "", ""), ("tint", str(vials), "yes"), ("tint", "", ""), ("ph", "", "")]  # fmt: skip
    told = client.get(f"/api/batches/{batch}/export.json").json()["readings"]
    assert told[1]["log"]["cells_entry"] == vials
    refused = send(a_photo("none"), kind="tint", cells_entry=tint["log"]["id"])
    assert (refused.status_code, refused.json()["code"]) == (409, "not_cells")


def test_the_gate_says_what_settles_an_undecided_tint(send, client, batch):
    right = {"kind": "tint", "ammonia_ph": "9.8", "flakes": "no", "liquid": "acid", "sample_ml": "3", "drops": "10"}

    def sentence():
        return client.get(f"/api/batches/{batch}/bench").json()["gate"]["sentence"]

    send(a_photo("undecided"), wash="3", **right)
    assert "is undecided: a cell blank (or a photo with the vials swapped) would likely settle it" in sentence()
    vials = _vials(send)["log"]["id"]
    send(a_photo("undecided"), wash="3", cells_entry=vials, **right)
    assert "undecided though its vials were measured: take it again with a deeper sample" in sentence()
    send(a_photo("none"), wash="3", cells_entry=vials, vials_changed="true", **right)
    assert "the photo of its vials was left out: take a new cell blank, then the tint" in sentence()
    send(a_photo("none"), wash="3", cells_entry=vials, **right)
    assert "None seen in wash 3" in sentence()
    said = {"by": "M.", "why": "other vials", "withdraw": True}
    assert client.post(f"/api/readings/{vials}/corrections", json=said).status_code == 201
    assert "was read with a photo of its vials that was withdrawn since" in sentence()


@pytest.fixture(scope="module")
def pair():
    """Photos of one pair of vials: a tint with some copper, its cell blank, and its vials exchanged."""
    return photos(1, 8.0)[1]


def test_the_same_json_as_on_the_command_line_and_read_again(served, pair, tmp_path):  # noqa: F811
    client, _ = served
    batch = client.post("/api/batches", json={"name": "vials"}).json()["id"]

    def post(data, **form):
        files = {"photo": ("photo.jpg", data)}
        return client.post(f"/api/batches/{batch}/readings", files=files, data=form).json()

    paths = {name: tmp_path / f"{name}.jpg" for name in pair}
    for name, path in paths.items():
        path.write_bytes(pair[name])
    for how, option in (("blank", "--cell-blank"), ("swapped", "--swapped")):
        vials = post(pair[how], kind="cells", matching=how)
        assert (vials["kind"], vials["status"], vials["matching"]) == ("cells", "ok", how), vials["reasons"]
        drawn = client.get(f"/api/readings/{vials['log']['id']}/overlay")
        assert drawn.headers["content-type"] == "image/png"
        # Bytes after the picture's end: the same pixels, and another photo than the one before.
        sent = post(pair["photo"] + how.encode(), kind="tint", path_mm="20", cells_entry=vials["log"]["id"])
        assert sent["cells"] == how, sent["reasons"]
        assert client.get(f"/api/readings/{sent['log']['id']}/overlay").headers["content-type"] == "image/png"
        call = [str(paths["photo"]), option, str(paths[how]), "--path-mm", "20", "--json"]
        told = CliRunner().invoke(tint_command, call, standalone_mode=False, catch_exceptions=False)
        alone = json.loads(told.stdout)
        differing = {name for name in alone if alone[name] != sent[name]}
        assert differing <= {"photo", "seconds", "sha256", "taken"}
    again = client.post(f"/api/batches/{batch}/reread").json()
    assert (again["read"], again["same"], again["missing"]) == (4, 4, [])
    blob = client.app.state.service.blobs.path(vials["sha256"])
    kept = blob.read_bytes()
    blob.chmod(0o600)
    blob.unlink()
    try:
        again = client.post(f"/api/batches/{batch}/reread").json()
        assert again["missing"] == [vials["log"]["id"], sent["log"]["id"]]  # never read without what it was read with
    finally:
        blob.write_bytes(kept)


def test_batch_add(served, pair, tmp_path):  # noqa: F811
    client, settings = served
    batch = client.post("/api/batches", json={"name": "added"}).json()["id"]
    for name in ("blank", "photo"):
        (tmp_path / f"{name}.jpg").write_bytes(pair[name])

    def add(name, *options):
        call = ["batch", "add", str(batch), str(tmp_path / f"{name}.jpg"), *options, "--data", str(settings.data)]
        return CliRunner().invoke(app, call)

    shown = add("blank", "--kind", "cells")
    assert "cell blank: left over right" in shown.output
    number = shown.output.split()[1].rstrip(":")
    told = json.loads(add("photo", "--kind", "tint", "--cells", number, "--json").output)
    assert (told["cells"], told["log"]["cells_entry"]) == ("blank", int(number))
    assert add("photo", "--kind", "solid", "--cells", number).exception is not None
    assert add("photo", "--kind", "tint", "--vials-changed").exception is not None
