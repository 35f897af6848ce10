"""Text on paper never leaves its place."""

from __future__ import annotations

import datetime
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader

from tint.job.page import Page


@pytest.fixture(scope="module")
def page() -> Page:
    return Page("test", "test")


@settings(max_examples=60, deadline=None)
@given(text=st.text(max_size=120), width_mm=st.floats(8, 120), most=st.integers(1, 4))
def test_wrapped_lines_fit_the_width_and_the_number_allowed(text: str, width_mm: float, most: int) -> None:
    page = Page("test", "test")
    lines = page.wrapped(text, 7, width_mm, most)
    assert 1 <= len(lines) <= most
    assert all(page.width_mm(line, 7) <= width_mm + 1e-6 for line in lines)


def test_text_that_fits_is_wrapped_without_loss_and_text_that_does_not_ends_in_an_ellipsis(page: Page) -> None:
    words = "clamp the plate flat on a thick metal block"
    assert " ".join(page.wrapped(words, 7, 30, 9)) == words
    assert page.wrapped(words, 7, 30, 1)[0].endswith("…")


def test_a_document_carries_the_date_it_is_given_not_the_clocks() -> None:
    made = PdfReader(io.BytesIO(Page("test", "test", "2026-03-14").pdf())).metadata
    assert made.creation_date.date() == made.modification_date.date() == datetime.date(2026, 3, 14)


def test_signs_of_the_trade_are_printable_and_foreign_letters_are_replaced_and_noted(page: Page) -> None:
    assert page.printable("µ ² ± · – ° × − Größe šč Ł") == "µ ² ± · – ° × − Größe šč Ł"
    assert not page.replaced
    assert page.printable("ΔE00") == "∆E00"  # the font has the increment sign of the same look
    assert page.printable("Łódź") == "Łódz"
    assert page.printable("ｂｌｕｅ") == "blue" and not page.replaced
    assert page.printable("синий") == "?????" and page.replaced
