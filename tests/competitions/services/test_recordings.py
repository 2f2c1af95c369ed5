from __future__ import annotations

import hashlib
import os
import shutil
import threading
import time
from datetime import timedelta

import pytest
from django.db import DatabaseError, connection
from django.utils import timezone

from competitions.models import Recording
from competitions.policy import can, visible
from competitions.selectors.recordings import time_text
from competitions.selectors.sheets import sheet_view
from competitions.services import recording_files as files
from competitions.services import recordings
from competitions.services.recordings import (
    Camera,
    add_piece,
    delete_recording,
    finish_upload,
    give_up_upload,
    move_camera,
    name_link,
    start_upload,
    sweep_recordings,
)
from competitions.services.results import make_official, withdraw_results
from competitions.tasks import recordings_sweep_task
from riders.errors import Conflict, DomainError, InvalidInput, NotAllowed
from tests.builders import make_class, make_user, mark_sheet
from tests.competitions.films import RIDE, mp4

pytestmark = pytest.mark.django_db
AT_C = Camera(letter="C", height=250)


@pytest.fixture(autouse=True)
def folder(settings, tmp_path):
    settings.DATA_DIR = tmp_path
    return tmp_path / "recordings"


@pytest.fixture
def rider():
    return make_user("rider")


@pytest.fixture
def entry(rider):
    found = make_class(entries=1, from_recordings=True).entries.get()
    found.pair.rider.user = rider
    found.pair.rider.save()
    return found


def upload(entry, by, *, content: bytes = RIDE, piece: int = 10_000) -> Recording:
    begun = start_upload(entry, name="ride.webm", length=len(content), modified="1", camera=AT_C, by=by)
    for begin in range(0, len(content), piece):
        add_piece(begun, begin=begin, piece=content[begin : begin + piece])
    return finish_upload(begun, by=by)


def actions(entry) -> list[str]:
    return [change.action for found in entry.recordings.all() for change in found.changes.all()]


def test_a_film_comes_in_pieces_and_is_kept_whole(entry, rider, folder):
    kept = upload(entry, rider)
    assert (kept.state, kept.content_type, kept.length) == (Recording.State.KEPT, "video/webm", len(RIDE))
    assert kept.digest == hashlib.sha256(RIDE).hexdigest()
    assert files.film_path(kept.key).read_bytes() == RIDE
    assert [path.name for path in folder.iterdir()] == [f"{kept.key}.film"]
    assert oct(folder.stat().st_mode)[-3:] == "700"
    assert oct(files.film_path(kept.key).stat().st_mode)[-3:] == "600"
    assert kept.camera == "at C, 2.50 m high"
    assert finish_upload(kept, by=rider) == kept
    assert actions(entry) == ["upload begun", "kept"]


def test_an_upload_that_broke_off_goes_on_where_it_ended(entry, rider):
    begun = start_upload(entry, name="ride.webm", length=len(RIDE), modified="7", camera=AT_C, by=rider)
    assert add_piece(begun, begin=0, piece=RIDE[:9000]) == 9000
    assert add_piece(begun, begin=0, piece=RIDE[:9000]) == 9000  # the answer was lost on its way
    with pytest.raises(Conflict, match="9000 bytes of this film are here"):
        add_piece(begun, begin=12000, piece=RIDE[12000:13000])
    with pytest.raises(Conflict, match=f"9000 of {len(RIDE)} bytes"):
        finish_upload(begun, by=rider)
    again = start_upload(
        entry, name="ride.webm", length=len(RIDE), modified="7", camera=Camera(place="at home"), by=rider
    )
    assert (again, again.camera) == (begun, "at home")
    add_piece(again, begin=9000, piece=RIDE[9000:])
    finish_upload(again, by=rider)
    assert files.film_path(again.key).read_bytes() == RIDE


def test_another_film_takes_the_place_of_one_on_its_way(entry, rider, folder, django_capture_on_commit_callbacks):
    first = start_upload(entry, name="a.mp4", length=500, modified="", camera=AT_C, by=rider)
    add_piece(first, begin=0, piece=b"x" * 100)
    with django_capture_on_commit_callbacks(execute=True):
        second = start_upload(entry, name="b.mp4", length=500, modified="", camera=AT_C, by=rider)
    first.refresh_from_db()
    assert (first.state, second.state) == (Recording.State.ABANDONED, Recording.State.ARRIVING)
    assert list(folder.iterdir()) == []
    with pytest.raises(Conflict, match="has ended"):
        add_piece(first, begin=100, piece=b"x")


def test_a_new_film_replaces_the_one_before_until_a_judge_begins(entry, rider, django_capture_on_commit_callbacks):
    first = upload(entry, rider)
    with django_capture_on_commit_callbacks(execute=True):
        second = upload(entry, rider, content=mp4())
    first.refresh_from_db()
    assert first.state == Recording.State.REPLACED
    assert not files.film_path(first.key).exists()
    begun = start_upload(entry, name="c", length=10, modified="", camera=AT_C, by=rider)
    mark_sheet(entry, marks={}, remarks={"1": "late"})
    for act in (
        lambda: start_upload(entry, name="d", length=10, modified="", camera=AT_C, by=rider),
        lambda: name_link(entry, link="https://films.example/1", camera=AT_C, by=rider),
        lambda: move_camera(second, camera=Camera(letter="B"), by=rider),
        lambda: delete_recording(second, by=rider),
    ):
        with pytest.raises(NotAllowed):
            act()
    add_piece(begun, begin=0, piece=b"0123456789")
    with pytest.raises(InvalidInput):
        finish_upload(begun, by=rider)
    assert entry.recordings.get(state=Recording.State.KEPT) == second


def test_a_film_that_arrives_whole_after_a_judge_began_is_not_taken(entry, rider):
    first = upload(entry, rider)
    begun = start_upload(entry, name="late", length=len(mp4()), modified="", camera=AT_C, by=rider)
    add_piece(begun, begin=0, piece=mp4())
    mark_sheet(entry)
    with pytest.raises(NotAllowed, match="judge has begun"):
        finish_upload(begun, by=rider)
    assert entry.recordings.get(state=Recording.State.KEPT) == first


def test_an_upload_that_is_given_up_while_it_is_looked_at_is_not_kept(entry, rider, monkeypatch):
    begun = start_upload(entry, name="a", length=len(RIDE), modified="", camera=AT_C, by=rider)
    add_piece(begun, begin=0, piece=RIDE)
    digest_of = files.digest_of

    def meanwhile(stream):
        give_up_upload(begun, by=rider)
        return digest_of(stream)

    monkeypatch.setattr(files, "digest_of", meanwhile)
    with pytest.raises(Conflict, match="has ended"):
        finish_upload(begun, by=rider)
    assert entry.recordings.get().state == Recording.State.ABANDONED


@pytest.mark.parametrize("content", [b"x" * 400, mp4()[:-1], mp4(handler=b"soun")])
def test_what_is_no_film_is_removed_with_a_sentence(entry, rider, folder, content, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True), pytest.raises(InvalidInput):
        upload(entry, rider, content=content)
    assert list(folder.iterdir()) == []
    assert entry.recordings.get().state == Recording.State.ABANDONED


def test_size_and_room_are_looked_at_before_the_first_byte(entry, rider, settings, monkeypatch):
    settings.RECORDING_MEGABYTES = 2
    with pytest.raises(InvalidInput, match="3 MB; at most 2 MB"):
        start_upload(entry, name="a", length=2_000_001, modified="", camera=AT_C, by=rider)
    with pytest.raises(InvalidInput, match="empty"):
        start_upload(entry, name="a", length=0, modified="", camera=AT_C, by=rider)
    usage = shutil.disk_usage(settings.DATA_DIR)
    full = usage._replace(free=files.KEPT_FREE + 1_500_000)
    monkeypatch.setattr(shutil, "disk_usage", lambda _path: full)
    start_upload(entry, name="a", length=1_500_000, modified="", camera=AT_C, by=rider)
    other = make_class(number="2", competition=entry.competition_class.competition, entries=2, from_recordings=True)
    with pytest.raises(InvalidInput, match="no room") as refused:
        start_upload(other.entries.get(number="2"), name="b", length=1, modified="", camera=AT_C, by=rider)
    assert refused.value.code == "disk-full"


def test_pieces_that_cannot_be_are_refused(entry, rider):
    begun = start_upload(entry, name="a", length=100, modified="", camera=AT_C, by=rider)
    for begin, piece in ((0, b""), (-1, b"x"), (90, b"x" * 11), (0, b"x" * (recordings.LARGEST_PIECE + 1))):
        with pytest.raises(InvalidInput):
            add_piece(begun, begin=begin, piece=piece)
    assert files.arrived_bytes(begun.key) == 0


def test_a_piece_that_the_disk_refuses_leaves_nothing_of_itself(entry, rider, monkeypatch):
    begun = start_upload(entry, name="a", length=100, modified="", camera=AT_C, by=rider)
    add_piece(begun, begin=0, piece=b"x" * 40)

    def refuse(_descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", refuse)
        with pytest.raises(InvalidInput, match="no room"):
            add_piece(begun, begin=40, piece=b"y" * 60)
    assert files.arrived_bytes(begun.key) == 40
    assert add_piece(begun, begin=40, piece=b"y" * 60) == 100


def test_an_end_that_broke_off_between_disk_and_database_is_finished_by_the_next(entry, rider):
    begun = start_upload(entry, name="a", length=len(RIDE), modified="", camera=AT_C, by=rider)
    add_piece(begun, begin=0, piece=RIDE)
    files.complete(begun.key)
    assert add_piece(begun, begin=0, piece=RIDE) == len(RIDE)
    assert finish_upload(begun, by=rider).state == Recording.State.KEPT


@pytest.mark.parametrize(
    "link",
    [
        "http://films.example/1",
        "javascript:alert(1)",
        "https://",
        "https://localhost",
        "https://user@films.example/1",
        "https://films.example/a b",
        'https://films.example/"onclick=',
        "https://films.example:99999/",
        "https://[films.example/",
        "https://films.example/" + "x" * 500,
        "//films.example/1",
        "https://filmé.example/",
        "",
    ],
)
def test_links_that_cannot_be_opened_safely_are_refused(entry, rider, link):
    with pytest.raises(InvalidInput, match="https://"):
        name_link(entry, link=link, camera=AT_C, by=rider)
    assert not entry.recordings.exists()


def test_a_link_takes_the_place_of_a_film_and_its_camera_can_be_corrected(entry, rider):
    upload(entry, rider)
    made = name_link(entry, link=" https://films.example/ride?n=1#t ", camera=Camera(place="left of  C"), by=rider)
    assert (made.link, made.camera) == ("https://films.example/ride?n=1#t", "left of C")
    moved = move_camera(made, camera=Camera(letter="B", height=90), by=rider)
    assert moved.camera == "at B, 0.90 m high"
    assert made.changes.last().reason == "left of C; now at B, 0.90 m high"
    assert list(entry.recordings.values_list("state", flat=True)) == ["replaced", "kept"]


@pytest.mark.parametrize(
    "camera",
    [
        Camera(),
        Camera(letter="C", place="at home"),
        Camera(letter="Z"),
        Camera(place="x" * 121),
        Camera(place="a\nb"),
        Camera(place="a\0b"),
        Camera(letter="C", height=-1),
        Camera(letter="C", height=3001),
    ],
)
def test_a_camera_stands_at_one_place(entry, rider, camera):
    with pytest.raises(InvalidInput):
        start_upload(entry, name="a", length=10, modified="", camera=camera, by=rider)


def test_a_class_at_the_arena_takes_no_recordings(rider):
    entry = make_class(entries=1).entries.get()
    with pytest.raises(NotAllowed, match="judged at the arena"):
        start_upload(entry, name="a", length=10, modified="", camera=AT_C, by=rider)


def test_deleting_after_the_results_are_official_and_who_did_it(entry, rider, django_capture_on_commit_callbacks):
    kept = upload(entry, rider)
    mark_sheet(entry, signed=True)
    make_official(entry.competition_class, by=None)
    with django_capture_on_commit_callbacks(execute=True):
        delete_recording(kept, by=rider, reason="she is twelve")
        delete_recording(kept, by=rider)
    kept.refresh_from_db()
    assert kept.state == Recording.State.DELETED
    assert not files.film_path(kept.key).exists()
    last = kept.changes.last()
    assert (last.action, last.by, last.reason) == ("deleted", rider, "she is twelve")
    assert kept.changes.filter(action="deleted").count() == 1
    withdraw_results(entry.competition_class, reason="wrong test", by=None)
    with pytest.raises(NotAllowed, match="judges are at work"):
        delete_recording(kept, by=rider)


def test_broken_uploads_and_files_that_nobody_needs_are_swept(entry, rider, folder, django_capture_on_commit_callbacks):
    kept = upload(entry, rider)
    broken = start_upload(entry, name="a", length=100, modified="", camera=AT_C, by=rider)
    add_piece(broken, begin=0, piece=b"x" * 40)
    stray = folder / "0b4d7a3e-54a8-4d6c-8a66-3f3a0f6a1f11.part"
    stray.write_bytes(b"left behind")
    (folder / "notes.txt").write_text("not ours")
    now = timezone.now()
    with django_capture_on_commit_callbacks(execute=True):
        assert sweep_recordings(now=now) == 0
    later = now + recordings.BROKEN_OFF_AFTER + timedelta(minutes=1)
    with django_capture_on_commit_callbacks(execute=True):
        assert sweep_recordings(now=later) == 2
    assert sorted(path.name for path in folder.iterdir()) == sorted([f"{kept.key}.film", "notes.txt"])
    broken.refresh_from_db()
    assert broken.state == Recording.State.ABANDONED
    give_up_upload(broken, by=rider)
    assert broken.changes.filter(action="upload given up").count() == 1
    assert recordings_sweep_task() == "0 removed"


def test_who_may_know_of_a_recording(entry, rider):
    kept = upload(entry, rider)
    stranger, office, staff = make_user("stranger"), make_user("office"), make_user("staff", is_staff=True)
    entry.competition_class.competition.office_roles.create(user=office)
    for person, sees, sends in ((rider, 1, True), (office, 1, True), (staff, 1, True), (stranger, 0, False)):
        assert visible(person, Recording.objects.all()).count() == sees
        assert can(person, "view-recording", kept) is bool(sees)
        assert can(person, "send-recording", entry) is sends


def test_the_sheet_says_from_where_it_was_filmed_and_what_was_hidden(entry, rider):
    upload(entry, rider)
    sheet = mark_sheet(entry, limited=["2"], times={"2": 83400}).sheet
    view = sheet_view(sheet)
    assert view.filmed_from == "at C, 2.50 m high"
    assert [(line.item_id, line.time) for line in view.limited] == [("2", 83400)]


@pytest.mark.parametrize(
    ("time", "text"),
    [(None, ""), (0, "0:00"), (83400, "1:23.4"), (59_999, "0:59.9"), (3_600_000, "1:00:00"), (3_723_050, "1:02:03")],
)
def test_moments_as_people_write_them(time, text):
    assert time_text(time) == text


@pytest.mark.django_db(transaction=True)
def test_pieces_sent_twice_at_once_are_written_once(entry, rider):
    begun = start_upload(entry, name="a", length=len(RIDE), modified="", camera=AT_C, by=rider)
    faults: list[Exception] = []

    def send() -> None:
        try:
            for begin in range(0, len(RIDE), 3000):
                while True:
                    try:
                        add_piece(begun, begin=begin, piece=RIDE[begin : begin + 3000])
                        break
                    except Conflict:
                        time.sleep(0)
        except (OSError, DomainError, DatabaseError) as fault:
            faults.append(fault)
        finally:
            connection.close()

    threads = [threading.Thread(target=send) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    assert finish_upload(begun, by=rider).digest == hashlib.sha256(RIDE).hexdigest()
