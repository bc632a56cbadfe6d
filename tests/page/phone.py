"""What a person does with the page, in words."""

import io

import numpy as np
from PIL import Image
from selenium.common.exceptions import StaleElementReferenceException
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import Select
from selenium.webdriver.support.wait import WebDriverWait

from tests.server.calls import HTTP

# Answers of some addresses come late.
HELD = """
const now = window.fetch;
const [words, ms] = [arguments[0], arguments[1]];
window.fetch = async (path, ...rest) => {
  const answer = await now(path, ...rest);
  if (words.some((one) => String(path).includes(one))) await new Promise((go) => setTimeout(go, ms));
  return answer;
};
"""


class Phone:
    def __init__(self, browser, url, folder):
        self.browser = browser
        self.url = url
        self.folder = folder
        self._count = 0

    def open(self):
        self.browser.get(self.url)
        self.until(lambda: self.browser.find_element(By.TAG_NAME, "body").get_attribute("data-ready") == "yes")
        return self

    def until(self, true, seconds=40):
        anew = [StaleElementReferenceException]  # drawn anew between finding it and asking it: it is looked for again
        return WebDriverWait(self.browser, seconds, 0.1, anew).until(lambda _: true())

    def by_id(self, name):
        return self.browser.find_element(By.ID, name)

    def snap(self, orders="ph=7.00", *, wash=None, photo=None):
        """Give a photo to the camera's input, as the camera would."""
        if wash is not None:
            box = self.by_id("wash")
            box.clear()
            box.send_keys(str(wash))
        self._count += 1
        path = self.folder / f"snap-{self._count}.jpg"
        path.write_bytes((photo or card_like(self._count)) + f"#{self._count} FAKE:{orders};".encode())
        self.by_id("camera").send_keys(str(path))

    def press(self, where, words):
        """Press the button of these words, scrolled to the middle as a thumb would."""
        button = self.by_id(where).find_element(By.XPATH, f".//button[starts-with(text(), '{words}')]")
        self.browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", button)
        button.click()

    def fill(self, where, **values):
        """Type into the boxes of these names, or choose in their lists."""
        for name, value in values.items():
            box = where.find_element(By.NAME, name)
            self.browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", box)
            if box.tag_name == "select":
                Select(box).select_by_value(value)
            elif box.get_attribute("type") == "checkbox":
                box.click()
            else:
                box.clear()
                box.send_keys(value)

    def write_down(self, kind, **values):
        """Write something down through the dialog; gives what is said when it stays open."""
        self.press("stage", "Write down")
        dialog = self.by_id("dialog")
        self.fill(dialog, kind=kind)
        dialog.find_element(By.CSS_SELECTOR, "button.main").click()
        self.until(lambda: not dialog.find_elements(By.NAME, "kind") or self.by_id("dialog-trouble").text)
        self.fill(dialog, **values)
        dialog.find_element(By.CSS_SELECTOR, "button.main").click()
        self.until(lambda: not dialog.is_displayed() or self.by_id("dialog-trouble").text)
        return self.by_id("dialog-trouble").text

    def answer(self):
        return self.by_id("answer").text

    def entries(self, batch):
        return HTTP.get(f"{self.url}/api/batches/{batch}/readings").json()

    def wait_for_entries(self, batch, count):
        self.until(lambda: len(self.entries(batch)) == count)
        newest = max((entry["log"]["id"] for entry in self.entries(batch)), default=0)
        self.until(lambda: self.browser.find_elements(By.ID, f"entry-{newest}"))


def fits(browser) -> bool:
    """Whether nothing of the page lies beyond its side (WCAG 2.2, 1.4.10: no scrolling in two directions)."""
    return browser.execute_script("const page = document.documentElement; return page.scrollWidth <= page.clientWidth")


def card_like(seed: int) -> bytes:
    """A picture with something to see."""
    pixels = np.full((600, 800, 3), 235, np.uint8)
    chance = np.random.default_rng(seed)
    for k in range(4):
        pixels[240:340, 120 + 140 * k : 220 + 140 * k] = chance.integers(60, 220, 3)
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", quality=85)
    return out.getvalue()
