from django.apps import AppConfig


class PlantConfig(AppConfig):
    name = "regenplant.plant"
    label = "plant"

    def ready(self) -> None:
        # Registers the use cases of this app and how they read in the log.
        import regenplant.plant.services  # noqa: F401
