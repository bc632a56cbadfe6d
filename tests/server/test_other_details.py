"""The same photo with other details is a question, never the old number; and origins and hosts that are not ours."""

import io

import pytest
from fastapi.testclient import TestClient

from service.readers.intake import Submission
from service.web.app import create_app
from tests.server.conftest import a_photo, settings_in


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ({"kind": "tint", "path_mm": "10"}, {"kind": "tint", "path_mm": "20"}),
        ({"wash": "1"}, {"wash": "2"}),
        ({"note": "top"}, {"note": "bottom"}),
        ({}, {"wash": "1"}),
    ],
)
def test_other_details_are_asked_about_with_both(send, client, batch, first, second):
    photo = a_photo()
    was = send(photo, **first)
    asked = send(photo, **second)
    assert was.status_code == 200
    assert (asked.status_code, asked.json()["code"]) == (409, "other_details")
    assert f"entry {was.json()['log']['id']}" in asked.json()["detail"]
    assert len(client.get(f"/api/batches/{batch}/readings").json()) == 1
    assert send(photo, **first).json() == was.json()


def test_the_question_names_both_path_lengths(send):
    photo = a_photo()
    send(photo, kind="tint", path_mm="10")
    detail = send(photo, kind="tint", path_mm="20").json()["detail"]
    assert "depth, mm: 10.0 then, 20.0 now" in detail


def test_what_was_told_of_the_drop_is_named_in_words(send):
    photo = a_photo()
    told = {"kind": "tint", "path_mm": "20", "liquid": "acid", "ammonia_excess": "yes"}
    send(photo, **told)
    detail = send(photo, **told | {"ammonia_ph": "9.8", "flakes": "no"}).json()["detail"]
    assert "pH of the drop: none then, 9.8 now" in detail
    assert "flakes: none then, no now" in detail
    assert "liquid" not in detail  # what is the same
    assert not {"{", "_"} & set(detail)


@pytest.mark.parametrize("origin", ["http://[", "http://[::1", "null", "", "http://evil.example"])
def test_an_origin_that_is_none_of_ours_is_refused(client, origin):
    answer = client.post("/api/batches", json={"name": "b"}, headers={"Origin": origin})
    assert (answer.status_code, answer.json()["code"]) == (403, "cross_site")


def test_the_name_that_test_clients_use_is_not_known_at_a_bench(tmp_path):
    with TestClient(create_app(settings_in(tmp_path, names=()))) as c:
        answer = c.get("/healthz")
    assert (answer.status_code, answer.json()["code"]) == (421, "wrong_host")


def test_a_watched_file_that_was_posted_too_is_no_question(client, send, batch):
    photo = a_photo()
    first = send(photo, wash="2").json()
    intake = client.app.state.service.intake
    sent = Submission(batch, "ph", "snap.jpg", origin="watch")
    taken = client.portal.call(intake.take, sent, io.BytesIO(photo))
    assert (taken.entry_id, taken.repeated) == (first["log"]["id"], True)
