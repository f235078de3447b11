"""One client of the broker that loses nothing: it acknowledges a message after the message is on disk, and not before.

The session at the broker is persistent (no clean session, a name of its own), so the broker keeps what it could not deliver. The
thread that listens never waits for the plant's database; another one hands on what is spooled.
"""

from __future__ import annotations

import logging
import ssl
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
from django.db import DatabaseError, InterfaceError, close_old_connections, connection
from django.utils import timezone
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode

from regenplant.web.api.listening import handing_on
from regenplant.web.api.listening.spool import Spool, opened
from regenplant.web.failing import is_away

log = logging.getLogger("regenplant.meters")
QOS = 1
KEEP_ALIVE_S = 30
IDLE_S, BUSY_S = 0.5, 0.002
"""How long to wait for the next message: with nothing in hand, and while some wait to be made safe together."""
MOST_TOGETHER = 200
"""Messages made safe with one write to the disk."""
SLOWEST_S = 0.2
"""No message waits longer than this to be made safe."""
RECONNECT_S = (1.0, 30.0)
TOPICS_EVERY_S = 5.0
WRONG_CREDENTIALS = (134, 135)
"""Reasons of the protocol: bad user name or password, not authorized."""


class BrokerRefused(RuntimeError):
    """The broker does not let this name and password in."""


class HandingOnEnded(RuntimeError):
    """The thread that hands messages on met a defect. All that arrived is in the spool."""


@dataclass(frozen=True, slots=True)
class Broker:
    """Where the broker is and how it is entered."""

    host: str
    port: int
    client_id: str
    user: str = ""
    password: str = ""
    with_tls: bool = False
    ca_file: str = ""


class Listener:
    """Listens until ``stop`` is set. ``every_s`` is how long messages are gathered before they are handed on together [s]."""

    def __init__(self, broker: Broker, folder: Path, *, every_s: float, stop: threading.Event):
        self._broker, self._folder, self._every_s, self._stop = broker, folder, every_s, stop
        self._client = _client(broker)
        self._client.on_connect = self._connected
        self._client.on_disconnect = self._disconnected
        self._client.on_message = self._arrived
        self._unacknowledged: list[int] = []
        self._oldest_s = 0.0
        self._arrived_now = 0
        self._subscribed: frozenset[str] | None = None
        self._wanted: frozenset[str] | None = None
        """None until the open feeds were asked for, where nothing is remembered of them."""
        self._refusal = ""
        self._ended_well = False
        self.arrived = 0
        """Messages since the start, repeated ones included."""

    def run(self) -> None:
        """Raises: BrokerRefused, HandingOnEnded."""
        with opened(self._folder) as spool:
            self._spool = spool
            self._wanted = spool.topics() or None
            worker = threading.Thread(target=self._hand_on, name="handing on")
            worker.start()
            try:
                self._listen(worker)
            finally:
                self._stop.set()  # first: where the spool cannot be written, nothing may go on half
                try:
                    self._settle()
                    self._client.disconnect()
                finally:
                    worker.join()
        if not self._ended_well:
            raise HandingOnEnded("What hands readings on has ended by a defect; its trace stands above.")

    # --- the broker -----------------------------------------------------------------------------------------------------
    def _listen(self, worker: threading.Thread) -> None:
        wait_s = RECONNECT_S[0]
        is_first = True
        while not self._stop.is_set() and worker.is_alive():
            if not self._enter(is_first):
                self._stop.wait(wait_s)
                wait_s = min(2 * wait_s, RECONNECT_S[1])
                continue
            is_first, wait_s = False, RECONNECT_S[0]
            while self._turn():
                if self._stop.is_set() or not worker.is_alive():
                    return
            self._unacknowledged.clear()  # these belong to the connection that is gone; the broker sends them again
            self._spool.keep()
            if self._refusal:
                raise BrokerRefused(self._refusal)

    def _enter(self, is_first: bool) -> bool:
        try:
            if is_first:
                self._client.connect(self._broker.host, self._broker.port, KEEP_ALIVE_S)
            else:
                self._client.reconnect()
        except (OSError, ssl.SSLError) as error:
            log.warning(
                "The broker at %s:%s does not answer (%s).", self._broker.host, self._broker.port, error
            )
            return False
        return True

    def _turn(self) -> bool:
        """One look at the broker; False when the connection is gone."""
        self._arrived_now = 0
        code = self._client.loop(BUSY_S if self._unacknowledged else IDLE_S)
        if code != MQTTErrorCode.MQTT_ERR_SUCCESS:
            return False
        many = len(self._unacknowledged) >= MOST_TOGETHER
        old = time.monotonic() - self._oldest_s > SLOWEST_S
        if self._unacknowledged and (many or old or not self._arrived_now):
            self._settle()
        if self._client.is_connected():
            self._subscribe()
        return True

    def _settle(self) -> None:
        """First safe on disk, then acknowledged."""
        self._spool.keep()
        for number in self._unacknowledged:
            self._client.ack(number, QOS)
        self._unacknowledged.clear()

    def _arrived(self, client: mqtt.Client, _: Any, message: mqtt.MQTTMessage) -> None:
        self._spool.put(message.topic, bytes(message.payload), timezone.now())
        if not self._unacknowledged:
            self._oldest_s = time.monotonic()
        if message.qos == QOS:
            self._unacknowledged.append(message.mid)
        else:
            self._spool.keep()
        self._arrived_now += 1
        self.arrived += 1

    def _connected(self, client: mqtt.Client, _: Any, flags: Any, reason: Any, properties: Any) -> None:
        if reason.is_failure and reason.value not in WRONG_CREDENTIALS:
            log.warning("The broker is not ready (%s).", reason)
            return
        if reason.is_failure:
            self._refusal = (
                f"The broker at {self._broker.host}:{self._broker.port} lets nobody in as "
                f"“{self._broker.user or 'anonymous'}”: {reason}."
            )
            return
        self._subscribed = None
        log.info(
            "Listening at %s:%s%s.",
            self._broker.host,
            self._broker.port,
            ", where messages waited" if flags.session_present else "",
        )

    def _disconnected(self, client: mqtt.Client, _: Any, flags: Any, reason: Any, properties: Any) -> None:
        if not self._stop.is_set():
            log.warning("The broker is gone (%s). What it keeps for us comes when it is back.", reason)

    def _subscribe(self) -> None:
        """Bring the subscriptions to what the open feeds want; asked again after each connection."""
        wanted = self._wanted
        if wanted is None or wanted == self._subscribed:
            return
        before = self._subscribed or frozenset()
        for gone in sorted((before | self._spool.topics()) - wanted):
            self._client.unsubscribe(gone)
        if new := sorted(wanted - before):
            self._client.subscribe([(topic, QOS) for topic in new])
        self._subscribed = wanted
        self._spool.keep()
        self._spool.set_topics(wanted)
        log.info("Topics: %s.", ", ".join(sorted(wanted)) or "none; no open meter feed has one")

    # --- the record -----------------------------------------------------------------------------------------------------
    def _hand_on(self) -> None:
        try:
            with opened(self._folder) as spool:
                self._hand_on_until_stopped(spool)
            self._ended_well = True
        finally:
            connection.close()

    def _hand_on_until_stopped(self, spool: Spool) -> None:
        looked_s = -TOPICS_EVERY_S
        while not self._stop.is_set():
            close_old_connections()
            if time.monotonic() - looked_s >= TOPICS_EVERY_S:
                looked_s = time.monotonic()
                self._look_for_topics()
            counts = handing_on.hand_on(spool)
            if counts.messages:
                log.info(
                    "%s messages: %s readings kept, %s known already, %s messages refused.",
                    counts.messages,
                    counts.kept,
                    counts.known_already,
                    counts.refused,
                )
            if counts.is_held_up or counts.messages < handing_on.MOST_MESSAGES:
                self._stop.wait(self._every_s)

    def _look_for_topics(self) -> None:
        try:
            self._wanted = handing_on.topics()
        except (DatabaseError, InterfaceError) as error:
            if not is_away(error):
                raise
            log.warning("The database does not answer; listening goes on with the topics known before.")
            connection.close()


def _client(broker: Broker) -> mqtt.Client:
    client = mqtt.Client(
        CallbackAPIVersion.VERSION2,
        client_id=broker.client_id,
        clean_session=False,
        protocol=mqtt.MQTTv311,
        manual_ack=True,
    )
    if broker.user:
        client.username_pw_set(broker.user, broker.password or None)
    if broker.with_tls:
        client.tls_set(ca_certs=broker.ca_file or None)
    return client
