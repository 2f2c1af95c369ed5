from django.apps import AppConfig


class RidersConfig(AppConfig):
    name = "riders"
    verbose_name = "Riders, horses, associations and the ledger"
