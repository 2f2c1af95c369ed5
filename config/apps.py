from django.apps import AppConfig


class ConfigConfig(AppConfig):
    """The house itself as an app, so that its management commands are found."""

    name = "config"
    label = "house"
