"""Questions to the bench one JSON object a line, in bulk: an answer line for each, in order, whatever the line holds."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator
from typing import Any

from regenplant.bench.answers import answer, as_json, refusal_json
from regenplant.core.errors import DomainError

_LONGEST_LINE = 200_000


def answer_lines(lines: Iterable[str]) -> Iterator[str]:
    """One answer for each line that is not empty; a refusal names the number of its line."""
    for number, line in enumerate(lines, start=1):
        text = line.removeprefix("\ufeff") if number == 1 else line
        if text.strip():
            yield as_line(answer_line(text, number))


def as_line(found: dict[str, Any], indent: int | None = None) -> str:
    """JSON that any program can take, on one line unless indented: lone surrogates, which no encoding writes, are put as escapes."""
    text = json.dumps(found, ensure_ascii=False, allow_nan=False, indent=indent)
    try:
        text.encode()
    except UnicodeEncodeError:
        return json.dumps(found, ensure_ascii=True, allow_nan=False, indent=indent)
    return text


def answer_line(line: str, number: int = 1) -> dict[str, Any]:
    """The answer to one line: {"id", ...answer} or {"id", "line", "error"}."""
    asked, problem = _asked(line)
    identity = {"id": _identity(asked.get("id"))}
    if problem:
        return identity | {"line": number, "error": {"code": "bad_line", "message": problem}}
    try:
        found = answer(str(asked["quantity"]), asked.get("inputs") or {}, unit=str(asked.get("unit") or ""))
        return identity | as_json(found)
    except DomainError as refusal:
        return identity | {"line": number, "quantity": asked["quantity"], "error": refusal_json(refusal)}


def _identity(given: Any) -> Any:
    """The id as it was given; a number that JSON has no sign for comes back as text."""
    if isinstance(given, float) and not math.isfinite(given):
        return str(given)
    return given if given is None or isinstance(given, (str, int, float)) else json.dumps(given, default=str)


def _asked(line: str) -> tuple[dict[str, Any], str]:
    if len(line) > _LONGEST_LINE:
        return {}, f"The line has {len(line)} characters, at most {_LONGEST_LINE}."
    try:
        asked = json.loads(line)
    except (ValueError, RecursionError) as problem:
        return {}, f"The line is no JSON: {str(problem)[:120]}."
    if not isinstance(asked, dict):
        return (
            {},
            'The line is no object. Write {"id": 1, "quantity": "density", "inputs": {"chemical": "HCl"}}.',
        )
    if not isinstance(asked.get("quantity"), str):
        return asked, "The line names no quantity."
    if not isinstance(asked.get("inputs") or {}, dict):
        return asked, "inputs is no object of names and values."
    return asked, ""
