"""The listener as a process of its own on the database of the test, and a meter that publishes."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any
from urllib.parse import quote

import paho.mqtt.client as mqtt
from django.db import connection
from paho.mqtt.enums import CallbackAPIVersion

from tests.meters.broker import LISTENER, METER, Broker

ROOT = Path(__file__).resolve().parents[2]
WAIT_S = 60.0


def url_of_the_test_database() -> str:
    """The database of this test, as another process names it."""
    own = connection.settings_dict
    if connection.vendor == "sqlite":
        return f"sqlite:///{own['NAME']}"
    host, port = str(own["HOST"]), str(own["PORT"])
    query = f"?host={quote(host)}" if host.startswith("/") else ""
    place = f"{'' if query else host}{f':{port}' if port else ''}"
    return f"postgresql://{quote(own['USER'])}:{quote(own['PASSWORD'])}@{place}/{quote(own['NAME'])}{query}"


def until(is_so: Callable[[], bool], what: str | Callable[[], str], within_s: float = WAIT_S) -> None:
    """Wait until something is so; ``what`` is told when it is not."""
    end = time.monotonic() + within_s
    while time.monotonic() < end:
        if is_so():
            return
        time.sleep(0.05)
    raise AssertionError(f"not within {within_s:g} s: {what if isinstance(what, str) else what()}")


class Listening:
    """``manage.py listen_to_meters`` with the spool in ``folder``, which is made where it is missing."""

    def __init__(self, folder: Path, broker: Broker, *, database: str = ""):
        folder.mkdir(exist_ok=True)
        self.folder, self._broker = folder, broker
        self._database = database or url_of_the_test_database()
        self._process: subprocess.Popen[Any] | None = None
        self.log = folder / "listener.log"

    def environ(self, *, password: str = LISTENER[1]) -> dict[str, str]:
        kept = {name: value for name, value in os.environ.items() if not name.startswith("REGENPLANT_")}
        return {
            **kept,
            "DJANGO_SETTINGS_MODULE": "regenplant.settings",
            "DATABASE_URL": self._database,
            "REGENPLANT_DATA": str(self.folder),
            "REGENPLANT_SECRET_KEY": "a key that only the tests know and that keeps nothing secret",
            "REGENPLANT_MQTT_USER": LISTENER[0],
            "REGENPLANT_MQTT_PASSWORD": password,
        }

    def command(self, *more: str) -> list[str]:
        return [sys.executable, "manage.py", "listen_to_meters", *more]

    def start(self, *, every_s: float = 0.2) -> None:
        self._process = subprocess.Popen(
            self.command("--broker", f"127.0.0.1:{self._broker.port}", "--every", str(every_s)),
            cwd=ROOT,
            env=self.environ(),
            stdout=self.log.open("a"),
            stderr=subprocess.STDOUT,
        )

    def is_running(self) -> bool:
        return self._process is not None and self._process.poll() is None

    def until_it_listens(self) -> None:
        """Wait for its subscriptions, once more than it said so before."""
        until(lambda: "Topics: " in self.words(), lambda: f"the listener subscribes\n{self.words()}")

    def words(self) -> str:
        return self.log.read_text("utf-8") if self.log.exists() else ""

    def forget_words(self) -> None:
        self.log.write_text("")

    def kill(self) -> None:
        assert self._process is not None
        self._process.kill()
        self._process.wait(WAIT_S)

    def stop(self) -> int:
        """End it politely; what it answers."""
        if self._process is None or self._process.poll() is not None:
            return self._process.returncode if self._process else 0
        self._process.send_signal(signal.SIGTERM)
        return int(self._process.wait(WAIT_S))

    def told(self, *more: str) -> str:
        """What the command says when it is asked for something else."""
        done = subprocess.run(
            self.command(*more),
            cwd=ROOT,
            env=self.environ(),
            capture_output=True,
            text=True,
            timeout=WAIT_S,
            check=False,
        )
        return done.stdout + done.stderr


class PublishingMeter:
    """A meter that holds on to a message until the broker has it, through restarts of the broker."""

    def __init__(self, broker: Broker, topic: str):
        self._broker, self.topic = broker, topic

    def publish(self, messages: Iterable[Any], *, pause_s: float = 0.0) -> None:
        """Send each message with quality of service 1 and wait until the broker confirmed all of them."""
        client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="meter under test", clean_session=False)
        client.username_pw_set(*METER)
        client.reconnect_delay_set(1, 1)
        confirmed: set[int] = set()
        client.on_publish = lambda client, data, number, reason, properties: confirmed.add(number)
        client.connect("127.0.0.1", self._broker.port)
        client.loop_start()
        try:
            sent = set()
            for message in messages:
                text = message if isinstance(message, (str, bytes)) else json.dumps(message)
                sent.add(client.publish(self.topic, text, qos=1).mid)
                if pause_s:
                    time.sleep(pause_s)
            until(
                lambda: sent <= confirmed,
                lambda: f"the broker confirms {len(sent - confirmed)} more messages",
            )
        finally:
            client.disconnect()
            client.loop_stop()
