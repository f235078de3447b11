from django.apps import AppConfig


class UseConfig(AppConfig):
    name = "regenplant.use"
    label = "use"

    def ready(self) -> None:
        # Registers the use cases of this app and how they read in the log.
        import regenplant.use.services
        import regenplant.use.verification  # noqa: F401
        from regenplant.audit import locks, sealed
        from regenplant.batches import taken
        from regenplant.chemicals import moved
        from regenplant.use.services._rows import renew, renew_numbered

        taken.tell(renew)
        moved.tell(renew_numbered)
        for table in ("use_userow", "use_useshare", "use_usemonth"):
            sealed.leave_out(table, why="derived from plan and ledger, and written anew at any time")
        locks.declare(
            locks.Lock("use_watchlevels"),
            locks.Lock("use_measurelevel"),
            locks.Lock("use_chemicalprice"),
            locks.Lock("use_usereport"),
        )
