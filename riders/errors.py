"""What a service refuses, in words for people and codes for programs. The API and the pages show these as they are."""

from __future__ import annotations

from collections.abc import Iterable, Mapping


class DomainError(Exception):
    """A refusal with a ``code`` that never changes, a sentence, and the fields or rows it is about."""

    code = "refused"

    def __init__(self, message: str, *, code: str | None = None, fields: Mapping[str, list[str]] | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.code = code or self.code
        self.fields = dict(fields or {})


class InvalidInput(DomainError):  # noqa: N818 - reads as the sentence it carries
    """What was sent cannot be used; ``problems`` lists all of it as (where, sentence)."""

    code = "invalid"

    def __init__(self, message: str, *, problems: Iterable[tuple[str, str]] = (), code: str | None = None) -> None:
        self.problems = list(problems)
        fields: dict[str, list[str]] = {}
        for where, sentence in self.problems:
            fields.setdefault(where or "document", []).append(sentence)
        super().__init__(message, code=code, fields=fields)


class NotAllowed(DomainError):  # noqa: N818 - as above
    """The person may not do this, or the state of the thing does not allow it now."""

    code = "not-allowed"


class Conflict(DomainError):  # noqa: N818 - as above
    """Someone else changed it first. ``current`` is what stands there now, so that nothing is lost."""

    code = "conflict"

    def __init__(self, message: str, *, current: object = None) -> None:
        super().__init__(message)
        self.current = current
