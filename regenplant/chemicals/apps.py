from django.apps import AppConfig


class ChemicalsConfig(AppConfig):
    name = "regenplant.chemicals"
    label = "chemicals"

    def ready(self) -> None:
        # Registers the use cases of this app and how they read in the log.
        import regenplant.chemicals.services  # noqa: F401
        from regenplant.audit import locks

        locks.declare(
            locks.Lock("chemicals_movement"),
            locks.Lock("chemicals_strengthcheck"),
            locks.Lock(
                "chemicals_chemicallot",
                columns=("code", "chemical", "certificate_strength_frac", "supplier_lot"),
            ),
        )
