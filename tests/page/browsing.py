"""A real browser of a phone's size."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager

from selenium import webdriver
from selenium.webdriver.chrome.service import Service

PHONE = {"deviceMetrics": {"width": 390, "height": 844, "pixelRatio": 2.0, "touch": True, "mobile": True}}


def programs() -> tuple[str | None, str | None]:
    """Where chromium and its driver are."""
    return shutil.which("chromium"), shutil.which("chromedriver")


@contextmanager
def a_browser(known: webdriver.Chrome | None = None, *more: str) -> Iterator[webdriver.Chrome]:
    """This one, or one of its own, with ``more`` arguments, that is closed at the end."""
    if known is not None:
        yield known
        return
    chromium, driver = programs()
    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    for argument in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--lang=en", *more):
        options.add_argument(argument)
    options.add_experimental_option("mobileEmulation", PHONE)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    found = webdriver.Chrome(options, Service(driver))
    found.set_script_timeout(20)
    try:
        yield found
    finally:
        found.quit()
