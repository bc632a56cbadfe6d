"""The code on a vessel's label, opened in a real browser of a phone's size; the link to the sheet."""

import os
import time

import pytest
import segno

from service.bench.ledger.marks import vessel_mark
from tests.page.phone import HELD, Phone, fits
from tests.page.test_page import NAMELESS, READABLE, SMALL, complaints
from tests.server.calls import HTTP
from tests.server.running import Running

pytestmark = pytest.mark.slow  # a real browser


def test_a_labels_code_chooses_its_batch(browser, server, batch, tmp_path):
    complaints(browser)
    newer = HTTP.post(f"{server.url}/api/batches", json={"name": "Chloride of June"}).json()["id"]
    phone = Phone(browser, server.url, tmp_path).open()
    chosen = lambda: phone.by_id("batch").get_attribute("value")  # noqa: E731
    phone.until(lambda: chosen() == str(newer))
    browser.get("about:blank")
    browser.get(f"{server.url}/#batch={batch}")  # the page starts anew
    phone.until(lambda: chosen() == str(batch))
    assert browser.current_url == f"{server.url}/"
    sheet = phone.by_id("labels").get_attribute("href")
    assert HTTP.get(sheet).content.startswith(b"%PDF")
    browser.execute_script(f"location.hash = 'batch={newer}'")  # the page is open already
    phone.until(lambda: chosen() == str(newer))
    browser.execute_script(HELD, ["/api/about"], 1000)
    browser.execute_script("dispatchEvent(new Event('online')); location.hash = 'batch=999'")
    phone.until(lambda: "There is no batch 999" in phone.by_id("link").text)
    time.sleep(1.5)  # what was asked for meanwhile has come
    assert "There is no batch 999" in phone.by_id("link").text
    assert chosen() == str(newer)


def test_a_labels_code_leads_to_its_batch_also_where_nothing_is_calibrated(browser, tmp_path):
    with Running(tmp_path, bare=1) as server:
        batch = HTTP.post(f"{server.url}/api/batches", json={"name": "Chloride of July"}).json()["id"]
        browser.get("about:blank")
        browser.get(f"{server.url}/#batch={batch}")
        phone = Phone(browser, server.url, tmp_path)
        phone.until(lambda: browser.execute_script("return document.body.dataset.ready") == "yes")
        assert "Chloride of July" in phone.by_id("batch").text
        assert phone.by_id("batch").is_displayed()
        assert not phone.by_id("apart").is_displayed()
        assert phone.by_id("first-call").is_displayed()  # and the way there is open


def _code(text, place):
    segno.make(text, error="m", micro=False).save(str(place), scale=8)
    return str(place)


def _note(server, batch, kind, **data):
    assert HTTP.post(f"{server.url}/api/batches/{batch}/notes", json={"kind": kind, "data": data}).status_code == 201


def test_a_labels_code_and_its_photo_choose_the_vessel(browser, server, batch, tmp_path):
    complaints(browser)
    _note(server, batch, "weight", of="chloride", grams=100, moisture=[0, 0.01])
    _note(server, batch, "named_vessel", vessel="Blue bucket", what_for="buffer")
    _note(server, batch, "decant", name="wash 1", litres=1, looks="cloudy", into="Blue bucket")
    newer = HTTP.post(f"{server.url}/api/batches", json={"name": "Chloride of June"}).json()["id"]
    log = HTTP.get(f"{server.url}/api/about").json()["log_mark"]
    bucket = f"{server.url}/#vessel={batch}.{log}.{vessel_mark('blue bucket')}"
    phone = Phone(browser, server.url, tmp_path).open()
    chosen = lambda: phone.by_id("batch").get_attribute("value")  # noqa: E731
    phone.until(lambda: chosen() == str(newer))
    focused = lambda: browser.execute_script("return document.activeElement.dataset.key || ''")  # noqa: E731
    browser.get("about:blank")
    browser.get(bucket)  # the page starts anew
    phone.until(lambda: focused() == "blue bucket")
    assert chosen() == str(batch)
    assert browser.current_url == f"{server.url}/"
    marked = browser.find_element("css selector", "#vessels .marked")
    assert "Blue bucket" in marked.text
    assert browser.execute_script(
        "const at = arguments[0].getBoundingClientRect(); return at.top > 0 && at.bottom < innerHeight - 100", marked
    )
    _shot(browser, "vessel")
    browser.execute_script(f"location.hash = 'vessel={log}.stock'")  # the page is open already
    phone.until(lambda: focused() == "stock")
    for address, words in ((f"{newer}.{log}.nothere", "not in batch"), (f"{batch}.aaaa.main", "another log")):
        browser.execute_script(f"location.hash = 'vessel={address}'")
        phone.until(lambda words=words: words in phone.by_id("link").text)
    # From a photo, in the panel: the batch's own vessel, of which nothing is noted in the newer batch.
    panel = phone.by_id("vessels")
    photo = panel.find_element("css selector", ".by-label input")
    photo.send_keys(_code(f"{server.url}/#vessel={newer}.{log}.main", tmp_path / "a.png"))
    phone.until(lambda: focused() == "main")
    assert chosen() == str(newer)
    assert "nothing is in it by the log" in panel.text
    photo = panel.find_element("css selector", ".by-label input")
    photo.send_keys(_code("https://example.org", tmp_path / "b.png"))
    phone.until(lambda: "not of a label from here" in panel.text)
    # In a note: the vessel of another batch, and that batch's number.
    phone.press("stage", "Write down")
    dialog = phone.by_id("dialog")
    phone.fill(dialog, kind="moved")
    dialog.find_element("css selector", "button.main").click()
    phone.until(lambda: dialog.find_elements("css selector", ".by-label input"))
    dialog.find_element("css selector", ".by-label input").send_keys(_code(bucket, tmp_path / "c.png"))
    phone.until(lambda: dialog.find_element("name", "vessel").get_attribute("value") == "Blue bucket")
    assert dialog.find_element("name", "from_batch").get_attribute("value") == str(batch)
    _shot(browser, "note")
    for check in (READABLE, SMALL, NAMELESS):
        assert browser.execute_script(check) == []
    assert fits(browser)
    assert not complaints(browser)


def _shot(browser, name):
    if os.environ.get("SHOTS"):
        browser.save_screenshot(f"{os.environ['SHOTS']}/{name}.png")
