"""The first day over HTTP: the card to print, a print judged, a strip described, kinds kept."""

import base64
from pathlib import Path

import pytest

from service.log.kinds.shelf import StripKinds
from stripread.kind import kind_from_dict, load_kind, roll_kind
from stripread.user_file import toml_table

DEMO = Path(__file__).resolve().parents[2] / "service" / "demo"
PHOTO = (DEMO / "photos" / "05-wash-04.jpg").read_bytes()
KIND = {
    "name": "four / pad ü",
    "range": [0, 14],
    "width_mm": 6.0,
    "length_mm": 75.0,
    "pads": [{"offset_mm": 2.0, "length_mm": 6.0}, {"offset_mm": 9.5, "length_mm": 6.0}],
    "read_after_s": [10, 60],
}


def post(client, address, data=PHOTO, **form):
    return client.post(address, files={"photo": ("strip.jpg", data, "image/jpeg")}, data=form)


@pytest.mark.parametrize(("paper", "width"), [("a4", 595), ("letter", 612)])  # points: ISO 216; 8.5 inches
def test_the_card_comes_on_the_paper_asked_for(client, paper, width):
    answer = client.get("/api/card.pdf", params={"paper": paper})
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")
    assert f"/MediaBox [ 0 0 {width}".encode() in answer.content
    assert client.get("/api/card.pdf", params={"paper": "a3"}).status_code == 422


def test_the_layout_is_that_of_the_command(client):
    card = client.get("/api/card/layout", params={"paper": "letter"}).json()
    assert card["page_mm"] == [215.9, 279.4]
    assert card["lane_mm"] == [24.0, 25.0, 100.0, 24.0]


def test_a_print_is_judged(client, data):
    answer = post(client, "/api/card/judge", measured_mm="94")
    assert answer.status_code == 200, answer.text
    told = answer.json()
    assert told["verdict"] == "print_again"
    states = {check["check"]: check["state"] for check in told["checks"]}
    assert states["scale"] == "wrong"
    assert states["marks"] == states["colour"] == states["contrast"] == "right"
    assert not list((data / "photos" / "incoming").iterdir())


def test_a_length_that_is_none_is_a_problem_with_words(client):
    answer = post(client, "/api/card/judge", measured_mm="3.94")
    assert answer.status_code == 422
    assert "measured_mm" in answer.json()["detail"]


def test_a_strip_is_described_and_drawn(client):
    answer = post(client, "/api/strip-kinds/describe", picture="true")
    assert answer.status_code == 200, answer.text
    told = answer.json()
    assert len(told["pads"]) == 4
    assert told["pads"][0]["corners_px"]
    assert base64.b64decode(told["picture_png"]).startswith(b"\x89PNG")
    assert post(client, "/api/strip-kinds/describe").json()["picture_png"] is None


def test_what_is_said_is_said_in_the_readers_language(client):
    files = {"photo": ("x.jpg", b"nothing", "image/jpeg")}
    german = client.post("/api/strip-kinds/describe", files=files, headers={"Accept-Language": "de"}).json()
    english = client.post("/api/strip-kinds/describe", files=files).json()
    assert german["status"] == english["status"] == "refused"
    assert german["reasons"][0]["code"] == english["reasons"][0]["code"]
    assert german["reasons"][0]["message"] != english["reasons"][0]["message"]


def test_a_kind_is_kept_as_the_file_that_calibration_reads(own_client, settings):
    made = own_client.post("/api/strip-kinds", json=KIND)
    assert made.status_code == 201, made.text
    (path,) = (settings.data / "kinds").iterdir()
    kind = load_kind(path)
    assert kind.name == KIND["name"]
    assert [pad.offset_mm for pad in kind.pads] == [2.0, 9.5]
    assert kind.read_after_s == (10, 60)
    assert own_client.get("/api/strip-kinds").json() == [made.json()]
    assert own_client.get(f"/api/strip-kinds/{KIND['name']}").json() == made.json()
    assert kind_from_dict(toml_table(made.json()["toml"], "x", "a TOML file"), "x") == kind


def test_another_kind_of_the_same_name_replaces_only_where_it_is_said(own_client):
    own_client.post("/api/strip-kinds", json=KIND)
    assert own_client.post("/api/strip-kinds", json=KIND).status_code == 201  # the same again is no other
    other = {**KIND, "width_mm": 5.0}
    refused = own_client.post("/api/strip-kinds", json=other)
    assert refused.status_code == 409
    assert refused.json()["code"] == "kind_exists"
    assert own_client.get(f"/api/strip-kinds/{KIND['name']}").json()["width_mm"] == 6.0
    assert own_client.post("/api/strip-kinds", json={**other, "replace": True}).json()["width_mm"] == 5.0
    assert len(own_client.get("/api/strip-kinds").json()) == 1


def test_roll_paper_needs_no_photo(own_client):
    made = own_client.post("/api/strip-kinds", json={"name": "roll", "range": [3, 11], "roll": True}).json()
    assert made["roll"]
    assert made["pads"] == [{"offset_mm": 0.0, "length_mm": made["length_mm"]}]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"width_mm": None}, "width_mm"),
        ({"pads": [{"offset_mm": 74.0, "length_mm": 6.0}]}, "beyond the strip"),
        ({"pads": [{"offset_mm": 9.5, "length_mm": 6.0}, {"offset_mm": 2.0, "length_mm": 6.0}]}, "before"),
        ({"range": [14, 0]}, "low to high"),
        ({"read_after_s": [60, 10]}, "early to late"),
        ({"length_mm": -1.0}, "length_mm"),
    ],
)
def test_a_kind_that_does_not_fit_is_a_problem_with_words(own_client, settings, change, said):
    body = {name: value for name, value in {**KIND, **change}.items() if value is not None}
    answer = own_client.post("/api/strip-kinds", json=body)
    assert answer.status_code == 422
    assert said in answer.json()["detail"]
    assert not (settings.data / "kinds").exists()


def test_no_such_kind(client):
    answer = client.get("/api/strip-kinds/nobody")
    assert answer.status_code == 404
    assert answer.json()["code"] == "no_such_kind"


def test_a_repeated_post_is_answered_as_the_first(own_client):
    key = {"Idempotency-Key": "one"}
    first = own_client.post("/api/strip-kinds", json=KIND, headers=key)
    own_client.post("/api/strip-kinds", json={**KIND, "width_mm": 5.0, "replace": True})
    again = own_client.post("/api/strip-kinds", json=KIND, headers=key)
    assert again.json() == first.json()
    assert own_client.get(f"/api/strip-kinds/{KIND['name']}").json()["width_mm"] == 5.0


def test_names_never_leave_the_folder_nor_share_a_file(tmp_path):
    shelf = StripKinds(tmp_path / "kinds")
    names = ["../../etc", "a/b", "a b", "A B", "ü", "." * 200, "x" * 200]
    for name in names:
        shelf.save(roll_kind(name, (3.0, 11.0)))
    assert sorted(kind.name for kind in shelf.all()) == sorted(names)
    assert len(list((tmp_path / "kinds").iterdir())) == len(names)
    assert [path.name for path in tmp_path.iterdir()] == ["kinds"]


def test_a_write_that_fails_leaves_what_was_there(tmp_path, monkeypatch):
    shelf = StripKinds(tmp_path)
    shelf.save(roll_kind("roll", (3.0, 11.0)))
    monkeypatch.setattr("service.written_whole.os.fsync", lambda _: (_ for _ in ()).throw(OSError(28, "full")))
    with pytest.raises(OSError, match="full"):
        shelf.save(roll_kind("roll", (1.0, 11.0)), replace=True)
    assert shelf.named("roll").range == (3.0, 11.0)
    assert len(list(tmp_path.iterdir())) == 1


def test_a_broken_file_is_left_out_and_left_alone(tmp_path):
    shelf = StripKinds(tmp_path)
    shelf.save(roll_kind("roll", (3.0, 11.0)))
    (tmp_path / "broken.toml").write_text("name = ", encoding="utf-8")
    assert [kind.name for kind in shelf.all()] == ["roll"]
    assert (tmp_path / "broken.toml").exists()
