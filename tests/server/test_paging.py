"""Lists in pages: following `Link: <...>; rel="next"` (RFC 8288) gives each batch and each note of the vessel once."""

import re

from fastapi.testclient import TestClient

from service.web.app import create_app
from service.web.routes import batches


def _followed(client, path):
    """The answers of a path and of all that follow it."""
    found = []
    while path:
        answer = client.get(path)
        assert answer.status_code == 200
        found.append(answer.json())
        link = answer.headers.get("Link")
        named = re.fullmatch(r'<(/api/[^>]+)>; rel="next"', link) if link else None
        assert (link is None) == (named is None)
        path = named and named[1]
    return found


def test_batches_come_in_pages_and_each_once(settings):
    with TestClient(create_app(settings)) as client:
        made = [client.post("/api/batches", json={"name": f"batch {n}"}).json()["id"] for n in range(7)]
        plain = client.get("/api/batches?limit=1000")
        assert [row["id"] for row in plain.json()] == made[::-1]
        assert "Link" not in plain.headers
        pages = _followed(client, "/api/batches?limit=3")
        assert [len(page) for page in pages] == [3, 3, 1]
        assert [row for page in pages for row in page] == plain.json()
        exact = _followed(client, "/api/batches?limit=7")
        assert [len(page) for page in exact] == [7]
        # One that is started meanwhile shifts no page.
        first = client.get("/api/batches?limit=2")
        client.post("/api/batches", json={"name": "meanwhile"})
        second = client.get(re.match(r"<([^>]+)>", first.headers["Link"])[1]).json()
        assert [row["id"] for row in second] == made[4:2:-1]
        assert client.get("/api/batches?limit=0").status_code == 422
        assert client.get("/api/batches?limit=1001").status_code == 422


def test_an_answer_nobody_bounded_has_a_bound(client):
    schema = client.get("/openapi.json").json()["paths"]["/api/batches"]["get"]["parameters"]
    assert {p["name"]: p["schema"].get("default") for p in schema}["limit"] == batches.BATCHES == 500


def test_the_vessels_notes_come_in_pages(own_client):
    batch = own_client.post("/api/batches", json={"name": "b"}).json()["id"]
    for n in range(5):
        note = {"kind": "poured", "data": {"what": f"wash {n}", "litres": 1.0, "ph": 2.0}}
        assert own_client.post(f"/api/batches/{batch}/notes", json=note).status_code == 201
    whole = own_client.get("/api/stock").json()
    assert [note["what"] for note in whole["poured"]] == [f"wash {n}" for n in range(5)]
    assert whole["litres"] == 5.0
    pages = _followed(own_client, "/api/stock?limit=2")
    assert [len(page["poured"]) for page in pages] == [2, 2, 1]
    assert [note for page in reversed(pages) for note in page["poured"]] == whole["poured"]
    assert {page["litres"] for page in pages} == {5.0}
    assert set(whole) == {
        "litres", "mol", "at_least", "metals", "ammonia", "side", "sentence", "contents", "silver", "stops",
        "questions", "first", "poured", "ways", "dangers", "recover", "cautions", "holds_silver", "silver_words",
    }  # fmt: skip


def test_a_csv_that_broke_off_goes_on(client, batch, send):
    numbers = [send(wash=str(n)).json()["log"]["id"] for n in range(1, 4)]
    whole = client.get(f"/api/batches/{batch}/export.csv")
    assert whole.headers["Stripread-Entries"] == "3"
    lines = whole.text.splitlines(keepends=True)
    rest = client.get(f"/api/batches/{batch}/export.csv?after={numbers[0]}")
    assert "".join(lines[:2]) + rest.text == whole.text
    assert client.get(f"/api/batches/{batch}/export.csv?after={numbers[-1]}").text == ""


def test_a_count_of_entries_is_kept_by_who_adds_one(client, batch, send):
    send()
    old = send(wash="2").json()["log"]["id"]
    said = {"why": "wrong beaker", "withdraw": True}
    assert client.post(f"/api/readings/{old}/corrections", json=said).status_code == 201
    assert client.get(f"/api/batches/{batch}").json()["entries"] == 3
    listed = {row["id"]: row["entries"] for row in client.get("/api/batches").json()}
    assert listed[batch] == 3
