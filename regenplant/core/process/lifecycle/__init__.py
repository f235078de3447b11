"""Lifecycles: states, actions, one transition table each, and the guards.

``offers`` lists every action that leaves the present state, each with its blockers, so that a screen can show a
greyed button with the reason. ``transition`` gives the new state or raises ``TransitionRefused``. Both read the
same table; nothing else in the program knows which move is legal.

A guard is a small function of a frozen snapshot that returns None or a ``Blocker``. Two-person rules are guards.
"""

from __future__ import annotations

from regenplant.core.process.lifecycle.batch import (
    ACTIVE_STATES,
    AFTER_A_PASS,
    BATCH,
    IN_VESSEL_STATES,
    OPEN_STATES,
    BatchAction,
    BatchSnapshot,
    BatchState,
    release_blockers,
)
from regenplant.core.process.lifecycle.step import STEP, StepAction, StepSnapshot, StepState
from regenplant.core.process.lifecycle.table import Blocker, Lifecycle, Offer, Rule, diagram, label
from regenplant.core.process.lifecycle.visit import VISIT, VisitAction, VisitSnapshot, VisitState

LIFECYCLES: tuple[Lifecycle, ...] = (VISIT, BATCH, STEP)

__all__ = [
    "ACTIVE_STATES",
    "AFTER_A_PASS",
    "BATCH",
    "IN_VESSEL_STATES",
    "LIFECYCLES",
    "OPEN_STATES",
    "STEP",
    "VISIT",
    "BatchAction",
    "BatchSnapshot",
    "BatchState",
    "Blocker",
    "Lifecycle",
    "Offer",
    "Rule",
    "StepAction",
    "StepSnapshot",
    "StepState",
    "VisitAction",
    "VisitSnapshot",
    "VisitState",
    "diagram",
    "label",
    "release_blockers",
]
