"""Each action by each thing that goes wrong at a bench: it waits, is shown as waiting, and is logged exactly once."""

import pytest
from selenium.webdriver.common.by import By

from tests.page.acting import ACTIONS, Actor, times_in_log
from tests.page.phone import Phone
from tests.page.wire import Wire
from tests.server.calls import HTTP
from tests.server.conftest import a_photo
from tests.server.running import Running

WEIGHT = {"kind": "weight", "data": {"of": "chloride", "grams": 412.5}}
OPENS_OFFLINE = True  # its tests open the page without a connection
pytestmark = pytest.mark.slow  # a real browser
# Entered one after the other: what corrects the same entry can't be both; a page that made a batch goes to it.
TOGETHER = [[a for a in ACTIONS if a not in ("batch", "withdrawal")], ["batch"], ["withdrawal"]]


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    with Running(tmp_path_factory.mktemp("table")) as running:
        yield running


@pytest.fixture(scope="module")
def wire(server):
    with Wire(server.port) as found:
        yield found


@pytest.fixture
def actor(browser, server, wire, tmp_path):
    """A page that shows a new batch with a photo and a note, and whose service worker runs."""
    wire.mode = "on"
    batch = HTTP.post(f"{server.url}/api/batches", json={"name": "Chloride of 12 May"}).json()["id"]
    HTTP.post(f"{server.url}/api/batches/{batch}/readings", files={"photo": ("a.jpg", a_photo("ph=5.00"))})
    HTTP.post(f"{server.url}/api/batches/{batch}/notes", json=WEIGHT)
    browser.get(f"{wire.url}/healthz")
    browser.execute_script("localStorage.clear(); sessionStorage.clear()")
    phone = Phone(browser, wire.url, tmp_path).open()
    browser.execute_async_script("const done = arguments[0]; navigator.serviceWorker.ready.then(() => done())")
    phone.until(
        lambda: (
            "Go on" in phone.by_id("stage").text
            and phone.by_id("answer").is_displayed()
            and "412" in phone.by_id("log").text
        )
    )
    phone.batch = batch
    return Actor(phone)


def _shown_as_waiting(phone, some):
    """In the list of what waits, and where it will stand: a batch as the one chosen, all else on top of the log."""
    phone.until(lambda: f"Waiting on this phone: {len(some)}" in phone.by_id("queue").text)
    if some[-1].what == "batch":
        assert f"{some[-1].mark} (waits on this phone)" in phone.by_id("batch").text
        assert "waits on this phone" in phone.by_id("stage").text
    else:
        top = phone.browser.find_elements(By.CSS_SELECTOR, "#timeline > li")[: len(some)]
        assert [one.get_attribute("class") for one in top] == ["waiting"] * len(some)
        assert all("not in the log yet" in one.text for one in top)


def _in_the_log_once(phone, server, entered):
    phone.browser.execute_script("dispatchEvent(new Event('online'))")
    phone.until(lambda: times_in_log(server.url, entered) == 1)
    phone.until(lambda: not phone.by_id("queue").is_displayed())
    assert phone.browser.find_elements(By.CSS_SELECTOR, "#timeline > .waiting") == []
    assert times_in_log(server.url, entered) == 1


@pytest.mark.parametrize("what", ACTIONS)
def test_offline(actor, wire, server, what):
    wire.mode = "off"
    entered = actor.act(what, taps=2)
    _shown_as_waiting(actor.phone, [entered])
    assert times_in_log(server.url, entered) == 0
    wire.mode = "on"
    _in_the_log_once(actor.phone, server, entered)


@pytest.mark.parametrize("some", TOGETHER)
def test_reload_offline(actor, wire, server, some):
    phone = actor.phone
    wire.mode = "off"
    entered = [actor.act(what) for what in some]
    chosen = phone.by_id("batch").get_attribute("value")
    phone.by_id("wash").clear()
    phone.by_id("wash").send_keys("37")
    phone.open()
    _shown_as_waiting(phone, entered)
    assert phone.by_id("batch").get_attribute("value") == chosen
    assert phone.by_id("wash").get_attribute("value") == "37"
    assert phone.by_id("camera").is_enabled()
    wire.mode = "on"
    for each in entered:
        _in_the_log_once(phone, server, each)


@pytest.mark.parametrize("some", TOGETHER)
def test_second_tab(actor, wire, server, some):
    phone, browser = actor.phone, actor.phone.browser
    first = browser.current_window_handle
    wire.mode = "off"
    entered = [actor.act(what) for what in some]
    browser.switch_to.new_window("tab")
    try:
        phone.open()
        phone.until(lambda: f"Waiting on this phone: {len(some)}" in phone.by_id("queue").text)
        wire.mode = "on"
        browser.execute_script("dispatchEvent(new Event('online'))")  # both at once
        browser.switch_to.window(first)
        for each in entered:
            _in_the_log_once(phone, server, each)
    finally:
        browser.switch_to.window(next(h for h in browser.window_handles if h != first))
        browser.close()
        browser.switch_to.window(first)


@pytest.mark.parametrize("some", [TOGETHER[0] + ["batch"], ["withdrawal"]])
def test_server_killed_before_its_answers_came(actor, wire, server, some):
    wire.mode = "deaf"
    entered = [actor.act(what) for what in some]
    actor.phone.until(lambda: f"Waiting on this phone: {len(some)}" in actor.phone.by_id("queue").text)
    actor.phone.until(lambda: times_in_log(server.url, entered[0]) == 1)  # the others stand behind it
    server.kill()
    server.start()
    wire.mode = "on"
    for each in entered:
        _in_the_log_once(actor.phone, server, each)
