"""Reading deviations: the list with what narrows it, one of them, and who may decide it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Case, IntegerField, Q, QuerySet, Value, When

from regenplant.batches.models import Deviation
from regenplant.batches.moves import people_of_step
from regenplant.people.models import Person
from regenplant.people.selectors import people_who_may
from regenplant.plant.selectors import plant_day

OLD_AFTER_DAYS = 7
"""An open deviation older than this is old; this program's own choice."""
_RANK = Case(
    When(severity=Deviation.Severity.CRITICAL, then=Value(0)),
    When(severity=Deviation.Severity.MAJOR, then=Value(1)),
    default=Value(2),
    output_field=IntegerField(),
)


@dataclass(frozen=True, slots=True)
class Wanted:
    """What narrows the list; empty means all."""

    state: str = ""
    """ "open", "decided", "overdue" (past its day), "old" (open for more than a week)."""
    severity: str = ""
    owner: str = ""
    """ "mine", "nobody", or the key of a person."""
    text: str = ""


def deviation_list(wanted: Wanted, person: Person, now: datetime) -> QuerySet[Deviation]:
    """Deviations, open ones first, the gravest and oldest of them on top. One query."""
    rows = Deviation.objects.select_related("batch", "step", "owner", "opened_by", "decided_by").annotate(
        rank=_RANK,
        is_decided=Case(
            When(decided_at__isnull=True, then=Value(0)), default=Value(1), output_field=IntegerField()
        ),
    )
    condition = _of_state(wanted.state, now)
    if wanted.severity:
        condition &= Q(severity=wanted.severity)
    if wanted.owner == "mine":
        condition &= Q(owner=person)
    elif wanted.owner == "nobody":
        condition &= Q(owner__isnull=True)
    elif wanted.owner:
        condition &= Q(owner_id=int(wanted.owner)) if wanted.owner.isdecimal() else Q(pk__in=[])
    if text := wanted.text.strip():
        condition &= Q(number__icontains=text) | Q(batch__number__icontains=text) | Q(what__icontains=text)
    return rows.filter(condition).order_by("is_decided", "rank", "opened_at", "id")


def _of_state(state: str, now: datetime) -> Q:
    is_open = Q(decided_at__isnull=True)
    if state == "open":
        return is_open
    if state == "decided":
        return ~is_open
    if state == "overdue":
        return is_open & Q(due_on__lt=plant_day(now))
    if state == "old":
        return is_open & Q(opened_at__lt=now - timedelta(days=OLD_AFTER_DAYS))
    return Q()


def counts(now: datetime) -> dict[str, int]:
    """How many deviations are in each state of the filter."""
    return {
        state: Deviation.objects.filter(_of_state(state, now)).count()
        for state in ("open", "overdue", "old", "decided")
    }


def owners() -> list[Person]:
    """Everybody who looks into a deviation."""
    return list(Person.objects.filter(pk__in=Deviation.objects.values("owner")).order_by("full_name"))


def deviation_page(number: str) -> Deviation | None:
    """The deviation with this number, with everything its page shows."""
    if "\x00" in number:
        return None
    return (
        Deviation.objects.select_related(
            "batch__vessel",
            "batch__resin_type",
            "step",
            "opened_by",
            "decided_by",
            "owner",
            "follows",
            "signature",
        )
        .prefetch_related("followed_by")
        .filter(number__iexact=number.strip())
        .first()
    )


def own_work(deviation: Deviation, person: Person) -> str:
    """What this person did about a deviation that keeps them from deciding it; "" for nothing."""
    if deviation.opened_by_id == person.pk:
        return f"You opened {deviation.number}"
    if deviation.step is not None and person.pk in people_of_step(deviation.step):
        return f"You worked on {deviation.step.name[:1].lower()}{deviation.step.name[1:]}"
    return ""


def who_may_decide(deviation: Deviation) -> list[Person]:
    """People with the right to decide it who took no part."""
    took_part = {deviation.opened_by_id}
    if deviation.step is not None:
        took_part |= people_of_step(deviation.step)
    return people_who_may(
        "deviation.close", segregation_class=deviation.batch.segregation_class, except_pks=took_part
    )
