from django.apps import AppConfig


class CompetitionsConfig(AppConfig):
    name = "competitions"
    verbose_name = "Competitions, classes, sheets and results"
