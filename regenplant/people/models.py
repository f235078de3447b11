"""People, and the signatures they give."""

from __future__ import annotations

from typing import Any, ClassVar

from django.contrib.auth.models import AbstractUser, UserManager
from django.db import models

from regenplant.people.authority import Role, may


class PersonManager(UserManager["Person"]):
    """Makes people; the user name is the identity and is never used again for another person."""


class Person(AbstractUser):
    """A person who may sign in. Never deleted: records keep their names."""

    first_name = None  # type: ignore[assignment]
    last_name = None  # type: ignore[assignment]
    email = None  # type: ignore[assignment]
    full_name = models.CharField(max_length=120)
    initials = models.CharField(max_length=4)
    unit_system = models.CharField(
        max_length=6,
        blank=True,
        choices=[("", "as the plant"), ("metric", "metric"), ("us", "US customary")],
    )
    theme = models.CharField(
        max_length=5, blank=True, choices=[("", "as the device"), ("light", "light"), ("dark", "dark")]
    )

    REQUIRED_FIELDS: ClassVar[list[str]] = ["full_name", "initials"]
    objects: ClassVar[PersonManager] = PersonManager()

    class Meta:
        ordering = ["full_name"]

    def __str__(self) -> str:
        return self.full_name

    def get_full_name(self) -> str:
        return self.full_name

    def get_short_name(self) -> str:
        return self.initials

    @property
    def roles(self) -> frozenset[Role]:
        """The person's roles, read once per object."""
        cached: frozenset[Role] | None = self.__dict__.get("_roles")
        if cached is None:
            known = {role.value for role in Role}
            names = [name for name in self.groups.values_list("name", flat=True) if name in known]
            cached = self.__dict__["_roles"] = frozenset(Role(name) for name in names)
        return cached

    def role_names(self) -> tuple[str, ...]:
        return tuple(role.value for role in Role if role in self.roles)

    def may(self, permission: str) -> bool:
        """Whether this person holds the permission now; a deactivated person holds none."""
        return self.is_active and may(self.roles, permission)

    def refresh_from_db(self, *args: Any, **kwargs: Any) -> None:
        self.__dict__.pop("_roles", None)
        super().refresh_from_db(*args, **kwargs)


class Signature(models.Model):
    """One signature: who, as printed at that time, when, meaning what, over which content. Append-only.

    ``digest`` covers the record's kind, key and version together with the canonical content, so a signature moved to
    another record does not verify.
    """

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="signatures")
    printed_name = models.CharField(max_length=120)
    roles = models.CharField(max_length=200, blank=True)
    meaning = models.CharField(max_length=120)
    signed_at = models.DateTimeField()
    zone_offset_minutes = models.SmallIntegerField(default=0)
    terminal = models.CharField(max_length=80, blank=True)
    record_kind = models.CharField(max_length=40)
    record_key = models.CharField(max_length=64)
    record_version = models.PositiveIntegerField(default=1)
    content = models.TextField()
    digest = models.CharField(max_length=64)

    class Meta:
        ordering = ["signed_at", "id"]
        indexes = [models.Index(fields=["record_kind", "record_key"], name="signature_record")]

    def __str__(self) -> str:
        return f"{self.printed_name}, {self.meaning}"
