"""The service in several languages at once: by address, by what was chosen on the page, by the browser's header."""

from concurrent.futures import ThreadPoolExecutor

import pytest

from service.log.database import Database
from service.web.page_words import said_in_html
from stripread.words import LANGUAGES, SOURCE
from tests.server.conftest import a_photo
from tests.words.english import english_in

NONE = {"en": "There is no batch 999.", "de": "Es gibt keine Charge 999.", "es": "No existe el lote 999."}


def _detail(client, **asked):
    response = client.get("/api/batches/999", **asked)
    assert response.status_code == 404
    assert response.json()["code"] == "no_such_batch"
    return response.json()["detail"], response.headers["content-language"]


def test_problems_by_header_cookie_and_address(client):
    assert _detail(client) == (NONE["en"], "en")
    assert _detail(client, headers={"Accept-Language": "de-AT, en;q=0.5"}) == (NONE["de"], "de")
    chosen = {"Accept-Language": "de", "Cookie": "language=es"}
    assert _detail(client, headers=chosen) == (NONE["es"], "es")
    assert _detail(client, headers=chosen, params={"language": "en"}) == (NONE["en"], "en")
    nonsense = {"Accept-Language": "xx", "Cookie": "language=../../etc"}
    assert _detail(client, headers=nonsense, params={"language": "%00"}) == (NONE["en"], "en")
    assert "Accept-Language" in client.get("/api/batches/999").headers["vary"]


def test_several_at_once(client):
    def ask(place):
        language = LANGUAGES[place % len(LANGUAGES)]
        return _detail(client, headers={"Accept-Language": language}) == (NONE[language], language)

    with ThreadPoolExecutor(6) as pool:
        assert all(pool.map(ask, range(60)))


def test_a_reading_is_kept_in_english_and_told_in_the_readers_language(client, batch, send):
    sent = send(a_photo("ph=7.00"), wash=1)
    assert sent.status_code == 200
    state = {}
    for language in LANGUAGES:
        state[language] = client.get(f"/api/batches/{batch}/bench", headers={"Accept-Language": language}).json()
    assert state["en"]["gate"]["state"] == state["de"]["gate"]["state"]  # a code
    assert len({found["gate"]["sentence"] for found in state.values()}) == 3
    assert state["de"]["stage"]["title"] == "Kupfer auswaschen, saure Seite"
    forced = client.post(
        f"/api/batches/{batch}/stage", json={"reason": "weiter", "who": "ich"}, headers={"Accept-Language": "de"}
    )
    assert forced.status_code == 200
    assert forced.json()["moves"][-1]["sentence"] == state["de"]["gate"]["sentence"]
    english = client.get(f"/api/batches/{batch}/bench").json()
    assert english["moves"][-1]["sentence"] == state["en"]["gate"]["sentence"]  # kept in English
    assert english["moves"][-1]["reason"] == "weiter"  # a person's words are nobody's to change


def test_a_correction_by_hand_is_kept_in_english(client, send):
    entry = send(a_photo("ph=7.00")).json()["log"]["id"]
    said = {"by": "me", "why": "read by eye", "ph": 6.5, "interval": [6.0, 7.0]}
    made = client.post(f"/api/readings/{entry}/corrections", json=said, headers={"Accept-Language": "de"})
    assert made.status_code == 201
    assert made.json()["reasons"][0]["message"].startswith("Dieser Wert wurde von Hand eingegeben (me)")
    again = client.get(f"/api/readings/{made.json()['log']['id']}").json()
    assert again["reasons"][0]["message"].startswith("This value was entered by hand (me)")


def test_the_pages_words(client):
    for language in ("de", "es"):
        response = client.get(f"/words/{language}.json")
        assert response.status_code == 200
        assert isinstance(response.json(), dict)
        assert response.headers["cache-control"] == "no-cache"
    assert client.get("/words/en.json").status_code == 404
    assert client.get("/words/xx.json").status_code == 404
    worker = client.get("/sw.js").text
    assert "/words.js" in worker
    for language in LANGUAGES:  # kept for a page without a connection, whichever is chosen then
        assert (f'"/words/{language}.json"' in worker) is (language != SOURCE)


def test_a_forecast_is_worked_out_once_for_each_language(client, batch, send):
    for wash, ph in ((1, 2.0), (2, 3.0), (3, 4.0)):
        assert send(a_photo(f"ph={ph}"), wash=wash).status_code == 200
    told = [
        client.get(f"/api/batches/{batch}/forecast", headers={"Accept-Language": language}).json()["message"]
        for language in (*LANGUAGES, *LANGUAGES)
    ]
    assert len(set(told)) == 3
    assert told[:3] == told[3:]


def test_what_the_page_says_is_told(client):
    for language in LANGUAGES:
        if language != SOURCE:
            told = client.get(f"/words/{language}.json").json()
            # of a script, of a text within a text of one, of the HTML, of an attribute there, a plural, a state
            for said in ("Write down", "{low} to {high}", "Start a batch", "one wash less", "can't tell"):
                assert told[said] not in {said, ""}, said
            assert set(told["{n} photo"]) == {"one", "other"}


def test_an_element_with_text_to_tell_holds_nothing_else():
    assert said_in_html('<p data-t>A\n  b</p><i data-t-at="title" title="C">d</i>') == [(1, "A b"), (2, "C")]
    with pytest.raises(ValueError, match="<b> within"):
        said_in_html("<p data-t>A <b>b</b></p>")


GERMAN = ("Waschgang", "Notiz", "weitere Partie", "Weitere Partie")


def test_questions_are_kept_in_english_and_told_in_any_language(own_client, settings):
    client = own_client
    batch = client.post("/api/batches", json={"name": "July"}).json()["id"]
    german = {"Accept-Language": "de"}
    for ph in ("5.00", "10.10"):
        photo = a_photo(f"ph={ph}")
        form = {"wash": "3"}
        sent = client.post(
            f"/api/batches/{batch}/readings", files={"photo": ("a.jpg", photo, "image/jpeg")}, data=form, headers=german
        )
    assert sent.json()["log"]["asked"][0]["sentence"].endswith("anderes Gefäß? falscher Waschgang?")
    for grams in (412, 400):
        note = {"kind": "weight", "data": {"of": "chloride", "grams": grams}, "keep": True}
        made = client.post(f"/api/batches/{batch}/notes", json=note, headers=german)
    assert "412 g (Notiz" in made.json()["asked"]["sentence"]
    told = {}
    for language in LANGUAGES:
        found = client.get(f"/api/batches/{batch}/timeline", headers={"Accept-Language": language}).json()
        told[language] = [text for item in found["entries"] for q in item["asked"] for text in _texts(q)]
        if language != SOURCE:
            assert english_in("\n".join(told[language]), language) == []
    assert len(told["en"]) == len(told["de"]) == len(told["es"]) > 8
    assert "of chloride is written down already" in told["en"][0]
    for line, other in zip(told["en"], told["de"], strict=True):
        assert line != other
    with Database(settings.database_url).read() as c:
        kept = [row[0] for row in c.exec_driver_sql("SELECT extras FROM entries")]
        kept += [row[0] for row in c.exec_driver_sql("SELECT detail FROM events")]
    assert "another vessel?" in "".join(map(str, kept))
    assert [word for word in GERMAN if word in "".join(map(str, kept))] == []


def _texts(question):
    return [question["sentence"], *(choice["label"] for choice in question["choices"])]
