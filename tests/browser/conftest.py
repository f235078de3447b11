"""A real Chromium, the live server, and pages that are watched from their first request.

Without a Chromium these tests are skipped with a sentence; with ``REQUIRE_BROWSER=1`` they fail instead.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

# Playwright's loop runs in this thread, which Django takes for asynchronous code. Its own check is otherwise left on.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"

pytest.importorskip(
    "playwright.sync_api", reason="Playwright is not installed; it is part of the test requirements."
)

from playwright.sync_api import Browser, Page

from tests.browser.hands import WIDTHS, Watch

FOLDER = Path(__file__).parent
NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
QUIET = (
    "--no-sandbox",  # the tests may run as root, and only ever open this machine's own pages
    "--disable-dev-shm-usage",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--no-default-browser-check",
    "--disable-extensions",
    "--font-render-hinting=none",
)


def chromium() -> str:
    """Where a Chromium is on this machine, "" if there is none."""
    given = os.environ.get("CHROME_BIN", "")
    if given and Path(given).exists():
        return given
    return next((found for name in NAMES if (found := shutil.which(name))), "")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Everything in this folder is marked, so that ``-m "not browser"`` leaves it out."""
    for item in items:
        if FOLDER in item.path.parents:
            item.add_marker("browser")


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    found = chromium()
    if not found:
        missing = "No Chromium is on this machine. Install one (Debian: chromium) or name it in CHROME_BIN."
        if os.environ.get("REQUIRE_BROWSER") == "1":
            pytest.fail(missing, pytrace=False)
        pytest.skip(missing)
    return {**browser_type_launch_args, "executable_path": found, "args": list(QUIET)}


@pytest.fixture
def open_page(browser: Browser, live_server: Any) -> Iterator[Callable[..., Page]]:
    """``open_page("tablet", dark=True)``: a fresh browser of its own (own sign-in), watched until the test ends.

    When the test ends, the console was empty, nothing crashed, and nothing was asked of another machine.
    ``page.watch.expect(404)`` says that a test means to meet a status.
    """
    opened: list[tuple[Any, Watch]] = []

    def make(screen: str = "desk", *, dark: bool = False, script: bool = True, **options: Any) -> Page:
        width, height = WIDTHS[screen]
        context = browser.new_context(
            base_url=live_server.url,
            viewport={"width": width, "height": height},
            color_scheme="dark" if dark else "light",
            reduced_motion="reduce",
            java_script_enabled=script,
            **options,
        )
        context.set_default_timeout(10_000)
        page = context.new_page()
        page.watch = Watch(page, live_server.url)  # type: ignore[attr-defined]
        opened.append((context, page.watch))  # type: ignore[attr-defined]
        return page

    yield make
    problems = [problem for _, watch in opened for problem in watch.problems]
    for context, _ in opened:
        context.close()
    assert not problems, "The pages were not clean:\n  " + "\n  ".join(dict.fromkeys(problems))


@pytest.fixture
def page(open_page: Callable[..., Page]) -> Page:
    """A page at a desk."""
    return open_page()
