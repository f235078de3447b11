from typing import Any

from django.apps import AppConfig
from django.db.models.signals import post_migrate, pre_migrate


def _take_off_locks(**kwargs: Any) -> None:
    """Before migrations that change something: triggers would refuse their writes and their changes of columns."""
    from regenplant.audit import locks

    if kwargs.get("plan"):
        locks.remove()


def _install_locks(**kwargs: Any) -> None:
    from regenplant.audit import locks

    locks.install()


class AuditConfig(AppConfig):
    name = "regenplant.audit"
    label = "audit"

    def ready(self) -> None:
        import regenplant.audit.services
        import regenplant.audit.verifying.own  # noqa: F401
        from regenplant.audit import checks, locks, same_file  # noqa: F401

        locks.declare(
            locks.Lock("audit_auditevent"), locks.Lock("audit_eventsubject"), locks.Lock("audit_rowshape")
        )
        pre_migrate.connect(_take_off_locks, sender=self, dispatch_uid="take-off-locks")
        # After all migrations of all apps have run: triggers are made from the declared lists.
        post_migrate.connect(_install_locks, sender=self, dispatch_uid="install-locks")
