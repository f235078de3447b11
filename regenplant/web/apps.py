from django.apps import AppConfig


class WebConfig(AppConfig):
    name = "regenplant.web"
    label = "web"
