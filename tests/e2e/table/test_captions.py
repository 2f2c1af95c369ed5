"""The rider's recording with the judge's remarks as captions, in a real browser that reads the WebVTT itself.

The film is the invented one of fixtures/films (how it was made is said there).
"""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from playwright.sync_api import expect

from competitions.models import Sheet
from competitions.services.recordings import Camera, add_piece, finish_upload, start_upload
from competitions.services.results import make_official
from riders.models import Rider
from tests.builders import make_user, mark_sheet
from tests.competitions.films import RIDE

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]

HOSTILE = 'Round & <b>active</b>, --> "then" late'


@pytest.fixture
def rider(cls, office, settings, tmp_path):
    """Return the rider of entry 1, whose ride was filmed, marked at both seats, remarked on at C and made official."""
    settings.DATA_DIR = tmp_path
    cls.from_recordings = True
    cls.save()
    entry = cls.entries.get(number="1")
    begun = start_upload(entry, name="a", length=len(RIDE), modified="", camera=Camera(letter="C"), by=office)
    add_piece(begun, begin=0, piece=RIDE)
    finish_upload(begun, by=office)
    for ride in cls.entries.order_by("number"):
        for seat in "CB":
            remarks = {"1": "Straight.", "2": HOSTILE, "3": "No moment."} if seat == "C" else {}
            mark_sheet(ride, seat, remarks=remarks, overall_remarks="A pleasing pair." if seat == "C" else "")
    Sheet.objects.filter(entry=entry, seat__seat="C").update(remark_times={"1": 400, "2": 1500}, overall_time=2500)
    make_official(cls, by=office)
    user = make_user("rider")
    Rider.objects.filter(pk=entry.pair.rider_id).update(user=user)
    return user


CUES = """async () => {
  const track = document.querySelector("track");
  track.track.mode = "showing";
  const end = Date.now() + 10000;
  while (track.readyState < 2) {
    if (Date.now() > end) throw new Error("the captions did not load");
    await new Promise((done) => setTimeout(done, 20));
  }
  return [...track.track.cues].map((cue) => [cue.id, cue.startTime * 1000, cue.getCueAsHTML().textContent]);
}"""


@pytest.mark.parametrize("width", [360, 1280])
def test_the_browser_reads_every_caption_and_a_remark_plays_from_its_moment(open_as, rider, cls, width):
    address = reverse("entry-sheets", args=[cls.competition.slug, "1", "1"])
    page = open_as(rider, address, viewport={"width": width, "height": 800})
    assert page.evaluate(CUES) == [
        ["1", 400, "Straight."],
        ["2", 1500, HOSTILE],
        ["The ride as a whole", 2500, "A pleasing pair."],
    ]
    expect(page.locator("#moments")).to_contain_text("1 of 4 remarks of C have no moment")
    page.locator("#moments").get_by_role("button", name="Play from 0:01.5").click()
    page.evaluate("""async () => {
      const film = document.querySelector("video");
      const end = Date.now() + 10000;
      while (film.currentTime < 1.5 || film.seeking) {
        if (Date.now() > end) throw new Error("it stays at " + film.currentTime);
        await new Promise((done) => setTimeout(done, 20));
      }
      film.pause();
    }""")
    assert page.evaluate("document.querySelector('track').track.mode") == "showing"
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    with page.expect_download() as download:
        page.get_by_role("link", name="as captions (.vtt)").first.click()
    assert download.value.suggested_filename == "linden-autumn-1-1-C.vtt"
