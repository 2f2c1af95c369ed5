"""Files of scores that were handed in: looked at first, then confirmed as shown, or taken away."""

from __future__ import annotations

import json
import zlib
from collections.abc import Collection
from datetime import timedelta

from django.utils import timezone

from riders.csvrows import MOST_BYTES
from riders.errors import Conflict, InvalidInput, NotAllowed
from riders.intake import one_line
from riders.models import Horse, Rider, User, WaitingImport
from riders.services.ledger_preview import Preview, WorkedOut, preview_import, read_file
from riders.services.matching import source_from, write_decision
from riders.services.taking_in import take_in
from riders.transactions import take_ledger_turn, write_transaction

KEPT_FOR = timedelta(days=14)
Decision = tuple[str, str, Rider | Horse | None]
"""(kind, spelling, who is meant; None is someone new)."""


def hand_in(content: bytes, *, source: str = "", file_name: str = "", by: User | None) -> WaitingImport:
    """Keep a file and work out what it would change; files that nobody confirmed for two weeks leave."""
    source = source_from(source)
    if len(content) > MOST_BYTES:
        sentence = f"The file is larger than {MOST_BYTES // 10**6} MB. Split it and import the parts."
        raise InvalidInput(sentence, problems=[("file", sentence)])
    if not content.strip():
        sentence = "The file is empty. Choose the file, or paste its text."
        raise InvalidInput(sentence, problems=[("file", sentence)])
    preview = preview_import(content, source=source, by=by)
    kept, packed = zlib.compress(content), _packed(preview)
    with write_transaction():
        WaitingImport.objects.filter(confirmed_at__isnull=True, at__lt=timezone.now() - KEPT_FOR).delete()
        return WaitingImport.objects.create(
            source=source,
            file_name=_plain_name(file_name),
            digest=preview.digest,
            content=kept,
            preview=packed,
            state=preview.state,
            by=by,
        )


def preview_of(waiting: WaitingImport) -> Preview:
    """Return what was worked out last; see ``work_out_again``."""
    return Preview.of_document(json.loads(zlib.decompress(waiting.preview)))


def work_out_again(waiting: WaitingImport, *, by: User | None) -> WaitingImport:
    """Work the file out against the ledger as it stands now, for whoever asks."""
    _refuse_confirmed(waiting)
    preview = preview_import(zlib.decompress(waiting.content), source=waiting.source, by=by)
    packed = _packed(preview)
    with write_transaction():
        WaitingImport.objects.filter(pk=waiting.pk, confirmed_at__isnull=True).update(
            preview=packed, state=preview.state
        )
    waiting.refresh_from_db()
    return waiting


def decide_names(waiting: WaitingImport, decisions: Collection[Decision], *, by: User | None) -> WaitingImport:
    """Remember who is meant by names of the file, for its source, and work the file out again."""
    _refuse_confirmed(waiting)
    open_names = {(name.kind, name.spelling) for name in preview_of(waiting).names}
    strange = [spelling for kind, spelling, _ in decisions if (kind, spelling) not in open_names]
    if strange:
        sentence = f"The file has no open name {strange[0]!r}. Look at it again: it may have been decided on since."
        raise InvalidInput(sentence, problems=[("names", sentence)])
    with write_transaction():
        take_ledger_turn()
        for kind, spelling, member in decisions:
            write_decision(source=waiting.source, kind=kind, spelling=spelling, member=member, by=by)
    return work_out_again(waiting, by=by)


def confirm_import(
    waiting: WaitingImport, *, digest: str, state: str, by: User | None, reason: str = ""
) -> WaitingImport:
    """Carry a file out exactly as it was shown: ``digest`` and ``state`` are those of the preview that was looked at.

    Raises ``Conflict`` with the new preview where the ledger has changed so that it would do something else now, and
    ``InvalidInput`` while the file has problems or names that are not decided on.
    """
    _refuse_confirmed(waiting)
    why = one_line(reason)[:300] or f"imported from {waiting.source or waiting}"

    def confirm(worked_out: WorkedOut) -> None:
        current = WaitingImport.objects.select_for_update().get(pk=waiting.pk)
        _refuse_confirmed(current)
        _refuse_other_state(worked_out.preview, digest, state)
        current.summary = worked_out.preview.counts
        current.confirmed_at, current.confirmed_by, current.reason = timezone.now(), by, why
        current.content = current.preview = b""
        current.save()

    try:
        read = read_file(zlib.decompress(waiting.content))
        take_in(read, source=waiting.source, by=by, reason=why, first=confirm)
    except Conflict:
        raise Conflict(
            "The ledger has changed since this was worked out, so it was worked out again. Look at what the file would "
            "change now, and confirm that.",
            current=work_out_again(waiting, by=by),
        ) from None
    return WaitingImport.objects.get(pk=waiting.pk)


def take_away(waiting: WaitingImport) -> None:
    """Drop a file that was not confirmed; nothing of it has reached the ledger."""
    with write_transaction():
        _refuse_confirmed(waiting)
        WaitingImport.objects.filter(pk=waiting.pk, confirmed_at__isnull=True).delete()


def _refuse_other_state(preview: Preview, digest: str, state: str) -> None:
    if (digest, state) != (preview.digest, preview.state):
        raise Conflict("It was worked out differently.")


def _refuse_confirmed(waiting: WaitingImport) -> None:
    if waiting.confirmed_at is not None:
        raise NotAllowed("This file has been imported already. Hand in the next one.", code="import-confirmed")


def _packed(preview: Preview) -> bytes:
    return zlib.compress(json.dumps(preview.as_document()).encode())


def _plain_name(name: str) -> str:
    return "".join(character for character in one_line(name) if character.isprintable())[-120:]
