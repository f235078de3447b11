"""The side of the test: a plant on a database of its own, and its server that can be killed and started again."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any
from uuid import uuid4

from tests import postgres

ROOT = Path(__file__).resolve().parents[2]


class Databank:
    """Where the records of one plant stand: a SQLite file, or a PostgreSQL server of its own."""

    def __init__(self, kind: str, folder: Path) -> None:
        self.kind, self.folder = kind, folder
        self.server = postgres.Server() if kind == "postgresql" else None
        self.url = self.server.url if self.server else f"sqlite:///{folder / 'plant.sqlite3'}"

    def crash(self) -> None:
        """Kill PostgreSQL where it stands, all its processes, and start it again on the same data."""
        assert self.server is not None
        self.server.crash()
        self.url = self.server.url

    def kill_a_backend(self) -> bool:
        """Kill one process of PostgreSQL that serves us; it then throws all others out and recovers by itself."""
        assert self.server is not None
        return self.server.kill_a_backend()

    def close(self) -> None:
        if self.server is not None:
            self.server.stop()


class Plant:
    """A plant served over HTTP by a process that can be killed."""

    def __init__(self, kind: str) -> None:
        self._kept = tempfile.TemporaryDirectory(prefix="regenplant-long-")
        self.folder = Path(self._kept.name)
        self.databank = Databank(kind, self.folder)
        self.log = self.folder / "server.log"
        self._servers: list[tuple[int, int]] = []
        self._start_launcher()

    def _start_launcher(self) -> None:
        environ = {
            **{name: value for name, value in os.environ.items() if not name.startswith("REGENPLANT_")},
            "DJANGO_SETTINGS_MODULE": "tests.long.settings",
            "DATABASE_URL": self.databank.url,
            "REGENPLANT_DATA": str(self.folder),
            "REGENPLANT_SECRET_KEY": f"a key that only this run knows and that keeps nothing secret {uuid4()}",
        }
        self._launcher = subprocess.Popen(
            [sys.executable, "-m", "tests.long.launcher"],
            cwd=ROOT,
            env=environ,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self.log.open("a"),
            text=True,
        )
        assert self._hear()["ready"]

    # --- talking to the launcher --------------------------------------------------------------------------------------
    def _ask(self, do: str, **more: Any) -> dict[str, Any]:
        assert self._launcher.stdin is not None
        self._launcher.stdin.write(json.dumps({"do": do, **more}) + "\n")
        self._launcher.stdin.flush()
        return self._hear()

    def _hear(self) -> dict[str, Any]:
        assert self._launcher.stdout is not None
        line = self._launcher.stdout.readline()
        assert line, f"the launcher ended:\n{self.last_words()}"
        return json.loads(line)

    def call(self, what: str, **arguments: Any) -> Any:
        """Call "module:function" in a process of its own with the plant's database; plain data in and out."""
        told = self._ask("call", what=what, arguments=arguments)
        assert "result" in told, f"{what}: {told}\n{self.last_words()}"
        return told["result"]

    def together(self, what: str, arguments: list[dict[str, Any]]) -> list[Any]:
        """The same call several times at once, each in a process of its own."""
        told = self._ask("together", calls=[{"what": what, "arguments": one} for one in arguments])
        failed = [one for one in told["result"] if isinstance(one, dict) and "failed" in one]
        assert failed == [], f"{what}: {failed}\n{self.last_words()}"
        return list(told["result"])

    # --- serving ------------------------------------------------------------------------------------------------------
    def serve(self, *, threads: int = 8) -> int:
        """Start one more server process; returns its port."""
        told = self._ask("serve", threads=threads)
        self._servers.append((told["pid"], told["port"]))
        return int(told["port"])

    def kill(self) -> None:
        """Kill every server process where it stands (SIGKILL)."""
        for pid, _ in self._servers:
            os.kill(pid, signal.SIGKILL)
        for pid, _ in self._servers:
            self._ask("wait", pid=pid)
        self._servers = []

    def last_words(self, lines: int = 60) -> str:
        return "\n".join(self.log.read_text("utf-8").splitlines()[-lines:])

    def crashes_in_log(self) -> list[str]:
        """Lines of the log that tell of an act that crashed."""
        return [line for line in self.log.read_text("utf-8").splitlines() if "Internal Server Error" in line]

    def forget_log(self) -> None:
        self.log.write_text("")

    def close(self) -> None:
        if self._servers:
            self.kill()
        assert self._launcher.stdin is not None and self._launcher.stdout is not None
        self._launcher.stdin.close()
        self._launcher.wait(timeout=30)
        self._launcher.stdout.close()
        self.databank.close()
        self._kept.cleanup()
