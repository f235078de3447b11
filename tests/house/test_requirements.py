"""Every requirement is built where it says, proven by a test that says so, and stands in the guide as it is."""

from __future__ import annotations

import ast

import pytest

from tests import requirements
from tests.requirements import KNOWN, REQUIREMENTS, Requirement

EACH = [pytest.param(one, id=one.id) for one in REQUIREMENTS]


def test_every_requirement_is_listed_once() -> None:
    expected = [f"ER-{number:02}" for number in range(1, 33)] + [f"CS-{number:02}" for number in range(1, 12)]
    environment = [one.id for one in REQUIREMENTS if one.id.startswith("EV-")]
    resin = [f"RS-{number:02}" for number in range(1, 9)]
    assert [one.id for one in REQUIREMENTS] == expected + environment + resin
    assert environment == sorted(set(environment))
    assert all(one.what and one.where for one in REQUIREMENTS)


@pytest.mark.parametrize("requirement", EACH)
def test_a_requirement_has_a_test(requirement: Requirement) -> None:
    assert requirements.tests_of(requirement.id), (
        f"No test proves {requirement.id} ({requirement.what}). Write one and mark it: @pytest.mark.requirement({requirement.id!r})"
    )


@pytest.mark.parametrize("requirement", EACH)
def test_a_requirement_is_built_where_it_says(requirement: Requirement) -> None:
    missing = requirements.missing_references(requirement)
    assert missing == (), f"{requirement.id} ({requirement.what}): there is no {', '.join(missing)}"


def test_every_mark_names_a_requirement() -> None:
    known = {one.id for one in REQUIREMENTS}
    wrong = [f"{mark.file}:{mark.line} {mark.id}" for mark in requirements.marks() if mark.id not in known]
    assert wrong == []


def test_marks_are_read_wherever_they_stand() -> None:
    text = (
        "pytestmark = [pytest.mark.db, pytest.mark.requirement('ER-01')]\n"
        "@pytest.mark.requirement('ER-02', 'CS-03')\ndef test_a(): pass\n"
        "@pytest.mark.parametrize('x', [pytest.param(1, marks=pytest.mark.requirement('ER-04'))])\ndef test_b(x): pass\n"
        "class TestC:\n    @pytest.mark.requirement('ER-05')\n    def test_d(self): pass\n"
    )
    found = [(mark.id, mark.name) for mark in requirements._marks_in(ast.parse(text), "test_it.py")]
    assert found == [
        ("ER-01", "all of the file"), ("ER-02", "test_a"), ("CS-03", "test_a"), ("ER-04", "test_b"), ("ER-05", "TestC.test_d"),
    ]  # fmt: skip


def test_a_reference_to_what_does_not_exist_is_found() -> None:
    assert requirements.is_there("people.models:Signature")
    assert not requirements.is_there("people.models:Nobody")
    assert not requirements.is_there("people.nowhere:Signature")
    assert KNOWN.fullmatch("ER-32") and KNOWN.fullmatch("EV-01") and not KNOWN.fullmatch("XX-01")


def test_the_guide_for_developers_shows_the_requirements_as_they_are() -> None:
    assert requirements.shown_in_guide() == requirements.table(), "Run: python -m tests.requirements --write"
