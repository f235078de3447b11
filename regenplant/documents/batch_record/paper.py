"""The batch record as PDF: what was done with one batch, whole.

Drawn from its content only. The same content gives the same bytes, so that the stored hash proves a reprint.
"""

from __future__ import annotations

from regenplant.documents.batch_record import draw_head, draw_quality, draw_steps, draw_trail
from regenplant.documents.batch_record.content import BatchRecordContent, content_digest
from regenplant.documents.batch_record.setting import Setting
from regenplant.documents.page import A4, LETTER, Frame, Furniture, PageSize, printed
from regenplant.documents.texts import grouped

SIZES = (A4, LETTER)


def draw_batch_record(content: BatchRecordContent, size: PageSize, system: str) -> bytes:
    """The record as PDF. ``system`` ("metric" or "us") says in which units values stand beside what was typed."""
    frame = Frame(size)
    setting = Setting(content, frame.width, system)
    items = [
        *draw_head.items(setting),
        *draw_steps.items(setting),
        *draw_quality.items(setting),
        *draw_trail.items(setting),
    ]
    return printed(items, frame, _furniture(content))


def _furniture(content: BatchRecordContent) -> Furniture:
    issue = content.issue
    return Furniture(
        plant=content.plant,
        paper="Batch record",
        number=content.batch_number,
        foot=(
            f"Recipe {content.recipe} · specification {content.specification} · batch record version {issue.record_version}",
            f"Plan {grouped(content.plan_digest)} · paper {grouped(content_digest(content))} · "
            f"record {issue.chain_number}: {grouped(issue.chain_head)}",
            f"Issue {issue.number}, printed {issue.printed_at} by {issue.printed_by}",
        ),
        title=f"Batch record {content.batch_number}, issue {issue.number}",
    )
