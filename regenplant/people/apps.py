from django.apps import AppConfig


class PeopleConfig(AppConfig):
    name = "regenplant.people"
    label = "people"

    def ready(self) -> None:
        # Registers the use cases of this app and how they read in the log.
        import regenplant.people.services
        import regenplant.people.signing
        import regenplant.people.verification  # noqa: F401
        from regenplant.audit import locks, sealed
        from regenplant.audit.version_model import FROZEN

        sealed.leave_out_columns(
            "people_person", "last_login", why="written by every sign-in, and no act of anybody"
        )
        locks.declare(
            locks.Lock("people_signature"),
            locks.Lock("people_person", columns=("id", "username", "is_shared", "is_device")),
            locks.Lock("people_authorityversion", when="OLD.state <> 'draft'", columns=FROZEN),
            locks.Lock(
                "people_alert",
                columns=("kind", "person_id", "sentence", "terminal", "raised_at"),
            ),
        )
