"""A real browser of a phone's size, and the service in a process of its own."""

import pytest

from tests.page.browsing import a_browser, programs
from tests.server.calls import HTTP
from tests.server.running import Running


@pytest.fixture(scope="session")
def browser():
    if None in programs():
        pytest.skip("chromium is not installed")
    with a_browser() as found:
        yield found


@pytest.fixture(autouse=True)
def no_worker(request):
    """Pages without their service worker, which fetches every file once more: but where a test file asks to keep it."""
    if "browser" not in request.fixturenames or getattr(request.module, "OPENS_OFFLINE", False):
        yield
        return
    browser = request.getfixturevalue("browser")
    gone = {"source": "delete Navigator.prototype.serviceWorker"}
    added = browser.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", gone)
    yield
    browser.execute_cdp_cmd("Page.removeScriptToEvaluateOnNewDocument", added)


@pytest.fixture
def server(tmp_path):
    with Running(tmp_path) as running:
        yield running


@pytest.fixture
def batch(server):
    return HTTP.post(f"{server.url}/api/batches", json={"name": "Chloride of 12 May"}).json()["id"]
