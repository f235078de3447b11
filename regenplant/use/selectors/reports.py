"""Signed reports, prices, and what the audit does not know yet."""

from __future__ import annotations

import json

from django.db.models import Exists, OuterRef, QuerySet

from regenplant.batches.models import Batch
from regenplant.chemicals.models import Movement, Place
from regenplant.core.process.canonical import from_plain
from regenplant.use.models import ChemicalPrice, UseReport, UseRow
from regenplant.use.report_content import ReportContent


def reports() -> QuerySet[UseReport]:
    """All reports, newest first."""
    return UseReport.objects.select_related("made_by", "signature").order_by("-made_at", "-id")


def report_numbered(number: str) -> UseReport | None:
    """The report with this number."""
    return reports().filter(number__iexact=number.strip()).first()


def content_of_report(row: UseReport) -> ReportContent:
    """What the report says."""
    return from_plain(ReportContent, json.loads(row.content))


def prices() -> QuerySet[ChemicalPrice]:
    """All prices that were entered, newest first."""
    return ChemicalPrice.objects.select_related("lot", "entered_by").order_by("-entered_at", "-id")


def not_read() -> int:
    """How many batches drew from the stock and stand in no row: those from before the audit was kept. One query."""
    drew = Movement.objects.filter(reference=OuterRef("number"), to_place__kind=Place.Kind.BATCH)
    known = UseRow.objects.filter(number=OuterRef("number"))
    return Batch.objects.filter(~Exists(known), Exists(drew), started_at__isnull=False).count()
