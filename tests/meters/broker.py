"""A real MQTT broker for tests: mosquitto with names and passwords, on a port of its own, that can be killed and started again."""

from __future__ import annotations

import getpass
import os
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

METER, LISTENER = ("meter", "what the meter knows"), ("plant", "what the plant knows")
WAIT_S = 20.0


def program(name: str) -> str:
    """Where a program of mosquitto is, "" if it is nowhere; Debian keeps the broker where only its keeper looks."""
    return shutil.which(name) or shutil.which(name, path="/usr/sbin:/usr/local/sbin") or ""


def needed() -> None:
    """Skip the test where no broker is on this machine; with ``REQUIRE_BROKER=1`` fail it."""
    if program("mosquitto") and program("mosquitto_passwd"):
        return
    missing = "No MQTT broker is on this machine. Install one (Debian: mosquitto)."
    if os.environ.get("REQUIRE_BROKER") == "1":
        pytest.fail(missing, pytrace=False)
    pytest.skip(missing)


def free_port() -> int:
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        return int(door.getsockname()[1])


class Broker:
    """One broker; what it keeps for its clients stands in ``folder``."""

    def __init__(self, folder: Path):
        self.folder, self.port = folder, free_port()
        self._process: subprocess.Popen[Any] | None = None
        passwords = folder / "passwords"
        passwords.touch(mode=0o600)
        for name, password in (METER, LISTENER):
            subprocess.run(
                [program("mosquitto_passwd"), "-b", str(passwords), name, password],
                check=True,
                capture_output=True,
            )
        own = (
            [f"user {getpass.getuser()}"] if os.geteuid() == 0 else []
        )  # else it gives up root and its folder
        (folder / "broker.conf").write_text(
            "\n".join(
                [
                    f"listener {self.port} 127.0.0.1",
                    "allow_anonymous false",
                    f"password_file {passwords}",
                    "persistence true",
                    f"persistence_location {folder}/",
                    "autosave_on_changes true",
                    "autosave_interval 1",
                    "max_queued_messages 0",
                    *own,
                ]
            )
        )

    def start(self) -> None:
        log = (self.folder / "broker.log").open("a")
        self._process = subprocess.Popen(
            [program("mosquitto"), "-c", str(self.folder / "broker.conf")], stdout=log, stderr=log
        )
        end = time.monotonic() + WAIT_S
        while time.monotonic() < end:
            with socket.socket() as door:
                if door.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            assert self._process.poll() is None, (self.folder / "broker.log").read_text()
            time.sleep(0.05)
        raise AssertionError(f"the broker did not start:\n{(self.folder / 'broker.log').read_text()}")

    def stop(self, number: signal.Signals = signal.SIGTERM) -> None:
        if self._process is not None:
            self._process.send_signal(number)
            self._process.wait(WAIT_S)
            self._process = None

    def kill(self) -> None:
        """Where it stands, without a word."""
        self.stop(signal.SIGKILL)


@contextmanager
def running(folder: Path) -> Iterator[Broker]:
    """A broker that runs, with ``folder`` made for it; without one on this machine the test is skipped (see ``needed``)."""
    needed()
    folder.mkdir()
    found = Broker(folder)
    found.start()
    try:
        yield found
    finally:
        found.stop()
