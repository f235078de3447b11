"""Listen to in-line meters over MQTT and keep their readings. Runs until it is told to stop."""

from __future__ import annotations

import signal
import threading
from pathlib import Path
from types import FrameType
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from regenplant.web.api.listening.listener import Broker, BrokerRefused, Listener
from regenplant.web.api.listening.spool import AlreadyListening, OnlyListener, is_there, opened

PASSWORD = "REGENPLANT_MQTT_PASSWORD"
PASSWORD_FILE = "REGENPLANT_MQTT_PASSWORD_FILE"
PLAIN_PORT, TLS_PORT = 1883, 8883
SHOWN_CHARACTERS = 300
LOOPBACK = ("127.0.0.1", "localhost", "::1")


class Command(BaseCommand):
    help = (
        "Listen to the topics of the meter feeds at an MQTT broker. Each message is on disk before the broker hears that it arrived; "
        f"then its readings go into the record. The broker's password comes from {PASSWORD} or the file named in "
        f"{PASSWORD_FILE}, never from the command line. It informs; it drives nothing. SIGTERM or Ctrl-C ends it."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--broker", default=settings.MQTT_BROKER, help="host of the broker, or host:port")
        parser.add_argument("--port", type=int, help=f"{PLAIN_PORT}, or {TLS_PORT} with TLS")
        parser.add_argument(
            "--tls",
            action="store_true",
            default=settings.MQTT_TLS,
            help="speak TLS",
        )
        parser.add_argument(
            "--ca-file",
            default=settings.MQTT_CA_FILE,
            help="certificates to trust; the machine's own without",
        )
        parser.add_argument("--user", default=settings.MQTT_USER, help="name at the broker")
        parser.add_argument(
            "--client-id",
            default=settings.MQTT_CLIENT_ID,
            help="name of the session that the broker keeps; of its own for each plant",
        )
        parser.add_argument(
            "--every",
            type=float,
            default=5.0,
            help="seconds over which messages are gathered into one packet (5)",
        )
        parser.add_argument(
            "--show-refused", action="store_true", help="list what was refused and why, then end"
        )
        parser.add_argument(
            "--try-again",
            action="store_true",
            help="let what was refused wait to be taken once more, then end",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        folder: Path = settings.DATA_DIR
        if options["show_refused"]:
            self._show_refused(folder)
            return
        if options["try_again"]:
            with opened(folder) as spool:
                self.stdout.write(f"{spool.take_up_again()} messages wait to be taken once more.")
            return
        broker = _broker(options)
        if not 0.1 <= options["every"] <= 60:
            raise CommandError(f"--every is {options['every']:g} s; possible is 0.1 to 60 s.")
        try:
            only = OnlyListener(folder)
        except AlreadyListening as error:
            raise CommandError(str(error)) from error
        stop = threading.Event()
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, _stopping(stop))
        if broker.password and not broker.with_tls and broker.host not in LOOPBACK:
            self.stderr.write(
                "Without --tls the password and all readings cross the network for anybody to read."
            )
        try:
            Listener(broker, folder, every_s=options["every"], stop=stop).run()
        except BrokerRefused as error:
            raise CommandError(f"{error} Look at --user and at {PASSWORD}.") from error
        finally:
            only.close()
        self.stdout.write("Stopped. What is in the spool is taken when it starts again.")

    def _show_refused(self, folder: Path) -> None:
        if not is_there(folder):
            self.stdout.write("Nothing was ever spooled here.")
            return
        with opened(folder) as spool:
            reasons, newest, waiting = spool.refused_by_reason(), spool.refused(20), spool.count_waiting()
        self.stdout.write(f"{waiting} messages wait, {sum(row[3] for row in reasons)} were refused.")
        for topic, code, why, number, first, last in reasons:
            self.stdout.write(
                f"\n{topic}: {number} × {code}, arrived {first:%Y-%m-%d %H:%M:%S} to {last:%Y-%m-%d %H:%M:%S} UTC\n  {why}"
            )
        if newest:
            self.stdout.write("\nThe newest of them, as they arrived:")
        for one in newest:
            text = one.payload.decode("utf-8", "backslashreplace")
            more = " …" if len(text) > SHOWN_CHARACTERS else ""
            self.stdout.write(
                f"  {one.id}  {one.arrived_at:%H:%M:%S}  {one.code}  {text[:SHOWN_CHARACTERS]!r}{more}"
            )


def _broker(options: dict[str, Any]) -> Broker:
    host, port = _host_and_port(str(options["broker"]).strip())
    if not host:
        raise CommandError("Which broker? Give --broker HOST, or set REGENPLANT_MQTT_BROKER.")
    with_tls = bool(options["tls"] or options["ca_file"])
    chosen = options["port"] or port or (TLS_PORT if with_tls else PLAIN_PORT)
    if not 1 <= chosen <= 65535:
        raise CommandError(f"The port is {chosen}; a port lies between 1 and 65535.")
    return Broker(
        host=host,
        port=chosen,
        client_id=options["client_id"],
        user=options["user"],
        password=_password(),
        with_tls=with_tls,
        ca_file=options["ca_file"],
    )


def _host_and_port(text: str) -> tuple[str, int]:
    """ "broker.plant:1884" in its two parts; port 0 where none is said. An IPv6 address has more colons and no port here."""
    host, colon, port = text.rpartition(":")
    if colon and port.isdigit() and ":" not in host:
        return host, int(port)
    return text, 0


def _password() -> str:
    """From the environment, or from a file that only its keeper reads."""
    named = settings.MQTT_PASSWORD_FILE
    if not named:
        return str(settings.MQTT_PASSWORD)
    try:
        return Path(named).read_text("utf-8").strip()
    except OSError as error:
        raise CommandError(
            f"{PASSWORD_FILE} names {named}, which cannot be read: {error.strerror}."
        ) from error


def _stopping(stop: threading.Event) -> Any:
    def end(number: int, frame: FrameType | None) -> None:
        stop.set()

    return end
