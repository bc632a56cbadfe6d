"""The report as a tagged PDF, read back: its structure, its sizes, its pages; and as a page in a hand."""

import dataclasses
import io
import math
from ctypes import create_string_buffer

import pypdfium2
import pytest
from pypdfium2 import raw

from service.report.html import html_report
from service.report.losses import like_losses
from service.report.pdf import pdf_report
from tests.bench_arithmetic.madeup import demo_batch
from tests.bench_arithmetic.test_report import _with_pictures


@pytest.fixture(scope="module")
def paper():
    """The report of the made-up batch; Typst itself refuses to write what is no PDF/UA-1 (ISO 14289-1)."""
    document = pypdfium2.PdfDocument(io.BytesIO(pdf_report(_with_pictures(), ("ua-1",))))
    yield document
    document.close()


def _said(ask, element):
    """What one of pdfium's functions says of an element, UTF-16 in a buffer."""
    size = ask(element, None, 0)
    buffer = create_string_buffer(size)
    ask(element, buffer, size)
    return buffer.raw[:size].decode("utf-16-le").rstrip("\0")


def _elements(page):
    """Structure elements of a page from its root: path of types, alternative text."""
    tree = raw.FPDF_StructTree_GetForPage(page)

    def below(element, path):
        path = (*path, _said(raw.FPDF_StructElement_GetType, element))
        yield path, _said(raw.FPDF_StructElement_GetAltText, element)
        for n in range(raw.FPDF_StructElement_CountChildren(element)):
            child = raw.FPDF_StructElement_GetChildAtIndex(element, n)
            if child:
                yield from below(child, path)

    found = []
    for n in range(raw.FPDF_StructTree_CountChildren(tree)):
        found += below(raw.FPDF_StructTree_GetChildAtIndex(tree, n), ())
    raw.FPDF_StructTree_Close(tree)
    return found


def test_headings_tables_and_pictures_are_tagged(paper):
    assert raw.FPDFCatalog_IsTagged(paper)
    found = [element for page in paper for element in _elements(page)]
    kinds = [path[-1] for path, _ in found]
    assert kinds.count("H1") == 1
    assert kinds.count("H2") >= 7
    assert kinds.count("TH") >= 5
    assert all("THead" in path or "TBody" in path for path, _ in found if path[-1] in ("TH", "TD"))
    told = [alt for path, alt in found if path[-1] == "Figure"]
    assert all(told)
    assert any("wash 1 1.13" in alt for alt in told)
    assert any("fines in 7 decants" in alt for alt in told)
    assert sum("photo of reading" in alt for alt in told) == len(demo_batch().readings)


def test_heads_stand_on_each_page_and_words_are_large_enough(paper):
    pages = []
    for page in paper:
        words = page.get_textpage()
        pages.append(words.get_text_range())
        assert min(_size(words, n) for n in range(words.count_chars()) if words.get_text_range(n, 1).strip()) >= 8.99
    heads = [text for text in pages if "Photo" in text and "Source" in text]
    assert len(heads) >= 3
    assert all(f"page {n} of {len(pages)}" in text for n, text in enumerate(pages, 1))


def _size(words, n):
    """Points of one character: the size of its font times the matrix that it is drawn with."""
    matrix = raw.FS_MATRIX()
    assert raw.FPDFText_GetMatrix(words, n, matrix)
    return raw.FPDFText_GetFontSize(words, n) * math.hypot(matrix.c, matrix.d)


@pytest.mark.parametrize("kept", [0, 11, 12])
def test_no_page_is_nearly_empty(kept):
    made = _with_pictures()
    document = pypdfium2.PdfDocument(io.BytesIO(pdf_report(dataclasses.replace(made, readings=made.readings[:kept]))))
    for page in document:
        words = page.get_textpage()
        feet = [words.get_rect(n)[1] for n in range(words.count_rects())]
        assert min(y for y in feet if y > 57.0) < 842.0 * 0.78  # above the foot line at 20 mm; a fifth of the page
    document.close()


def test_like_losses_stand_in_one_row():
    found = demo_batch().state.balance
    rows = like_losses(found)
    assert [row.name for row in rows].count("fines in 7 decants") == 1
    assert sum(row.silver_g[1] for row in rows) == pytest.approx(sum(loss.silver_g[1] for loss in found.losses))
    fines = next(row for row in rows if row.name.startswith("fines"))
    assert fines.largest[0] == "wash 3"
    # Fines err alike: their high ends add.
    assert fines.silver_g[2] == pytest.approx(sum(x.silver_g[2] for x in found.losses if x.name.startswith("fines")))


def test_in_a_hand_the_page_has_its_own_plots_and_rows():
    page = html_report(_with_pictures())
    assert page.count('<figure class="narrow"') == page.count('<figure class="wide"') == 3
    assert "acid</text>" in page
    assert "lye</text>" in page
    assert page.count('data-head="now"') == len(like_losses(demo_batch().state.balance))
    for name in ("narrow", "wide"):
        assert f'<figure class="{name}" role="img" aria-label="Plot of pH against wash: wash 1 1.13' in page
