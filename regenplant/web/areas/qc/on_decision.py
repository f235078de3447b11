"""What the decision page shows beside limits and verdict: curve, instruments, forecasts, deviations, samples and the ways to decide."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from django.http import HttpRequest
from django.utils import timezone

from regenplant.batches.models import Batch
from regenplant.batches.selectors import RinsePage, rinse_page
from regenplant.batches.standing import forecasts_of, standing_of
from regenplant.core.process.acceptance import Outcome
from regenplant.core.process.lifecycle import BatchState
from regenplant.core.process.specification import CONDUCTIVITY
from regenplant.plant.selectors import plant_day
from regenplant.quality.forecast_history import quarters
from regenplant.quality.retained import WHILE_TAKEN, days_kept, sample_missing, samples_of
from regenplant.quality.selectors import QcPage
from regenplant.quality.specification import downgrade_of
from regenplant.quality.ways import lower_products, once_downgraded, rework_ways, rinse_on
from regenplant.web.presenters import qc_ways as words
from regenplant.web.presenters import rinse as rinse_words
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right


def ways_context(request: HttpRequest, page: QcPage) -> dict[str, Any]:
    """All of it for one page."""
    now, system, batch = timezone.now(), unit_system_of(request), page.batch
    shown = _judged(rinse_page(batch, now), page)
    return {
        "rinse": rinse_words.rinse_down(shown, now) if page.readings or shown.logs else None,
        "instruments": words.instrument_rows(page.readings, page.measurements, shown.logs, plant_day(now)),
        **_forecasts(page, system),
        "deviations": words.deviation_words(list(batch.deviations.order_by("opened_at", "pk"))),
        **sample_context(request, batch),
        "downgraded": downgrade_rows(batch),
        "proposal": _proposal(page),
        **_open_ways(page, system),
    }


def _judged(shown: RinsePage, page: QcPage) -> RinsePage:
    """The curve against what decides: the limit of the lower product, where the batch went down."""
    return replace(
        shown,
        specification=page.specification,
        limit=page.specification.limit(CONDUCTIVITY),
        end_point=page.end_point,
    )


def sample_context(request: HttpRequest, batch: Batch) -> dict[str, Any]:
    """The retained samples of a batch, and whether one is missing."""
    system, is_open = unit_system_of(request), batch.state in WHILE_TAKEN
    return {
        "samples": [(row, words.sample_words(row, system)) for row in samples_of(batch)],
        "sample_missing": sample_missing(batch) if is_open else "",
        "needs_sample": bool(days_kept(batch.segregation_class, batch.planned_at)),
        "may_sample": is_open,
        "keep_sample": right(request, "qc.keep_sample", batch.segregation_class),
    }


def downgrade_rows(batch: Batch) -> list[tuple[str, str]]:
    """The downgrade as it was signed; nothing for a batch that kept its product."""
    down = downgrade_of(batch)
    return words.downgrade_words(down) if down is not None else []


def _forecasts(page: QcPage, system: str) -> dict[str, Any]:
    """What was forecast at each quarter of the way, from the history that is kept, and how it came out; two queries."""
    made = forecasts_of(page.batch)
    if not made:
        return {"forecasts": ()}
    standing = standing_of(page.batch)
    met_bv = standing.endpoint_bv if standing is not None and page.end_point.is_met else None
    return {
        "forecasts": words.forecast_rows(quarters(made, page.end_point.rinsed_bv, met_bv), system),
        "came_out": words.came_out_words(met_bv, system),
    }


def _proposal(page: QcPage) -> str:
    """The rework that the decision proposed; "" for none."""
    found = getattr(page.decision, "rework_proposal", None) if page.decision is not None else None
    return str(found) if found is not None else ""


def _open_ways(page: QcPage, system: str) -> dict[str, Any]:
    """The ways of a batch that awaits QC; nothing for any other."""
    batch = page.batch
    if batch.state != BatchState.AWAITING_QC:
        return {"has_ways": False}
    judged = page.judged
    stands = rinse_on(batch, judged)
    is_met = page.verdict.outcome is Outcome.PASS
    twice = "" if is_met else once_downgraded(batch)
    lower = () if twice or is_met else lower_products(batch, timezone.now(), judged)
    return {
        "has_ways": True,
        "rinse_on": words.rinse_on_words(stands, batch, system),
        "rinse_on_shut": " ".join(stands.against),
        "reworks": words.rework_rows(rework_ways(batch, judged), system),
        "lower": "It meets its own specification." if is_met else words.lower_words(lower, twice),
        "may_go_down": any(one.is_met for one in lower),
    }
