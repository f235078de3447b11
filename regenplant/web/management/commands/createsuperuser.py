"""The framework's own way to add a person would leave no record of it, so it is closed."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError


class Command(BaseCommand):
    help = "Closed. The first person is added by first_administrator, all others by an administrator on the Set-up pages."

    def handle(self, *args: Any, **options: Any) -> None:
        raise CommandError(
            "People are added by a named act: the first by manage.py first_administrator, all others by an administrator."
        )
