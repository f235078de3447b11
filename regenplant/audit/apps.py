from typing import Any

from django.apps import AppConfig
from django.db.models.signals import post_migrate


def _install_locks(**kwargs: Any) -> None:
    from regenplant.audit import locks

    locks.install()


class AuditConfig(AppConfig):
    name = "regenplant.audit"
    label = "audit"

    def ready(self) -> None:
        from regenplant.audit import checks, locks  # noqa: F401

        locks.declare(locks.Lock("audit_auditevent"))
        # After all migrations of all apps have run: triggers are made from the declared list.
        post_migrate.connect(_install_locks, sender=self, dispatch_uid="install-locks")
