"""Who may import whom: downward only. Each rule is also shown to find a planted offence."""

from __future__ import annotations

import ast
from collections.abc import Iterable, Iterator
from pathlib import Path

import pytest

from tests.house.tree import ROOT, Module, lies_in, modules, modules_in

FLOORS: tuple[tuple[str, ...], ...] = (
    ("urls", "wsgi"),
    ("web",),
    ("documents",),
    ("planning",),
    ("keeping", "shifts", "safety", "use"),
    ("quality", "waste"),
    ("batches",),
    ("tanks", "chemicals", "recipes"),
    ("resins", "plant"),
    ("people",),
    ("audit",),
    ("bench",),
    ("working", "drawing"),
    ("units",),
    ("unit_spellings", "unit_kinds"),
    ("core",),
)
"""Top to bottom. Rooms on one floor do not know each other."""

GROUND = ("settings", "environment")
"""The machine's settings: know no room but the environment, and are reached through the framework only."""

CORE_FLOORS = (("scheduling",), ("bench",), ("process",), ("engineering",), ("errors",))
APP_FLOORS = (("services",), ("selectors",), ("models",))
APPS = (
    "keeping",
    "shifts",
    "use",
    "safety",
    "quality",
    "waste",
    "batches",
    "tanks",
    "chemicals",
    "recipes",
    "resins",
    "plant",
    "people",
    "documents",
)

FOREIGN_TO_CORE = (
    "django",
    "pint",
    "reportlab",
    "django_tables2",
    "segno",
    "openpyxl",
    "axes",
    "csp",
    "django_htmx",
)


def floor_of(name: str, base: str, floors: tuple[tuple[str, ...], ...]) -> tuple[int, str] | None:
    """(floor, room) of a module below ``base``; None outside."""
    for number, rooms in enumerate(floors):
        for room in rooms:
            if lies_in(name, f"{base}.{room}"):
                return number, room
    return None


def upward(found: Iterable[Module], base: str, floors: tuple[tuple[str, ...], ...]) -> Iterator[str]:
    """Imports that go up, or sideways into another room of the same floor."""
    for module in found:
        here = floor_of(module.name, base, floors)
        if here is None:
            continue
        for name, node in module.imports():
            there = floor_of(name, base, floors)
            if there is None or there[1] == here[1]:
                continue
            if there[0] <= here[0]:
                yield f"{module.at(node)} ({here[1]}) imports {name}"


def planted(name: str, text: str) -> Module:
    return Module(name, Path(__file__), ast.parse(text))


def test_every_module_has_a_floor() -> None:
    rooms = {f"regenplant.{room}" for floor in FLOORS for room in floor} | {
        f"regenplant.{room}" for room in GROUND
    }
    lost = [
        m.name
        for m in modules()
        if m.name != "regenplant" and not any(lies_in(m.name, room) for room in rooms)
    ]
    assert lost == []


def test_imports_go_down() -> None:
    assert list(upward(modules(), "regenplant", FLOORS)) == []


def test_imports_inside_the_core_go_down() -> None:
    assert list(upward(modules_in("regenplant.core"), "regenplant.core", CORE_FLOORS)) == []


@pytest.mark.parametrize("app", APPS)
def test_imports_inside_an_app_go_down(app: str) -> None:
    base = f"regenplant.{app}"
    assert list(upward(modules_in(base), base, APP_FLOORS)) == []


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("regenplant.batches.models", "from regenplant.quality import selectors"),
        ("regenplant.tanks.selectors", "import regenplant.chemicals.models"),
        ("regenplant.core.errors", "def f():\n    from regenplant import units"),
        ("regenplant.audit.by", "from regenplant.people.models import Person"),
    ],
)
def test_a_planted_upward_import_is_found(name: str, text: str) -> None:
    assert len(list(upward([planted(name, text)], "regenplant", FLOORS))) == 1


def test_a_relative_import_does_not_slip_past() -> None:
    here = Module(
        "regenplant.batches.models",
        ROOT / "regenplant" / "batches" / "models.py",
        ast.parse("from ..quality import models"),
    )
    assert len(list(upward([here], "regenplant", FLOORS))) == 1


def test_only_the_units_module_knows_pint() -> None:
    users = [
        m.at(node)
        for m in modules()
        for name, node in m.imports()
        if lies_in(name, "pint") and m.name != "regenplant.units"
    ]
    assert users == []


def test_only_audit_knows_the_table_of_events() -> None:
    users = [
        m.at(node)
        for m in modules()
        if not lies_in(m.name, "regenplant.audit")
        for name, node in m.imports()
        if lies_in(name, "regenplant.audit.models")
    ]
    assert users == []


def test_the_core_is_plain_python() -> None:
    strangers = [
        f"{m.at(node)} imports {name}"
        for m in modules_in("regenplant.core")
        for name, node in m.imports()
        if name.split(".")[0] in FOREIGN_TO_CORE
    ]
    assert strangers == []


def test_the_core_knows_no_clock_and_no_chance() -> None:
    forbidden = {
        "now",
        "utcnow",
        "today",
        "time",
        "monotonic",
        "random",
        "randint",
        "uniform",
        "choice",
        "shuffle",
        "uuid4",
    }
    found = [
        f"{m.at(node)} calls {node.func.attr}"
        for m in modules_in("regenplant.core")
        for node in ast.walk(m.tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in forbidden
        if not (lies_in(m.name, "regenplant.core.scheduling") and is_drawn_from_a_seed(node.func))
    ]
    assert found == []
    unseeded = [
        m.at(node)
        for m in modules_in("regenplant.core")
        for node in ast.walk(m.tree)
        if isinstance(node, ast.Call)
        and ast.unparse(node.func).endswith(("Random", "default_rng"))
        and not (node.args or node.keywords)
    ]
    assert unseeded == []


def is_drawn_from_a_seed(called: ast.Attribute) -> bool:
    """The search of the planner draws from a generator that was made from its seed, and from nothing else."""
    return ast.unparse(called.value) in {"rng", "search.random", "self.random"}


def test_chance_without_a_seed_is_an_offence() -> None:
    def of(text: str) -> ast.Attribute:
        call = ast.parse(text, mode="eval").body
        assert isinstance(call, ast.Call) and isinstance(call.func, ast.Attribute)
        return call.func

    assert is_drawn_from_a_seed(of("rng.random()"))
    assert not is_drawn_from_a_seed(of("random.random()"))
    assert not is_drawn_from_a_seed(of("np.random.uniform()"))


def test_settings_are_reached_through_the_framework() -> None:
    users = [
        m.at(node)
        for m in modules()
        for name, node in m.imports()
        if lies_in(name, "regenplant.settings")
        or (lies_in(name, "regenplant.environment") and m.name != "regenplant.settings")
    ]
    assert [user for user in users if not user.startswith("regenplant/settings.py")] == []
