from django.apps import AppConfig


class PlantConfig(AppConfig):
    name = "regenplant.plant"
    label = "plant"

    def ready(self) -> None:
        # Registers the use cases of this app and how they read in the log.
        import regenplant.plant.services
        import regenplant.plant.verification  # noqa: F401
        from regenplant.audit import limits, locks
        from regenplant.audit.version_model import FROZEN
        from regenplant.plant.limits import record_limits

        limits.ask(record_limits)
        locks.declare(
            locks.Lock("plant_terminal", columns=("key",)),
            locks.Lock("plant_calibration"),
            locks.Lock("plant_calibrationpoint"),
            locks.Lock("plant_outofservice"),
            locks.Lock("plant_sitedetermination"),
            locks.Lock("plant_impactlook"),
            locks.Lock(
                "plant_meterfeed",
                columns=("code", "instrument_id", "account_id", "registered_by_id", "registered_at"),
            ),
        )
        locks.declare(
            locks.Lock("plant_limitsversion", when="OLD.state <> 'draft'", columns=FROZEN),
            locks.Lock("plant_permitversion", when="OLD.state <> 'draft'", columns=FROZEN),
            locks.Lock("plant_draintableversion", when="OLD.state <> 'draft'", columns=FROZEN),
        )
