"""Every act is registered, worded, keyword-only, by somebody, and needs a right that exists."""

from __future__ import annotations

import ast
import importlib
import inspect
from collections.abc import Callable
from typing import Any

import pytest

from regenplant.audit import wording
from regenplant.audit.by import By
from regenplant.audit.use_case import REGISTRY, Outcome
from regenplant.core.process.lifecycle import LIFECYCLES
from regenplant.people.authority import RIGHTS
from tests.house.tree import modules

SERVICE_MODULES = tuple(
    m.name
    for m in modules()
    if "services" in m.name.split(".") and not m.name.rpartition(".")[2].startswith("_")
)
_loaded = {name: importlib.import_module(name) for name in SERVICE_MODULES}
importlib.import_module("regenplant.people.signing")

PUBLIC: tuple[tuple[str, Callable[..., Any]], ...] = tuple(
    (f"{name}.{label}", item)
    for name, module in _loaded.items()
    for label, item in vars(module).items()
    if not label.startswith("_") and inspect.isfunction(item) and item.__module__ == name
)
ASKS_A_RIGHT = {"may", "require", "people_who_may", "holders", "needs", "right_of", "allowed"}


def test_services_are_found_at_all() -> None:
    assert len(PUBLIC) >= 50
    assert {name.split(".")[1] for name, _ in PUBLIC} >= {
        "people",
        "tanks",
        "batches",
        "quality",
        "chemicals",
        "recipes",
        "resins",
        "plant",
    }


@pytest.mark.parametrize(
    ("name", "function"), PUBLIC, ids=[name.removeprefix("regenplant.") for name, _ in PUBLIC]
)
def test_a_public_service_is_a_use_case_by_somebody(name: str, function: Callable[..., Any]) -> None:
    registered = getattr(function, "use_case_name", None)
    assert registered in REGISTRY, f"{name} is public in services and no use case"
    signature = inspect.signature(function)
    assert "by" in signature.parameters, f"{name} does not say who acts"
    positional = [p.name for p in signature.parameters.values() if p.kind is not p.KEYWORD_ONLY]
    assert positional == [], f"{name} takes {positional} by position"
    hints = inspect.get_annotations(inspect.unwrap(function), eval_str=True)
    assert hints["by"] is By and hints["return"] is Outcome, name


def test_no_service_reads_the_clock() -> None:
    """``now`` is ``by.at``: an act has one time, and a story can be told in another."""
    calls = [
        f"{m.at(node)} {ast.unparse(node)}"
        for m in modules()
        if "services" in m.name.split(".")
        for node in ast.walk(m.tree)
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr in ("now", "today", "utcnow")
    ]
    assert calls == []


@pytest.mark.parametrize("event", sorted(REGISTRY))
def test_every_event_reads_as_a_sentence(event: str) -> None:
    assert wording.is_worded(event), f"{event} has no wording; say(...) it beside its service"
    text = wording.sentence(event, "T-10001", {"before": {}, "after": {}, "facts": {}, "reason": ""})
    assert text and event not in text and "{" not in text


def test_no_wording_is_left_of_an_act_that_is_gone() -> None:
    assert sorted(name for name in wording._WORDINGS if name not in REGISTRY) == []


@pytest.mark.parametrize("event", sorted(REGISTRY))
def test_an_event_is_named_after_thing_and_what_happened(event: str) -> None:
    thing, _, verb = event.partition(".")
    assert thing and verb and event == event.lower() and " " not in event


def test_every_right_an_act_needs_exists() -> None:
    unknown = {
        case.name: case.permission
        for case in REGISTRY.values()
        if case.permission and case.permission not in RIGHTS
    }
    assert unknown == {}


def test_every_right_a_lifecycle_needs_exists() -> None:
    unknown = {
        (life.name, str(state), str(action)): rule.permission
        for life in LIFECYCLES
        for (state, action), rule in life.table.items()
        if rule.permission not in RIGHTS
    }
    assert unknown == {}


def test_every_right_asked_for_in_code_exists() -> None:
    """Literals given to ``may``, ``require`` and their like, and ``permission=`` anywhere."""
    unknown = []
    for module in modules():
        for node in ast.walk(module.tree):
            if not isinstance(node, ast.Call):
                continue
            called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            asked = [keyword.value for keyword in node.keywords if keyword.arg == "permission"]
            if called in ASKS_A_RIGHT:
                asked += node.args
            unknown += [
                f"{module.at(node)} asks for {value.value!r}"
                for value in asked
                if isinstance(value, ast.Constant)
                and isinstance(value.value, str)
                and value.value
                and value.value not in RIGHTS
                if "." in value.value or called in ("may", "holders", "people_who_may")
            ]
    assert unknown == []
