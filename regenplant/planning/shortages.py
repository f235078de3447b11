"""Whether the chemicals last for the planned batches that nobody started: what stands there, what comes, what each draws and when."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime

from django.db.models import Q
from django.utils import timezone

from regenplant.core.process.vocabulary import Chemical
from regenplant.core.scheduling import figures
from regenplant.planning.accepted_text import accepted_content
from regenplant.planning.figures import PlanningFigures
from regenplant.planning.kept import notes_from, plan_from, problem_from
from regenplant.planning.models import PlanAcceptance, PlannedBatch
from regenplant.planning.supplies import left_for_plans, on_their_way
from regenplant.plant.models import Skid

ROUNDING_KG = 1e-6
"""Sums of kilograms are floats; a draw is whole grams."""


def short(
    acceptance: PlanAcceptance, waiting: Sequence[PlannedBatch], now: datetime, reckoned: PlanningFigures
) -> Iterator[str]:
    """A sentence for each chemical of which less can be used than planned batches need by the time they need it, and for each whose
    skids are all locked out. A delivery that is late, called off or put off counts as far as ``on_their_way`` says, so it shows here."""
    draws = planned_draws(
        acceptance, {row.plan_batch for row in waiting if row.acceptance_id == acceptance.pk}
    )
    there, coming = left_for_plans(now), on_their_way(now).counted
    shut = set(
        Skid.objects.filter(Q(is_active=False) | ~Q(lock_out_reason="")).values_list("chemical", flat=True)
    )
    open_ = set(Skid.objects.filter(is_active=True, lock_out_reason="").values_list("chemical", flat=True))
    for name, own in sorted(draws.items()):
        label = Chemical(name).label
        stays_kg = reckoned.stays_kg.get(name, 0.0)
        arrives = sorted((one.at, one.grams_100 / 1000) for one in coming if one.chemical == name)
        needed = 0.0
        for at, kg in sorted(own):
            needed += kg
            came = sum(own_kg for when, own_kg in arrives if when <= max(at, now))
            usable = there.get(name, 0.0) + came - stays_kg
            if needed > usable + ROUNDING_KG:
                kept = f", {stays_kg:,.0f} kg must stay" if stays_kg else ""
                yield (
                    f"{label}: the planned batches need {needed:,.0f} kg as 100 % until {timezone.localtime(at):%Y-%m-%d %H:%M}, "
                    f"{max(0.0, usable):,.0f} kg can be used by then{kept}."
                )
                break
        if name in shut and name not in open_:
            yield f"{label}: every skid is locked out or out of use."


def planned_draws(acceptance: PlanAcceptance, names: set[str]) -> Mapping[str, list[tuple[datetime, float]]]:
    """When the batches of these names in an accepted plan draw how much of each chemical [kg as 100 %]."""
    content = accepted_content(acceptance.content)
    problem, plan = problem_from(content["problem"]), plan_from(content["plan"])
    clock = notes_from(content["notes"]).clock
    tanks = {tank.id: tank for tank in problem.tanks}
    vessels = {vessel.id: vessel for vessel in problem.vessels}
    found: dict[str, list[tuple[datetime, float]]] = defaultdict(list)
    for batch in plan.batches:
        if batch.id not in names:
            continue
        members, vessel = [tanks[name] for name in batch.tanks], vessels[batch.vessel]
        charged_l = figures.charge_l(sum(tank.volume_l for tank in members), vessel)
        percent = figures.dose_percent(problem, members)
        stages = problem.stages(vessel.id, members[0].key) or ()
        for stage, timed in zip(stages, batch.stages, strict=True):
            for use in figures.stage_need(stage, len(members), charged_l, percent, problem.slot_min).uses:
                if use.chemical and use.grams:
                    found[use.chemical].append((clock.moment(timed.start_min), use.grams / 1000))
    return found
