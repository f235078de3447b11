from django.apps import AppConfig


class ResinsConfig(AppConfig):
    name = "regenplant.resins"
    label = "resins"

    def ready(self) -> None:
        # Registers the use cases of this app and how they read in the log.
        import regenplant.resins.services
        import regenplant.resins.verification  # noqa: F401
