"""The list of batches on the page: the newest at first, older ones when asked for, the chosen one however old."""

import pytest
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import Select
from selenium.webdriver.support.wait import WebDriverWait

from service.log import store
from service.log.database import Database
from tests.page.phone import Phone
from tests.server.calls import HTTP
from tests.server.running import Running

pytestmark = pytest.mark.slow  # a real browser
MANY = 130  # the page shows 100


@pytest.fixture
def phone(browser, tmp_path):
    (tmp_path / "data").mkdir()
    database = Database(f"sqlite:///{tmp_path / 'data' / 'log.sqlite3'}")
    database.migrate()
    with database.write() as c:
        for n in range(MANY):
            store.add_batch(c, f"batch {n + 1}")
    database.close()
    with Running(tmp_path) as server:
        yield Phone(browser, server.url, tmp_path).open()


def test_older_batches_come_when_they_are_asked_for_and_stay_chosen(phone):
    browser = phone.browser

    def until(length):
        def shown(_):
            return len(browser.find_elements(By.CSS_SELECTOR, "#batch option")) == length

        WebDriverWait(browser, 20, 0.1).until(shown)

    until(101)  # a page, and the choice of older ones
    choices = Select(phone.by_id("batch"))
    assert choices.first_selected_option.text == f"batch {MANY}"
    assert choices.options[-1].text == "Older batches …"
    choices.select_by_visible_text("Older batches …")
    until(MANY)
    assert Select(phone.by_id("batch")).first_selected_option.text == f"batch {MANY}"
    Select(phone.by_id("batch")).select_by_visible_text("batch 3")
    WebDriverWait(browser, 20, 0.1).until(lambda _: phone.by_id("csv").get_attribute("href").endswith("/3/export.csv"))
    browser.refresh()
    until(102)  # the first page, the chosen one, and the choice of older ones
    assert Select(phone.by_id("batch")).first_selected_option.text == "batch 3"
    assert HTTP.get(f"{phone.url}/api/batches?limit=100").headers["Link"]


def test_a_labels_code_chooses_a_batch_that_is_not_in_the_list(phone):
    phone.browser.get("about:blank")
    phone.browser.get(f"{phone.url}/#batch=3")
    chosen = lambda: Select(phone.by_id("batch")).first_selected_option.text  # noqa: E731
    phone.until(lambda: chosen() == "batch 3")
    assert "There is no batch" not in phone.by_id("link").text
