"""A person at a terminal, over HTTP: opens a page, fills its form in, sends it, reads what comes back."""

from __future__ import annotations

import http.client
import re
import time
from dataclasses import dataclass, field
from html.parser import HTMLParser
from http.cookies import SimpleCookie
from urllib.parse import urlencode, urlsplit

VOID = ("input", "br", "hr", "img", "meta", "link")
CUT = (http.client.HTTPException, ConnectionError, TimeoutError, OSError)
"""How a connection ends whose server was killed."""


class Cut(Exception):
    """The connection was cut, so nobody knows whether the act was done."""


@dataclass
class Answer:
    """What came back."""

    status: int
    location: str
    text: str
    seconds: float = 0.0

    @property
    def is_done(self) -> bool:
        """Acknowledged: the page after the act."""
        return self.status in (302, 303)

    @property
    def refusals(self) -> list[str]:
        """The sentences that say why nothing was written."""
        page = _Refusals()
        page.feed(self.text)
        return [words for found in page.found if (words := " ".join(found.split()))]


class _Refusals(HTMLParser):
    """Text inside an alert, an error beside a field, or a red note."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self._open: list[tuple[str, bool]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        classes = (given.get("class") or "").split()
        begins = given.get("role") == "alert" or "err" in classes or ("note" in classes and "red" in classes)
        if tag not in VOID:
            self._open.append((tag, begins))
            if begins:
                self.found.append("")

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """A tag that closes itself holds no text."""

    def handle_endtag(self, tag: str) -> None:
        while any(name == tag for name, _ in self._open):
            if self._open.pop()[0] == tag:
                return

    def handle_data(self, data: str) -> None:
        if any(begins for _, begins in self._open):
            self.found[-1] += data


@dataclass
class Form:
    """A form as it stands on a page."""

    action: str = ""
    values: dict[str, list[str]] = field(default_factory=dict)


class _Forms(HTMLParser):
    """Every form of a page with the values that a browser would send, buttons left out."""

    def __init__(self) -> None:
        super().__init__()
        self.forms: list[Form] = []
        self._form: Form | None = None
        self._select = ""
        self._area = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            self._form = Form(given.get("action", ""))
            if given.get("method", "").lower() == "post":
                self.forms.append(self._form)
        elif self._form is None or "disabled" in given:
            return
        elif tag == "input" and given.get("name"):
            kind = given.get("type", "text")
            if (kind in ("checkbox", "radio") and "checked" not in given) or kind in ("submit", "button"):
                return
            self._form.values.setdefault(given["name"], []).append(given.get("value", ""))
        elif tag == "select":
            self._select = given.get("name", "")
        elif tag == "option" and self._select and "selected" in given:
            self._form.values.setdefault(self._select, []).append(given.get("value", ""))
        elif tag == "textarea":
            self._area = given.get("name", "")
            self._form.values[self._area] = [""]

    def handle_data(self, data: str) -> None:
        if self._area and self._form is not None:
            self._form.values[self._area][0] += data

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._form = None
        elif tag == "select":
            self._select = ""
        elif tag == "textarea":
            self._area = ""


def forms_of(text: str) -> list[Form]:
    page = _Forms()
    page.feed(text)
    return page.forms


class Visitor:
    """One signed-in person with cookies of their own."""

    def __init__(self, username: str, port: int = 0, *, patience: float = 60.0) -> None:
        self.username, self.port, self.patience = username, port, patience
        self.cookies: dict[str, str] = {}

    # --- one request --------------------------------------------------------------------------------------------------
    def ask(self, method: str, path: str, fields: dict[str, str | list[str]] | None = None) -> Answer:
        """One request. Raises: Cut when the connection is cut before the answer is whole."""
        begun = time.monotonic()
        link = http.client.HTTPConnection("127.0.0.1", self.port, timeout=self.patience)
        headers = {"Cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items())}
        body = None
        if fields is not None:
            body = urlencode({**fields, "csrfmiddlewaretoken": self.cookies.get("csrftoken", "")}, doseq=True)
            headers["Content-Type"] = "application/x-www-form-urlencoded"
        try:
            link.request(method, path, body, headers)
            answer = link.getresponse()
            text = answer.read().decode("utf-8", "replace")
        except CUT as cut:
            raise Cut(str(cut)) from cut
        finally:
            link.close()
        for line in answer.headers.get_all("Set-Cookie") or []:
            self.cookies.update({name: morsel.value for name, morsel in SimpleCookie(line).items()})
        return Answer(answer.status, answer.headers.get("Location", ""), text, time.monotonic() - begun)

    def get(self, path: str) -> Answer:
        return self.ask("GET", path)

    def post(self, path: str, **fields: str | list[str]) -> Answer:
        return self.ask("POST", path, fields)

    # --- a form -------------------------------------------------------------------------------------------------------
    def fill(self, path: str, **fields: str | list[str]) -> Answer:
        """Open the page of a form, change some of its fields and send it, version and all."""
        shown = self.get(path)
        if shown.status != 200:
            return shown
        return self.send(shown, path, **fields)

    def send(self, shown: Answer, path: str, **fields: str | list[str]) -> Answer:
        """Send the form of a page that was shown."""
        form = next((one for one in forms_of(shown.text) if one.action in ("", path)), None)
        assert form is not None, f"no form for {path} on its page"
        form.values.pop("csrfmiddlewaretoken", None)
        return self.ask("POST", path, {**form.values, **fields})

    def sign_in(self, password: str) -> None:
        self.cookies.clear()
        self.get("/sign-in/")
        answer = self.post("/sign-in/", username=self.username, password=password)
        assert answer.status == 302, f"{self.username} could not sign in: {answer.status} {answer.refusals}"


def path_of(location: str) -> str:
    """The path of an address."""
    return urlsplit(location).path


def last_part(location: str) -> str:
    """The last part of an address: the key of what was made."""
    found = re.findall(r"[^/]+", path_of(location))
    return found[-1] if found else ""
