"""Benches in a real browser: the keeper names one, a phone joins it by its link and sees its own batches alone."""

import pytest
from selenium.webdriver.common.by import By

from service.authority.names import lan_address
from tests.page.phone import Phone, fits
from tests.server.calls import HTTP
from tests.server.running import Running

pytestmark = pytest.mark.slow  # a real browser


def _press(phone, words):
    phone.press("apart", words)


def test_a_bench_from_the_keeper_s_page_to_a_phone_of_it(browser, tmp_path):
    if lan_address() == "127.0.0.1":
        pytest.skip("this machine has no network")
    with Running(tmp_path, lan=1) as server:
        HTTP.post(f"{server.url}/api/batches", json={"name": "of the keeper"}).raise_for_status()
        keeper = Phone(browser, server.url, tmp_path).open()
        browser.execute_script("location.hash = '#benches'")
        keeper.until(lambda: "There are no benches" in keeper.by_id("apart").text)
        _press(keeper, "New bench")
        keeper.fill(keeper.by_id("dialog"), name="north window")
        keeper.by_id("dialog").find_element(By.CSS_SELECTOR, "button.main").click()
        keeper.until(lambda: "0 batches · 0 phones" in keeper.by_id("bench-list").text)
        assert "Reads with: fake" in keeper.by_id("bench-list").text
        _press(keeper, "New token")
        keeper.until(lambda: "bench_" in keeper.by_id("bench-list").text)
        _press(keeper, "Join its phones")
        keeper.until(lambda: "#join=" in keeper.by_id("bench-list").text)
        assert browser.execute_async_script(
            "const done = arguments[0], img = document.querySelector('#bench-list img');"
            "img.decode().then(() => done(img.naturalWidth), () => done(0))"
        )
        assert fits(browser)
        link = next(s.text for s in browser.find_elements(By.CSS_SELECTOR, "#bench-list .secret") if "#join=" in s.text)
        bench = HTTP.get(f"{server.url}/api/benches").json()[0]

        browser.get("about:blank")
        phone = Phone(browser, link, tmp_path).open()
        assert "Bench north window" in phone.by_id("place").text
        assert not phone.by_id("strips").is_displayed()
        assert not phone.by_id("phones").is_displayed()
        assert not phone.by_id("first-call").is_displayed()
        assert "of the keeper" not in browser.find_element(By.TAG_NAME, "body").text
        phone.by_id("new-batch").click()
        phone.fill(phone.by_id("dialog"), name="of the bench")
        phone.by_id("dialog").find_element(By.CSS_SELECTOR, "button.main").click()
        phone.until(lambda: phone.by_id("batch").text.strip() == "of the bench")
        batch = next(b for b in HTTP.get(f"{server.url}/api/batches").json() if b["name"] == "of the bench")
        phone.url = server.url
        phone.snap("ph=6.00", wash=1)
        phone.wait_for_entries(batch["id"], 1)
        assert batch["bench"] == "north window"

        HTTP.delete(f"{server.url}/api/benches/{bench['id']}").raise_for_status()
        browser.refresh()
        phone.until(lambda: phone.by_id("join").is_displayed())
