"""What a person may do on a page: the button, or the reason why it is grey. The service refuses by itself as well."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import HttpRequest

from regenplant.people.models import Person


@dataclass(frozen=True, slots=True)
class Right:
    """Whether the reader may do an act, and who may if not."""

    is_held: bool
    reason: str


def right(request: HttpRequest, permission: str, segregation_class: str = "") -> Right:
    """The reader's right to an act, in the segregation class of what it is about ("" when no class is concerned)."""
    person = request.user
    if not isinstance(person, Person):
        return Right(False, "Sign in first.")
    if person.may(permission, segregation_class):
        return Right(True, "")
    if person.is_shared:
        return Right(False, "A shared account looks and does nothing. Sign in with your own name.")
    names = [role.value for role in person.matrix.holders(permission, segregation_class)]
    who = " or ".join(filter(None, (", ".join(names[:-1]), names[-1]))) if names else "nobody"
    article = "an" if who[:1] in "aeiou" else "a"
    told = segregation_class and person.matrix.depends_on_class(permission)
    where = f" for class {segregation_class}" if told else ""
    if not names:
        return Right(False, f"Nobody may do this{where}.")
    return Right(False, f"This takes {article} {who}{where}.")
