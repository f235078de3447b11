"""Who may do what: one table, default deny.

A permission is named after the thing and the act. A person holds the rights of all their roles. That nobody releases
what they performed or recorded is a guard of the lifecycle, not a right: no role can grant it.
"""

from __future__ import annotations

from enum import StrEnum


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
    "tank.judge": frozenset({OPERATOR, SUPERVISOR, SAFETY}),
    "tank.hold": frozenset({OPERATOR, QC, SUPERVISOR, SAFETY}),
    "tank.lift_hold": frozenset({SUPERVISOR, SAFETY}),
    "tank.ship": frozenset({OPERATOR, SUPERVISOR, PLANNER}),
    "tank.disposition": frozenset({SAFETY}),
    "tank.edit": frozenset({SUPERVISOR, PLANNER, ADMIN}),
    "customer.edit": frozenset({SUPERVISOR, PLANNER, ADMIN}),
    "batch.plan": frozenset({OPERATOR, SUPERVISOR, PLANNER}),
    "batch.run": frozenset({OPERATOR, SUPERVISOR}),
    "batch.hold": frozenset({OPERATOR, QC, SUPERVISOR, SAFETY}),
    "batch.abort": frozenset({SUPERVISOR}),
    "batch.rework": frozenset({SUPERVISOR}),
    "batch.scrap": frozenset({SUPERVISOR}),
    "batch.release": frozenset({QC, SUPERVISOR}),
    "step.skip": frozenset({SUPERVISOR}),
    "entry.record": frozenset({OPERATOR, QC, SUPERVISOR}),
    "reading.record": frozenset({OPERATOR, QC, SUPERVISOR}),
    "deviation.open": frozenset({OPERATOR, QC, SUPERVISOR, SAFETY}),
    "deviation.close": frozenset({SUPERVISOR}),
    "qc.record": frozenset({QC}),
    "qc.judge": frozenset({QC}),
    "chemical.receive": frozenset({OPERATOR, SUPERVISOR}),
    "chemical.check": frozenset({OPERATOR, QC, SUPERVISOR}),
    "chemical.correct": frozenset({SUPERVISOR}),
    "chemical.audit": frozenset({SUPERVISOR, PLANNER, SAFETY}),
    "chemical.data_sheet": frozenset({SUPERVISOR, SAFETY}),
    "plant.edit": frozenset({SUPERVISOR, ADMIN}),
    "plant.lock_out": frozenset({OPERATOR, SUPERVISOR, SAFETY}),
    "plant.lift_lock_of_another": frozenset({SUPERVISOR, SAFETY}),
    "plant.daily": frozenset({OPERATOR, QC, SUPERVISOR, SAFETY}),
    "instrument.calibrate": frozenset({QC, SUPERVISOR}),
    "resin.mix": frozenset({OPERATOR, QC, SUPERVISOR}),
    "resin.edit": frozenset({SUPERVISOR, ADMIN}),
    "recipe.edit": frozenset({SUPERVISOR, QC}),
    "recipe.approve": frozenset({SUPERVISOR, QC}),
    "people.edit": frozenset({ADMIN}),
    "paper.issue": frozenset({OPERATOR, QC, SUPERVISOR, PLANNER, SAFETY}),
}


def may(roles: frozenset[Role], permission: str) -> bool:
    """Whether any of the roles holds the permission; an unknown permission is held by nobody."""
    return bool(RIGHTS.get(permission, frozenset()) & roles)


def holders(permission: str) -> tuple[Role, ...]:
    """The roles that hold a permission, for "ask one of these"."""
    return tuple(role for role in Role if role in RIGHTS.get(permission, frozenset()))
