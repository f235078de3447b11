"""Records are written in services only; states by their one private writer; nothing is swallowed and nothing half done."""

from __future__ import annotations

import ast
from collections.abc import Iterable, Iterator
from pathlib import Path

from tests.house.tree import ROOT, Module, lies_in, modules, modules_in, our_files, text_of

WRITERS = (
    "regenplant.batches.moves",
    "regenplant.planning.moves",
    "regenplant.people.binding",
    "regenplant.audit",
)
"""Beside ``services``: private writers that only services call."""

STATE_WRITERS = (
    "regenplant.batches.moves",
    "regenplant.planning.moves",
    "regenplant.tanks.services._moves",
    "regenplant.chemicals.services._moves",
    "regenplant.audit.versions",
)

MAKES = {
    "create",
    "bulk_create",
    "get_or_create",
    "update_or_create",
    "bulk_update",
    "acreate",
    "asave",
    "adelete",
}


def may_write(module: Module) -> bool:
    is_service = any(part == "services" for part in module.name.split("."))
    return is_service or any(lies_in(module.name, writer) for writer in WRITERS)


def writes(module: Module) -> Iterator[str]:
    """Calls that write to the database: by method name, and for ``update`` and ``save`` by what they are called on."""
    for node in ast.walk(module.tree):
        if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)):
            continue
        name, receiver = node.func.attr, ast.unparse(node.func.value)
        on_rows = any(
            mark in receiver
            for mark in ("objects", "_default_manager", "_base_manager", ".filter(", ".exclude(", ".all(")
        )
        if name in MAKES and (on_rows or receiver.endswith("_set")):
            yield f"{module.at(node)} {receiver}.{name}()"
        elif name == "update" and on_rows:
            yield f"{module.at(node)} {receiver}.update()"
        elif name == "delete" and (on_rows or not node.args):
            yield f"{module.at(node)} {receiver}.delete()"
        elif name == "save" and not node.args and not receiver.endswith(("canvas", "workbook", "book")):
            yield f"{module.at(node)} {receiver}.save()"


def state_writes(module: Module) -> Iterator[str]:
    """Assignments to ``.state`` and calls of ``update(state=...)``."""
    for node in ast.walk(module.tree):
        targets: list[ast.expr] = []
        if isinstance(node, ast.Assign):
            targets = node.targets
        elif isinstance(node, (ast.AugAssign, ast.AnnAssign)):
            targets = [node.target]
        for target in targets:
            if isinstance(target, ast.Attribute) and target.attr == "state":
                yield f"{module.at(node)} assigns {ast.unparse(target)}"
        if isinstance(node, ast.Call):
            called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            if called == "update" and any(keyword.arg == "state" for keyword in node.keywords):
                yield f"{module.at(node)} updates state"
            is_set = called == "setattr" and len(node.args) > 1 and isinstance(node.args[1], ast.Constant)
            if is_set and node.args[1].value == "state":  # type: ignore[attr-defined]
                yield f"{module.at(node)} sets state by name"


def broad_excepts(found: Iterable[Module]) -> Iterator[str]:
    """Handlers that catch everything, alone or in a list."""
    for module in found:
        for node in ast.walk(module.tree):
            if not isinstance(node, ast.ExceptHandler):
                continue
            names = (
                {item.id for item in ast.walk(node.type) if isinstance(item, ast.Name)} if node.type else {""}
            )
            if names & {"", "Exception", "BaseException"}:
                yield f"{module.at(node)} catches everything"


def planted(text: str, name: str = "regenplant.web.areas.planted") -> Module:
    return Module(name, ROOT / "planted.py", ast.parse(text))


def test_the_web_and_papers_never_write_records() -> None:
    found = [
        line
        for m in modules_in("regenplant.web", "regenplant.documents")
        if not may_write(m)
        for line in writes(m)
    ]
    assert found == []


def test_only_services_and_their_private_writers_write_records() -> None:
    assert [line for m in modules() if not may_write(m) for line in writes(m)] == []


def test_planted_writes_are_found_and_dictionaries_are_not() -> None:
    for text in (
        "form.instance.save()",
        "Batch.objects.create(number=1)",
        "Batch.objects.filter(pk=1).update(version=2)",
        "batch.delete()",
        "Batch.objects.all().delete()",
        "tank.visits.all().update(version=F('version') + 1)",
    ):
        assert len(list(writes(planted(text)))) == 1, text
    for text in (
        "context.update(a=1)",
        "field.widget.attrs.update({'a': 1})",
        "workbook.save(buffer)",
        "canvas.save()",
    ):
        assert list(writes(planted(text))) == [], text


def test_a_state_is_written_by_its_one_writer_only() -> None:
    found = [line for m in modules() if m.name not in STATE_WRITERS for line in state_writes(m)]
    assert found == []


def test_every_state_writer_is_one() -> None:
    """The list above names no module that stopped writing states."""
    known = {module.name: module for module in modules()}
    for name in STATE_WRITERS:
        text = known[name].path.read_text("utf-8")
        assert "state=" in text, name


def test_planted_state_writes_are_found() -> None:
    for text in (
        "batch.state = 'released'",
        "rows.update(state='released', version=2)",
        "setattr(batch, 'state', 'released')",
    ):
        assert len(list(state_writes(planted(text)))) == 1, text


def test_no_exception_is_swallowed() -> None:
    found = list(broad_excepts(modules()))
    tests = [
        Module(str(path), path, ast.parse(path.read_text("utf-8")))
        for path in our_files()
        if path.suffix == ".py" and path.is_relative_to(ROOT / "tests")
    ]
    assert found + list(broad_excepts(tests)) == []


def test_planted_broad_excepts_are_found() -> None:
    for caught in ("", " Exception", " (ValueError, Exception)", " BaseException as error"):
        assert len(list(broad_excepts([planted(f"try:\n    f()\nexcept{caught}:\n    pass")]))) == 1, caught
    assert list(broad_excepts([planted("try:\n    f()\nexcept ValueError:\n    pass")])) == []


def test_nothing_is_left_for_later() -> None:
    """No mark that promises what is not done. The words are put together here, so that this file does not hold them."""
    marks = tuple(a + b for a, b in (("TO", "DO"), ("FIX", "ME"), ("XX", "X"), ("Not", "Implemented")))
    kinds = {".py", ".html", ".css", ".js", ".toml", ".md", ".csv", ""}
    found = [
        f"{path.relative_to(ROOT)}: {mark}"
        for path in our_files()
        if path.suffix in kinds and (text := text_of(path)) is not None
        for mark in marks
        if any(mark == word.strip("#:;,.()[]\"'`*") for word in text.split())
    ]
    assert found == []


def test_no_committed_file_names_a_machine_or_a_registry() -> None:
    """Paths and hosts of the machine a thing was written on mean nothing on the next one."""
    marks = tuple(
        "".join(parts)
        for parts in (
            ("/wo", "rk/"),
            ("/ro", "ot/"),
            ("/ho", "me/"),
            ("/tm", "p/"),
            (".py", "env"),
            ("pypi", ".org"),
            ("python", "hosted"),
            ("npmjs", ".org"),
            ("registry", ".npm"),
            ("deb.", "debian"),
            ("local", "domain"),
        )
    )
    found = [
        f"{path.relative_to(ROOT)}: {mark}"
        for path in our_files()
        if (text := text_of(path)) is not None
        for mark in marks
        if mark in text
    ]
    assert found == []


def test_files_stay_readable() -> None:
    """One story per file: none over 650 lines (most far under 400)."""
    long = {m.shown: n for m in modules() if (n := len(m.path.read_text("utf-8").splitlines())) > 650}
    assert long == {}


def test_the_top_level_holds_what_is_agreed_and_nothing_else() -> None:
    agreed = {
        "README.md",
        "DEVELOPERS.md",
        "manage.py",
        "pyproject.toml",
        "regenplant",
        "templates",
        "tests",
        "fixtures",
    }
    names = {Path(path.relative_to(ROOT)).parts[0] for path in our_files()}
    assert {name for name in names if not name.startswith(".")} <= agreed
