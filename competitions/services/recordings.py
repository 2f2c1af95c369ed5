"""Taking in the film of a ride: in pieces that may break off at any moment, or as a link; replacing and deleting it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.db.models import Q
from django.db.transaction import on_commit
from django.utils import timezone

from competitions.models import CompetitionClass, Entry, Recording, RecordingChange
from competitions.models.recordings import LETTERS
from competitions.selectors.recordings import judging_begun
from competitions.services import recording_files as files
from competitions.services.clock import lock_class
from competitions.services.films import film_type
from riders.errors import Conflict, InvalidInput, NotAllowed
from riders.models import User
from riders.transactions import write_transaction

LARGEST_PIECE = 4 * 1024 * 1024
BROKEN_OFF_AFTER = timedelta(days=3)
_LONGEST_NAME = 120
_LONGEST_LINK = 500
_HIGHEST_CAMERA = 3000
_MEGABYTE = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """Where the camera stood: at one of the arena's letters or elsewhere in words; its height in centimetres."""

    letter: str = ""
    place: str = ""
    height: int | None = None


def largest_film() -> int:
    """Return the largest film that is taken, in bytes."""
    return settings.RECORDING_MEGABYTES * _MEGABYTE


def start_upload(entry: Entry, *, name: str, length: int, modified: str, camera: Camera, by: User) -> Recording:
    """Begin to take in a film, or go on with the same one where it broke off.

    The same is: of the same name, length and age. Another one that was on its way to this entry is given up. Refused
    before the first byte where the film is too large, the disk too full, or the entry's recording may not be changed.
    """
    name = _file_name(name)
    _refuse_bad_camera(camera)
    _refuse_length(length)
    with write_transaction():
        _lock_for_change(entry)
        arriving = Recording.objects.select_for_update().filter(entry=entry, state=Recording.State.ARRIVING).first()
        if arriving and (arriving.name, arriving.length, arriving.modified) == (name, length, modified):
            _place_camera(arriving, camera)
            arriving.save()
            return arriving
        if arriving:
            _end(arriving, Recording.State.ABANDONED, action="given up for another film", by=by)
        _refuse_full_disk(length)
        made = Recording(entry=entry, state=Recording.State.ARRIVING, name=name, length=length, modified=modified)
        made.uploaded_by = by
        _place_camera(made, camera)
        made.save()
        _note(made, "upload begun", by=by)
    return made


def add_piece(recording: Recording, *, begin: int, piece: bytes) -> int:
    """Add the bytes that follow those that are here; return how many are here now.

    Raises ``Conflict`` where they do not follow: ask what is here, and go on from there.
    """
    if recording.state != Recording.State.ARRIVING:
        raise Conflict("This upload has ended. Begin it anew if the film is not here.")
    if not piece or len(piece) > LARGEST_PIECE:
        raise InvalidInput(f"A piece has 1 to {LARGEST_PIECE} bytes; this one has {len(piece)}.", code="piece-size")
    if begin < 0 or begin + len(piece) > recording.length:
        raise InvalidInput(
            f"The film was announced with {recording.length} bytes; this piece would end at {begin + len(piece)}.",
            code="piece-size",
        )
    try:
        arrived = files.append_piece(recording.key, begin=begin, piece=piece)
    except files.OutOfTurn:
        here = files.arrived_bytes(recording.key)
        raise Conflict(f"{here} bytes of this film are here, so the next piece begins there, not at {begin}.") from None
    except OSError as error:
        raise _disk_full() from error
    Recording.objects.filter(pk=recording.pk).update(changed_at=timezone.now())
    return arrived


def finish_upload(recording: Recording, *, by: User) -> Recording:
    """Keep a film that is here whole, in the place of the one before; what is no film is removed and refused.

    Done twice, it finds what it did before.
    """
    if recording.state == Recording.State.KEPT:
        return recording
    here = files.arrived_bytes(recording.key)
    if recording.state != Recording.State.ARRIVING or here != recording.length:
        raise Conflict(f"{here} of {recording.length} bytes of this film are here. Send the rest, then finish it.")
    with files.open_part(recording.key) as stream:
        try:
            content_type = film_type(stream)
        except InvalidInput as refusal:
            give_up_upload(recording, by=by, why=refusal.message)
            raise
        digest = files.digest_of(stream)
    with write_transaction():
        _lock_for_change(recording.entry)
        current = Recording.objects.select_for_update().get(pk=recording.pk)
        if current.state == Recording.State.ARRIVING:
            files.complete(current.key)
            current.content_type, current.digest = content_type, digest
            _keep(current, by=by)
        elif current.state != Recording.State.KEPT:
            raise Conflict("This upload has ended. Begin it anew if the film is not here.")
    return current


def give_up_upload(recording: Recording, *, by: User | None, why: str = "") -> None:
    """End an upload and remove what has arrived of it; one that has ended already stays as it is."""
    with write_transaction():
        current = Recording.objects.select_for_update().get(pk=recording.pk)
        if current.state == Recording.State.ARRIVING:
            _end(current, Recording.State.ABANDONED, action="upload given up", by=by, reason=why)


def name_link(entry: Entry, *, link: str, camera: Camera, by: User) -> Recording:
    """Name where a recording lies elsewhere, in the place of the one before."""
    link = _good_link(link)
    _refuse_bad_camera(camera)
    with write_transaction():
        _lock_for_change(entry)
        made = Recording(entry=entry, state=Recording.State.ARRIVING, link=link, uploaded_by=by)
        _place_camera(made, camera)
        arriving = Recording.objects.filter(entry=entry, state=Recording.State.ARRIVING).first()
        if arriving:
            _end(arriving, Recording.State.ABANDONED, action="given up for a link", by=by)
        _keep(made, by=by)
    return made


def move_camera(recording: Recording, *, camera: Camera, by: User) -> Recording:
    """Correct where the camera stood; before judging begins."""
    _refuse_bad_camera(camera)
    with write_transaction():
        _lock_for_change(recording.entry)
        current = Recording.objects.select_for_update().get(pk=recording.pk)
        before = current.camera
        _place_camera(current, camera)
        if current.camera != before:
            current.save()
            _note(current, "camera corrected", by=by, reason=f"{before}; now {current.camera}"[:300])
    return current


def delete_recording(recording: Recording, *, by: User, reason: str = "") -> None:
    """Delete a recording for good, before judging begins or after the results are official; who did it is kept."""
    with write_transaction():
        competition_class = lock_class(recording.entry.competition_class_id)
        if competition_class.open_for_changes and judging_begun(recording.entry):
            raise NotAllowed(
                "The judges are at work with this recording. It can be deleted once the results are official.",
                code="judging-begun",
            )
        current = Recording.objects.select_for_update().get(pk=recording.pk)
        if current.state == Recording.State.KEPT:
            _end(current, Recording.State.DELETED, action="deleted", by=by, reason=reason)


def sweep_recordings(*, now: datetime) -> int:
    """Give up uploads that nobody goes on with, and remove files that no recording needs; return how many."""
    broken_off = Recording.objects.filter(state=Recording.State.ARRIVING, changed_at__lt=now - BROKEN_OFF_AFTER)
    swept = set()
    for recording in broken_off:
        give_up_upload(recording, by=None, why="nobody went on with it for three days")
        swept.add(recording.key)
    needed = Q(state__in=[Recording.State.ARRIVING, Recording.State.KEPT], link="")
    wanted = set(Recording.objects.filter(needed).values_list("key", flat=True))
    for key, path in files.files_older_than(BROKEN_OFF_AFTER, now=now):
        if key not in wanted:
            path.unlink(missing_ok=True)
            swept.add(key)
    return len(swept)


def _lock_for_change(entry: Entry) -> CompetitionClass:
    """Lock the class of an entry, or say why its recording stays as it is."""
    competition_class = lock_class(entry.competition_class_id)
    if not competition_class.from_recordings:
        raise NotAllowed(
            f"Class {competition_class.number} is judged at the arena, so it takes no recordings.", code="no-recordings"
        )
    if not competition_class.open_for_changes:
        raise NotAllowed(
            f"The results of class {competition_class.number} are official, so its recordings stay as they are.",
            code="results-official",
        )
    if judging_begun(entry):
        raise NotAllowed(
            f"A judge has begun with number {entry.number}, so its recording stays as it is. If it is the wrong one, "
            "tell the show office: the sheets have to be emptied first.",
            code="judging-begun",
        )
    return competition_class


def _keep(recording: Recording, *, by: User) -> None:
    before = Recording.objects.filter(entry=recording.entry, state=Recording.State.KEPT).first()
    if before:
        _end(before, Recording.State.REPLACED, action="replaced", by=by)
    recording.state = Recording.State.KEPT
    recording.save()
    _note(recording, "link named" if recording.link else "kept", by=by)


def _end(recording: Recording, state: Recording.State, *, action: str, by: User | None, reason: str = "") -> None:
    """Take a recording out of use; its file goes when this has been written down for good."""
    recording.state = state
    recording.save()
    _note(recording, action, by=by, reason=reason)
    key = recording.key
    on_commit(lambda: files.remove(key))


def _note(recording: Recording, action: str, *, by: User | None, reason: str = "") -> None:
    RecordingChange.objects.create(recording=recording, action=action, by=by, reason=reason[:300])


def _place_camera(recording: Recording, camera: Camera) -> None:
    recording.camera_letter = camera.letter
    recording.camera_place = " ".join(camera.place.split())
    recording.camera_height = camera.height


def _refuse_bad_camera(camera: Camera) -> None:
    problems = []
    if bool(camera.letter) == bool(camera.place.strip()):
        problems.append(
            ("camera_letter", "Say where the camera stood: at a letter of the arena, or elsewhere in words.")
        )
    elif camera.letter and camera.letter not in LETTERS:
        problems.append(
            ("camera_letter", f'"{camera.letter[:10]}" is no letter of the arena. Choose one of {", ".join(LETTERS)}.')
        )
    if len(camera.place) > _LONGEST_NAME or not camera.place.isprintable():
        problems.append(("camera_place", f"Say in one line of at most {_LONGEST_NAME} characters where it stood."))
    if camera.height is not None and not 0 <= camera.height <= _HIGHEST_CAMERA:
        problems.append(("camera_height", "The height of the camera is from 0 to 30 metres."))
    if problems:
        raise InvalidInput(" ".join(sentence for _, sentence in problems), problems=problems)


def _file_name(name: str) -> str:
    """Return the last part of a name, without what is no character; it is shown, and never used as a path."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(letter for letter in last if letter.isprintable()).strip()[:_LONGEST_NAME] or "film"


def _refuse_length(length: int) -> None:
    if length < 1:
        raise InvalidInput("The file is empty. Choose the film of the ride.", code="film-size")
    if length > largest_film():
        raise InvalidInput(
            f"The film has {-(-length // _MEGABYTE):,} MB; at most {settings.RECORDING_MEGABYTES:,} MB are taken. Save "
            "it smaller (720 lines are enough to judge by), or name a link to it.",
            code="film-size",
        )


def _refuse_full_disk(length: int) -> None:
    """Refuse what would not fit beside all that is on its way already."""
    arriving = Recording.objects.filter(state=Recording.State.ARRIVING).values_list("key", "length")
    on_the_way = sum(max(0, announced - files.arrived_bytes(key)) for key, announced in arriving)
    if length + on_the_way > files.free_bytes():
        raise _disk_full()


def _disk_full() -> InvalidInput:
    return InvalidInput(
        "There is no room for this film on the server now. Tell the show office, or name a link to the film instead.",
        code="disk-full",
    )


def _good_link(link: str) -> str:
    link = link.strip()
    try:
        parts = urlsplit(link)
        good = (
            parts.scheme == "https"
            and bool(parts.hostname and "." in parts.hostname)
            and parts.username is None
            and (parts.port or 443) > 0
            and link.isascii()
            and link.isprintable()
            and not any(letter in link for letter in " <>\"'`\\{}|^")
        )
    except ValueError:
        good = False
    if not good or len(link) > _LONGEST_LINK:
        raise InvalidInput(
            f'"{link[:80]}" is no link that can be opened safely. Give the whole address of the film, beginning with '
            "https://.",
            problems=[("link", "Give the whole address of the film, beginning with https://.")],
            code="bad-link",
        )
    return link


def camera_of(fields: Mapping[str, Any]) -> Camera:
    """Take the camera out of fields that were read from a form or from the API."""
    return Camera(
        letter=fields.get("camera_letter") or "",
        place=fields.get("camera_place") or "",
        height=fields.get("camera_height"),
    )
