"""The stop before a dangerous pouring, what ends it, and how a copper test was made: in a browser of a phone's size."""

import pytest
from selenium.webdriver.common.by import By

from tests.page.phone import Phone
from tests.server.calls import HTTP


@pytest.fixture
def phone(browser, server, batch, tmp_path):
    return Phone(browser, server.url, tmp_path).open()


def _notes(server, batch):
    return [(n["kind"], n["data"]) for n in HTTP.get(f"{server.url}/api/batches/{batch}/notes").json()]


@pytest.mark.slow
def test_a_dangerous_pouring_is_stopped_before_it_is_written_and_stays_until_made_safe(phone, batch, server):
    washes = {"what": "washes", "litres": "5", "ph": "1", "metals": "silver", "ammonia": True}
    assert phone.write_down("poured", **washes) == ""
    lye = {"what": "lye", "litres": "1", "ph": "13"}
    stopped = phone.write_down("poured", **lye)
    assert "Don't pour" in stopped
    assert "ammonia" in stopped
    assert len(_notes(server, batch)) == 1  # nothing was written
    assert "Danger" not in phone.by_id("stage").text  # and nothing happened
    phone.by_id("dialog-cancel").click()
    assert phone.write_down("poured", **lye, despite="it was in before I looked") == ""
    phone.until(lambda: "Danger" in phone.by_id("stage").text)
    assert phone.by_id("stage").find_elements(By.CSS_SELECTOR, "[role=alert]")
    phone.open()  # it stays, also for who comes later
    phone.until(lambda: "Danger" in phone.by_id("stage").text)
    poured = HTTP.get(f"{server.url}/api/batches/{batch}/notes").json()[-1]["id"]
    assert phone.write_down("made_safe", note=str(poured), what="acidified to pH 2, silver out as chloride") == ""
    phone.until(lambda: "Danger" not in phone.by_id("stage").text)
    kind, data = _notes(server, batch)[-1]
    assert (kind, data["note"]) == ("made_safe", poured)
    assert data["what"] == "acidified to pH 2, silver out as chloride"


@pytest.mark.slow
def test_how_a_copper_test_was_made_reaches_the_log(phone, batch, browser):
    browser.find_element(By.CSS_SELECTOR, "input[name=kind][value=tint]").find_element(By.XPATH, "..").click()
    phone.until(lambda: phone.by_id("tint-fields").is_displayed())
    typed = {"path": "20", "drop-ph": "9,8", "sample-ml": "3", "drops": "10"}
    for name, value in typed.items():
        box = phone.by_id(name)
        box.clear()
        box.send_keys(value)
    for name, words in (("excess", "yes"), ("liquid", "acid"), ("flakes", "none")):
        phone.by_id(name).send_keys(words)
    phone.snap("none", wash=3)
    phone.wait_for_entries(batch, 1)
    taken = phone.entries(batch)[0]["taken"]
    assert taken == {
        "wash": "acid", "ammonia_excess": "yes", "flakes": "no", "ammonia_ph": 9.8,
        "dilution": pytest.approx(3.5 / 3.0, rel=1e-3),  # ten drops of 0.05 mL on 3 mL
    }  # fmt: skip
    assert phone.entries(batch)[0]["detection_limit"] == pytest.approx(9.0 * 3.5 / 3.0, rel=1e-3)
