"""People, what they may do, the signatures they give, and the alerts about them."""

from __future__ import annotations

import json
from datetime import datetime
from typing import Any, ClassVar

from django.contrib.auth.hashers import UNUSABLE_PASSWORD_PREFIX, check_password
from django.contrib.auth.models import AbstractUser, UserManager
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower
from django.utils import timezone

from regenplant.audit.version_model import Version
from regenplant.people.authority import BUILT_IN, Matrix, Role, matrix_of


class PersonManager(UserManager["Person"]):
    """Makes people; the user name is the identity and is never used again for another person."""

    def get_by_natural_key(self, username: str | None) -> Person:
        """By user name, whatever the capitals: a tablet begins a word with one."""
        return self.get(username__iexact=username)


class Person(AbstractUser):
    """A person who may sign in. Never deleted: records keep their names.

    A shared account (``is_shared``) belongs to a post, not to a person: it looks, and neither acts nor signs. A device account
    (``is_device``) is a meter's: it has no password and no role, never signs in or signs, and does only what a use case lets a
    device do. What it wrote stays under its name.
    ``one_time_until`` is set while the password is one that an administrator gave: it opens the door once, until then,
    to choose one's own; it signs nothing.
    """

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

    is_shared = models.BooleanField(default=False)
    is_device = models.BooleanField(default=False)
    one_time_until = models.DateTimeField(null=True, blank=True)

    REQUIRED_FIELDS: ClassVar[list[str]] = ["full_name", "initials"]
    objects: ClassVar[PersonManager] = PersonManager()

    class Meta:
        ordering = ["full_name"]
        constraints = [
            models.UniqueConstraint(Lower("username"), name="username_once_in_any_case"),
            models.CheckConstraint(
                condition=Q(is_device=False)
                | Q(
                    is_shared=False,
                    is_staff=False,
                    is_superuser=False,
                    one_time_until__isnull=True,
                    password__startswith=UNUSABLE_PASSWORD_PREFIX,
                ),
                name="device_has_no_password_and_no_power",
            ),
        ]

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
            held = [] if self.is_device else self.groups.values_list("name", flat=True)
            names = [name for name in held if name in known]
            cached = self.__dict__["_roles"] = frozenset(Role(name) for name in names)
        return cached

    def role_names(self) -> tuple[str, ...]:
        return tuple(role.value for role in Role if role in self.roles)

    @property
    def matrix(self) -> Matrix:
        """The authority matrix in force, read once per object."""
        cached: Matrix | None = self.__dict__.get("_matrix")
        if cached is None:
            cached = self.__dict__["_matrix"] = AuthorityVersion.in_force(timezone.now())
        return cached

    def may(self, permission: str, segregation_class: str = "") -> bool:
        """Whether this person holds the permission now, in this class if one is concerned (``Matrix.may``).

        A deactivated person, a shared account and a device hold none.
        """
        return (
            self.is_active
            and not self.is_shared
            and not self.is_device
            and self.matrix.may(self.roles, permission, segregation_class)
        )

    def check_password(self, raw_password: str | None) -> bool:
        """Whether this is the password. The stored hash stays as it is: only an act of the person writes it anew."""
        return check_password(raw_password, self.password)

    @property
    def has_one_time_password(self) -> bool:
        """Whether the password is one that an administrator gave and the person must replace."""
        return self.one_time_until is not None

    def refresh_from_db(self, *args: Any, **kwargs: Any) -> None:
        self.__dict__.pop("_roles", None)
        self.__dict__.pop("_matrix", None)
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


class AuthorityVersion(Version):
    """One version of the authority matrix; it holds only signed."""

    class Meta:
        ordering = ["-number"]
        constraints = [
            models.UniqueConstraint(fields=["number"], name="authority_version_once"),
            models.CheckConstraint(
                condition=Q(approved_by__isnull=True) | ~Q(approved_by=F("made_by")),
                name="authority_approved_by_another",
            ),
            models.CheckConstraint(
                condition=~Q(state="approved")
                | Q(approved_by__isnull=False, approved_at__isnull=False, signature__isnull=False),
                name="authority_approved_is_signed",
            ),
        ]

    def __str__(self) -> str:
        return f"version {self.number}"

    @property
    def subject(self) -> tuple[str, str, str]:
        return ("authority", "matrix", "Authority matrix")

    @property
    def noun(self) -> str:
        return "the authority matrix"

    @property
    def matrix(self) -> Matrix:
        """What this version says."""
        return matrix_of(json.loads(self.content), self.number)

    @classmethod
    def in_force(cls, at: datetime) -> Matrix:
        """The matrix in force at a time: the newest that is approved and effective, else the program's table."""
        found = (
            cls.objects.filter(state=cls.State.APPROVED, effective_from__lte=at).order_by("-number").first()
        )
        return found.matrix if found is not None else BUILT_IN


class Alert(models.Model):
    """Something about an account that a supervisor must see; answered by a named person, never deleted."""

    class Kind(models.TextChoices):
        LOCKED_SIGNING = "locked_signing", "locked while signing"
        LOCKED_SIGN_IN = "locked_sign_in", "locked while signing in"

    kind = models.CharField(max_length=20, choices=Kind.choices)
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="alerts")
    sentence = models.CharField(max_length=400)
    terminal = models.CharField(max_length=80, blank=True)
    raised_at = models.DateTimeField()
    answered_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    answered_at = models.DateTimeField(null=True)
    answer = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-raised_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(answered_by__isnull=True, answered_at__isnull=True, answer="")
                | (Q(answered_by__isnull=False, answered_at__isnull=False) & ~Q(answer="")),
                name="alert_answered_whole_or_not",
            ),
            models.CheckConstraint(
                condition=Q(answered_by__isnull=True) | ~Q(answered_by=F("person")),
                name="alert_answered_by_another",
            ),
        ]

    def __str__(self) -> str:
        return self.sentence


class AccessRules(models.Model):
    """The one row of time-outs. Without it the values of a new row hold."""

    idle_minutes = models.PositiveSmallIntegerField(default=30)
    """Without a touch for this long, a person is signed out [min]."""
    signing_minutes = models.PositiveSmallIntegerField(default=15)
    """After this long without a signature, user name and password are asked again [min]."""
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(id=1), name="access_rules_are_one"),
            models.CheckConstraint(
                condition=Q(idle_minutes__gte=5, idle_minutes__lte=240), name="idle_minutes_possible"
            ),
            models.CheckConstraint(
                condition=Q(signing_minutes__gte=1, signing_minutes__lte=60), name="signing_minutes_possible"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.idle_minutes} min, signing {self.signing_minutes} min"
