import django.db.models.deletion
from django.db import migrations, models

import riders.models.fields


def forget_standings(apps, schema_editor):
    """Rows are worked out from the ledger; those written in the other form go, and the next rebuild writes them anew."""
    apps.get_model("riders", "Season").objects.update(computed_at=None)


class Migration(migrations.Migration):
    dependencies = [
        ("riders", "0001_initial"),
    ]

    operations = [
        migrations.DeleteModel(name="StandingRow"),
        migrations.CreateModel(
            name="StandingTable",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.PositiveIntegerField()),
                ("group", riders.models.fields.DocumentField(default=dict)),
                ("size", models.PositiveIntegerField(default=0, help_text="How many rows it has.")),
                ("shown", models.BooleanField(default=False)),
                (
                    "season",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="tables", to="riders.season"
                    ),
                ),
            ],
            options={
                "ordering": ["season", "number", "id"],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("shown", True)),
                        fields=("season", "number"),
                        name="standing_table_shown_once",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="StandingRow",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("rank", models.BinaryField()),
                ("name_order", models.BinaryField()),
                ("unit", models.CharField(max_length=120)),
                ("value", models.CharField(blank=True, max_length=30)),
                ("qualified", models.BooleanField()),
                ("tier", models.TextField(blank=True)),
                ("note", models.TextField(blank=True, help_text="Why the scheme takes the unit out of the ranking.")),
                ("requirements", riders.models.fields.DocumentField(default=list)),
                ("counted", models.BinaryField(default=bytes)),
                ("dropped", models.BinaryField(default=bytes)),
                ("ineligible", models.PositiveIntegerField(default=0)),
                ("explanations", models.JSONField(null=True)),
                ("ranking", models.JSONField(null=True)),
                (
                    "pair",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="standing_rows",
                        to="riders.pair",
                    ),
                ),
                (
                    "table",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="rows",
                        to="riders.standingtable",
                    ),
                ),
            ],
            options={
                "ordering": ["table__season", "table__number", "rank", "name_order"],
                "default_manager_name": "every",
                "indexes": [models.Index(fields=["table", "rank", "name_order"], name="standing_row_in_its_table")],
                "constraints": [models.UniqueConstraint(fields=("table", "unit"), name="standing_row_once")],
            },
            managers=[
                ("every", models.Manager()),
            ],
        ),
        migrations.RunPython(forget_standings, migrations.RunPython.noop),
    ]
