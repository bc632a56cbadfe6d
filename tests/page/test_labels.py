"""The code on a vessel's label, opened in a real browser of a phone's size; the link to the sheet."""

import pytest

from tests.page.phone import Phone
from tests.page.test_page import complaints
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
    browser.execute_script("location.hash = 'batch=999'")
    phone.until(lambda: "There is no batch 999" in phone.by_id("link").text)
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
