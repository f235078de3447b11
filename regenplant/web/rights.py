"""What a person may do on a page: the button, or the reason why it is grey. The service refuses by itself as well."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import HttpRequest

from regenplant.people.authority import holders


@dataclass(frozen=True, slots=True)
class Right:
    """Whether the reader may do an act, and who may if not."""

    is_held: bool
    reason: str


def right(request: HttpRequest, permission: str) -> Right:
    """The reader's right to an act."""
    if request.user.is_authenticated and request.user.may(permission):
        return Right(True, "")
    names = [role.value for role in holders(permission)]
    who = " or ".join(filter(None, (", ".join(names[:-1]), names[-1]))) if names else "nobody"
    article = "an" if who[:1] in "aeiou" else "a"
    return Right(False, f"This takes {article} {who}.")
