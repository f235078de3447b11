"""A listener that cannot go on ends, so that whoever watches over it sees it and starts it again."""

from __future__ import annotations

import sqlite3
import threading
from pathlib import Path

import pytest

from regenplant.web.api.listening import listener
from regenplant.web.api.listening.listener import Broker, Listener
from regenplant.web.api.listening.spool import Spool


@pytest.mark.parametrize("code", ["SQLITE_FULL", "SQLITE_IOERR"])
def test_a_full_disk_ends_it_instead_of_leaving_half_of_it_running(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: str
) -> None:
    """The thread that hands on lived forever, and the program with it, deaf."""
    stop = threading.Event()
    own = Listener(Broker("127.0.0.1", 1, "deaf"), tmp_path, every_s=0.1, stop=stop)

    def full(spool: Spool) -> None:
        raise sqlite3.OperationalError(f"database or disk is full ({code})")

    def hand_on() -> None:
        stop.wait(20.0)

    monkeypatch.setattr(own, "_hand_on", hand_on)
    monkeypatch.setattr(own, "_enter", lambda is_first: True)
    monkeypatch.setattr(own, "_turn", lambda: own._settle() or True)
    monkeypatch.setattr(listener.Spool, "keep", full)
    with pytest.raises(sqlite3.OperationalError, match="full"):
        own.run()
    assert stop.is_set()
    assert not any(thread.name == "handing on" for thread in threading.enumerate())
