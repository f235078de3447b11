"""Keeping what the trends know of a batch, and seeing whether its lot drifts. Derived rows: they can be written anew at any time."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import UTC, datetime

from regenplant.audit.by import By
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch
from regenplant.batches.points import Points, points_of
from regenplant.batches.rinse import EndPoint, end_point, judged_steps, rinse_sifted
from regenplant.batches.timing import worked_s
from regenplant.core.engineering.loads import eluted_equivalents
from regenplant.core.process.intake import ReturnReason
from regenplant.core.process.lifecycle import BatchState
from regenplant.core.process.specification import Limit, LimitBasis
from regenplant.quality.drift import drift_at
from regenplant.quality.models import RinseOutcome, decision_of
from regenplant.quality.services._lots import volumes_by_lot
from regenplant.quality.services.trends import raise_drift
from regenplant.quality.specification import downgrade_of
from regenplant.resins.models import LotParent, ResinLot

Verdict = RinseOutcome.Verdict
DEEPEST = 2000
"""Generations a line is followed back at most; a lot is remade at every regeneration."""


def keep_outcome(by: By, batch: Batch, verdict: str, reason: str = "") -> RinseOutcome:
    """Write down what the trends know of this batch, and raise an alert where its lot takes more rinse than it did."""
    outcome = write_outcome(batch, verdict, reason, by.happened_at)
    drift = drift_at(outcome)
    if drift is not None:
        raise_drift(by=by, drift=drift)
    return outcome


def keep_given_up(by: By, batch: Batch, reason: str) -> None:
    """The same for a batch that was aborted after its start."""
    keep_outcome(by, batch, Verdict.GIVEN_UP, reason)


def write_outcome(batch: Batch, verdict: str, reason: str, at: datetime) -> RinseOutcome:
    """One row for each batch; a later judgement replaces what the first one said, and keeps its time. A batch that passed against a
    lower product missed its own: it counts as failed."""
    down = downgrade_of(batch)
    if down is not None and verdict == Verdict.PASS:
        verdict, reason = Verdict.FAIL, f"Went down to {down.to_version.specification.code}: {reason}"
    known = RinseOutcome.objects.filter(number=batch.number).first()
    came_from = known.lot_in if known is not None and known.lot_in else _lot_in(batch)
    lot_made = batch.lot.code if batch.lot is not None else ""
    points = points_of(batch)
    reached, rinsed_bv, rinse_s = _rinse(batch, points, end := end_point(batch, points))
    outcome, _ = RinseOutcome.objects.update_or_create(
        number=batch.number,
        defaults={
            "ended_at": known.ended_at if known is not None else batch.judged_at or at,
            "family": batch.resin_type.family,
            "resin_type": batch.resin_type.code,
            "segregation_class": batch.segregation_class,
            "vessel": batch.vessel.code,
            "recipe": batch.recipe_version.recipe.code,
            "line": line_of(came_from) or lot_made,
            "lot_in": came_from,
            "lot_made": lot_made,
            "is_rework": batch.parent_id is not None,
            "verdict": verdict,
            "limit_siemens_per_m": (end.limit.high or 0.0) if end.limit is not None else None,
            "is_reached": reached,
            "rinsed_bv": rinsed_bv,
            "rinse_s": rinse_s,
            **_load(batch),
            "chemical_lots": sorted(set(batch.chemical_lots.values())),
            "reason": reason[:400],
        },
    )
    return outcome


def renew_all() -> int:
    """Write the rows of all judged and given-up batches anew, oldest first; returns how many. Raises no alert."""
    rows = Batch.objects.exclude(started_at__isnull=True).select_related(
        "resin_type", "vessel", "recipe_version__recipe", "specification_version", "lot"
    )
    count = 0
    for batch in rows.order_by("judged_at", "finished_at", "id").iterator():
        decision = decision_of(batch)
        if decision is not None:
            write_outcome(batch, decision.verdict, decision.reason, decision.decided_at)
        elif batch.state in (BatchState.ABORTED, BatchState.SCRAPPED) and batch.finished_at is not None:
            write_outcome(batch, Verdict.GIVEN_UP, "", batch.finished_at)
        else:
            continue
        count += 1
    return count


def _load(batch: Batch) -> dict[str, float | bool | None]:
    """What the resin had taken up in service, by throughput and feed; nothing for a rework, whose resin was regenerated before."""
    plan = plan_of(batch)
    request = plan.request
    family, eluted = request.resin.family, request.eluted_equivalents
    if batch.parent_id is not None or family.is_mixed or family.is_exchanged:
        return {"load_frac": None, "is_load_whole": False}
    if eluted is None and request.throughput_m3 is not None and request.feed is not None:
        eluted = eluted_equivalents(family.value, request.feed, request.throughput_m3).value
    if eluted is None:
        return {"load_frac": None, "is_load_whole": False}
    reasons = batch.tank_links.values_list("visit__return_reason", flat=True)
    return {
        "load_frac": eluted
        / (plan.totals["resin_volume_m3"].value * request.resin.operating_capacity_eq_per_m3),
        "is_load_whole": all(reason == ReturnReason.EXHAUSTED for reason in reasons),
    }


# --- the rinse --------------------------------------------------------------------------------------------------------
def _rinse(batch: Batch, points: Points, end: EndPoint) -> tuple[bool, float | None, float | None]:
    """Whether the limit was held as asked; bed volumes and seconds until it was reached for good, or as far as it went. By every
    reading that counts, by hand and by meter."""
    if end.limit is None or not len(points):
        return False, None, None
    if not end.is_met or end.held_from_s is None:
        return False, end.rinsed_bv, _rinsed_s(batch, _moment(points.at_s[-1]))
    found = rinse_sifted(batch, points)
    at_s, volume_bv = found.series.at_s[found.counts], found.series.volume_bv[found.counts]
    at_25 = found.at_25[found.counts]
    index = int(at_s.searchsorted(end.held_from_s - 1e-3))
    back = _share_back(float(at_25[index - 1]), float(at_25[index]), end.limit) if index else 0.0
    if back == 0.0:
        return True, float(volume_bv[index]), _rinsed_s(batch, _moment(at_s[index]))
    return (
        True,
        float(volume_bv[index] - back * (volume_bv[index] - volume_bv[index - 1])),
        _rinsed_s(batch, _moment(at_s[index] - back * (at_s[index] - at_s[index - 1]))),
    )


def _moment(at_s: float) -> datetime:
    return datetime.fromtimestamp(float(at_s), tz=UTC)


def _share_back(before: float, after: float, limit: Limit) -> float:
    """Where between two readings at 25 °C the limit was crossed, as a share of the way back from the second: on a log scale, as a
    rinse falls by so much a bed volume. Readings some minutes apart would else make steps of a tenth of the rinse.

    0 where the limit is none at 25 °C, or the two do not stand on either side of it: then the reading itself is taken.
    """
    if limit.basis is not LimitBasis.AT_25_CELSIUS or limit.high is None:
        return 0.0
    if not before > limit.high >= after:
        return 0.0
    return math.log(limit.high / after) / math.log(before / after)


def _rinsed_s(batch: Batch, until: datetime) -> float:
    holds = list(batch.holds.all())
    return sum(worked_s(step, holds, min(step.finished_at or until, until)) for step in judged_steps(batch))


# --- the line of its resin --------------------------------------------------------------------------------------------
def _lot_in(batch: Batch) -> str:
    """Code of the lot most of the resin came from; "" where none is on record."""
    made = batch.lot or _made_after_rework(batch)
    if made is not None:
        return _largest_parent(made) or ""
    volumes = volumes_by_lot(batch)
    if not volumes:
        return ""
    largest = min(volumes, key=lambda pk: (-volumes[pk], pk))
    return str(ResinLot.objects.values_list("code", flat=True).get(pk=largest))


def _made_after_rework(batch: Batch) -> ResinLot | None:
    """The lot that came of a failed batch after all: its parents are what went into the failed one."""
    waiting: list[Batch] = [batch]
    while waiting:
        children: Iterable[Batch] = Batch.objects.filter(parent=waiting.pop()).select_related("lot")
        for child in children:
            if child.lot is not None:
                return child.lot
            waiting.append(child)
    return None


def _largest_parent(lot: ResinLot) -> str | None:
    links = LotParent.objects.filter(child=lot).order_by("-fraction", "parent__code")
    return links.values_list("parent__code", flat=True).first()


def line_of(code: str) -> str:
    """Code of the lot at the head of the line: over the largest parent each time, until a lot has none."""
    for _ in range(DEEPEST):
        known = RinseOutcome.objects.filter(lot_made=code).exclude(line="").first() if code else None
        if known is not None:
            return known.line
        lot = ResinLot.objects.filter(code=code).first()
        older = _largest_parent(lot) if lot is not None else None
        if older is None:
            return code
        code = older
    return code
