import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

app = Celery("markbook")
app.set_default()
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["riders", "competitions", "reports"])
