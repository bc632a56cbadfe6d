"""From snapping to the plotted batch, in a real browser of a phone's size."""

import io

import pytest
from PIL import Image
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from service.web.pairing import lan_address
from tests.page.phone import Phone, fits
from tests.server.calls import HTTP
from tests.server.running import Running

OPENS_OFFLINE = True  # its tests open the page without a connection
pytestmark = pytest.mark.slow  # a real browser


@pytest.fixture
def phone(browser, server, batch, tmp_path):
    complaints(browser)  # what the pages before this one complained of is not ours
    return Phone(browser, server.url, tmp_path).open()


def test_from_snapping_to_the_plotted_batch(phone, batch, browser):
    for wash, ph in ((1, "1.20"), (2, "2.10"), (3, "3.20")):
        phone.snap(f"ph={ph}", wash=wash)
        phone.wait_for_entries(batch, wash)
    phone.until(lambda: "3.2" in phone.answer())
    said = phone.answer()
    assert "between 2.90 and 3.50" in said
    assert "✓ read" in said
    assert phone.by_id("plot").get_attribute("data-points") == "3"
    assert browser.find_elements(By.CSS_SELECTOR, "#plot canvas")
    assert browser.find_element(By.CSS_SELECTOR, ".scale").get_attribute("aria-label").startswith("pH scale")
    assert phone.by_id("forecast").is_displayed()
    assert [e["log"]["wash"] for e in phone.entries(batch)] == [1, 2, 3]
    assert complaints(browser) == []


def test_a_refusal_says_what_to_do(phone, batch):
    phone.snap("refuse")
    phone.wait_for_entries(batch, 1)
    phone.until(lambda: "No value" in phone.answer())
    assert "corner marks" in phone.answer()


def test_photos_taken_without_a_connection_are_sent_later(phone, batch, server, browser):
    browser.execute_async_script("const done = arguments[0]; navigator.serviceWorker.ready.then(() => done())")
    server.kill()
    phone.snap("ph=6.00", wash=4)
    phone.until(lambda: "Waiting on this phone: 1" in phone.by_id("queue").text)
    phone.snap("ph=6.50", wash=5)
    phone.until(lambda: "Waiting on this phone: 2" in phone.by_id("queue").text)
    assert "No connection" in phone.by_id("link").text
    phone.open()  # the page itself opens without a connection, and still has the photos
    phone.until(lambda: "Waiting on this phone: 2" in phone.by_id("queue").text)
    complaints(browser)
    with Running(server.folder, port=server.port):
        phone.wait_for_entries(batch, 2)
        assert [e["ph"] for e in phone.entries(batch)] == [6.0, 6.5]
        phone.until(lambda: not phone.by_id("queue").is_displayed())
        assert not phone.by_id("link").is_displayed()


def test_what_the_service_will_not_take_stays_and_says_why(phone, batch):
    phone.snap("die")
    phone.until(lambda: "ended the reader twice" in phone.by_id("queue").text, 30)
    phone.press("queue", "Throw away")
    phone.until(lambda: not phone.by_id("queue").is_displayed())


def test_a_correction_from_the_page(phone, batch):
    phone.snap("ph=5.00", wash=1)
    phone.wait_for_entries(batch, 1)
    phone.press("answer", "Correct")
    dialog = phone.by_id("dialog")
    dialog.find_element(By.NAME, "by").send_keys("M.")
    dialog.find_element(By.NAME, "why").send_keys("it was the second wash")
    wash = dialog.find_element(By.NAME, "wash")
    wash.clear()
    wash.send_keys("2")
    dialog.find_element(By.CSS_SELECTOR, "button.main").click()
    phone.wait_for_entries(batch, 2)
    assert [e["log"]["wash"] for e in phone.entries(batch)] == [1, 2]


def test_a_photo_is_made_smaller_only_if_the_service_would_not_take_it(browser, tmp_path):
    noise = io.BytesIO()
    Image.effect_noise((1600, 1200), 80).convert("RGB").save(noise, "JPEG", quality=90)
    assert len(noise.getvalue()) > 1_000_000
    with Running(tmp_path, max_body=1_000_000) as server:
        batch = HTTP.post(f"{server.url}/api/batches", json={"name": "b"}).json()["id"]
        phone = Phone(browser, server.url, tmp_path).open()
        phone.snap(photo=noise.getvalue())
        phone.wait_for_entries(batch, 1)
        phone.snap()
        phone.wait_for_entries(batch, 2)
        kept = [_kept(server, entry["sha256"]) for entry in phone.entries(batch)]
    assert 300_000 < len(kept[0]) < 1_000_000
    assert Image.open(io.BytesIO(kept[0])).width > 600
    assert b"FAKE:" in kept[1]  # sent byte by byte


def _kept(server, sha256) -> bytes:
    return (server.folder / "data" / "photos" / sha256[:2] / sha256).read_bytes()


def test_the_stage_its_gate_and_a_weight(phone, batch, server):
    phone.until(lambda: "Stage 1 of" in phone.by_id("stage").text)
    assert "can't tell" in phone.by_id("stage").text
    phone.press("stage", "Write down")
    dialog = phone.by_id("dialog")
    dialog.find_element(By.CSS_SELECTOR, "button.main").click()
    phone.until(lambda: "Mass" in dialog.text)
    dialog.find_element(By.NAME, "grams").send_keys("412,5")
    dialog.find_element(By.CSS_SELECTOR, "button.main").click()
    phone.until(lambda: not dialog.is_displayed())
    notes = HTTP.get(f"{server.url}/api/batches/{batch}/notes").json()
    assert [(n["kind"], n["data"]["grams"]) for n in notes] == [("weight", 412.5)]
    phone.press("stage", "Go on")
    dialog.find_element(By.NAME, "reason").send_keys("copper was never in it")
    dialog.find_element(By.NAME, "who").send_keys("M.")
    dialog.find_element(By.CSS_SELECTOR, "button.main").click()
    phone.until(lambda: "Stage 2 of" in phone.by_id("stage").text)


def test_a_batch_is_started_with_the_keyboard_alone(browser, server, tmp_path):
    phone = Phone(browser, server.url, tmp_path).open()
    phone.until(lambda: phone.by_id("start").is_displayed())

    def press(*keys):
        ActionChains(browser).send_keys(*keys).perform()
        return browser.switch_to.active_element.get_attribute("id")

    assert "new-batch" in (press(Keys.TAB) for _ in range(12))
    press(Keys.ENTER)
    press("Chloride of June", Keys.ENTER)
    phone.until(lambda: "Chloride of June" in phone.by_id("batch").text)
    assert {"batch", "camera", "file", "wash", "note"} <= {press(Keys.TAB) for _ in range(70)}


def test_the_bench_computers_page_offers_a_back_up(phone, batch, browser):
    browser.execute_script("document.querySelector('#backup').open = true")
    link = phone.by_id("backup").find_element(By.LINK_TEXT, "Download a back-up")
    assert link.is_displayed()
    ask = "const done = arguments[1]; fetch(arguments[0]).then((r) => done([r.status, r.headers.get('content-type')]))"
    assert browser.execute_async_script(ask, link.get_attribute("href")) == [200, "application/x-tar"]


def test_first_load_is_small_and_asks_nobody_else(browser, server, tmp_path):
    browser.execute_cdp_cmd("Network.setCacheDisabled", {"cacheDisabled": True})
    Phone(browser, server.url, tmp_path).open()
    browser.execute_cdp_cmd("Network.setCacheDisabled", {"cacheDisabled": False})
    # Resource Timing, W3C: everything that the page asked for, with the bytes that came over the wire.
    asked = browser.execute_script("return performance.getEntries().map((e) => [e.entryType, e.name, e.transferSize])")
    asked = [(name, size) for sort, name, size in asked if sort in ("navigation", "resource")]
    assert len(asked) > 20
    assert all(name.startswith(server.url) for name, _ in asked)
    assert 20_000 < sum(size for _, size in asked) <= 150_000


def test_a_phone_joins_over_the_network_without_tls(browser, tmp_path):
    if lan_address() == "127.0.0.1":
        pytest.skip("this machine has no network")
    with Running(tmp_path, lan=1) as server:
        link = next(line for line in server.said.read_text().splitlines() if "#join=" in line)
        address = link.partition("#")[0]
        Phone(browser, address, tmp_path).open()
        assert "Not joined yet" in browser.find_element(By.ID, "join").text
        browser.get("about:blank")  # else the same page with another # would not load again
        phone = Phone(browser, link, tmp_path).open()
        assert not phone.by_id("join").is_displayed()
        assert "join" not in browser.current_url  # the secret does not stay in the address bar
        assert browser.execute_script("return isSecureContext") is False  # so much is not there, and must not be missed
        batch = HTTP.post(f"{server.url}/api/batches", json={"name": "over the air"}).json()["id"]
        browser.refresh()
        phone.url = server.url
        phone.until(lambda: phone.by_id("batch").text.strip() == "over the air")
        phone.snap("ph=6.00", wash=1)
        phone.wait_for_entries(batch, 1)
        assert phone.browser.find_elements(By.ID, "pairing")[0].is_displayed() is False
        assert phone.by_id("backup").is_displayed() is False


READABLE = """
const lum = (c) => c.map((v) => (v /= 255, v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4))
  .reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
const rgb = (text) => text.match(/[\\d.]+/g).map(Number);
const behind = (e) => {
  for (; e; e = e.parentElement) {
    const c = rgb(getComputedStyle(e).backgroundColor);
    if (c.length < 4 || c[3] > 0) return c;
  }
  return [255, 255, 255];
};
const poor = [];
const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
while (walk.nextNode()) {
  const e = walk.currentNode.parentElement;
  if (!walk.currentNode.textContent.trim() || !e.checkVisibility() || e.closest("svg, .unseen")) continue;
  const [a, b] = [lum(rgb(getComputedStyle(e).color).slice(0, 3)), lum(behind(e).slice(0, 3))].sort((x, y) => y - x);
  if ((a + 0.05) / (b + 0.05) < 4.5) poor.push(walk.currentNode.textContent.trim());
}
return poor;
"""
SMALL = """
const box = (e) => (e.type === "checkbox" ? e.closest("label") : e).getBoundingClientRect(); // words count
return [...document.querySelectorAll("button, a, select, summary, input:not([type=file], [type=radio])")]
  .filter((e) => e.checkVisibility() && !e.matches(".skip"))
  .filter((e) => box(e).height < 44 || box(e).width < 44)
  .map((e) => e.id || e.textContent);
"""
NAMELESS = """
return [...document.querySelectorAll("input, select, button, img, a")]
  .filter((e) => !(e.labels && e.labels.length) && !e.textContent.trim())
  .filter((e) => !e.hasAttribute("aria-label") && !e.hasAttribute("alt"))
  .map((e) => e.outerHTML.slice(0, 80));
"""


def test_text_can_be_read_and_buttons_hit(phone, batch, browser):
    """WCAG 2.2: contrast 1.4.3 (4.5 to 1), names 4.1.2; targets larger than 2.5.8 asks (24 px), for a glove."""
    for wash, orders in ((1, "ph=1.20"), (2, "doubt=2.10"), (3, "refuse")):
        phone.snap(orders, wash=wash)
        phone.wait_for_entries(batch, wash)
    for summary in browser.find_elements(By.CSS_SELECTOR, "#timeline summary"):
        browser.execute_script("arguments[0].parentElement.open = true", summary)
    assert browser.execute_script(READABLE) == []
    assert browser.execute_script(SMALL) == []
    assert browser.execute_script(NAMELESS) == []
    assert fits(browser)  # 1.4.10 reflow
    browser.execute_script("document.querySelector('#log-title').style.color = '#888'")
    assert browser.execute_script(READABLE) == ["Timeline"]  # 3.5 to 1: the check itself works


def complaints(browser) -> list[str]:
    """What the browser's console complains of: broken scripts, a policy that blocks something of ours."""
    return [e["message"] for e in browser.get_log("browser") if e["level"] == "SEVERE"]


STATES_READ = """
const lum = (c) => c.map((v) => (v /= 255, v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4))
  .reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
const rgb = (text) => text.match(/[\\d.]+/g).map(Number);
const behind = (e) => {
  for (; e; e = e.parentElement) {
    const c = rgb(getComputedStyle(e).backgroundColor);
    if (c.length < 4 || c[3] > 0) return c;
  }
  throw new Error("nothing is behind it");
};
return [...document.querySelectorAll(".big, .range, .verdict, #timeline .value, #timeline .meta, .reasons b, .figure")]
  .filter((e) => e.checkVisibility() && e.textContent.trim())
  .map((e) => {
    const [a, b] = [lum(rgb(getComputedStyle(e).color).slice(0, 3)), lum(behind(e).slice(0, 3))].sort((x, y) => y - x);
    return [e.textContent.trim(), (a + 0.05) / (b + 0.05)];
  });
"""


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_value_interval_and_state_have_seven_to_one(phone, batch, browser, theme):
    """WCAG 2.2, 1.4.6 (AAA), as the browser shows them; the ground is the theme's own."""
    browser.execute_cdp_cmd(
        "Emulation.setEmulatedMedia", {"features": [{"name": "prefers-color-scheme", "value": theme}]}
    )
    try:
        seen = []
        for wash, orders in ((1, "ph=1.20"), (2, "doubt=2.10"), (3, "refuse")):
            phone.snap(orders, wash=wash)
            phone.wait_for_entries(batch, wash)
            seen += browser.execute_script(STATES_READ)
        words = {text for text, _ in seen}
        assert {"✓ read", "! look twice", "✕ not read", "? can't tell"} <= words
        assert [(text, ratio) for text, ratio in seen if ratio < 7.0] == []
        assert browser.execute_script(READABLE) == []
        dark = browser.execute_script("return getComputedStyle(document.documentElement).backgroundColor")
        assert dark == ("rgb(20, 23, 26)" if theme == "dark" else "rgb(255, 255, 255)")
    finally:
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})


def test_times_are_the_batch_s_own_and_the_zone_can_be_set(phone, batch, browser):
    zone = HTTP.get(f"{phone.url}/api/batches/{batch}").json()["zone"]
    phone.snap("ph=6.00", wash=1)
    phone.wait_for_entries(batch, 1)
    assert "by its arrival" in phone.by_id("timeline").text
    browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", phone.by_id("zone"))
    phone.by_id("zone").click()
    box = phone.by_id("dialog").find_element(By.NAME, "zone")
    assert box.get_attribute("value") == zone
    box.clear()
    box.send_keys("Asia/Kolkata", Keys.ENTER)
    phone.until(lambda: "+05:30" in phone.by_id("timeline").text)
    assert phone.entries(batch)[0]["log"]["moment"]["zone"] == "Asia/Kolkata"


def test_a_new_batch_has_the_phone_s_zone(phone, browser):
    browser.execute_cdp_cmd("Emulation.setTimezoneOverride", {"timezoneId": "America/Chicago"})
    try:
        phone.by_id("new-batch").click()
        phone.by_id("dialog").find_element(By.NAME, "name").send_keys("far away", Keys.ENTER)
        phone.until(lambda: HTTP.get(f"{phone.url}/api/batches").json()[0]["name"] == "far away")
        assert HTTP.get(f"{phone.url}/api/batches").json()[0]["zone"] == "America/Chicago"
    finally:
        browser.execute_cdp_cmd("Emulation.setTimezoneOverride", {"timezoneId": ""})
