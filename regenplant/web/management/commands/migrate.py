"""The framework's migrate. It makes the locks of the database anew, so it is not stopped by the check that misses them."""

from __future__ import annotations

from typing import Any

from django.core.management.commands import migrate

from regenplant.audit.checks import locks_are_made_anew


class Command(migrate.Command):
    def check(self, *args: Any, **kwargs: Any) -> None:
        with locks_are_made_anew():
            super().check(*args, **kwargs)
