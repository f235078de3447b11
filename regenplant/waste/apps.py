from django.apps import AppConfig


class WasteConfig(AppConfig):
    name = "regenplant.waste"
    label = "waste"

    def ready(self) -> None:
        # Registers the use cases of this app and how they read in the log.
        import regenplant.waste.discharge_verification
        import regenplant.waste.services
        import regenplant.waste.verification  # noqa: F401
        from regenplant.audit import locks
        from regenplant.batches import drained
        from regenplant.plant import handed_on, sewer_day
        from regenplant.waste.handed_on import sewer_section
        from regenplant.waste.services._correcting import follow_entry
        from regenplant.waste.services._drains import keep_drain
        from regenplant.waste.sewer_day import day_at

        drained.tell(keep_drain)
        drained.tell_corrected(follow_entry)
        sewer_day.tell(day_at)
        handed_on.register("sewer", sewer_section)

        locks.declare(
            locks.Lock("waste_wastemovement"),
            locks.Lock("waste_stepdrain"),
            locks.Lock("waste_discharge", when="OLD.state IN ('closed', 'given_up')"),
            locks.Lock("waste_dischargereading"),
            locks.Lock("waste_excursion", when="OLD.closed_at IS NOT NULL"),
            locks.Lock("waste_excursionfollowup"),
            locks.Lock("waste_dischargereport"),
        )
