"""Drafts of schemes: kept for one person, so that a volunteer can go home and come back."""

from __future__ import annotations

import copy
import re
import unicodedata
from typing import Any

from django.db.models import F
from django.utils import timezone

from riders.errors import Conflict, InvalidInput
from riders.intake import one_line, plain_document, reason_from
from riders.models import Association, Scheme, SchemeDraft, User
from riders.services.scheme_versions import add_version, holds_unstorable
from riders.transactions import write_transaction
from scoring.season.scheme import is_too_deep

_MOST_BYTES = 200_000
_ID = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")


def open_draft(scheme: Scheme, *, association: Association, by: User) -> SchemeDraft:
    """Return the person's draft of a scheme: the one they have begun, or a new one from this version."""
    with write_transaction():
        draft, _ = SchemeDraft.objects.get_or_create(
            by=by,
            association=association,
            key=scheme.key,
            defaults={"based_on": scheme, "document": scheme.document},
        )
    return draft


def start_draft(
    title: str, *, key: str, association: Association, by: User, copy_of: Scheme | None = None
) -> SchemeDraft:
    """Begin a rule with an id of its own: from nothing, or as a copy of another scheme."""
    title = one_line(title)
    key = key.strip() or key_from(title)
    problems = [] if title else [("title", "Give the rule a title, such as: Rider of the year.")]
    if title and (not _ID.fullmatch(key) or len(key) > 80):
        problems.append(("key", "Give an id of at most 80 of a to z, 0 to 9 and single hyphens."))
    elif title and Scheme.objects.filter(key=key).exists():
        problems.append(("key", f'There is a scheme "{key}" already. Open it instead, or give another id.'))
    if len(title) > 200 or holds_unstorable(title):
        problems.append(("title", "The title holds a control character or more than 200 characters. Shorten it."))
    if problems:
        raise InvalidInput("The rule was not begun. Look at the fields that are named.", problems=problems)
    document = _blank() if copy_of is None else copy.deepcopy(copy_of.document)
    document |= {"id": key, "title": title}
    with write_transaction():
        draft, fresh = SchemeDraft.objects.get_or_create(
            by=by, association=association, key=key, defaults={"document": document}
        )
    if not fresh:
        sentence = f'You have begun a rule with the id "{key}" already. Go on with that one, or give another id.'
        raise InvalidInput(sentence, problems=[("key", sentence)])
    return draft


def key_from(title: str) -> str:
    """Return an id made of a title.

    >>> key_from("Élite of the Year (2027)")
    'elite-of-the-year-2027'
    """
    plain = unicodedata.normalize("NFKD", title.casefold()).encode("ascii", "ignore").decode()
    return "-".join(re.findall(r"[a-z0-9]+", plain))[:80].strip("-")


def _blank() -> dict[str, Any]:
    return {
        "format": "scheme/1",
        "id": "",
        "title": "",
        "mode": "rank",
        "unit": "pair",
        "group_by": [],
        "value": {"aggregate": "mean"},
    }


def keep_draft(draft: SchemeDraft, document: object, *, seen: int) -> SchemeDraft:
    """Keep a document as it stands, good or not; ``seen`` is the version of the draft that it was made from.

    Raises ``Conflict`` with the draft as it is where another window of the same person has kept something else.
    """
    if is_too_deep(document):
        raise InvalidInput("The rule is nested too deep, so it was not kept. Write it flatter.")
    content = plain_document(document)
    if holds_unstorable(content):
        raise InvalidInput("A text holds a control character, which cannot be kept. Type it anew.")
    if len(repr(content)) > _MOST_BYTES:
        raise InvalidInput("The rule is longer than 200,000 characters, so it was not kept. Shorten it.")
    with write_transaction():
        kept = SchemeDraft.objects.filter(pk=draft.pk, version=seen).update(
            document=content, version=F("version") + 1, kept_at=timezone.now()
        )
        current = SchemeDraft.objects.select_related("based_on", "association").filter(pk=draft.pk).first()
    if current is None:
        raise Conflict("This draft has been saved or thrown away in another window. Nothing was kept.")
    if not kept and current.document != content:
        raise Conflict(
            "You have gone on with this draft in another window. What stands here was not kept; both are shown.",
            current=current,
        )
    return current


def go_on_from(draft: SchemeDraft, scheme: Scheme) -> SchemeDraft:
    """Let a draft follow a later version that its writer has looked at: saved, it becomes the one after that."""
    with write_transaction():
        SchemeDraft.objects.filter(pk=draft.pk).update(based_on=scheme)
    draft.based_on = scheme
    return draft


def discard_draft(draft: SchemeDraft) -> None:
    with write_transaction():
        SchemeDraft.objects.filter(pk=draft.pk).delete()


def save_draft(draft: SchemeDraft, *, reason: str) -> Scheme:
    """Save a draft as the next version of its scheme; the draft is then done with."""
    document = draft.document
    if isinstance(document, dict):
        document = document | {"id": draft.key}
    reason = reason_from(reason)
    with write_transaction():
        saved = add_version(
            document,
            association=draft.association,
            based_on=draft.based_on.version if draft.based_on else 0,
            by=draft.by,
            reason=reason,
        )
        SchemeDraft.objects.filter(pk=draft.pk).delete()
    return saved
