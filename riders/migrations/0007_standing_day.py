"""The day that rolling standings stand on; those of before are worked out anew by the sweep."""

from django.db import migrations, models


def have_rolling_seasons_worked_out(apps, schema_editor):
    for season in apps.get_model("riders", "Season").objects.filter(closed_at__isnull=True).select_related("scheme"):
        if {"rolling_months", "rolling_days"} & set(season.scheme.document.get("season") or {}):
            season.computed_at = None
            season.save(update_fields=["computed_at"])


class Migration(migrations.Migration):
    dependencies = [("riders", "0006_standings_rebuild")]

    operations = [
        migrations.AddField(
            model_name="season",
            name="stands_on",
            field=models.DateField(
                blank=True, help_text="The day that rolling standings count back from; null for fixed days.", null=True
            ),
        ),
        migrations.RunPython(have_rolling_seasons_worked_out, migrations.RunPython.noop),
    ]
