"""The photo that measures a tint's vials, on the page: logged, used by itself, shown, switched off, kept offline."""

import pytest
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import Select

from tests.page.phone import Phone, fits
from tests.page.test_page import NAMELESS, READABLE, SMALL, complaints
from tests.server.calls import HTTP

OPENS_OFFLINE = True  # its tests open the page without a connection
pytestmark = pytest.mark.slow  # a real browser


@pytest.fixture
def phone(browser, server, batch, tmp_path):
    complaints(browser)
    found = Phone(browser, server.url, tmp_path).open()
    browser.execute_script("localStorage.clear()")
    browser.find_element(By.CSS_SELECTOR, "input[name=kind][value=tint]").find_element(By.XPATH, "..").click()
    found.until(lambda: found.by_id("tint-fields").is_displayed())
    return found


def _measured_by(phone):
    return Select(phone.by_id("cells")).first_selected_option.text if phone.by_id("cells").is_displayed() else None


def _fits(browser):
    for check in (READABLE, SMALL, NAMELESS):
        assert browser.execute_script(check) == []
    assert fits(browser)


def test_an_undecided_tint_is_settled_by_a_cell_blank(phone, batch, browser):
    assert not phone.by_id("tint-help").is_displayed()
    assert _measured_by(phone) is None  # nothing to choose from
    phone.snap("undecided", wash=4)
    phone.wait_for_entries(batch, 1)
    phone.until(lambda: "a second photo would likely settle it" in phone.by_id("tint-help").text)
    _fits(browser)
    Select(phone.by_id("shows")).select_by_value("blank")
    assert not phone.by_id("tint-fields").is_displayed()
    assert "Counts for 8 h" in phone.by_id("tint-help").text
    phone.snap("none")
    phone.wait_for_entries(batch, 2)
    made = phone.entries(batch)[1]
    assert (made["kind"], made["matching"], made["log"]["cells_entry"]) == ("cells", "blank", None)
    assert "cell blank" in phone.answer()
    phone.until(lambda: _measured_by(phone) == f"entry {made['log']['id']}, 0 min")
    assert "take the tint again" in phone.by_id("tint-help").text
    _fits(browser)
    phone.snap("none")  # the photo after it is a tint again by itself
    phone.wait_for_entries(batch, 3)
    last = phone.entries(batch)[2]
    assert (last["kind"], last["log"]["cells_entry"], last["cells"]) == ("tint", made["log"]["id"], "blank")
    phone.until(lambda: f"Vials measured by entry {made['log']['id']}" in phone.answer())
    assert not phone.by_id("tint-help").is_displayed()
    assert complaints(browser) == []


def test_the_cell_blank_can_be_switched_off_and_a_withdrawn_one_is_not_offered(phone, server, batch):
    Select(phone.by_id("shows")).select_by_value("blank")
    phone.snap("none", wash=4)
    phone.wait_for_entries(batch, 1)
    phone.until(lambda: _measured_by(phone) is not None)
    Select(phone.by_id("cells")).select_by_value("")
    phone.snap("none")
    phone.wait_for_entries(batch, 2)
    assert phone.entries(batch)[1]["log"]["cells_entry"] is None
    assert _measured_by(phone) == "not measured"  # as chosen
    entry = phone.entries(batch)[0]["log"]["id"]
    said = {"by": "M.", "why": "other vials", "withdraw": True}
    assert HTTP.post(f"{server.url}/api/readings/{entry}/corrections", json=said).status_code == 201
    phone.open()
    phone.browser.find_element(By.CSS_SELECTOR, "input[name=kind][value=tint]").find_element(By.XPATH, "..").click()
    phone.until(lambda: phone.by_id("shows").is_displayed())
    assert _measured_by(phone) is None


def test_exchanged_vials_are_offered_for_their_own_wash_only(phone, batch):
    Select(phone.by_id("shows")).select_by_value("swapped")
    assert "within 1 h" in phone.by_id("tint-help").text
    phone.snap("none", wash=4)
    phone.wait_for_entries(batch, 1)
    assert phone.entries(batch)[0]["matching"] == "swapped"
    phone.until(lambda: (_measured_by(phone) or "").startswith("swapped "))
    phone.by_id("wash-more").click()
    phone.until(lambda: _measured_by(phone) is None)


def test_without_a_connection_the_choice_is_kept_with_the_photo(phone, server, batch, browser):
    Select(phone.by_id("shows")).select_by_value("blank")
    phone.snap("none", wash=4)
    phone.wait_for_entries(batch, 1)
    vials = phone.entries(batch)[0]["log"]["id"]
    phone.until(lambda: _measured_by(phone) is not None)
    browser.execute_cdp_cmd("Network.enable", {})
    browser.execute_cdp_cmd(
        "Network.emulateNetworkConditions",
        {"offline": True, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1},
    )
    try:
        phone.snap("none")
        phone.until(lambda: phone.by_id("queue").is_displayed())
        # Withdrawn meanwhile by somebody else: the photo is not lost, and can go without it.
        said = {"by": "M.", "why": "other vials", "withdraw": True}
        assert HTTP.post(f"{server.url}/api/readings/{vials}/corrections", json=said).status_code == 201
    finally:
        browser.execute_cdp_cmd(
            "Network.emulateNetworkConditions",
            {"offline": False, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1},
        )
    phone.until(lambda: f"Entry {vials} was withdrawn" in phone.by_id("queue").text, 25)
    phone.press("queue", "Send without cell blank")
    phone.wait_for_entries(batch, 3)
    last = phone.entries(batch)[2]
    assert (last["kind"], last["log"]["cells_entry"], last["log"]["wash"]) == ("tint", None, 4)
