from django.apps import AppConfig


class QualityConfig(AppConfig):
    name = "regenplant.quality"
    label = "quality"

    def ready(self) -> None:
        # Registers the use cases of this app and how they read in the log.
        import regenplant.quality.services
        import regenplant.quality.verification
        import regenplant.quality.verification_versions
        import regenplant.quality.verification_ways  # noqa: F401
        from regenplant.audit import classes, locks
        from regenplant.batches import reopened
        from regenplant.quality import guards as held_against
        from regenplant.quality import retained, ways
        from regenplant.quality.classes import FINDERS
        from regenplant.quality.standing import against_shipping, is_open_for_correction
        from regenplant.tanks import guards

        for argument, finder in FINDERS.items():
            classes.class_by(argument, finder)

        guards.register("quality", against_shipping)
        held_against.register("retained_sample", retained.against_release)
        held_against.register("downgrade", ways.against_release)
        reopened.ask(is_open_for_correction)
        locks.declare(
            locks.Lock("quality_qcmeasurement"),
            locks.Lock("quality_qcdecision"),
            locks.Lock("quality_recordreopening"),
            locks.Lock("quality_recordreview"),
            locks.Lock("quality_release"),
            locks.Lock("quality_rinsecontinuation"),
            locks.Lock("quality_reworkproposal"),
            locks.Lock("quality_downgrade"),
            locks.Lock("quality_downgradeorder"),
            locks.Lock("quality_retainedsample"),
            locks.Lock("quality_samplediscard"),
        )
