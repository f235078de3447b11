"""What a person does at a screen, and what must be true of every page they see."""

from __future__ import annotations

import os
import re
from pathlib import Path
from urllib.parse import urlsplit

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import ConsoleMessage, Page, Request, Response

from regenplant.people.models import Person
from tests.factories import PASSWORD

WIDTHS = {"desk": (1440, 900), "tablet": (1024, 768), "phone": (390, 844)}
"""The three screens of LOOK: a monitor, a tablet on the floor, a telephone."""

_STATUS = re.compile(r"the server responded with a status of (\d{3})")


def sign_in(page: Page, person: Person, password: str = PASSWORD) -> None:
    """Sign in through the page, as the person would; ends on the page that their role lives on."""
    page.goto("/sign-in/")
    page.get_by_label("Name").fill(person.username)
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Sign in", exact=True).click()
    page.wait_for_url(lambda url: "/sign-in/" not in url)


def sign_out(page: Page) -> None:
    page.locator("details.menu summary").click()
    page.get_by_role("button", name="Sign out").click()


def shot(page: Page, name: str) -> Path | None:
    """A picture of the whole page in the folder named by ``REGENPLANT_SHOTS``; nothing without it."""
    folder = os.environ.get("REGENPLANT_SHOTS", "")
    if not folder:
        return None
    path = Path(folder) / f"{name}.png"
    path.parent.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=path, full_page=True)
    return path


def assert_accessible(page: Page, *, but: tuple[str, ...] = ()) -> None:
    """axe finds nothing: no contrast failure, no field without a label. ``but`` names rules left out, with a reason beside."""
    rules = {rule: {"enabled": False} for rule in but}
    found = Axe().run(page, options={"resultTypes": ["violations"], "rules": rules})
    lines = [
        f"{violation['id']}: {violation['help']}\n      at {', '.join(str(node['target'][0]) for node in violation['nodes'][:5])}"
        for violation in found.response["violations"]
    ]
    assert not lines, f"{page.url} has {len(lines)} accessibility violations:\n  " + "\n  ".join(lines)


def assert_fits(page: Page) -> None:
    """Nothing scrolls sideways, nothing is cut off, nothing reaches over the edge of the screen."""
    wide = page.evaluate(
        "[document.documentElement.scrollWidth, document.documentElement.clientWidth]",
    )
    assert wide[0] <= wide[1], f"{page.url} scrolls sideways: {wide[0]} px on a screen of {wide[1]} px"
    found = page.evaluate(_OVERFLOWING)
    assert not found, f"{page.url} has content that does not fit:\n  " + "\n  ".join(found)


def assert_targets_are_large(page: Page, least_px: int = 44) -> None:
    """Everything that is pressed is at least as large as a gloved finger needs. Links inside a sentence are exempt."""
    found = page.evaluate(_SMALL_TARGETS, least_px)
    assert not found, f"{page.url} has targets under {least_px} px:\n  " + "\n  ".join(found)


# An element counts as cut when it hides what does not fit (not: scrolls), and as over the edge when no parent scrolls it.
_OVERFLOWING = """
() => {
  const found = [];
  const name = e => e.tagName.toLowerCase() + (e.id ? '#' + e.id : '') +
    (typeof e.className === 'string' && e.className ? '.' + e.className.trim().split(/\\s+/).join('.') : '') +
    ' “' + (e.textContent || '').trim().slice(0, 40) + '”';
  const scrolled = e => { for (let p = e.parentElement; p; p = p.parentElement) {
    const o = getComputedStyle(p).overflowX; if (o === 'auto' || o === 'scroll' || o === 'hidden' || o === 'clip') return true; }
    return false; };
  for (const e of document.body.querySelectorAll('*')) {
    if (e.closest('svg') && e.tagName.toLowerCase() !== 'svg') continue;
    if (e.matches('input, textarea')) continue;  // what is typed scrolls inside its own field
    const style = getComputedStyle(e), box = e.getBoundingClientRect();
    if (style.visibility === 'hidden' || box.width < 2 || box.height < 2) continue;
    if ((style.overflowX === 'hidden' || style.overflowX === 'clip') && e.scrollWidth > e.clientWidth + 1)
      found.push('cut off: ' + name(e) + ' ' + e.scrollWidth + ' px in ' + e.clientWidth + ' px');
    if (box.right > document.documentElement.clientWidth + 1 && !scrolled(e))
      found.push('over the edge: ' + name(e) + ' reaches ' + Math.round(box.right) + ' px');
  }
  return found.slice(0, 10);
}
"""

_SMALL_TARGETS = """
least => {
  const found = [];
  for (const e of document.querySelectorAll('a[href], button, input:not([type=hidden]), select, textarea, summary')) {
    const style = getComputedStyle(e), box = e.getBoundingClientRect();
    if (style.visibility === 'hidden' || box.width < 2 || box.height < 2 || box.bottom < 0 || box.right < 0) continue;
    if (e.tagName === 'A' && style.display === 'inline') continue;
    const label = e.type === 'checkbox' || e.type === 'radio' ? e.closest('label') : null;
    const height = label ? label.getBoundingClientRect().height : box.height;
    if (height < least - 0.5)
      found.push(e.tagName.toLowerCase() + ' “' + (e.textContent || e.name || '').trim().slice(0, 40) + '” ' + Math.round(height) + ' px high');
  }
  return found.slice(0, 10);
}
"""


class Watch:
    """Listens to a page from its first request: anything on the console, any crash, any request off this machine."""

    def __init__(self, page: Page, house: str):
        self.problems: list[str] = []
        self._house = urlsplit(house).netloc
        self._expected: set[int] = {403, 409, 422, 429}  # how the application refuses; the page says why
        page.on("console", self._console)
        page.on("pageerror", lambda error: self.problems.append(f"script: {error}"))
        page.on("request", self._request)
        page.on("response", self._response)

    def expect(self, *statuses: int) -> None:
        """The test means to meet these statuses, for example 404."""
        self._expected.update(statuses)

    def _console(self, message: ConsoleMessage) -> None:
        status = _STATUS.search(message.text)
        if status and int(status[1]) in self._expected:
            return
        if "htmx:sendAbort" in message.text or "htmx:afterRequest" in message.text:
            return  # a person went on before the line under a field was answered; htmx says so on the console
        if message.type in ("error", "warning"):
            self.problems.append(
                f"console {message.type}: {message.text} ({message.location.get('url', '')})"
            )

    def _request(self, request: Request) -> None:
        parts = urlsplit(request.url)
        if parts.scheme in ("http", "https", "ws", "wss") and parts.netloc != self._house:
            self.problems.append(f"request off this machine: {request.url}")

    def _response(self, response: Response) -> None:
        if response.status >= 400 and response.status not in self._expected:
            self.problems.append(f"status {response.status}: {response.url}")
