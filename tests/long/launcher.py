"""Loads the program once and forks from it: a server to be killed, a preparation, a check. Spoken to in lines of JSON.

    python -m tests.long.launcher        (settings and database from the environment)

Each question is one line on standard input and gets one line of JSON. A server is a child of its own: the process that is
killed holds all its threads, connections and half-done acts. Everything else runs in a child too, so that this process
never opens a connection that its children would share. It ends, and ends its servers, when its input is closed.
"""

from __future__ import annotations

import json
import os
import signal
import socket
import sys
import time
import traceback
from collections.abc import Callable
from importlib import import_module
from typing import Any

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.long.settings")


def main() -> None:
    import django

    django.setup()
    import_module("tests.long.checks")
    import_module("regenplant.urls")
    # last: it takes what is loaded out of the collector's sight, and a server holds no tests
    import_module("regenplant.wsgi")
    _say({"ready": True})
    servers: set[int] = set()
    for line in sys.stdin:
        asked = json.loads(line)
        match asked.pop("do"):
            case "serve":
                pid, port = _serve(asked["threads"])
                servers.add(pid)
                _say({"pid": pid, "port": port})
            case "wait":
                # after the kill: until the system has taken the process away
                os.waitpid(asked["pid"], 0)
                servers.discard(asked["pid"])
                _say({"ended": asked["pid"]})
            case "call":
                _say(_in_a_child(lambda wanted=asked: _call(wanted)))
            case "together":
                _say({"result": _together(asked["calls"])})
    for pid in servers:
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)


def _say(answer: dict[str, Any]) -> None:
    print(json.dumps(answer), flush=True)


def _serve(threads: int) -> tuple[int, int]:
    """Fork a server as the program ships it (waitress); returns its process and its port."""
    door = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    door.bind(("127.0.0.1", 0))
    door.listen(128)  # from now on who knocks waits until the server is up
    port = door.getsockname()[1]
    pid = os.fork()
    if pid == 0:
        _as_child(lambda: _run_server(door, threads))
    door.close()  # here; else connections would be taken on behalf of a dead server
    return pid, port


def _run_server(door: socket.socket, threads: int) -> None:
    from waitress.server import create_server

    from regenplant.wsgi import application

    create_server(application, sockets=[door], threads=threads, ident="regenplant").run()


def _as_child(work: Callable[[], None]) -> None:
    """Run the rest of this child's life; what goes wrong stands in the log of the launcher."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    os.close(0)
    code = 1
    try:
        work()
        code = 0
    finally:
        if code:
            traceback.print_exc()
        sys.stderr.flush()
        os._exit(code)


def _in_a_child(work: Callable[[], Any]) -> dict[str, Any]:
    """The result of ``work``, done in a child."""
    pid, answer = _begin(work)
    return _end(pid, answer)


def _begin(work: Callable[[], Any]) -> tuple[int, int]:
    reading, writing = os.pipe()
    pid = os.fork()
    if pid == 0:
        os.close(reading)

        def tell() -> None:
            with os.fdopen(writing, "w") as out:
                json.dump(work(), out)

        _as_child(tell)
    os.close(writing)
    return pid, reading


def _end(pid: int, reading: int) -> dict[str, Any]:
    with os.fdopen(reading) as told:
        text = told.read()
    _, status = os.waitpid(pid, 0)
    return {"result": json.loads(text)} if status == 0 else {"failed": f"a child ended with {status}"}


def _call(asked: dict[str, Any]) -> Any:
    """Call "module:function" with its arguments, once the database answers (after a crash it recovers first)."""
    from django.db import OperationalError, connection

    for turn in range(300):
        try:
            connection.ensure_connection()
            break
        except OperationalError:
            if turn == 299:
                raise
            time.sleep(0.1)
    module, _, name = asked["what"].partition(":")
    return getattr(import_module(module), name)(**asked["arguments"])


def _together(calls: list[dict[str, Any]]) -> list[Any]:
    """Several calls at once, each in a child of its own."""
    begun = [_begin(lambda wanted=call: _call(wanted)) for call in calls]
    ended = [_end(pid, reading) for pid, reading in begun]
    return [one.get("result", one) for one in ended]


if __name__ == "__main__":
    main()
