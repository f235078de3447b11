from django.apps import AppConfig


class WasteConfig(AppConfig):
    name = "regenplant.waste"
    label = "waste"

    def ready(self) -> None:
        # Registers the use cases of this app and how they read in the log.
        import regenplant.waste.services
        import regenplant.waste.verification  # noqa: F401
        from regenplant.audit import locks
        from regenplant.batches import drained
        from regenplant.waste.services._drains import keep_drain

        drained.tell(keep_drain)
        locks.declare(locks.Lock("waste_wastemovement"), locks.Lock("waste_stepdrain"))
