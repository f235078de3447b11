"""A listing of the house: sorted, paged, and as a file when one is asked for."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django_tables2 import RequestConfig, Table

from regenplant.web.tables import export

PER_PAGE = 25


@dataclass(frozen=True, slots=True)
class Chip:
    """One filter that can be pressed."""

    label: str
    url: str
    is_current: bool
    count: int | None = None
    mark: str = ""


def chips(
    request: HttpRequest, name: str, choices: Iterable[tuple[str, str]], every: str = "All"
) -> list[Chip]:
    """Filters by one parameter of the address; the other parameters stay, the page number goes."""
    here = request.GET.get(name, "")
    made = []
    for value, label in [("", every), *choices]:
        wanted = request.GET.copy()
        for gone in ("page", name):
            wanted.pop(gone, None)
        if value:
            wanted[name] = value
        made.append(Chip(label, f"?{wanted.urlencode()}", here == value))
    return made


def answer(
    request: HttpRequest, template: str, table: Table, file_name: str, context: dict[str, Any]
) -> HttpResponse:
    """The page with the table, or the file of all its rows."""
    RequestConfig(request, paginate={"per_page": PER_PAGE}).configure(table)
    return export.answer(request, table, file_name) or render(request, template, {**context, "table": table})
