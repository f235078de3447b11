"""Small readers of answers, for tests of pages."""

from __future__ import annotations

import html
import re
from typing import Any

from django.forms import BaseForm
from django.test import Client
from django.utils import timezone

from regenplant.people.models import Person
from tests import factories


def text_of(response: Any) -> str:
    """What a person reads: tags gone, entities resolved, all spaces single."""
    inline = re.sub(r"</?(?:span|b|a|s|small|time|sub|sup)\b[^>]*>", "", response.content.decode())
    bare = re.sub(r"<[^>]+>", " ", inline)
    return " ".join(html.unescape(bare).replace("\u00a0", " ").replace("\u202f", " ").split())


def markup_of(response: Any, status: int = 200) -> str:
    """The page as it was sent, tags kept, all spaces single, and no span around what may not break."""
    assert response.status_code == status
    content = b"".join(response) if response.streaming else response.content
    page = content.decode().replace("\u00a0", " ").replace("\u202f", " ")
    return " ".join(re.sub(r'<span class="nb">([^<]*)</span>', r"\1", page).split())


def form_data(form: BaseForm) -> dict[str, Any]:
    """What a browser would send for this form as it is shown, nothing changed."""
    found: dict[str, Any] = {}
    for name, field in form.fields.items():
        value = form[name].value()
        shown = field.prepare_value(value) if value is not None else None
        if shown is None or shown is False:
            continue
        found[name] = (
            "on"
            if shown is True
            else [str(item) for item in shown]
            if isinstance(shown, (list, tuple))
            else str(shown)
        )
    return found


def errors_of(response: Any, name: str = "form") -> dict[str, list[str]]:
    """Sentences by field of the form of an answer."""
    return {key: list(value) for key, value in response.context[name].errors.items()}


def in_two_steps(client: Client, url: str, data: dict[str, Any]) -> Any:
    """The answer to "Write it down" after "Show what it means"; the first answer when there is nothing to write."""
    first = client.post(url, data | {"act": "show"})
    mark = first.context["shown_mark"] if first.status_code == 200 else ""
    return client.post(url, data | {"act": "write", "shown": mark}) if mark else first


def signing(person: Person, version: int = 1) -> dict[str, str]:
    """What a person types to sign a version: user name and password, with the number of what was looked at."""
    return {"username": person.username, "password": factories.PASSWORD, "version": str(version)}


def has_signed(client: Client, person: Person) -> Client:
    """A session in which this person signed a moment ago, so that the password alone is asked for next."""
    session = client.session
    session["signing"] = {"person": str(person.pk), "at": timezone.now().isoformat()}
    session.save()
    return client
