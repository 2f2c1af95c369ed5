"""Sending a film in a real browser: the network breaks off, the browser is closed, the file is no film."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from competitions.models import Recording
from competitions.services.recording_files import film_path
from tests.builders import make_class, make_pair, make_user
from tests.competitions.films import RIDE, mp4

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]

PAGE = "/competitions/linden-autumn/1/1/recording/"
FILM = {"name": "ride 1.webm", "mimeType": "video/webm", "buffer": RIDE}


@pytest.fixture
def rider(transactional_db, settings, tmp_path):
    settings.DATA_DIR = tmp_path
    user = make_user("rider")
    make_pair(1, user=user)
    make_class(entries=1, from_recordings=True)
    return user


def large_film(tmp_path):
    """Write a film of several pieces; nothing in it can be played."""
    path = tmp_path / "large.mp4"
    path.write_bytes(mp4(data=b"x" * 3_000_000))
    return path


def choose(page, film) -> None:
    page.locator("#film").set_input_files(film)
    page.locator("#id_film-camera_letter").select_option("C")


def test_a_film_is_sent_and_plays(open_as, rider):
    page = open_as(rider, PAGE, viewport={"width": 360, "height": 740})
    choose(page, FILM)
    page.locator("#id_film-camera_height").fill("250")
    page.get_by_role("button", name="Send the film").click()
    expect(page.get_by_text("Filmed at C, 2.50 m high.")).to_be_visible()
    kept = Recording.objects.get()
    assert film_path(kept.key).read_bytes() == RIDE
    page.evaluate("() => document.querySelector('video').play()")
    expect(page.locator("video")).to_have_js_property("videoWidth", 240)
    for width in (360, 768, 1280):
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()


def test_it_goes_on_after_the_network_broke_off_and_after_the_browser_was_closed(open_as, rider, tmp_path):
    film = large_film(tmp_path)
    page = open_as(rider, PAGE)
    pieces = []

    def break_off(route) -> None:
        pieces.append(route.request.headers["content-range"])
        if len(pieces) >= 3:
            route.abort()
        else:
            route.continue_()

    page.route("**/uploads/*/", lambda route: break_off(route) if route.request.method == "PUT" else route.continue_())
    choose(page, film)
    page.get_by_role("button", name="Send the film").click()
    expect(page.locator("#sending-said")).to_contain_text("The network does not answer. What has arrived is kept")
    arrived = 256 * 1024 * 3
    page.get_by_role("button", name="Stop here").click()
    expect(page.locator("#sending-said")).to_contain_text("choose the same file to go on")
    page.close()

    again = open_as(rider, PAGE)
    expect(again.locator("#broken-off")).to_contain_text(
        f"large.mp4 broke off at {100 * arrived // film.stat().st_size} %"
    )
    sent = []
    again.on(
        "request",
        lambda request: sent.append(request.headers.get("content-range")) if request.method == "PUT" else None,
    )
    choose(again, film)
    again.get_by_role("button", name="Send the film").click()
    expect(again.get_by_text("Filmed at C.")).to_be_visible()
    assert sent[0].startswith(f"bytes {arrived}-")
    kept = Recording.objects.get(state=Recording.State.KEPT)
    assert film_path(kept.key).read_bytes() == film.read_bytes()


def test_it_waits_for_the_network_and_goes_on_by_itself(open_as, rider, tmp_path):
    page = open_as(rider, PAGE)
    failures = []

    def fail_twice(route) -> None:
        if len(failures) < 2:
            failures.append(route.request.url)
            route.abort()
        else:
            route.continue_()

    page.route("**/uploads/*/", fail_twice)
    choose(page, large_film(tmp_path))
    page.get_by_role("button", name="Send the film").click()
    expect(page.get_by_text("Filmed at C.")).to_be_visible(timeout=20000)
    assert len(failures) == 2


def test_a_proxy_that_takes_small_pieces_only_gets_small_pieces(open_as, rider, tmp_path):
    page = open_as(rider, PAGE)
    sizes = []

    def narrow(route) -> None:
        size = len(route.request.post_data_buffer or b"")
        sizes.append(size)
        route.fulfill(status=413, body="too large") if size > 600_000 else route.continue_()

    page.route("**/uploads/*/", lambda route: narrow(route) if route.request.method == "PUT" else route.continue_())
    choose(page, large_film(tmp_path))
    page.get_by_role("button", name="Send the film").click()
    expect(page.get_by_text("Filmed at C.")).to_be_visible(timeout=20000)
    assert sum(size > 600_000 for size in sizes) == 1


def test_what_cannot_be_sent_is_said_beside_the_file(open_as, rider, settings):
    page = open_as(rider, PAGE)
    send = page.get_by_role("button", name="Send the film")
    problem = page.locator("#film-problem")
    send.click()
    expect(problem).to_have_text("Choose the film first.")
    page.locator("#film").set_input_files({"name": "a.mp4", "mimeType": "video/mp4", "buffer": b"x" * 500})
    send.click()
    expect(problem).to_contain_text("Say where the camera stood")
    page.locator("#id_film-camera_letter").select_option("C")
    send.click()
    expect(problem).to_contain_text("This is no film that can be kept here.")
    page.locator("#id_film-camera_height").evaluate("(field) => { field.type = 'text'; field.value = 'high'; }")
    send.click()
    expect(problem).to_contain_text('"high" is no height in whole centimetres.')
    settings.RECORDING_MEGABYTES = 1
    page.reload()
    choose(page, {"name": "b.mp4", "mimeType": "video/mp4", "buffer": b"x" * 1_100_000})
    send.click()
    expect(problem).to_contain_text("The film has 2 MB; at most 1 MB are taken.")
    assert not Recording.objects.filter(state=Recording.State.KEPT).exists()
