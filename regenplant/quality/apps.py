from django.apps import AppConfig


class QualityConfig(AppConfig):
    name = "regenplant.quality"
    label = "quality"

    def ready(self) -> None:
        # Registers the use cases of this app and how they read in the log.
        import regenplant.quality.services
        import regenplant.quality.verification
        import regenplant.quality.verification_versions  # noqa: F401
        from regenplant.audit import classes, locks
        from regenplant.batches import reopened
        from regenplant.quality.classes import FINDERS
        from regenplant.quality.standing import against_shipping, is_open_for_correction
        from regenplant.tanks import guards

        for argument, finder in FINDERS.items():
            classes.class_by(argument, finder)

        guards.register("quality", against_shipping)
        reopened.ask(is_open_for_correction)
        locks.declare(
            locks.Lock("quality_qcmeasurement"),
            locks.Lock("quality_qcdecision"),
            locks.Lock("quality_recordreopening"),
            locks.Lock("quality_recordreview"),
            locks.Lock("quality_release"),
        )
