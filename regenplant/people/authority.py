"""Who may do what, in which segregation class: a matrix of action, role and class; what it does not say is denied.

A permission is named after the thing and the act. A person holds the rights of all their roles. That nobody releases
what they performed or recorded is a guard of the lifecycle, not a right: no role can grant it.

``RIGHTS`` is the table the program brings. A plant writes its own versions of the matrix (``AuthorityVersion``), each
approved by another person; in force is the newest that is approved and effective, else this table.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from regenplant.core.process.vocabulary import SegregationClass


class Role(StrEnum):
    """A role of the plant; stored as the name of a Django group."""

    OPERATOR = "operator"
    QC_TECHNICIAN = "QC technician"
    SUPERVISOR = "supervisor"
    PLANNER = "planner"
    SAFETY_LEAD = "safety lead"
    ADMINISTRATOR = "administrator"


OPERATOR, QC, SUPERVISOR, PLANNER, SAFETY, ADMIN = (
    Role.OPERATOR,
    Role.QC_TECHNICIAN,
    Role.SUPERVISOR,
    Role.PLANNER,
    Role.SAFETY_LEAD,
    Role.ADMINISTRATOR,
)

RIGHTS: dict[str, frozenset[Role]] = {
    "tank.receive": frozenset({OPERATOR, SUPERVISOR}),
    "tank.expect": frozenset({OPERATOR, SUPERVISOR, PLANNER}),
    "tank.judge": frozenset({OPERATOR, SUPERVISOR, SAFETY}),
    "tank.hold": frozenset({OPERATOR, QC, SUPERVISOR, SAFETY}),
    "tank.lift_hold": frozenset({SUPERVISOR, SAFETY}),
    "tank.ship": frozenset({OPERATOR, SUPERVISOR, PLANNER}),
    "tank.disposition": frozenset({SAFETY}),
    "tank.let_go": frozenset({SUPERVISOR, SAFETY}),
    "tank.edit": frozenset({SUPERVISOR, PLANNER, ADMIN}),
    "customer.edit": frozenset({SUPERVISOR, PLANNER, ADMIN}),
    "batch.plan": frozenset({OPERATOR, SUPERVISOR, PLANNER}),
    "batch.run": frozenset({OPERATOR, SUPERVISOR}),
    "batch.hold": frozenset({OPERATOR, QC, SUPERVISOR, SAFETY}),
    "batch.abort": frozenset({SUPERVISOR}),
    "batch.rework": frozenset({SUPERVISOR}),
    "batch.rework_again": frozenset({SAFETY}),
    "batch.scrap": frozenset({SUPERVISOR}),
    "batch.release": frozenset({QC, SUPERVISOR}),
    "batch.downgrade": frozenset({SUPERVISOR}),
    "batch.review": frozenset({SUPERVISOR}),
    "batch.reopen": frozenset({SUPERVISOR}),
    "batch.copy": frozenset({QC, SUPERVISOR, SAFETY}),
    "step.skip": frozenset({SUPERVISOR}),
    "entry.record": frozenset({OPERATOR, QC, SUPERVISOR}),
    "entry.check": frozenset({OPERATOR, QC, SUPERVISOR}),
    "entry.waive": frozenset({SUPERVISOR}),
    "reading.record": frozenset({OPERATOR, QC, SUPERVISOR}),
    "deviation.open": frozenset({OPERATOR, QC, SUPERVISOR, SAFETY}),
    "deviation.assign": frozenset({SUPERVISOR}),
    "deviation.describe": frozenset({OPERATOR, QC, SUPERVISOR, SAFETY}),
    "deviation.close": frozenset({SUPERVISOR}),
    "qc.record": frozenset({QC}),
    "qc.judge": frozenset({QC}),
    "qc.keep_sample": frozenset({OPERATOR, QC, SUPERVISOR}),
    "qc.discard_sample": frozenset({QC, SUPERVISOR}),
    "chemical.receive": frozenset({OPERATOR, SUPERVISOR}),
    "chemical.check": frozenset({OPERATOR, QC, SUPERVISOR}),
    "chemical.count": frozenset({OPERATOR, QC, SUPERVISOR}),
    "chemical.correct": frozenset({SUPERVISOR}),
    "chemical.audit": frozenset({SUPERVISOR, PLANNER, SAFETY}),
    "chemical.price": frozenset({SUPERVISOR, PLANNER}),
    "chemical.watch": frozenset({SUPERVISOR}),
    "chemical.report": frozenset({SUPERVISOR}),
    "chemical.data_sheet": frozenset({SUPERVISOR, SAFETY}),
    "chemical.store": frozenset({SUPERVISOR, SAFETY}),
    "chemical.threshold": frozenset({SUPERVISOR, SAFETY}),
    "spill.record": frozenset({OPERATOR, QC, SUPERVISOR, SAFETY}),
    "spill.close": frozenset({SUPERVISOR, SAFETY}),
    "plant.edit": frozenset({SUPERVISOR, ADMIN}),
    "plant.lock_out": frozenset({OPERATOR, SUPERVISOR, SAFETY}),
    "plant.lift_lock_of_another": frozenset({SUPERVISOR, SAFETY}),
    "plant.daily": frozenset({OPERATOR, QC, SUPERVISOR, SAFETY}),
    "permit.edit": frozenset({SUPERVISOR, SAFETY, ADMIN}),
    "permit.approve": frozenset({SUPERVISOR, SAFETY}),
    "discharge.record": frozenset({OPERATOR, QC, SUPERVISOR, SAFETY}),
    "discharge.release": frozenset({SUPERVISOR, SAFETY}),
    "discharge.report": frozenset({SUPERVISOR, SAFETY}),
    "excursion.report": frozenset({OPERATOR, QC, SUPERVISOR, PLANNER, SAFETY}),
    "excursion.close": frozenset({SUPERVISOR, SAFETY}),
    "site.determine": frozenset({SUPERVISOR, SAFETY}),
    "waste.treat": frozenset({OPERATOR, SUPERVISOR, SAFETY}),
    "waste.take_away": frozenset({SUPERVISOR, SAFETY}),
    "waste.switch": frozenset({OPERATOR, SUPERVISOR, SAFETY}),
    "drains.edit": frozenset({SUPERVISOR, SAFETY, ADMIN}),
    "drains.approve": frozenset({SUPERVISOR, SAFETY}),
    "step.route": frozenset({OPERATOR, SUPERVISOR, SAFETY}),
    "limits.edit": frozenset({SUPERVISOR, ADMIN}),
    "limits.approve": frozenset({SUPERVISOR, SAFETY}),
    "instrument.calibrate": frozenset({QC, SUPERVISOR}),
    "instrument.take_out": frozenset({OPERATOR, QC, SUPERVISOR}),
    "instrument.look_at_impact": frozenset({SUPERVISOR}),
    "resin.mix": frozenset({OPERATOR, QC, SUPERVISOR}),
    "resin.edit": frozenset({SUPERVISOR, ADMIN}),
    "resin.test": frozenset({QC, SUPERVISOR}),
    "resin.look": frozenset({OPERATOR, QC, SUPERVISOR}),
    "resin.capacity": frozenset({SUPERVISOR}),
    "recipe.edit": frozenset({SUPERVISOR, QC}),
    "recipe.approve": frozenset({SUPERVISOR, QC}),
    "people.edit": frozenset({ADMIN}),
    "record.seal": frozenset({ADMIN}),
    "authority.edit": frozenset({ADMIN}),
    "authority.approve": frozenset({SUPERVISOR}),
    "alert.acknowledge": frozenset({SUPERVISOR, ADMIN}),
    "certificate.issue": frozenset({QC, SUPERVISOR}),
    "paper.issue": frozenset({OPERATOR, QC, SUPERVISOR, PLANNER, SAFETY}),
    "form.issue": frozenset({OPERATOR, QC, SUPERVISOR}),
    "form.transcribe": frozenset({OPERATOR, QC, SUPERVISOR}),
    "form.confirm": frozenset({OPERATOR, QC, SUPERVISOR}),
    "form.close": frozenset({SUPERVISOR, QC}),
    "retention.edit": frozenset({SUPERVISOR, ADMIN}),
    "retention.approve": frozenset({SUPERVISOR, SAFETY}),
    "retention.hold": frozenset({SUPERVISOR, SAFETY}),
    "retention.purge": frozenset({SUPERVISOR, SAFETY}),
    "trend.look": frozenset({SUPERVISOR}),
    "shift.hand_over": frozenset({OPERATOR, QC, SUPERVISOR, SAFETY}),
    "near_miss.answer": frozenset({SUPERVISOR, SAFETY}),
    "day_plan.make": frozenset({SUPERVISOR, PLANNER}),
    "day_plan.accept": frozenset({SUPERVISOR, PLANNER}),
    "day_plan.figures": frozenset({SUPERVISOR, PLANNER}),
}
"""The table of the program. A right added here also gets its words in ``TITLES`` (people/rights_in_words.py)."""

EVERY_CLASS = "*"
CLASSES: tuple[str, ...] = tuple(item.value for item in SegregationClass)

CLASSED = frozenset({"tank", "batch", "step", "entry", "reading", "deviation", "qc"})
"""Things that have a segregation class; only rights about them can be limited to some classes."""

KEPT_APART: tuple[tuple[str, ...], ...] = (
    ("batch.run", "qc.judge", "batch.release"),
    ("authority.edit", "authority.approve"),
    ("people.edit", "authority.approve"),
)
"""Rights of which one role never holds all: to run, to judge and to release; to write the matrix, to give roles, and to
approve the matrix. (That the same *person* never does two of them to one record is a guard beside this.)"""


def is_classed(permission: str) -> bool:
    """Whether the right can be limited to some segregation classes."""
    return permission.partition(".")[0] in CLASSED


@dataclass(frozen=True, slots=True)
class Matrix:
    """Which role may do what in which classes. A role that is not named under a right does not hold it.

    ``number`` is that of the version, 0 for the program's own table. ``unsaid`` are rights the version does not know
    because the program got them later: for these the program's table holds until the next version.
    """

    rights: Mapping[str, Mapping[Role, frozenset[str]]]
    number: int = 0
    unsaid: tuple[str, ...] = ()

    def classes(self, permission: str, role: Role) -> frozenset[str]:
        """The classes in which a role holds a right; ``EVERY_CLASS`` stands for all, nothing for none."""
        return self.rights.get(permission, {}).get(role, frozenset())

    def may(self, roles: Iterable[Role], permission: str, segregation_class: str = "") -> bool:
        """Whether any of the roles holds the right in this class.

        ``segregation_class`` "" means that no class is concerned (then the right in any class suffices), ``EVERY_CLASS``
        that it must be held in every class.
        """
        held = frozenset().union(*(self.classes(permission, role) for role in roles))
        if not held:
            return False
        return not segregation_class or bool(held & {EVERY_CLASS, segregation_class})

    def depends_on_class(self, permission: str) -> bool:
        """Whether some role holds the right in some classes only."""
        return any(EVERY_CLASS not in held for held in self.rights.get(permission, {}).values() if held)

    def holders(self, permission: str, segregation_class: str = "") -> tuple[Role, ...]:
        """The roles that hold a right, for "ask one of these"."""
        return tuple(role for role in Role if self.may((role,), permission, segregation_class))


BUILT_IN = Matrix(
    {
        permission: {role: frozenset({EVERY_CLASS}) for role in Role if role in roles}
        for permission, roles in RIGHTS.items()
    }
)
"""The program's table as a matrix."""


def plain_of(matrix: Matrix) -> dict[str, Any]:
    """The matrix as plain data, as a version stores it: {right: {role: ["*"] or classes}}, each right of the program named."""
    return {
        permission: {
            role.value: sorted(matrix.classes(permission, role))
            for role in Role
            if matrix.classes(permission, role)
        }
        for permission in RIGHTS
    }


def matrix_of(content: Mapping[str, Any], number: int) -> Matrix:
    """The matrix a version stores. Rights and roles the program no longer has are left out."""
    known = {role.value: role for role in Role}
    unsaid = tuple(permission for permission in RIGHTS if permission not in content)
    rights = {
        permission: {
            known[name]: frozenset(held) for name, held in content[permission].items() if name in known
        }
        for permission in RIGHTS
        if permission in content
    }
    return Matrix({**rights, **{name: BUILT_IN.rights[name] for name in unsaid}}, number, unsaid)


def not_kept_apart(matrix: Matrix) -> tuple[tuple[Role, tuple[str, ...]], ...]:
    """Roles that hold, in one class, all the rights of a group of ``KEPT_APART``."""
    return tuple(
        (role, group)
        for group in KEPT_APART
        for role in Role
        if any(
            all(
                matrix.may((role,), permission, item if is_classed(permission) else "")
                for permission in group
            )
            for item in CLASSES
        )
    )
