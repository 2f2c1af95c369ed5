"""Lists of a season as workbooks and CSV files, read back from the files that they became."""

from __future__ import annotations

import csv
import hashlib
import io
import os
import subprocess
import sys
import tracemalloc
import zipfile
from decimal import Decimal
from pathlib import Path

import pytest
import time_machine
from openpyxl import Workbook, load_workbook

from reports.lists import csv_file, workbook
from reports.lists.workbook import exact_number
from reports.pdf import certificates, season_list
from tests.reports import season_shapes as shapes

ROOT = Path(__file__).resolve().parents[2]


def read(content: bytes) -> Workbook:
    return load_workbook(io.BytesIO(content))


def rows_of(content: bytes, sheet: str) -> list[list[object]]:
    return [[cell.value for cell in row] for row in read(content)[sheet].iter_rows()]


class TestWorkbooks:
    def test_the_first_sheet_says_what_it_is_and_how_it_was_worked_out(self):
        book = read(workbook.build(shapes.season_list()))
        assert book.sheetnames == ["About this list", "Elementary", "Novice"]
        said = {row[0].value: row[1].value for row in book["About this list"].iter_rows() if row[0].value}
        assert said["State"] == "Final lists, edition 1"
        assert said["Scheme"] == "Qualifying average, version 2"
        assert said["As of"] == "3 October 2026, 18:05 (UTC)"
        assert said["Worked out"] == (
            "Every unit with a score that counts, in the order of the rule; counted by Qualifying average, version 2, "
            "as of 3 October 2026, 18:05 (UTC)."
        )
        assert said["The rule"] == shapes.RULE[0]
        assert said["Check code"] == shapes.season_list().digest

    def test_a_table_has_its_head_frozen_and_a_filter(self):
        sheet = read(workbook.build(shapes.season_list()))["Novice"]
        assert sheet.freeze_panes == "A2"
        assert sheet.auto_filter.ref == "A1:I16"
        assert sheet.print_title_rows == "$1:$1"
        assert [cell.value for cell in sheet[1]] == [
            "Place", "Shared", "Rider", "Horse", "Value", "Counted", "Requirements", "Still missing", "Pair",
        ]  # fmt: skip

    def test_cells_are_typed_and_figures_keep_their_decimals(self):
        row = shapes.list_row(0, value="64.300")
        data = shapes.season_list(tables=(shapes.ListTable("novice", {}, (row,)),))
        sheet = read(workbook.build(data))["Novice"]
        place, value = sheet["A2"], sheet["E2"]
        assert (place.data_type, place.value) == ("n", 1)
        assert (value.data_type, value.value, value.number_format) == ("n", 64.3, "0.000")
        assert sheet["C2"].data_type == "s"

    def test_the_file_holds_the_very_digits_that_were_published(self):
        row = shapes.list_row(0, value="65.003")
        content = workbook.build(shapes.season_list(tables=(shapes.ListTable("novice", {}, (row,)),)))
        with zipfile.ZipFile(io.BytesIO(content)) as parts:
            assert b"<v>65.003</v>" in parts.read("xl/worksheets/sheet2.xml")

    @pytest.mark.parametrize(
        ("published", "kept"),
        [
            ("68.125", Decimal("68.125")),
            ("100.000", Decimal("100.000")),
            ("0", Decimal(0)),
            ("-3.5", Decimal("-3.5")),
            ("123456789012.345", Decimal("123456789012.345")),
            ("1234567890123.456", "1234567890123.456"),
            ("1E5", "1E5"),
            ("NaN", "NaN"),
            ("Infinity", "Infinity"),
            ("", ""),
            ("3/7", "3/7"),
        ],
    )
    def test_a_figure_is_a_number_where_it_survives(self, published, kept):
        assert exact_number(published) == kept
        assert type(exact_number(published)) is type(kept)

    @pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
    def test_no_cell_is_a_formula(self, start):
        name = f"{start}1+1+cmd|' /C calc'!A0"
        row = shapes.list_row(0, rider=name, horse=name, unit=name, missing=(name,), qualified=False)
        content = workbook.build(
            shapes.season_list(association=name, season=name, tables=(shapes.ListTable(name, {}, (row,)),))
        )
        book = read(content)
        cells = [cell for sheet in book for line in sheet.iter_rows() for cell in line if cell.value is not None]
        assert {cell.data_type for cell in cells} <= {"s", "n"}
        with zipfile.ZipFile(io.BytesIO(content)) as parts:
            assert not any(b"<f>" in parts.read(part) for part in parts.namelist())

    def test_addresses_are_no_links(self):
        row = shapes.list_row(0, rider="https://example.org", horse="mailto:a@example.org")
        sheet = read(workbook.build(shapes.season_list(tables=(shapes.ListTable("novice", {}, (row,)),))))["Novice"]
        assert sheet["C2"].hyperlink is None
        assert sheet["C2"].value == "https://example.org"

    def test_sheets_are_named_so_that_every_spreadsheet_takes_them(self):
        titles = ("novice", "Novice", "about this list", "history", "a/b: c? [d]*", "x" * 40, "X" * 40, "'", "")
        data = shapes.season_list(tables=tuple(shapes.list_table(title, rows=1, unplaced=0) for title in titles))
        names = read(workbook.build(data)).sheetnames[1:]
        assert len({name.casefold() for name in names}) == len(titles)
        assert all(0 < len(name) <= 31 and not set(name) & set("[]:*?/\\") for name in names)
        assert names[:5] == ["Novice", "Novice 2", "About this list 2", "History 2", "A b c d"]

    def test_tiers_have_a_column_and_no_places_are_shown(self):
        rows = rows_of(workbook.build(shapes.tiers()), "All")
        assert rows[0] == ["Rider", "Horse", "Value", "Tier", "Counted", "Pair"]
        assert [row[3] for row in rows[1:4]] == ["gold", "silver", None]

    def test_a_list_of_other_units_has_one_name(self):
        row = shapes.list_row(0, unit="Team Harrow", rider="", horse="")
        data = shapes.season_list(unit="team", tables=(shapes.ListTable("All", {}, (row,)),))
        assert rows_of(workbook.build(data), "All")[0][:3] == ["Place", "Shared", "Team"]
        assert rows_of(workbook.build(data), "All")[1][2] == "Team Harrow"

    def test_a_season_without_a_table_is_a_first_sheet(self):
        assert read(workbook.build(shapes.season_list(tables=()))).sheetnames == ["About this list"]

    def test_a_long_list_needs_little_memory(self):
        data = shapes.season_list(tables=(shapes.list_table(rows=5000, unplaced=0),))
        tracemalloc.start()
        content = workbook.build(data)
        _, most = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        assert len(rows_of(content, "Novice")) == 5001
        assert most < 12_000_000


class TestCSV:
    def test_it_reads_back(self):
        data = shapes.season_list(tables=(shapes.list_table(rows=2, unplaced=1),))
        rows = list(csv.DictReader(io.StringIO(csv_file.build(data).decode())))
        assert [(row["level"], row["place"], row["value"]) for row in rows[:2]] == [
            ("novice", "1", rows[0]["value"]), ("novice", "2", rows[1]["value"]),
        ]  # fmt: skip
        assert rows[2]["missing"] == "3 of 4 scores; 2 of 3 judges"
        assert rows[2]["place"] == ""

    @pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
    def test_no_cell_begins_like_a_formula(self, start):
        row = shapes.list_row(0, rider=f"{start}1+1")
        built = csv_file.build(shapes.season_list(tables=(shapes.ListTable("novice", {}, (row,)),)))
        (read_back,) = csv.DictReader(io.StringIO(built.decode(), newline=""))
        assert read_back["rider"] == f"'{start}1+1"

    def test_nobody(self):
        assert csv_file.build(shapes.season_list(tables=())).decode().count("\r\n") == 1


BUILDS = {
    "workbook": lambda: workbook.build(shapes.season_list()),
    "csv": lambda: csv_file.build(shapes.season_list()),
    "pdf": lambda: season_list.build(shapes.season_list()),
    "certificates": lambda: certificates.build(shapes.certificates()),
}
_ELSEWHERE = """
import hashlib, os, time
os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
from tests.reports.test_season_lists import BUILDS
for name, build in BUILDS.items():
    print(name, hashlib.sha256(build()).hexdigest())
"""


def digests() -> dict[str, str]:
    return {name: hashlib.sha256(build()).hexdigest() for name, build in BUILDS.items()}


def test_another_process_at_another_time_and_place_makes_the_same_bytes(tmp_path):
    with time_machine.travel("2031-02-03T04:05:06Z", tick=False):
        here = digests()
    # A path of its own as TMPDIR, another zone and another seed of hashes: none of them may be seen in a file.
    surroundings = os.environ | {"TZ": "Pacific/Auckland", "PYTHONHASHSEED": "7", "TMPDIR": str(tmp_path)}
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", _ELSEWHERE], cwd=ROOT, env=surroundings, capture_output=True, text=True,
        check=True,
    )  # fmt: skip
    assert dict(line.split() for line in done.stdout.splitlines()) == here
