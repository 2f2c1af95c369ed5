"""Schemes in versions: a saved version is never changed, a changed rule is the next one, with who, when and why."""

from __future__ import annotations

from typing import Any

from django.db import IntegrityError, transaction

from riders import policy
from riders.errors import Conflict, InvalidInput, NotAllowed
from riders.intake import has_unstorable, plain_document, reason_from, refused_document
from riders.models import Association, Scheme, SchemeChange, User
from riders.transactions import write_transaction
from scoring import season as season_rules
from scoring.documents import InvalidDocument, Problem

_MOST_ID, _MOST_TITLE = 80, 200


def save_scheme(document: object, *, by: User | None = None) -> Scheme:
    """Keep a season rule as it comes; other content under the same id is its next version.

    What a version says already, the latest or an earlier one, changes nothing and returns that version.
    ``by`` must be let by the policy to add to the scheme; None stands for the command line.
    """
    read, content = _usable(document)
    with write_transaction():
        latest = _latest(read.id)
        for known in Scheme.objects.filter(key=read.id).order_by("-version"):
            if known.document == content:
                return known
        _demand(by, latest)
        return _add(read, content, latest, by=by, reason="", association=None)


def save_version(document: object, *, association: Association, based_on: int, by: User | None, reason: str) -> Scheme:
    """Save a scheme that an association's keeper has changed, as its next version.

    ``based_on`` is the number of the version that was opened, 0 for a rule from nothing. Raises ``Conflict`` with the
    latest version where somebody else has saved one meanwhile, and ``InvalidInput`` where the document or the reason
    cannot be used or nothing is different.
    """
    reason = reason_from(reason)
    with write_transaction():
        return add_version(document, association=association, based_on=based_on, by=by, reason=reason)


def add_version(document: object, *, association: Association, based_on: int, by: User | None, reason: str) -> Scheme:
    """Do what ``save_version`` does inside the caller's transaction; the reason is one from ``reason_from``."""
    read, content = _usable(document)
    latest = _latest(read.id)
    if latest is not None and latest.version != based_on:
        raise Conflict(_saved_meanwhile(latest, based_on), current=latest)
    if latest is None and based_on:
        sentence = f'There is no scheme "{read.id}" to make the next version of. Save it as a new one.'
        raise InvalidInput(sentence, problems=[("id", sentence)])
    if latest is not None and latest.document == content:
        raise InvalidInput(
            f"Nothing was saved: version {latest.version} says exactly this already.", code="nothing-changed"
        )
    _demand(by, latest)
    return _add(read, content, latest, by=by, reason=reason, association=association)


def _saved_meanwhile(latest: Scheme, based_on: int) -> str:
    change = SchemeChange.objects.filter(scheme=latest).select_related("by").first()
    who = f" by {change.by}" if change and change.by else ""
    if not based_on:
        return (
            f'The id "{latest.key}" is taken: version {latest.version} of "{latest.title}" was saved{who}. Open that '
            "one and change it, or give yours another id."
        )
    return (
        f"Version {latest.version} was saved{who} after version {based_on} had been opened. Look at what it says "
        "before yours becomes the next one."
    )


def _usable(document: object) -> tuple[season_rules.Scheme, Any]:
    try:
        read = season_rules.read_scheme(document)
    except InvalidDocument as error:
        raise refused_document(error, what="The scheme") from error
    problems = [
        Problem(key, sentence)
        for key, text, most in (("id", read.id, _MOST_ID), ("title", read.title, _MOST_TITLE))
        for sentence in _faults(key, text, most=most)
    ]
    content = plain_document(document)
    if not problems and holds_unstorable(content):
        problems.append(Problem("", "The scheme holds a control character or half of a character. Type the text anew."))
    if problems:
        raise refused_document(InvalidDocument(problems), what="The scheme")
    return read, content


def _faults(key: str, text: str, *, most: int) -> list[str]:
    if has_unstorable(text):
        return [f'"{key}" holds a control character. Type the text anew.']
    if len(text) > most:
        return [f'"{key}" has {len(text)} characters, but at most {most} are kept. Shorten it.']
    return []


def holds_unstorable(content: object) -> bool:
    """Tell whether any text of a document cannot be kept by a database."""
    if isinstance(content, str):
        return has_unstorable(content.replace("\n", "").replace("\r", "").replace("\t", ""))
    if isinstance(content, dict):
        return any(holds_unstorable(key) or holds_unstorable(value) for key, value in content.items())
    return isinstance(content, list) and any(holds_unstorable(one) for one in content)


def _latest(key: str) -> Scheme | None:
    """Return the latest version, with every version locked: who has waited looks at what there is by then."""
    versions = Scheme.objects.filter(key=key).order_by("-version")
    list(versions.select_for_update().values_list("pk"))
    return versions.first()


def _demand(by: User | None, latest: Scheme | None) -> None:
    if by is not None and latest is not None and not policy.can(by, "change", latest):
        raise NotAllowed(
            f'"{latest.title}" is kept by another association. Take a copy of it under an id of your own.',
            code="other-association",
        )


def _add(
    read: season_rules.Scheme,
    content: Any,
    latest: Scheme | None,
    *,
    by: User | None,
    reason: str,
    association: Association | None,
) -> Scheme:
    version = latest.version + 1 if latest else 1
    try:
        with transaction.atomic():
            scheme = Scheme.objects.create(key=read.id, version=version, title=read.title or read.id, document=content)
    except IntegrityError as error:  # two begin the same id at once: there was no row yet that could be locked
        saved = Scheme.objects.filter(key=read.id).latest("version")
        raise Conflict(_saved_meanwhile(saved, version - 1), current=saved) from error
    SchemeChange.objects.create(scheme=scheme, association=association, by=by, reason=reason)
    return scheme
