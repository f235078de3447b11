"""The set-up of the house: migrations complete, checks silent, forms tested, one test command everywhere."""

from __future__ import annotations

import re
import tomllib

from django.core import checks
from django.core.management import call_command
from django.test import Client
from django.urls import URLPattern, get_resolver

from regenplant.web.story.password import PASSWORD
from tests.house.tree import ROOT


def test_no_migration_is_missing(db: None) -> None:
    """Raises SystemExit and names the change when a model and its migrations differ."""
    call_command("makemigrations", check=True, dry_run=True, verbosity=1)


def test_the_checks_are_silent(db: None) -> None:
    found = checks.run_checks(include_deployment_checks=False, databases=["default"])
    assert [message for message in found if not message.is_silenced()] == []


def test_only_signing_in_and_the_way_to_help_are_open_to_strangers(db: None) -> None:
    """Every other address leads a stranger to the sign-in page, whatever stands there."""
    open_to_all = {"sign-in", "sign-out", "emergency", "emergency-card"}
    open_in_the_demonstration = {"parts"}
    client = Client()
    wrong = []
    for pattern in get_resolver().url_patterns:
        if not isinstance(pattern, URLPattern) or pattern.name in open_to_all:
            continue
        view = pattern.callback
        if getattr(view, "login_required", True) is False and pattern.name not in open_in_the_demonstration:
            wrong.append(f"{pattern.name} is open to everybody")
            continue
        if not pattern.pattern.converters:
            answer = client.get(f"/{pattern.pattern}")
            if answer.status_code != 302 or not answer["Location"].startswith("/sign-in/"):
                wrong.append(f"/{pattern.pattern} answers a stranger with {answer.status_code}")
    assert wrong == []


def test_the_readme_and_the_build_run_the_same_test_command() -> None:
    command = "python -m tests"
    assert command in (ROOT / "README.md").read_text("utf-8")
    assert command in (ROOT / ".ci" / "run").read_text("utf-8")
    assert (ROOT / "tests" / "__main__.py").exists()


def test_every_file_that_the_guides_name_exists() -> None:
    named = re.compile(r"`((?:regenplant|tests|fixtures|templates)/[\w./]+)`")
    for guide in ("README.md", "DEVELOPERS.md"):
        missing = [
            name for name in named.findall((ROOT / guide).read_text("utf-8")) if not (ROOT / name).exists()
        ]
        assert missing == [], guide


def test_the_readme_names_the_people_of_the_story() -> None:
    story = tomllib.loads((ROOT / "fixtures" / "demo" / "plant.toml").read_text("utf-8"))
    readme = (ROOT / "README.md").read_text("utf-8")
    for person in story["people"]:
        assert f"`{person['username']}`" in readme and person["full_name"] in readme
    assert PASSWORD in readme
