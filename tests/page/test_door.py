"""How to trust the bench, in a real browser; what the page says without encryption, and of the demo."""

import pytest
from selenium.webdriver.common.by import By

from stripread.words import LANGUAGES
from tests.door.conftest import TwoPorts
from tests.page.phone import Phone

PLACED = """
const [about, done] = arguments;
Object.defineProperty(window, "isSecureContext", { value: false });
import("/place.js").then((m) => {
  m.place({ local: true, ...about });
  done(document.getElementById("place").innerText);
});
"""


@pytest.fixture(scope="module")
def two(tmp_path_factory):
    with TwoPorts(tmp_path_factory.mktemp("two")) as running:
        yield running


@pytest.fixture
def trusting(browser):
    """A browser that takes the certificate, as a phone does that trusts it."""

    def switch(on):
        browser.execute_cdp_cmd("Security.setIgnoreCertificateErrors", {"ignore": on})

    yield switch
    switch(False)
    browser.get("about:blank")


def link_of(two):
    said = two.said.read_text()
    return f"http://localhost:{two.port}/trust#join=" + said.partition("#join=")[2].split()[0]


def complaints(browser):
    return [e["message"] for e in browser.get_log("browser") if "Content Security Policy" in e["message"]]


def test_a_phone_that_does_not_trust_it_stays_and_keeps_the_token(browser, two, trusting, tmp_path):
    trusting(False)
    phone = Phone(browser, link_of(two), tmp_path)
    browser.get(phone.url)
    secure = phone.by_id("secure")
    phone.until(lambda: "#join=" in secure.get_attribute("href"))
    assert secure.get_attribute("href").startswith(f"https://localhost:{two.secure_port}/#join=")
    assert phone.by_id("plain").get_attribute("href").startswith(f"http://localhost:{two.port}/#join=")
    assert not phone.by_id("trusted").is_displayed()
    assert browser.current_url == phone.url
    assert complaints(browser) == []
    phone.by_id("plain").click()
    phone.until(lambda: browser.find_element(By.TAG_NAME, "body").get_attribute("data-ready") == "yes")
    assert browser.current_url == f"http://localhost:{two.port}/"


@pytest.mark.parametrize("language", LANGUAGES)
def test_nothing_is_cut_off_on_a_narrow_phone(browser, two, language):
    browser.get(f"http://localhost:{two.port}/trust?language={language}")
    ends = "return Math.max(...[...document.querySelectorAll('main *')].map((e) => e.getBoundingClientRect().right))"
    assert browser.execute_script(ends) <= 390  # the width of the phone in tests/page/browsing.py
    assert browser.execute_script("return document.documentElement.lang") == language


def test_a_phone_that_trusts_it_is_led_on_and_joined_over_tls(browser, two, trusting, tmp_path):
    trusting(True)
    phone = Phone(browser, link_of(two), tmp_path)
    browser.get("about:blank")
    browser.get(phone.url)
    phone.until(lambda: browser.current_url == f"https://localhost:{two.secure_port}/")
    phone.until(lambda: browser.find_element(By.TAG_NAME, "body").get_attribute("data-ready") == "yes")
    cookies = {c["name"]: c for c in browser.get_cookies()}
    assert cookies["__Host-stripread_session"]["secure"]
    assert not phone.by_id("place").is_displayed()
    assert complaints(browser) == []


@pytest.mark.parametrize(
    ("about", "words"),
    [
        ({"trust": True, "demo": False}, "Not encrypted"),
        ({"trust": False, "demo": True}, "made-up workshop"),
        ({"trust": False, "demo": False}, ""),
    ],
)
def test_the_page_says_where_it_stands(browser, two, tmp_path, about, words):
    phone = Phone(browser, two.url, tmp_path).open()
    said = browser.execute_async_script(PLACED, about)
    assert words in said
    assert bool(said) is bool(words)
    assert len(browser.find_elements(By.CSS_SELECTOR, "#place a[href='/trust']")) == (words == "Not encrypted")
    assert phone.by_id("demo").is_displayed()
