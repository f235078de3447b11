from django.apps import AppConfig


class PlanningConfig(AppConfig):
    name = "regenplant.planning"
    label = "planning"
