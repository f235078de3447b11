"""Reading people."""

from __future__ import annotations

from collections.abc import Iterable

from regenplant.people.authority import Role, holders
from regenplant.people.models import Person


def demo_people() -> list[Person]:
    """Everybody who may sign in to the demonstration, in the order of the roles."""
    people = Person.objects.filter(is_active=True).prefetch_related("groups")
    order = {role.value: index for index, role in enumerate(Role)}
    return sorted(
        people,
        key=lambda person: (
            min((order.get(g.name, 99) for g in person.groups.all()), default=99),
            person.full_name,
        ),
    )


def people_who_may(permission: str, *, except_pks: Iterable[int] = ()) -> list[Person]:
    """Active people who hold a permission, without some: whom to ask."""
    names = [role.value for role in holders(permission)]
    found = Person.objects.filter(is_active=True, groups__name__in=names).exclude(pk__in=list(except_pks))
    return list(found.distinct().order_by("full_name"))
