"""How far back the scheme of a season reads; open seasons that read further than before are worked out anew."""

from django.db import migrations, models

from scoring.season import read_scheme


def note_first_days(apps, schema_editor):
    for season in apps.get_model("riders", "Season").objects.select_related("scheme"):
        first = read_scheme(season.scheme.document).season.reaches_back_to(season.starts_on)
        if first < season.starts_on:
            season.reads_from = first
            season.computed_at = None if season.closed_at is None else season.computed_at
            season.save(update_fields=["reads_from", "computed_at"])


class Migration(migrations.Migration):
    dependencies = [("riders", "0007_standing_day")]

    operations = [
        migrations.AddField(
            model_name="season",
            name="reads_from",
            field=models.DateField(
                blank=True,
                help_text="The first day whose rides its scheme can count, where that is before the season starts.",
                null=True,
            ),
        ),
        migrations.RunPython(note_first_days, migrations.RunPython.noop),
    ]
