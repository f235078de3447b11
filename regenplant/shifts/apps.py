from django.apps import AppConfig


class ShiftsConfig(AppConfig):
    name = "regenplant.shifts"
    label = "shifts"

    def ready(self) -> None:
        # Registers the use cases of this app and how they read in the log.
        import regenplant.shifts.services
        import regenplant.shifts.verification  # noqa: F401
        from regenplant.audit import locks

        locks.declare(
            locks.Lock("shifts_handover", when="OLD.state = 'taken'"),
            locks.Lock("shifts_handoveritem", when="OLD.closed_at IS NOT NULL"),
        )
