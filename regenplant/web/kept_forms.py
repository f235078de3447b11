"""What a person typed when the session ran out: kept on the sign-in page, and sent on after the same person signs in.

Kept in the page itself, signed so that nobody alters it or passes it off as another's. Passwords are never kept, files
cannot be; both are named.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.core import signing
from django.http import HttpRequest, HttpResponse

from regenplant.people.models import Person

SALT = "kept form"
LIFE_S = 12 * 3600
"""How long a kept form can be sent on: a shift [s]."""
TYPIST_COOKIE = "typist"
_NOT_KEPT = ("csrfmiddlewaretoken",)


@dataclass(frozen=True, slots=True)
class KeptForm:
    """One form: who typed it, where it was sent to, its fields, and what could not be kept."""

    person_pk: str
    full_name: str
    username: str
    path: str
    fields: tuple[tuple[str, tuple[str, ...]], ...]
    had_password: bool
    files: tuple[str, ...]

    def is_by(self, person: Person) -> bool:
        """Whether this person typed it."""
        return self.person_pk == str(person.pk)

    @property
    def inputs(self) -> tuple[tuple[str, str], ...]:
        """Name and value of each input to send on."""
        return tuple((name, value) for name, values in self.fields for value in values)

    @property
    def shown(self) -> tuple[tuple[str, str], ...]:
        """What was typed, for reading: without what the page itself carried along."""
        return tuple(
            (name.rpartition("-")[2].replace("_", " "), ", ".join(value for value in values if value))
            for name, values in self.fields
            if name not in ("version", "act", "shown", "next") and any(values)
        )

    @property
    def as_text(self) -> str:
        """What the page carries."""
        return signing.dumps(
            [
                self.person_pk,
                self.full_name,
                self.username,
                self.path,
                self.fields,
                self.had_password,
                self.files,
            ],
            salt=SALT,
            compress=True,
        )


def kept_from(text: str) -> KeptForm | None:
    """The form a page carried; None when there is none, it was altered, or it is older than a shift."""
    if not text:
        return None
    try:
        found: list[Any] = signing.loads(text, salt=SALT, max_age=LIFE_S)
    except signing.BadSignature:
        return None
    pk, full_name, username, path, fields, had_password, files = found
    kept = tuple((name, tuple(values)) for name, values in fields)
    return KeptForm(pk, full_name, username, path, kept, had_password, tuple(files))


def keep(request: HttpRequest, typist: Person | None) -> KeptForm:
    """The form that was just sent by somebody who is signed in no longer."""
    names = [name for name in request.POST if name not in _NOT_KEPT]
    return KeptForm(
        person_pk="" if typist is None else str(typist.pk),
        full_name="" if typist is None else typist.full_name,
        username="" if typist is None else typist.username,
        path=request.get_full_path(),
        fields=tuple((name, tuple(request.POST.getlist(name))) for name in names if "password" not in name),
        had_password=any("password" in name and request.POST.get(name) for name in names),
        files=tuple(str(getattr(file, "name", "") or name) for name, file in request.FILES.items()),
    )


def typist_of(request: HttpRequest) -> Person | None:
    """Who was signed in last in this browser; None when it is not known."""
    pk = request.get_signed_cookie(TYPIST_COOKIE, default="", salt=SALT)
    return Person.objects.filter(pk=pk).first() if pk and pk.isdecimal() else None


def remember_typist(request: HttpRequest, answer: HttpResponse, person: Person) -> None:
    """So that a form which comes after the session is gone is known to be this person's."""
    answer.set_signed_cookie(
        TYPIST_COOKIE,
        str(person.pk),
        salt=SALT,
        max_age=LIFE_S,
        httponly=True,
        samesite="Lax",
        secure=request.is_secure(),
    )
