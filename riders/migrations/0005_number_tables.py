from itertools import groupby

from django.db import migrations


def number_tables(apps, schema_editor):
    """Count the tables of each season and the rows of each table; rows were counted through the whole season before."""
    rows_of = apps.get_model("riders", "StandingRow").objects
    for season_id in rows_of.order_by().values_list("season_id", flat=True).distinct():
        rows = rows_of.filter(season_id=season_id).order_by("position", "id").only("group", "position", "table")
        for table, (_, members) in enumerate(groupby(rows, key=lambda row: row.group)):
            for position, row in enumerate(members):
                rows_of.filter(pk=row.pk).update(table=table, position=position)


def count_through(apps, schema_editor):
    rows_of = apps.get_model("riders", "StandingRow").objects
    for season_id in rows_of.order_by().values_list("season_id", flat=True).distinct():
        keys = rows_of.filter(season_id=season_id).order_by("table", "position", "id").values_list("pk", flat=True)
        for position, key in enumerate(list(keys)):
            rows_of.filter(pk=key).update(table=0, position=position)


class Migration(migrations.Migration):

    dependencies = [("riders", "0004_standings_by_table")]

    operations = [migrations.RunPython(number_tables, count_through)]
