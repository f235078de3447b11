from django.apps import AppConfig


class PeopleConfig(AppConfig):
    name = "regenplant.people"
    label = "people"

    def ready(self) -> None:
        # Registers the use cases of this app and how they read in the log.
        import regenplant.people.services  # noqa: F401
        from regenplant.audit import locks

        locks.declare(locks.Lock("people_signature"), locks.Lock("people_person", columns=("id", "username")))
