"""The house as data: its files, its modules, their syntax trees. Shared by the tests of this folder."""

from __future__ import annotations

import ast
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "regenplant"
TEMPLATES = ROOT / "templates"


@dataclass(frozen=True)
class Module:
    """One Python file of the package."""

    name: str
    path: Path
    tree: ast.Module

    @property
    def shown(self) -> str:
        return str(self.path.relative_to(ROOT))

    def at(self, node: ast.AST) -> str:
        return f"{self.shown}:{getattr(node, 'lineno', 0)}"

    def imports(self) -> Iterator[tuple[str, ast.AST]]:
        """Absolute names of everything imported anywhere in the file, wherever the import stands."""
        for node in ast.walk(self.tree):
            if isinstance(node, ast.Import):
                for alias in node.names:
                    yield alias.name, node
            elif isinstance(node, ast.ImportFrom):
                base = node.module or ""
                if node.level:
                    parts = self.name.split(".")
                    is_package = self.path.name == "__init__.py"
                    kept = parts[: len(parts) - node.level + (1 if is_package else 0)]
                    base = ".".join([*kept, *([base] if base else [])])
                for alias in node.names:
                    yield f"{base}.{alias.name}", node


@cache
def modules() -> tuple[Module, ...]:
    """Every module of the package, migrations left out."""
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        if "migrations" in path.parts:
            continue
        parts = list(path.relative_to(ROOT).with_suffix("").parts)
        if parts[-1] == "__init__":
            parts.pop()
        found.append(Module(".".join(parts), path, ast.parse(path.read_text("utf-8"), str(path))))
    return tuple(found)


def modules_in(*prefixes: str) -> tuple[Module, ...]:
    """Modules that are, or lie below, one of these names."""
    return tuple(m for m in modules() if any(lies_in(m.name, prefix) for prefix in prefixes))


def lies_in(name: str, prefix: str) -> bool:
    return name == prefix or name.startswith(f"{prefix}.")


@cache
def our_files() -> tuple[Path, ...]:
    """Every file that is, or would be, committed."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        check=True,
    )
    names = [name for name in listed.stdout.decode().split("\0") if name]
    return tuple(path for name in names if (path := ROOT / name).is_file())


def text_of(path: Path) -> str | None:
    """The text of a file, None for one that holds no text."""
    try:
        return path.read_text("utf-8")
    except UnicodeDecodeError:
        return None


@cache
def templates() -> tuple[tuple[str, str], ...]:
    """(name, text) of every template."""
    return tuple(
        (str(p.relative_to(TEMPLATES)), p.read_text("utf-8")) for p in sorted(TEMPLATES.rglob("*.html"))
    )
