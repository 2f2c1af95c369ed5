from __future__ import annotations

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from competitions.models import Entry, Sheet
from tests.builders import mark_sheet

pytestmark = pytest.mark.django_db

ENTRIES = "class,number,rider,horse\n1,21,Marit Fjelldal,Quillon\n1,22,Casper Wendt,Marram Grass\n"


def url(competition, kind: str, way: str = "import") -> str:
    return reverse(f"desk-{way}", args=[competition.slug, kind])


def csv_of(response) -> str:
    return b"".join(response.streaming_content).decode()


def test_entries_come_in_from_a_file_or_pasted(desk, competition, cls):
    upload = SimpleUploadedFile("entries.csv", ENTRIES.encode(), "text/csv")
    response = desk.post(url(competition, "entries"), {"file": upload}, follow=True)
    assert "Entries are imported: 2 created, 0 changed, 0 unchanged." in response.content.decode()
    desk.post(url(competition, "entries"), {"text": ENTRIES.replace("21", "23").replace("22", "24")})
    assert cls.entries.count() == 7


def test_nothing_is_half_imported_and_every_problem_is_named_by_its_row(desk, competition, cls):
    text = ENTRIES + "9,25,Someone,Something\n1,,Nobody,Nothing\n"
    response = desk.post(url(competition, "entries"), {"text": text})
    page = response.content.decode()
    assert response.status_code == 422
    assert "Nothing was imported." in page
    assert "in 4 rows" in page
    assert "row 4" in page
    assert "row 5" in page
    assert "1,21,Marit Fjelldal,Quillon" in page  # what was sent stands in the box
    assert not Entry.objects.filter(number="21").exists()


@pytest.mark.parametrize("kind", ["entries", "marks", "outcomes"])
@pytest.mark.parametrize(
    "text", ["", "   ", "no,such,columns\n1,2,3\n", '"', "\x00", "class\n" * 3, "class,number\n" + "9" * 200_000]
)
def test_nonsense_is_refused_in_sentences(desk, competition, cls, kind, text):
    response = desk.post(url(competition, kind), {"text": text})
    assert response.status_code == 422
    assert "Nothing was imported." in response.content.decode()


def test_a_file_that_is_no_text_is_refused(desk, competition, cls):
    upload = SimpleUploadedFile("entries.csv", b"class,number\n1,\xff\xfe\n", "text/csv")
    page = desk.post(url(competition, "entries"), {"file": upload}).content.decode()
    assert "entries.csv is not UTF-8 text" in page


def test_marks_go_out_and_come_in_again(desk, competition, cls):
    entry = cls.entries.get(number="1")
    mark_sheet(entry, "C", remarks={"1": "a, straight halt"}, overall_remarks='said "well done"')
    exported = csv_of(desk.get(url(competition, "marks", "export")))
    assert exported.splitlines()[0] == "class,number,seat,item,mark,remark,signed"
    Sheet.objects.all().delete()
    assert desk.post(url(competition, "marks"), {"text": exported}).status_code == 302
    sheet = entry.sheets.get()
    assert set(sheet.marks.values()) == {65}
    assert (sheet.remarks, sheet.overall_remarks) == ({"1": "a, straight halt"}, 'said "well done"')


def test_other_marks_are_problems_unless_the_file_is_said_to_be_right(desk, competition, cls):
    entry = cls.entries.get(number="1")
    mark_sheet(entry, "C")
    text = "class,number,seat,item,mark\n1,1,C,1,7\n"
    refused = desk.post(url(competition, "marks"), {"text": text})
    assert refused.status_code == 422
    assert "row 2" in refused.content.decode()
    assert desk.post(url(competition, "marks"), {"text": text, "replace": "yes"}).status_code == 302
    assert entry.sheets.get().marks["1"] == 70


def test_outcomes_come_in_and_go_out(desk, competition, cls):
    text = "class,number,status,errors,reason\n1,1,,1,\n1,2,retired,,horse not level\n"
    assert desk.post(url(competition, "outcomes"), {"text": text}).status_code == 302
    assert cls.entries.get(number="2").status == "retired"
    exported = csv_of(desk.get(url(competition, "outcomes", "export")))
    assert "horse not level" in exported


def test_entries_go_out_as_they_would_come_in(desk, competition, cls):
    response = desk.get(url(competition, "entries", "export"))
    assert response["Content-Disposition"] == 'attachment; filename="linden-autumn-entries.csv"'
    exported = csv_of(response)
    again = desk.post(url(competition, "entries"), {"text": exported}, follow=True)
    assert "0 created, 0 changed, 3 unchanged" in again.content.decode()
