from django.apps import AppConfig


class QualityConfig(AppConfig):
    name = "regenplant.quality"
    label = "quality"

    def ready(self) -> None:
        # Registers the use cases of this app and how they read in the log.
        import regenplant.quality.services  # noqa: F401
        from regenplant.audit import locks

        locks.declare(
            locks.Lock("quality_qcmeasurement"),
            locks.Lock("quality_qcdecision"),
            locks.Lock("quality_release"),
        )
