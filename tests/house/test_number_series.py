"""A number on a paper or in the scan field leads to one thing: no two series begin with the same letters."""

from __future__ import annotations

import re
from collections import defaultdict
from pathlib import Path

import regenplant

ROOT = Path(regenplant.__file__).parent
CALL = re.compile(r"next_number\(\s*(\w+),\s*\"\w+\",\s*(?:\"([A-Z]+)\"|PREFIX)")
CONSTANT = re.compile(r"^PREFIX, FIRST = \"([A-Z]+)\"", re.MULTILINE)


def test_every_series_of_numbers_has_letters_of_its_own() -> None:
    found: defaultdict[str, set[str]] = defaultdict(set)
    for path in sorted(ROOT.rglob("*.py")):
        text = path.read_text("utf-8")
        constant = CONSTANT.search(text)
        for model, letters in CALL.findall(text):
            own = letters or (constant.group(1) if constant else "")
            if own:  # a constant that comes from another file is counted there
                found[own].add(model)
    assert len(found) >= 19
    assert {letters: models for letters, models in found.items() if len(models) > 1} == {}
    assert not {"L", "T"} & set(found), "lots made by batches and tanks have these"
