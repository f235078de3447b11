"""The parts page in a real browser: axe, no sideways scroll, no small text, no small target, light and dark.

The page is fetched through Django's test client and handed to the browser with its static files, so no server and
no second database connection is needed. The browser runs in its own thread: Playwright's loop would otherwise make
Django refuse the database in this one.
"""

from __future__ import annotations

import mimetypes
import os
import shutil
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from django.contrib.staticfiles import finders
from django.urls import reverse

pytestmark = [pytest.mark.browser, pytest.mark.django_db]

HOST = "http://plant.test"
WIDTHS = (390, 720, 1024, 1440)
"""A telephone, a monitor at 200 per cent, a tablet, a monitor."""

SMALL_TEXT = """() => [...document.querySelectorAll('main *')].filter(e => {
  const own = [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim());
  const box = e.getBoundingClientRect();
  return own && box.width > 2 && !['SUB', 'SUP'].includes(e.tagName) && !e.closest('.vh')
    && parseFloat(getComputedStyle(e).fontSize) < 17.9;
}).map(e => e.tagName + ' ' + e.textContent.trim().slice(0, 40))"""

SMALL_TARGETS = """() => [...document.querySelectorAll('a, button, input, select, textarea, summary')].filter(e => {
  const box = e.getBoundingClientRect();
  return box.width > 2 && box.height > 2 && !e.closest('.check') && box.height < 43.5;
}).map(e => e.tagName + ' ' + (e.textContent || e.value).trim().slice(0, 40))"""


def chromium_path() -> str:
    """The browser, or a skip that says why; where a browser is demanded, a failure."""
    named = os.environ.get("CHROME_BIN", "")
    for candidate in (named, "chromium", "chromium-browser", "google-chrome"):
        if candidate and (found := shutil.which(candidate)):
            return found
    if os.environ.get("REQUIRE_BROWSER"):
        pytest.fail("No Chromium was found, and REQUIRE_BROWSER is set.")
    pytest.skip("No Chromium was found: install it, or name it in CHROME_BIN.")


@pytest.fixture
def page_html(client, settings) -> str:
    settings.DEMO = True
    return client.get(reverse("parts")).content.decode()


def look(executable: str, html: str, width: int, theme: str) -> dict[str, Any]:
    """What the browser finds at one width in one theme."""
    from axe_playwright_python.sync_playwright import Axe
    from playwright.sync_api import Route, sync_playwright

    said: list[str] = []

    def answer(route: Route) -> None:
        path = route.request.url.removeprefix(HOST).split("?")[0]
        if path == "/parts/":
            route.fulfill(body=html, content_type="text/html; charset=utf-8")
            return
        found = finders.find(path.removeprefix("/static/"))
        if not isinstance(found, str):
            said.append(f"not ours: {route.request.url}")
            route.abort()
            return
        kind = mimetypes.guess_type(found)[0] or "application/octet-stream"
        route.fulfill(body=Path(found).read_bytes(), content_type=kind)

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=executable, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=theme)  # type: ignore[arg-type]
        page.on("console", lambda message: said.append(f"{message.type}: {message.text}"))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.route("**/*", answer)
        page.goto(f"{HOST}/parts/")
        page.wait_for_load_state("networkidle")
        axe = Axe().run(page).response
        result = {
            "said": said,
            "violations": [(v["id"], [n["html"][:120] for n in v["nodes"]][:3]) for v in axe["violations"]],
            "checked": len(axe["passes"]),
            "overflow": page.evaluate("document.documentElement.scrollWidth - innerWidth"),
            "styled": page.evaluate("document.querySelectorAll('[style]').length"),
            "small_text": page.evaluate(SMALL_TEXT),
            "small_targets": page.evaluate(SMALL_TARGETS),
            "faces": page.evaluate("[...document.fonts].filter(f => f.status === 'loaded').length"),
        }
        browser.close()
    return result


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
def test_the_parts_page_is_right_at(width, theme, page_html):
    pytest.importorskip("playwright")
    pytest.importorskip("axe_playwright_python")
    executable = chromium_path()
    with ThreadPoolExecutor(1) as pool:
        found = pool.submit(look, executable, page_html, width, theme).result()
    assert found["violations"] == []
    assert found["checked"] > 20
    assert found["said"] == []
    assert found["overflow"] == 0
    assert found["styled"] == 0
    assert found["small_text"] == []
    assert found["small_targets"] == []
    assert found["faces"] >= 5
