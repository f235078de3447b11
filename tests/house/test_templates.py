"""Templates: they compile, name addresses that exist, and hold neither script nor style nor unescaped text."""

from __future__ import annotations

import ast
import re

import pytest
from django.template.loader import get_template
from django.urls import get_resolver

from tests.house.tree import modules, templates

NAMES = [name for name, _ in templates()]
URL = re.compile(r"""\{%\s*url\s+(['"])(?P<name>[^'"]+)\1(?P<rest>[^%]*)%\}""")
COMMENT = re.compile(r"\{%\s*comment\s*%\}.*?\{%\s*endcomment\s*%\}", re.DOTALL)
STYLE = re.compile(r"<style\b|\sstyle\s*=", re.IGNORECASE)
SCRIPT = re.compile(r"<script\b(?![^>]*\bsrc\s*=)|\son[a-z]+\s*=\s*[\"']|javascript:", re.IGNORECASE)
UNSAFE = re.compile(r"\|\s*safe\b|\{%\s*autoescape\s+off")
OUTSIDE = re.compile(r"""(?:src|href|action|hx-get|hx-post)\s*=\s*["'](?:https?:)?//""", re.IGNORECASE)


def shown(text: str) -> str:
    """A template without its comments."""
    return COMMENT.sub("", text)


def names_of_addresses() -> set[str]:
    return {str(name) for name in get_resolver().reverse_dict if isinstance(name, str)}


@pytest.mark.parametrize("name", NAMES)
def test_a_template_compiles(name: str) -> None:
    assert get_template(name) is not None


def test_every_address_in_a_template_exists_and_takes_what_it_is_given() -> None:
    known, wrong = get_resolver().reverse_dict, []
    for template, text in templates():
        for match in URL.finditer(shown(text)):
            name = match["name"]
            arguments = [word for word in match["rest"].split() if word != "as"]
            if "as" in match["rest"].split():
                arguments = arguments[:-1]
            given = len(arguments)
            patterns = known.getlist(name)
            takes = {len(parameters) for possibilities, *_ in patterns for _, parameters in possibilities}
            if not patterns:
                wrong.append(f"{template}: there is no address {name!r}")
            elif given not in takes:
                wrong.append(f"{template}: {name!r} takes {sorted(takes)} arguments, {given} are given")
    assert sorted(set(wrong)) == []


def test_every_address_in_code_exists() -> None:
    known, wrong = names_of_addresses(), []
    for module in modules():
        for node in ast.walk(module.tree):
            called = node.func.id if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) else ""
            if called in ("reverse", "reverse_lazy", "redirect", "resolve_url") and node.args:  # type: ignore[attr-defined]
                first = node.args[0]  # type: ignore[attr-defined]
                is_name = (
                    isinstance(first, ast.Constant)
                    and isinstance(first.value, str)
                    and "/" not in first.value
                )
                if is_name and first.value not in known:
                    wrong.append(f"{module.at(node)} {first.value!r}")
    assert wrong == []


@pytest.mark.parametrize(
    ("pattern", "what"),
    [(STYLE, "style"), (SCRIPT, "script"), (UNSAFE, "unescaped text"), (OUTSIDE, "another machine")],
)
def test_no_template_holds(pattern: re.Pattern[str], what: str) -> None:
    found = [
        f"{name}: {match[0].strip()}" for name, text in templates() for match in pattern.finditer(shown(text))
    ]
    assert found == [], what


@pytest.mark.parametrize(
    ("pattern", "text"),
    [
        (STYLE, '<p style="color:red">'),
        (STYLE, "<style>p{}</style>"),
        (SCRIPT, "<script>alert(1)</script>"),
        (SCRIPT, '<a onclick="f()">'),
        (UNSAFE, "{{ text|safe }}"),
        (OUTSIDE, '<img src="//cdn.example/x.png">'),
    ],
)
def test_a_planted_offence_is_found(pattern: re.Pattern[str], text: str) -> None:
    assert pattern.search(text)


def test_what_is_allowed_is_not_taken_for_an_offence() -> None:
    allowed = '<script src="/static/web/regenplant.js" defer></script><svg font-style="italic"></svg>'
    assert not STYLE.search(allowed) and not SCRIPT.search(allowed)


def test_no_code_marks_text_as_safe() -> None:
    """Parts use ``format_html``; drawings, whose text is escaped by the drawing itself, are the one exception."""
    found = [
        m.at(node)
        for m in modules()
        if not m.name.startswith(("regenplant.drawing", "regenplant.web.templatetags"))
        for node in ast.walk(m.tree)
        if isinstance(node, ast.Call) and ast.unparse(node.func).endswith(("mark_safe", "SafeString"))
    ]
    assert found == []


def test_no_template_computes_or_asks_the_database() -> None:
    arithmetic = re.compile(r"""\|\s*add:\s*["']?-?\d|\|\s*divisibleby|\{%\s*widthratio\b""")
    queries = re.compile(r"\.objects\.|_set\.|\.filter\b|\.exists\b")
    for planted in ("{{ row.number|add:1 }}", "{% widthratio a b 100 %}", "{% if batch.steps.exists %}"):
        assert arithmetic.search(planted) or queries.search(planted), planted
    found = [
        f"{name}: {match[0].strip()}"
        for name, text in templates()
        for pattern in (arithmetic, queries)
        for match in pattern.finditer(shown(text))
    ]
    assert found == []
