from django.apps import AppConfig


class WebConfig(AppConfig):
    name = "regenplant.web"
    label = "web"

    def ready(self) -> None:
        # What meters sent is read again when the record is verified.
        from regenplant.web.api import received

        received.register()
