"""What a server holds before the first person asks."""

from __future__ import annotations

import subprocess
import sys

ASKED = """
import gc, sys
before = gc.get_freeze_count()
from regenplant.wsgi import application
print(before, gc.get_freeze_count(), "regenplant.web.areas.chemical_use.views" in sys.modules, type(application).__name__)
"""


def test_a_server_has_loaded_every_page_and_looks_through_none_of_it_again() -> None:
    done = subprocess.run([sys.executable, "-c", ASKED], capture_output=True, text=True, check=True)
    before, kept, pages_are_loaded, kind = done.stdout.split()
    assert int(before) == 0 and int(kept) > 50_000
    assert (pages_are_loaded, kind) == ("True", "WSGIHandler")
