"""Find, compare, share, phones, opening again and the later calculators, in a real browser of a phone's size."""

import pytest
from selenium.common.exceptions import ElementClickInterceptedException
from selenium.webdriver.common.by import By

from tests.page.phone import Phone, fits
from tests.page.test_page import NAMELESS, READABLE, SMALL, complaints
from tests.server.calls import HTTP
from tests.server.test_finding import phone_photo

pytestmark = pytest.mark.slow  # a real browser


@pytest.fixture
def phone(browser, server, batch, tmp_path):
    complaints(browser)  # what the pages before this one complained of is not ours
    return Phone(browser, server.url, tmp_path).open()


def _open(phone, name):
    box = phone.by_id(name)

    def clicked():  # the page may just be scrolling to a new answer
        phone.browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", box)
        try:
            box.find_element(By.TAG_NAME, "summary").click()
        except ElementClickInterceptedException:
            return False
        return True

    phone.until(clicked)
    phone.until(lambda: box.find_elements(By.CSS_SELECTOR, "form, ul.found"))
    return box


def _fits(browser):
    for check in (READABLE, SMALL, NAMELESS):
        assert browser.execute_script(check) == []
    assert fits(browser)


def _note(server, batch, kind, **data):
    answer = HTTP.post(f"{server.url}/api/batches/{batch}/notes", json={"kind": kind, "data": data})
    assert answer.status_code == 201, answer.text


def test_find_and_compare(phone, batch, server, browser):
    other = HTTP.post(f"{server.url}/api/batches", json={"name": "Chloride of June"}).json()["id"]
    for number, start in ((batch, 2.0), (other, 3.0)):
        for wash in (1, 2):
            files = {"photo": ("a.jpg", phone_photo(orders=f"ph={start + wash}"), "image/jpeg")}
            HTTP.post(f"{server.url}/api/batches/{number}/readings", files=files, data={"wash": wash})
    for litres in range(1, 32):
        _note(server, other, "decant", name=f"pour {litres}", litres=litres / 10)
    phone.open()
    box = _open(phone, "find")
    phone.fill(box, words="POUR")
    phone.press("find", "Find")
    lines = lambda: [e.text for e in box.find_elements(By.CSS_SELECTOR, ".found > li")]  # noqa: E731
    phone.until(lambda: len(lines()) == 30)
    assert "pour 31: 3.1 L" in lines()[0]
    phone.press("find", "Show more")
    phone.until(lambda: len(lines()) == 31)
    assert not box.find_elements(By.XPATH, ".//button[text()='Show more' and not(@hidden)]")
    _fits(browser)
    box.find_element(By.CSS_SELECTOR, "form summary").click()
    phone.fill(box, words="", kind="ph", status="refused")
    phone.press("find", "Find")
    phone.until(lambda: lines() == ["Nothing found."])
    phone.fill(box, kind="batch", status="")
    phone.press("find", "Find")
    phone.until(lambda: len(lines()) == 2)
    box.find_element(By.XPATH, f".//button[text()='{'Chloride of June'}']").click()
    phone.until(lambda: phone.by_id("batch").get_attribute("value") == str(other))
    phone.until(lambda: browser.execute_script("return scrollY === 0"))

    box = _open(phone, "compare")
    phone.press("compare", "Compare")
    phone.until(lambda: "two batches or more" in box.text)
    for tick in box.find_elements(By.CSS_SELECTOR, "input[type=checkbox]"):
        browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", tick)
        tick.click()
    phone.press("compare", "Compare")
    phone.until(lambda: box.find_elements(By.TAG_NAME, "table"))
    rows = {r.find_element(By.TAG_NAME, "th").text: r.text for r in box.find_elements(By.CSS_SELECTOR, "tbody tr")}
    assert rows["Washes"] == "Washes 2 2"
    assert rows["Water poured off, L"].endswith("49.6 -")  # newest batch first
    drawn = "const c = document.querySelector('#compare canvas'); return c.getContext('2d').getImageData(0, 0, c.width, c.height).data.some((v, i) => i % 4 === 2 && v === 178)"  # noqa: E501
    assert browser.execute_script(drawn)  # blue of the first batch's signs: 0072B2
    _fits(browser)
    assert complaints(browser) == []


def test_a_phone_is_named_a_reading_shared_a_batch_opened_again(phone, batch, server, browser):
    phone.snap(photo=phone_photo())
    phone.wait_for_entries(batch, 1)
    phone.until(lambda: "Photo by Anyone A-1" in phone.answer())
    box = _open(phone, "phones")
    phone.press("phones", "Name it")
    phone.fill(phone.by_id("dialog"), name="workshop phone")
    phone.by_id("dialog").find_element(By.CSS_SELECTOR, "button.main").click()
    phone.until(lambda: "Photo by workshop phone" in phone.answer())
    phone.until(lambda: "workshop phone" in box.text)

    watch = "window.shared = []; navigator.canShare = () => arguments[0]; navigator.share = async (d) => shared.push(d.files[0].name + ' ' + d.files[0].size); HTMLAnchorElement.prototype.click = function () { shared.push('kept ' + this.download); };"  # noqa: E501
    for can, told in ((True, "reading-1.png "), (False, "kept reading-1.png")):
        browser.execute_script(watch, can)
        phone.press("answer", "Share")
        phone.until(lambda: browser.execute_script("return shared.length"))
        assert browser.execute_script("return shared[0]").startswith(told)

    phone.press("manage", "Close")
    phone.until(lambda: phone.by_id("batch-story").text.startswith("Closed "))
    phone.press("manage", "Open again")
    dialog = phone.by_id("dialog")
    dialog.find_element(By.CSS_SELECTOR, "button.main").click()
    assert dialog.is_displayed()  # not without a reason
    phone.fill(dialog, reason="one more wash", who="A.")
    dialog.find_element(By.CSS_SELECTOR, "button.main").click()
    phone.until(lambda: phone.by_id("batch-story").text.endswith(": one more wash (A.)"))
    assert HTTP.get(f"{server.url}/api/batches/{batch}").json()["closed_at"] is None
    assert phone.by_id("camera").is_enabled()
    assert complaints(browser) == []


def test_yield_and_waste_with_the_same_answers_as_the_api(phone, batch, server, browser):
    _note(server, batch, "weight", of="chloride", grams=200.0, moisture=[0.2, 0.3])
    _note(server, batch, "weight", of="chloride", grams=212.0, again="adds")
    _note(server, batch, "decant", name="wash 1", litres=0.9, settled_h=12.0)
    _note(server, batch, "weight", of="silver", grams=230.0)
    _note(server, batch, "poured", what="washes", litres=2.0, ph=1.5, metals=["copper"])
    box = _open(phone, "plan-yield")
    start = box.find_element(By.NAME, "start")
    phone.until(lambda: start.get_attribute("value") == "200; 212")
    phone.fill(box, moisture="20", moisture_to="30")
    phone.press("plan-yield", "Work it out")
    said = box.find_element(By.CLASS_NAME, "worked")
    phone.until(lambda: "Silver expected" in said.text)
    asked = {"chloride_g": ["200 g", "212 g"], "moisture": "0.2-0.3", "weighed_g": "230 g", "decant": "0.9:12"}
    plan = HTTP.get(f"{server.url}/api/plan/yield", params=asked).json()
    assert plan["verdict"] in said.text.replace("\u00a0", " ")
    assert f"{100 * plan['yield'][1]:.1f} %" in said.text.replace("\u00a0", " ")
    assert plan["cautions"][0].split(".")[0] in said.text
    for loss in plan["losses"]:
        assert loss["name"] in said.text
    phone.fill(box, start="a lot")
    phone.press("plan-yield", "Work it out")
    phone.until(lambda: box.find_element(By.CLASS_NAME, "trouble").text)

    box = _open(phone, "plan-waste")
    poured = box.find_element(By.NAME, "poured")
    phone.until(lambda: poured.get_attribute("value") == "2:1.5")
    assert box.find_element(By.NAME, "contains").get_attribute("value") == "copper"
    phone.press("plan-waste", "Work it out")
    said = box.find_element(By.CLASS_NAME, "worked")
    phone.until(lambda: "To neutralise" in said.text)
    plan = HTTP.get(f"{server.url}/api/plan/waste", params={"poured": "2:1.5", "contains": "copper"}).json()
    for text in (plan["stock"]["sentence"], *(way["sentence"] for way in plan["ways"]), *plan["cautions"]):
        assert text in said.text.replace("\u00a0", " ")
    phone.fill(box, contains="xyzzy")
    phone.press("plan-waste", "Work it out")
    phone.until(lambda: "xyzzy" in box.find_element(By.CLASS_NAME, "trouble").text)  # asked, not guessed
    _fits(browser)
    assert not [c for c in complaints(browser) if "422" not in c]
