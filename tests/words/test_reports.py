"""The report of a batch in each language: as a page and on paper, of the same log."""

import io
import re

import pypdfium2
import pytest

from service.report.html import html_report
from service.report.pdf import pdf_report
from stripread.words import speaking
from tests.bench_arithmetic.madeup import demo_batch
from tests.words.english import english_in

SAID = {
    "de": ("Chargenbericht", "Aufgeschrieben", "222,3 g Silber von 224,8 g erwarteten: Ausbeute 98,9", "Seite 1 von"),
    "es": ("informe del lote", "Anotado", "222,3 g de plata de 224,8 g esperados: rendimiento 98,9", "página 1 de"),
}


def _text_of(page):
    body = re.sub(r"<style>.*?</style>|<svg.*?</svg>", " ", page, flags=re.DOTALL)
    labels = " ".join(re.findall(r'(?:aria-label|alt|data-head)="([^"]*)"', body))
    drawn = " ".join(re.findall(r"<text[^>]*>([^<]*)</text>", page))
    return " ".join(re.sub(r"<[^>]+>", " ", body).split()) + f" {labels} {drawn}"


@pytest.mark.parametrize("language", SAID)
def test_the_page_of_a_report_speaks_one_language(language):
    with speaking(language):
        page = html_report(demo_batch())
    assert f'<html lang="{language}">' in page
    text = _text_of(page)
    assert SAID[language][2] in text
    assert english_in(text, language) == []


@pytest.mark.parametrize("language", SAID)
def test_the_paper_of_a_report_speaks_one_language_and_says_which(language):
    with speaking(language):
        data = pdf_report(demo_batch(), ("ua-1",))
    assert f"/Lang ({language})".encode() in data or f"/Lang({language})".encode() in data  # PDF 1.7, 14.9.2
    document = pypdfium2.PdfDocument(io.BytesIO(data))
    text = " ".join(" ".join(page.get_textpage().get_text_range() for page in document).split())
    document.close()
    assert SAID[language][3] in text
    assert english_in(text, language) == []


def test_english_that_is_left_is_seen():
    assert english_in("Alles gut. Nothing is written down yet. Ende.", "de") == ["Nothing is written down yet."]
    assert english_in("Messungen und Vorsicht", "de") == []
