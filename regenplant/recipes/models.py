"""Recipes and specifications, each with immutable versions that a second person approves; products, and which specification
holds for which customer."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from regenplant.audit.version_model import Version
from regenplant.resins.models import FAMILIES


class Recipe(models.Model):
    """A named way to regenerate one family."""

    code = models.CharField(max_length=16, unique=True)
    name = models.CharField(max_length=120)
    family = models.CharField(max_length=12, choices=FAMILIES)
    grade = models.CharField(max_length=20, default="working")
    is_active = models.BooleanField(default=True)

    class Meta:
        ordering = ["family", "code"]

    def __str__(self) -> str:
        return self.code


class RecipeVersion(Version):
    recipe = models.ForeignKey(Recipe, on_delete=models.PROTECT, related_name="versions")

    class Meta:
        ordering = ["recipe", "-number"]
        constraints = [
            models.UniqueConstraint(fields=["recipe", "number"], name="recipe_version_once"),
            models.CheckConstraint(
                condition=Q(approved_by__isnull=True) | ~Q(approved_by=F("made_by")),
                name="recipe_approved_by_another",
            ),
            models.CheckConstraint(
                condition=~Q(state="approved") | Q(approved_by__isnull=False, approved_at__isnull=False),
                name="recipe_approved_has_approver",
            ),
        ]

    def __str__(self) -> str:
        return f"version {self.number}"

    @property
    def subject(self) -> tuple[str, str, str]:
        return ("recipe", str(self.recipe_id), self.recipe.code)

    @property
    def noun(self) -> str:
        return f"recipe {self.recipe.code}"

    @property
    def signed_key(self) -> str:
        return self.recipe.code


class Specification(models.Model):
    """What a regenerated family must meet before it is released."""

    code = models.CharField(max_length=16, unique=True)
    name = models.CharField(max_length=120)
    family = models.CharField(max_length=12, choices=FAMILIES)
    grade = models.CharField(max_length=20, default="working")
    is_active = models.BooleanField(default=True)

    class Meta:
        ordering = ["family", "code"]

    def __str__(self) -> str:
        return self.code


class SpecificationVersion(Version):
    specification = models.ForeignKey(Specification, on_delete=models.PROTECT, related_name="versions")

    class Meta:
        ordering = ["specification", "-number"]
        constraints = [
            models.UniqueConstraint(fields=["specification", "number"], name="specification_version_once"),
            models.CheckConstraint(
                condition=Q(approved_by__isnull=True) | ~Q(approved_by=F("made_by")),
                name="specification_approved_by_another",
            ),
            models.CheckConstraint(
                condition=~Q(state="approved") | Q(approved_by__isnull=False, approved_at__isnull=False),
                name="specification_approved_has_approver",
            ),
        ]

    def __str__(self) -> str:
        return f"version {self.number}"

    @property
    def subject(self) -> tuple[str, str, str]:
        return ("specification", str(self.specification_id), self.specification.code)

    @property
    def noun(self) -> str:
        return f"specification {self.specification.code}"

    @property
    def signed_key(self) -> str:
        return self.specification.code


class Product(models.Model):
    """What the plant sells of one family and grade, with the specification that every batch of it must meet."""

    code = models.CharField(max_length=16, unique=True)
    name = models.CharField(max_length=120)
    family = models.CharField(max_length=12, choices=FAMILIES)
    grade = models.CharField(max_length=20, default="working")
    specification = models.ForeignKey(Specification, on_delete=models.PROTECT, related_name="products")
    is_active = models.BooleanField(default=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["family", "code"]

    def __str__(self) -> str:
        return self.code


class CustomerSpecification(models.Model):
    """For one customer, another specification holds instead of the product's. Ended, never changed.

    Without ``looser_reason`` the product's specification holds beside it, so that it only ever makes anything stricter. Customers
    stand in a room on the same floor, so they are named by the name of their table.
    """

    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="customers")
    customer = models.ForeignKey("tanks.Customer", on_delete=models.PROTECT, related_name="specifications")
    specification = models.ForeignKey(Specification, on_delete=models.PROTECT, related_name="for_customers")
    reason = models.CharField(max_length=300)
    looser_reason = models.CharField(max_length=300, blank=True)
    """Why the product's specification does not hold beside it; "" for a customer's that only makes stricter."""
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    ended_at = models.DateTimeField(null=True)
    ended_reason = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["product", "customer", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["product", "customer"],
                condition=Q(ended_at__isnull=True),
                name="one_specification_per_customer",
            ),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True) | ~Q(ended_reason=""),
                name="ended_specification_has_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.pk}"
