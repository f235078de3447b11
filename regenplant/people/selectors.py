"""Reading people: whom to ask, the alerts that wait, the time-outs."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import QuerySet
from django.utils import timezone

from regenplant.people.authority import Role
from regenplant.people.models import AccessRules, Alert, AuthorityVersion, Person


def demo_people() -> list[Person]:
    """Everybody who may sign in to the demonstration, in the order of the roles."""
    people = Person.objects.filter(is_active=True, is_device=False).prefetch_related("groups")
    order = {role.value: index for index, role in enumerate(Role)}
    return sorted(
        people,
        key=lambda person: (
            min((order.get(g.name, 99) for g in person.groups.all()), default=99),
            person.full_name,
        ),
    )


def people_who_may(
    permission: str, *, segregation_class: str = "", except_pks: Iterable[int] = ()
) -> list[Person]:
    """Active people who hold a permission, in this class if one is concerned, without some: whom to ask."""
    matrix = AuthorityVersion.in_force(timezone.now())
    names = [role.value for role in matrix.holders(permission, segregation_class)]
    if not names:
        return []
    found = Person.objects.filter(is_active=True, is_shared=False, is_device=False, groups__name__in=names)
    return list(found.exclude(pk__in=list(except_pks)).distinct().order_by("full_name"))


def access_rules() -> AccessRules:
    """The time-outs; the usual ones where a plant set none."""
    return AccessRules.objects.filter(pk=1).first() or AccessRules()


def alerts_for(person: Person) -> QuerySet[Alert]:
    """The alerts this person may see, newest first: all with the right to answer them, else those about oneself."""
    found = Alert.objects.select_related("person", "answered_by")
    return found if person.may("alert.acknowledge") else found.filter(person=person)


def alerts_waiting_for(person: Person) -> QuerySet[Alert]:
    """The alerts that wait for this person to answer; none without the right."""
    if not person.may("alert.acknowledge"):
        return Alert.objects.none()
    return Alert.objects.filter(answered_at__isnull=True).exclude(person=person)
