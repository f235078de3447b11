"""The demonstration with one command: make the database, load the story, serve it, say where to open it and as whom."""

from __future__ import annotations

import errno
import signal
import socket
from pathlib import Path
from types import FrameType
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connection, transaction
from waitress import create_server

from regenplant.people.models import Person
from regenplant.people.selectors import demo_people
from regenplant.web.application import ready_application
from regenplant.web.story.cast import FIRST_ADMINISTRATOR
from regenplant.web.story.password import PASSWORD

LOOPBACK = ("127.0.0.1", "localhost", "::1")


class Command(BaseCommand):
    help = "Make everything ready, load the demonstration story into its own database, and serve it. Ctrl-C ends it."
    requires_migrations_checks = False

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", type=_port, default=8000, help="the port to serve on (8000)")
        parser.add_argument(
            "--host", default="127.0.0.1", help="the address to serve on; 0.0.0.0 for the whole network"
        )
        parser.add_argument(
            "--anew",
            action="store_true",
            help="forget the demonstration of before and begin again, up to now",
        )
        parser.add_argument(
            "--prepare", action="store_true", help="make everything ready, then end without serving"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if not settings.DEMO:
            raise CommandError("The demonstration is not switched on. Start it as: python manage.py demo")
        host, port = options["host"], options["port"]
        door = None if options["prepare"] else _open_door(host, port)
        if options["anew"]:
            self._forget()
        self._prepare()
        if door is None:
            return
        self._welcome(host, port)
        self._serve(door, host)

    def _prepare(self) -> None:
        self.stdout.write("Making the database …")
        call_command("migrate", verbosity=0)
        people = demo_people()
        if not people:
            self.stdout.write("Loading the story …")
            with transaction.atomic():  # the whole story or none of it, whatever interrupts
                call_command("load_story", stdout=self.stdout)
        elif not any(person.username == FIRST_ADMINISTRATOR for person in people):
            raise CommandError(
                f"The database {connection.settings_dict['NAME']} holds a plant's own records. The demonstration is never mixed with "
                "them: start it without DATABASE_URL and REGENPLANT_DATA, and it uses a database of its own."
            )
        else:
            self.stdout.write(
                "The demonstration of before goes on. Begin again, up to now, with: python manage.py demo --anew"
            )

    def _forget(self) -> None:
        if connection.vendor != "sqlite":
            raise CommandError(
                "Only the demonstration's own SQLite file is begun anew. Empty another database yourself."
            )
        path = Path(connection.settings_dict["NAME"])
        has_tables = path.exists() and "people_person" in connection.introspection.table_names()
        is_of_demo = (
            not has_tables
            or Person.objects.filter(username=FIRST_ADMINISTRATOR).exists()
            or not Person.objects.exists()
        )
        connection.close()
        if not is_of_demo:
            raise CommandError(f"{path} holds a plant's own records and is left as it is.")
        for ending in ("", "-wal", "-shm"):
            path.with_name(path.name + ending).unlink(missing_ok=True)

    def _welcome(self, host: str, port: int) -> None:
        address = (
            "127.0.0.1" if host in LOOPBACK else socket.gethostname() if host in ("0.0.0.0", "::") else host
        )
        self.stdout.write(f"\nOpen  http://{address}:{port}/\n")
        self.stdout.write(f"Sign in as one of these; everybody's password is: {PASSWORD}\n")
        for person in demo_people():
            self.stdout.write(
                f"  {person.username:<10} {person.full_name:<22} {', '.join(person.role_names())}"
            )
        if host not in LOOPBACK:
            self.stdout.write(
                "\nEverybody in this network can open it. Nothing in it is real; keep it that way."
            )
        self.stdout.write("\nCtrl-C ends it.")
        self.stdout.flush()

    def _serve(self, door: socket.socket, host: str) -> None:
        if host not in LOOPBACK:
            settings.ALLOWED_HOSTS += [host, socket.gethostname(), *_own_addresses()]
        signal.signal(signal.SIGTERM, _end)
        server = create_server(ready_application(), sockets=[door], threads=8, ident="regenplant")
        # Waitress ends its loop at KeyboardInterrupt and SystemExit, after closing what is open.
        server.run()
        server.close()
        self.stdout.write("The demonstration has ended. Its records are kept for the next time.")


def _port(text: str) -> int:
    number = int(text)
    if not 1 <= number <= 65535:
        raise ValueError("a port lies between 1 and 65535")
    return number


def _open_door(host: str, port: int) -> socket.socket:
    """Take the port before anything else is done, so that a taken one is said at once."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    door = socket.socket(family, socket.SOCK_STREAM)
    door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        door.bind((host, port))
    except OSError as error:
        door.close()
        raise CommandError(_why_not(error, host, port)) from error
    return door


def _why_not(error: OSError, host: str, port: int) -> str:
    if error.errno == errno.EADDRINUSE:
        return f"Port {port} on {host} is taken by another program. Choose another: python manage.py demo --port {port + 1}"
    if error.errno == errno.EACCES:
        return (
            f"This account may not open port {port}. Choose one above 1023: python manage.py demo --port 8000"
        )
    return f"{host} is no address of this machine ({error.strerror or error}). Leave --host out, or give one of its own."


def _own_addresses() -> list[str]:
    try:
        return socket.gethostbyname_ex(socket.gethostname())[2]
    except OSError:
        return []


def _end(number: int, frame: FrameType | None) -> None:
    raise SystemExit(0)
