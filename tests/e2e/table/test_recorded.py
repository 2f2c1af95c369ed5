"""Judging from a recording in a real browser: playing, stamping, limited view; by touch, by keyboard, without network.

The film is the invented one of fixtures/films (how it was made is said there).
"""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from playwright.sync_api import expect

from competitions.models import Sheet
from competitions.services.recordings import Camera, add_piece, finish_upload, name_link, start_upload
from tests.competitions.films import RIDE

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]

PHONE = {"viewport": {"width": 360, "height": 740}, "has_touch": True}
ARRIVED = "#state[data-waiting='0'][data-unkept='0'][data-kind='done']"


@pytest.fixture
def filmed(cls, office, settings, tmp_path):
    """Class 1 judged from recordings; entry 1 has a film, entry 2 a link, entry 3 nothing yet."""
    settings.DATA_DIR = tmp_path
    cls.from_recordings = True
    cls.save()
    one, two, _ = cls.entries.order_by("number")
    begun = start_upload(one, name="a", length=len(RIDE), modified="", camera=Camera(letter="C", height=250), by=office)
    add_piece(begun, begin=0, piece=RIDE)
    finish_upload(begun, by=office)
    name_link(two, link="https://films.example/2", camera=Camera(place="in the stand"), by=office)
    return cls


@pytest.fixture
def open_sheet(open_as, judge, filmed):
    def opened(number: str = "1", **options):
        page = open_as(judge, reverse("table-sheet", args=[filmed.competition.slug, "1", number, "C"]), **options)
        expect(page.locator(".t-sheet.has-film[data-ready]")).to_be_visible()
        return page

    return opened


def until(page, condition: str) -> None:
    """Wait for something about the film; asked in the page, because its policy forbids code made from text."""
    page.evaluate(
        f"""async () => {{
          const film = document.querySelector("video");
          const end = Date.now() + 15000;
          while (!({condition})) {{
            if (Date.now() > end) throw new Error("in vain: " + {condition!r});
            await new Promise((done) => setTimeout(done, 20));
          }}
        }}"""
    )


def play_to(page, seconds: int) -> None:
    """Play for a moment, then stand still at a known place."""
    until(page, "film.readyState >= 1")
    page.evaluate(
        """async (seconds) => {
          const film = document.querySelector("video");
          await film.play();
          film.pause();
          film.currentTime = seconds;
          await new Promise((done) => film.addEventListener("seeked", done, { once: true }));
        }""",
        seconds,
    )


def test_marks_and_remarks_are_stamped_by_touch(open_sheet):
    page = open_sheet(**PHONE)
    play_to(page, 7)
    page.locator('.t-wholes [data-whole="6"]').tap()
    page.locator('.t-halves [data-tenth="5"]').tap()
    play_to(page, 12)
    page.get_by_role("button", name="Limited view", exact=True).tap()
    expect(page.locator(".t-said")).to_contain_text("Limited view of")
    page.locator("#remark").fill("hind legs not seen")
    page.locator('.t-wholes [data-whole="7"]').tap()
    page.locator('.t-halves [data-tenth="0"]').tap()
    expect(page.locator(ARRIVED)).to_be_visible()
    sheet = Sheet.objects.get()
    assert sheet.marks == {"1": 65, "2": 70}
    assert sheet.times == {"1": 7000, "2": 12000}
    assert (sheet.remark_times, sheet.limited) == ({"2": 12000}, ["2"])
    expect(page.locator(".t-list-time").nth(1)).to_have_text("0:12, limited view")
    page.locator(".t-list-time").first.tap()
    until(page, "!film.paused")
    assert 7 <= page.evaluate("document.querySelector('video').currentTime") < 9
    expect(page.locator(".t-where")).to_contain_text("1 of 6")


def test_keys_of_the_film_beside_the_keys_of_the_sheet(open_sheet):
    page = open_sheet()
    play_to(page, 10)
    press = page.keyboard.press
    press("b")
    until(page, "film.currentTime === 5")
    press("n")
    expect(page.locator(".t-film-state")).to_have_text("At half speed.")
    press("n")
    page.keyboard.type("65")
    press("Enter")
    press("ArrowUp")
    expect(page.locator("#moment")).to_have_value("0:05")
    play_to(page, 9)
    press("t")
    press("l")
    expect(page.locator("#moment")).to_have_value("0:09")
    press("r")
    page.keyboard.type("plb n")
    press("Alt+b")
    until(page, "film.currentTime === 4")
    press("Enter")
    press("ArrowUp")
    press("j")
    until(page, "!film.paused")
    press("p")
    until(page, "film.paused")
    page.locator("#moment").fill("")
    page.locator("#moment").press("Enter")
    expect(page.locator(ARRIVED)).to_be_visible()
    sheet = Sheet.objects.get()
    assert (sheet.marks, sheet.remarks) == ({"1": 65}, {"1": "plb n"})
    assert (sheet.times, sheet.remark_times, sheet.limited) == ({}, {"1": 9000}, ["1"])
    page.locator("#moment").fill("nonsense")
    page.locator("#moment").press("Tab")
    expect(page.locator(".t-film .t-fault")).to_contain_text('"nonsense" is no moment of a recording.')


def test_without_the_network_the_sheet_goes_on_and_the_film_says_so(open_sheet):
    page = open_sheet()
    expect(page.locator("#state")).to_contain_text("works without network")
    page.context.route("**/film/", lambda route: route.abort())
    page.reload()
    expect(page.locator(".t-film-state")).to_contain_text("The recording does not play")
    page.context.set_offline(True)
    page.reload()
    expect(page.locator(".t-film-state")).to_contain_text("The recording needs the network")
    page.keyboard.type("7")
    page.keyboard.press("Enter")
    page.keyboard.press("ArrowUp")
    page.keyboard.press("l")
    expect(page.locator("#state")).to_contain_text("kept here")
    page.context.unroute("**/film/")
    page.context.set_offline(False)
    expect(page.locator(ARRIVED)).to_be_visible()
    expect(page.locator(".t-film-state")).to_have_text("")
    until(page, "film.readyState >= 1")
    sheet = Sheet.objects.get()
    assert (sheet.marks, sheet.limited) == ({"1": 70}, ["1"])


def test_a_link_opens_elsewhere_and_moments_are_written_by_hand(open_sheet):
    page = open_sheet("2")
    link = page.get_by_role("link", name="Open the recording at films.example")
    assert link.get_attribute("rel") == "noopener noreferrer"
    assert link.get_attribute("target") == "_blank"
    page.keyboard.type("8")
    page.keyboard.press("Enter")
    page.keyboard.press("ArrowUp")
    page.locator("#moment").fill("1:02,5")
    page.locator("#moment").press("Enter")
    expect(page.locator(ARRIVED)).to_be_visible()
    assert Sheet.objects.get().times == {"1": 62500}
    nothing = open_sheet("3")
    expect(nothing.locator(".t-film-state")).to_contain_text("No recording of this ride has arrived yet.")


@pytest.mark.parametrize(("width", "height"), [(360, 740), (768, 1024), (1280, 800)])
def test_the_page_fits_and_axe_finds_nothing(open_sheet, width, height):
    page = open_sheet(viewport={"width": width, "height": height})
    play_to(page, 3)
    page.keyboard.type("65")
    page.keyboard.press("Enter")
    page.keyboard.press("l")
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    page.evaluate("window.scrollTo(0, 400)")
    assert page.get_by_role("button", name="Back 5 s").bounding_box()["y"] > 0
    page.evaluate("window.scrollTo(0, 0)")
    film, card = (page.locator(found).bounding_box() for found in (".t-film-picture", ".t-card:not([hidden])"))
    beside = film["x"] + film["width"] <= card["x"]
    assert beside is (width >= 768)
    assert page.get_by_role("button", name="Limited view", exact=True).bounding_box()["height"] >= 44
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
