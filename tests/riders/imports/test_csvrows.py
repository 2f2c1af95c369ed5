"""Files as people really hand them in: what is read, and what is told by row and column."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from riders import csvrows
from riders.csvrows import read_rows, write_rows
from riders.intake import Problems
from scoring.cells import guarded, unguarded

COLUMNS = ("class", "number", "rider", "mark")
REQUIRED = {"class", "number"}


def read(text: str | bytes) -> tuple[list[dict[str, str]], Problems]:
    problems: Problems = []
    rows = list(read_rows(text, columns=COLUMNS, required=REQUIRED, problems=problems))
    return [dict(row.cells) for row in rows], problems


@pytest.mark.parametrize(
    ("text", "cells"),
    [
        ("class,number\n1,12\n", {"class": "1", "number": "12"}),
        ("class;number\n1;12\n", {"class": "1", "number": "12"}),
        ("class\tnumber\n1\t12\n", {"class": "1", "number": "12"}),
        (b"\xef\xbb\xbfclass,number\r\n1,12\r\n", {"class": "1", "number": "12"}),
        ("\ufeffclass,number\n1,12", {"class": "1", "number": "12"}),
        ("class,number\r1,12\r", {"class": "1", "number": "12"}),
        ("\n\n  \nclass,number\n\n1,12\n\n", {"class": "1", "number": "12"}),
        (" Class , NUMBER \n1,12\n", {"class": "1", "number": "12"}),
        ('"class","number"\n"1","12"\n', {"class": "1", "number": "12"}),
        ('"class";"number"\n"1";"1,2"\n', {"class": "1", "number": "1,2"}),
        ("number,class\n12,1\n", {"class": "1", "number": "12"}),
        ("class,number,,\n1,12,,\n", {"class": "1", "number": "12"}),
        ("class,number\n1,12,,,\n", {"class": "1", "number": "12"}),
        ('class,number,rider\n1,12,"Brandt, O.\nthe younger"\n', {"rider": "Brandt, O.\nthe younger"}),
        ('class,number,rider\n1,12,"say ""halt"""\n', {"rider": 'say "halt"'}),
        ("class,number,rider\n1,12,=HYPERLINK(1)\n", {"rider": "=HYPERLINK(1)"}),
        ("class,number,rider\n1,12,'=HYPERLINK(1)\n", {"rider": "=HYPERLINK(1)"}),
        ("class,number,rider\n1,12,'t Hoen\n", {"rider": "'t Hoen"}),
    ],
)
def test_what_can_be_read_is_read(text, cells):
    rows, problems = read(text)
    assert problems == []
    assert len(rows) == 1
    assert rows[0].items() >= cells.items()


@pytest.mark.parametrize(
    ("text", "where", "words"),
    [
        ("", "file", "empty"),
        (" \n\n", "file", "empty"),
        (b"", "file", "empty"),
        ("class,number,rider\n1,12,B\xe4r\n".encode("latin-1"), "file", "byte 26 cannot be read"),
        ("class,number\n1,12\n".encode("utf-16"), "file", "not UTF-8"),
        ("class,number\n1,12\n".encode("utf-16-le"), "file", "binary file"),
        (b"PK\x03\x04\x14\x00\x06\x00\x08\x00\x00\x00!\x00", "file", "binary file"),
        ("number\n12\n", "row 1, class", "missing"),
        ("class,number,ryder\n1,12,A\n", "row 1, ryder", 'Perhaps "rider" is meant'),
        ("class,number,shoe size\n1,12,A\n", "row 1, shoe size", "The columns are: class, number, rider, mark"),
        ("class,number,number\n1,12,13\n", "row 1, number", "stands twice"),
        ("class,,number\n1,x,12\n", "row 1", "Column 2 has no name"),
        ("1,12\n2,13\n", "row 1, 1", "not known"),
        ("class,number\n1\n", "row 2", "has 1 cells, but the first row names 2 columns"),
        ("class,number\n1,12\n1,12,Ann\n", "row 3", "has 3 cells"),
        ('class,number\n1,"12\n', "row 2", "cannot be read as CSV"),
        ('class,number\n1,"12"x\n', "row 2", "cannot be read as CSV"),
        (f"class,number\n1,{'9' * 200_000}\n", "row 2", "field larger than field limit"),
        (",".join(["class"] * 500) + "\n", "row 1", "has 500 cells"),
        ("{\"format\": \"competition/1\"}", "row 1, {\"format\": \"competition/1\"}", "not known"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_told_with_its_place(text, where, words):
    rows, problems = read(text)
    assert len(rows) == (where == "row 3")
    assert problems[0][0] == where
    assert words in problems[0][1]
    assert problems[0][1].endswith(".")


def test_rows_are_counted_as_a_spreadsheet_counts_them():
    problems: Problems = []
    text = 'class,number,rider\n1,1,"two\nlines"\n\n1,2,x\n'
    rows = list(read_rows(text, columns=COLUMNS, required=REQUIRED, problems=problems))
    assert [row.number for row in rows] == [2, 4]


def test_good_rows_are_still_read_beside_bad_ones_so_that_all_problems_are_found_at_once():
    rows, problems = read("class,number\n1\n1,2\n3\n")
    assert [row["number"] for row in rows] == ["2"]
    assert [where for where, _ in problems] == ["row 2", "row 4"]


def test_a_file_that_is_too_large_or_too_long_is_refused(monkeypatch):
    monkeypatch.setattr(csvrows, "MOST_ROWS", 3)
    rows, problems = read("class,number\n" + "1,1\n" * 5)
    assert len(rows) == 2
    assert "more than 3 rows" in problems[0][1]
    monkeypatch.setattr(csvrows, "MOST_BYTES", 10)
    assert read("class,number\n")[1][0][0] == "file"


def take(column_text: str, method: str, **arguments: object) -> tuple[object, Problems]:
    problems: Problems = []
    buffer = io.StringIO()
    csv.writer(buffer).writerows([["class", "number", "mark"], ["1", "2", column_text]])
    (row,) = read_rows(buffer.getvalue(), columns=COLUMNS, required=REQUIRED, problems=problems)
    return getattr(row, method)("mark", **arguments), problems


@pytest.mark.parametrize(
    ("text", "method", "arguments", "value"),
    [
        ("  two   words ", "text", {}, "two words"),
        ("e\u0301", "text", {}, "\u00e9"),
        ("a\r\nb\n", "words", {"most": 9}, "a\nb"),
        ("true", "flag", {}, True),
        ("FALSE", "flag", {}, False),
        ("", "flag", {}, None),
        ("007", "whole", {"least": 1, "most": 9}, 7),
        ("", "whole", {"least": 1, "most": 9}, None),
        ("9:05", "clock", {}, "09:05:00"),
        ("09:05:00", "clock", {}, "09:05:00"),
        ("2027-03-01", "day", {}, "2027-03-01"),
        ("6,5", "decimal", {}, "13/2"),
    ],
)
def test_cells_are_taken_as_what_they_are(text, method, arguments, value):
    taken, problems = take(text, method, **arguments)
    assert problems == []
    assert taken == value or str(taken) == value


@pytest.mark.parametrize(
    ("text", "method", "arguments"),
    [
        ("nul\x00", "text", {}),
        ("bell\x07", "words", {"most": 9}),
        ("longer than four", "text", {"most": 4}),
        ("", "text", {"required": True}),
        ("yes", "flag", {}),
        ("1", "flag", {}),
        ("-1", "whole", {"least": 0, "most": 9}),
        ("10", "whole", {"least": 0, "most": 9}),
        ("1.0", "whole", {"least": 0, "most": 9}),
        ("\u0663", "whole", {"least": 0, "most": 9}),
        ("24:00", "clock", {}),
        ("9.30", "clock", {}),
        ("01/03/2027", "day", {}),
        ("2027-02-30", "day", {}),
        ("\u0662\u0660\u0662\u0667-01-01", "day", {}),
        ("6.5.1", "decimal", {}),
        ("1e3", "decimal", {}),
        ("six", "decimal", {}),
        ("other", "choice", {"choices": ["one", "two"]}),
    ],
)
def test_cells_that_are_wrong_are_told_with_row_and_column(text, method, arguments):
    taken, problems = take(text, method, **arguments)
    assert taken in {None, ""}
    assert [where for where, _ in problems] == ["row 2, mark"]
    assert problems[0][1].endswith(".")


def test_half_characters_are_refused_because_no_database_keeps_them():
    problems: Problems = []
    (row,) = read_rows("class,number,rider\n1,2,x\ud800\n", columns=COLUMNS, required=REQUIRED, problems=problems)
    assert row.text("rider") == ""
    assert "control character" in problems[0][1]


@given(st.text())
def test_guarding_a_cell_is_undone_exactly_and_leaves_no_formula(cell):
    assert unguarded(guarded(cell)) == cell
    assert guarded(cell)[:1] not in {"=", "+", "-", "@", "\t", "\r"}


def test_what_is_written_reads_back_to_the_same():
    written = "".join(write_rows(COLUMNS, [{"class": "1", "number": "2", "rider": '-Ann; "x"\ny, z', "mark": "'=1"}]))
    rows, problems = read(written)
    assert problems == []
    assert rows == [{"class": "1", "number": "2", "rider": '-Ann; "x"\ny, z', "mark": "'=1"}]
