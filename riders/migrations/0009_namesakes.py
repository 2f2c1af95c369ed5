"""Riders and horses of one name are told apart; open standings in which they shared a row are worked out anew."""

import django.db.models.functions.text
from django.db import migrations, models
from django.db.models import Count


def tell_apart(apps, schema_editor):
    found = False
    for name in ("Rider", "Horse"):
        model = apps.get_model("riders", name)
        shared = model.objects.order_by().values("name").annotate(bearers=Count("pk")).filter(bearers__gt=1)
        for shared_name in [row["name"] for row in shared]:
            found = True
            for number, member in enumerate(model.objects.filter(name=shared_name).order_by("pk"), start=1):
                model.objects.filter(pk=member.pk).update(apart="" if number == 1 else str(number))
    if found:
        apps.get_model("riders", "Season").objects.filter(closed_at__isnull=True).update(computed_at=None)


APART = models.CharField(
    blank=True, default="", help_text="What tells them from an earlier one of the same name.", max_length=40
)


def listed():
    return models.GeneratedField(
        db_index=True,
        db_persist=True,
        expression=models.Case(
            models.When(apart="", then=models.F("name")),
            default=django.db.models.functions.text.Concat(
                models.F("name"), models.Value(" ("), models.F("apart"), models.Value(")")
            ),
        ),
        output_field=models.CharField(max_length=164),
    )


class Migration(migrations.Migration):
    dependencies = [("riders", "0008_days_read")]

    operations = [
        migrations.AddField("rider", "apart", APART),
        migrations.AddField("horse", "apart", APART),
        migrations.AddField("rider", "listed", listed()),
        migrations.AddField("horse", "listed", listed()),
        migrations.RunPython(tell_apart, migrations.RunPython.noop),
    ]
