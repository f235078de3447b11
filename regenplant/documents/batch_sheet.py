"""The batch sheet: a work order to be carried out by hand, step by step, with the frozen plan behind it.

``BatchSheetContent`` is all that is printed; ``draw_batch_sheet`` sees nothing else. What was already written down in the
record is not on it. The same content gives the same bytes, so that the stored hash proves a reprint.

The sheet has two parts. The work order is what is carried to the vessel, from the head to the sign-off; the calculation
appendix is for whoever checks the numbers. Each can be printed alone.
"""

from __future__ import annotations

from dataclasses import replace
from enum import StrEnum

from regenplant.core.process.vocabulary import Purpose, StepKind
from regenplant.documents import batch_sheet_closing, batch_sheet_head, batch_sheet_steps, batch_sheet_working
from regenplant.documents.batch_sheet_content import BatchSheetContent, SheetTank, content_digest
from regenplant.documents.batch_sheet_setting import setting_of
from regenplant.documents.flow import Item, Placed, shared_out
from regenplant.documents.page import A4, LETTER, Frame, Furniture, PageSize, Part, printed_parts
from regenplant.documents.texts import grouped

__all__ = ["SIZES", "BatchSheetContent", "SheetTank", "Wanted", "content_digest", "draw_batch_sheet"]

SIZES = (A4, LETTER)


class Wanted(StrEnum):
    """How much of the sheet is printed."""

    WHOLE = "whole"
    WORK_ORDER = "work order"
    APPENDIX = "appendix"


def draw_batch_sheet(
    content: BatchSheetContent, size: PageSize, system: str, wanted: Wanted = Wanted.WHOLE
) -> bytes:
    """The sheet as PDF. ``system`` ("metric" or "us") says which units stand first; the others stand beside them."""
    frame = Frame(size)
    setting = setting_of(content, frame.width, system)
    order: list[Item] = [
        *batch_sheet_head.items(setting),
        *batch_sheet_steps.items(setting),
        *batch_sheet_closing.items(setting),
    ]
    order_pages = shared_out(order, frame.height) if wanted is not Wanted.APPENDIX else []
    appendix_pages = shared_out(batch_sheet_working.items(setting), frame.height)
    extent = batch_sheet_head.Extent(len(order_pages), len(appendix_pages), is_whole=wanted is Wanted.WHOLE)
    parts = [Part("work order", _told(order_pages, extent, frame.width))] if order_pages else []
    if wanted is not Wanted.WORK_ORDER:
        parts.append(Part("appendix", appendix_pages))
    return printed_parts(parts, frame, _furniture(content))


def _told(pages: list[list[Placed]], extent: batch_sheet_head.Extent, width: float) -> list[list[Placed]]:
    """The pages with the line that says which of them are which: it is known only when all are shared out."""
    line = batch_sheet_head.extent_words(extent, width)
    return [
        [
            replace(placed, block=line) if placed.block is batch_sheet_head.EXTENT else placed
            for placed in page
        ]
        for page in pages
    ]


def paper_name(content: BatchSheetContent) -> str:
    """The name of the paper: with its purpose where that is not the usual regeneration."""
    recipe = content.plan.request.recipe
    if recipe.purpose is Purpose.REGENERATION:
        return "Batch sheet"
    is_sanitizing = recipe.purpose is Purpose.CLEANING and any(
        step.kind is StepKind.SANITIZE for step in recipe.steps
    )
    return f"Batch sheet · {'sanitizing, then regeneration' if is_sanitizing else recipe.purpose.label}"


def _furniture(content: BatchSheetContent) -> Furniture:
    recipe, issue = content.plan.request.recipe.code, content.issue
    return Furniture(
        plant=content.plant,
        paper=paper_name(content),
        number=content.batch_number,
        foot=(
            f"Recipe {recipe} version {content.plan.request.recipe_version} · specification "
            f"{content.specification.code} version {content.specification_version} · batch record version {issue.record_version}",
            f"Plan {grouped(content.plan_digest)} · paper {grouped(content_digest(content))} · "
            f"record {issue.chain_number}: {grouped(issue.chain_head)}",
            f"Issue {issue.number}, printed {issue.printed_at} by {issue.printed_by}",
        ),
        title=f"Batch sheet {content.batch_number}, issue {issue.number}",
    )
