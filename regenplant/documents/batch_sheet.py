"""The batch sheet: a work order to be carried out by hand, step by step, with the frozen plan behind it.

``BatchSheetContent`` is all that is printed; ``draw_batch_sheet`` sees nothing else. What was already written down in the
record is not on it. The same content gives the same bytes, so that the stored hash proves a reprint.
"""

from __future__ import annotations

from regenplant.core.process.vocabulary import Purpose
from regenplant.documents import batch_sheet_closing, batch_sheet_head, batch_sheet_steps, batch_sheet_working
from regenplant.documents.batch_sheet_content import BatchSheetContent, SheetTank, content_digest
from regenplant.documents.batch_sheet_setting import setting_of
from regenplant.documents.flow import Item
from regenplant.documents.page import A4, LETTER, Frame, Furniture, PageSize, printed
from regenplant.documents.texts import grouped

__all__ = ["SIZES", "BatchSheetContent", "SheetTank", "content_digest", "draw_batch_sheet"]

SIZES = (A4, LETTER)


def draw_batch_sheet(content: BatchSheetContent, size: PageSize, system: str) -> bytes:
    """The sheet as PDF. ``system`` ("metric" or "us") says which units stand first; the others stand beside them."""
    frame = Frame(size)
    setting = setting_of(content, frame.width, system)
    items: list[Item] = [
        *batch_sheet_head.items(setting),
        *batch_sheet_steps.items(setting),
        *batch_sheet_closing.items(setting),
        *batch_sheet_working.items(setting),
    ]
    return printed(items, frame, _furniture(content))


def paper_name(content: BatchSheetContent) -> str:
    """The name of the paper: with its purpose where that is not the usual regeneration."""
    purpose = content.plan.request.recipe.purpose
    return "Batch sheet" if purpose is Purpose.REGENERATION else f"Batch sheet · {purpose.label}"


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
