"""Papers drawn once for all tests of this folder."""

from __future__ import annotations

from functools import lru_cache

from regenplant.documents.batch_sheet import draw_batch_sheet
from regenplant.documents.page import PAGE_SIZES
from tests.documents import examples


@lru_cache(maxsize=64)
def sheet_of(code: str, size: str, system: str) -> bytes:
    """The batch sheet of a recipe as PDF, kept for the next test that asks for the same."""
    return draw_batch_sheet(examples.content_of(code), PAGE_SIZES[size], system)
