"""Every screen and dialog with axe-core (WCAG 2.1 A and AA and its own best practices), in each language and theme.

axe-core's rules: https://dequeuniversity.com/rules/axe/4.4. Reflow at 200 %: WCAG 2.1, 1.4.4 and 1.4.10.
"""

from importlib.resources import files

import pytest
from selenium.webdriver.support.wait import WebDriverWait

from stripread.words import LANGUAGES, SOURCE
from tests.page.phone import Phone
from tests.page.screens import SCREENS, filled, show, speak
from tests.words.english import english_in

pytestmark = pytest.mark.slow  # a real browser

# What is folded away is not drawn, though it keeps a place over what the engine takes as drawn: it is looked at where
# it is opened.
RUN = """
const done = arguments[0];
const where = (n) => n.target.join(" ") + " " + (n.any[0]?.message || "");
const folded = [...document.querySelectorAll("details:not([open]) > :not(summary)")].filter((e) => !e.style.display);
for (const e of folded) e.style.display = "none";
axe.run({ include: [document.documentElement] }, { resultTypes: ["violations"] })
  .then((found) => done(found.violations.map((v) => v.id + ": " + v.nodes.slice(0, 4).map(where).join(" | "))))
  .finally(() => { for (const e of folded) e.style.display = ""; });
"""
# Buttons and heads of fields that are wider than their box, and a page that is wider than the screen.
CUT_OFF = """
const seen = (e) => e.checkVisibility() && !e.closest(".unseen");
const boxes = "button, .button, label, legend, summary, .kinds span, .camera, .gallery, th";
const over = [...document.querySelectorAll(boxes)]
  .filter((e) => seen(e) && e.clientWidth && e.scrollWidth > e.clientWidth + 1 && !e.closest(".beside"))
  .map((e) => e.textContent.trim().slice(0, 50) + " " + e.scrollWidth + ">" + e.clientWidth);
if (document.documentElement.scrollWidth > document.documentElement.clientWidth) over.push("the page");
return over;
"""
# Words that are shown, and those that are only said; what somebody typed (names, notes) stands in neither language.
WORDS = """
const SAID = ["aria-label", "title", "alt", "placeholder"];
const texts = [document.title, document.body.innerText];
for (const e of document.querySelectorAll("[aria-label], [title], [alt], [placeholder], option"))
  if (e.closest("dialog:not([open]), [hidden]") === null)
    texts.push(e.text || "", ...SAID.map((name) => e.getAttribute(name) || ""));
return texts.join("\\n");
"""
WIDTHS = ((360, 740), (390, 844), (640, 400), (1280, 800))  # 640: a screen of 1280 px enlarged to 200 %


@pytest.fixture(scope="module")
def page(browser, tmp_path_factory):
    from tests.server.running import Running

    folder = tmp_path_factory.mktemp("screens")
    with Running(folder) as server:
        Phone(browser, server.url, folder).open()
        yield filled(browser, server, folder)


@pytest.fixture(autouse=True)
def the_browsers_own_words_again(browser):
    yield
    browser.delete_cookie("language")
    _accepts(browser, "en")
    _set(browser, 390, 844)


def _accepts(browser, languages):
    agent = browser.execute_script("return navigator.userAgent")
    browser.execute_cdp_cmd("Emulation.setUserAgentOverride", {"userAgent": agent, "acceptLanguage": languages})


def _set(browser, width, height, theme="light"):
    screen = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", screen)
    media = [{"name": "prefers-color-scheme", "value": theme}]
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": media})
    WebDriverWait(browser, 5, 0.05).until(lambda _: browser.execute_script("return innerWidth") == width)


def _axe(browser):
    if not browser.execute_script("return typeof axe === 'object'"):
        browser.execute_script(files("axe_core_python").joinpath("axe.min.js").read_text(encoding="utf-8"))
    return browser.execute_async_script(RUN)


# All screens in one setup, those that differ most in another; the thorough take all of them in all setups.
SETUPS = (("de", 360, "dark", tuple(SCREENS)), ("es", 640, "light", ("everything opened", "a tint", "a weight")))
EVERY = [
    pytest.param(language, width, theme, tuple(SCREENS), marks=pytest.mark.thorough)
    for language in LANGUAGES
    for width, _ in WIDTHS
    for theme in ("light", "dark")
]


@pytest.mark.parametrize(("language", "width", "theme", "names"), [*SETUPS, *EVERY])
def test_axe_finds_nothing(page, language, width, theme, names):
    speak(page, language)
    _set(page.browser, width, dict(WIDTHS)[width], theme)
    found = {}
    for name in names:
        show(page, name)
        if wrong := _axe(page.browser):
            found[name] = wrong
    assert found == {}


def test_axe_finds_nothing_at_the_start_nor_without_a_connection(browser, server, tmp_path):
    phone = Phone(browser, server.url, tmp_path).open()
    speak(phone, "de")
    assert phone.by_id("start").is_displayed()
    assert _axe(browser) == []
    browser.execute_script("document.getElementById('join').hidden = false")
    assert _axe(browser) == []
    server.kill()
    phone.by_id("new-batch").click()
    phone.fill(phone.by_id("dialog"), name="J-3")
    phone.by_id("dialog").find_element("css selector", "button.main").click()
    phone.until(lambda: phone.by_id("queue").is_displayed())
    phone.until(lambda: not phone.by_id("dialog").is_displayed())
    assert "Wartet auf diesem Telefon: 1" in phone.by_id("queue").text
    assert "Keine Verbindung" in phone.by_id("link").text
    assert _axe(browser) == []
    assert english_in(browser.execute_script(WORDS), "de") == []


# German is the longest of the three, the narrowest screen the least; the thorough take all.
ROOM = [("de", WIDTHS[:1])]
ROOM += [pytest.param(one, WIDTHS, marks=pytest.mark.thorough) for one in LANGUAGES]


@pytest.mark.parametrize(("language", "sizes"), ROOM)
def test_words_have_room_and_are_of_one_language(page, language, sizes):
    speak(page, language)
    cut, english = {}, {}
    for width, height in sizes:
        _set(page.browser, width, height)
        for name in SCREENS:
            show(page, name)
            if over := page.browser.execute_script(CUT_OFF):
                cut[f"{name}, {width} px"] = over
            told = language != SOURCE and width == WIDTHS[0][0]
            if left := told and english_in(page.browser.execute_script(WORDS), language):
                english[name] = left
    assert cut == {}
    assert english == {}


def test_the_browsers_own_language_until_another_is_chosen(page):
    browser = page.browser
    browser.delete_cookie("language")
    _accepts(browser, "fr-FR,es-MX,de")
    page.open()
    assert browser.execute_script("return document.documentElement.lang") == "es"
    assert page.by_id("new-batch").text == "Nuevo"
    page.until(lambda: "Etapa 1" in page.by_id("stage").text)  # what the service says is in the same language
    browser.execute_script("document.getElementById('language').open = true")
    page.press("languages", "Deutsch")
    page.until(lambda: page.by_id("new-batch").text == "Neu")
    page.until(lambda: "Stufe 1" in page.by_id("stage").text)
