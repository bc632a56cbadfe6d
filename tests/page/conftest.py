"""A real browser of a phone's size, and the service in a process of its own."""

import shutil

import httpx2 as httpx
import pytest
from selenium import webdriver
from selenium.webdriver.chrome.service import Service

from tests.server.running import Running

PHONE = {"deviceMetrics": {"width": 390, "height": 844, "pixelRatio": 2.0, "touch": True, "mobile": True}}


@pytest.fixture(scope="session")
def browser():
    chromium, driver = shutil.which("chromium"), shutil.which("chromedriver")
    if chromium is None or driver is None:
        pytest.skip("chromium is not installed")
    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    for argument in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--lang=en"):
        options.add_argument(argument)
    options.add_experimental_option("mobileEmulation", PHONE)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    found = webdriver.Chrome(options, Service(driver))
    found.set_script_timeout(20)
    yield found
    found.quit()


@pytest.fixture
def server(tmp_path):
    with Running(tmp_path) as running:
        yield running


@pytest.fixture
def batch(server):
    return httpx.post(f"{server.url}/api/batches", json={"name": "Chloride of 12 May"}).json()["id"]
