"""``bundle/1``: results with all that is needed to recompute them, sealed by a digest."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from datetime import datetime
from decimal import Decimal
from hashlib import sha256

from scoring.class_reader import class_from
from scoring.classes import ClassDocument
from scoring.documents import InvalidDocument, Problem, Reader, describe, take_format
from scoring.results import compute_results
from scoring.results_reader import results_from

__all__ = ["bundle_digest", "bundle_from", "verify_bundle"]

_Claim = tuple[ClassDocument | None, Mapping[str, object]]


def bundle_digest(document: Mapping[str, object]) -> str:
    """Return ``sha256:...`` over the canonical JSON of a bundle without its ``digest``.

    Canonical is: keys sorted by code point, no spaces, UTF-8 with nothing escaped that JSON does not force, and numbers
    in plain decimal form without needless noughts, as RFC 8785 writes them between 1e-6 and 1e21.

    >>> bundle_digest({"format": "bundle/1", "digest": "not looked at"}) == bundle_digest({"format": "bundle/1"})
    True
    """
    rest = {key: value for key, value in document.items() if key != "digest"}
    try:
        text = _canonical_text(rest)
    except RecursionError:
        message = "The bundle is nested too deeply. Send one that holds competition and classes only."
        raise InvalidDocument([Problem("", message)]) from None
    return f"sha256:{sha256(text.encode('utf-8', 'surrogatepass')).hexdigest()}"


def _canonical_text(value: object) -> str:
    """Write canonical JSON; a document without decimal numbers, as ours are, takes the fast way."""
    try:
        return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    except TypeError:
        return "".join(_canonical(value))


def _canonical(value: object) -> Iterator[str]:
    if isinstance(value, Mapping):
        yield "{"
        for index, key in enumerate(sorted(value)):
            yield f"{',' if index else ''}{json.dumps(key, ensure_ascii=False)}:"
            yield from _canonical(value[key])
        yield "}"
    elif isinstance(value, list | tuple):
        yield "["
        for index, member in enumerate(value):
            if index:
                yield ","
            yield from _canonical(member)
        yield "]"
    elif isinstance(value, Decimal):
        yield _plain(value)
    else:
        yield json.dumps(value, ensure_ascii=False)


def _plain(number: Decimal) -> str:
    if not number.is_finite() or not -100 < number.adjusted() < 100:
        raise InvalidDocument([Problem("", f"The number {str(number)[:40]} is out of all bounds. Correct it.")])
    text = format(number, "f")
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text


def bundle_from(reader: Reader, *, strict: bool) -> list[_Claim]:
    """Read a bundle: each class with the results that are claimed for it.

    With ``strict`` the results must be good ``results/1`` and the digest must be right; without, whatever they hold is
    left to be compared.
    """
    take_format(reader, "bundle/1")
    competition = reader.take_object("competition", required=True)
    if competition is not None:
        competition.finish(known=competition.value)
    claims = [_claim(child, strict=strict) for child in reader.objects("classes", required=True)]
    digest = reader.take_text("digest", required=True)
    if strict and digest and digest != bundle_digest(reader.value):
        reader.problem("digest", "The digest is not that of the content: it was changed after the bundle was made.")
    reader.finish()
    return claims


def _claim(reader: Reader, *, strict: bool) -> _Claim:
    class_reader = reader.take_object("class", required=True)
    found = None if class_reader is None else class_from(class_reader)
    results = reader.take_object("results", required=True)
    if strict and results is not None:
        results_from(results)
    published = reader.take_text("published_at")
    if published and not _is_time(published):
        message = f'"published_at" is {describe(published)}. Give a time such as "2027-05-02T14:30:00+02:00".'
        reader.problem("published_at", message)
    reader.take_int("revision", least=0)
    reader.finish()
    return found, {} if results is None else results.value


def _is_time(text: str) -> bool:
    try:
        datetime.fromisoformat(text)
    except ValueError:
        return False
    return True


def verify_bundle(document: object) -> list[Problem]:
    """Recompute every class of a bundle and return each difference from what it claims; empty when all agree.

    The digest is compared too. The sentences of ``working`` are not: they may be worded otherwise in another version,
    and every figure in them is compared by itself. Raises :class:`InvalidDocument` where nothing can be recomputed.
    """
    reader = Reader.over(document)
    claims = bundle_from(reader, strict=False) if reader.usable else []
    if reader.problems:
        raise InvalidDocument(reader.problems)
    differences: list[Problem] = []
    if reader.value.get("digest") != (digest := bundle_digest(reader.value)):
        differences.append(Problem("digest", f"The content has another digest, {digest}: it was changed afterwards."))
    for index, (found, claimed) in enumerate(claims):
        if found is not None:
            recomputed = compute_results(found, working=False).as_document()
            differences.extend(_compared(claimed, recomputed, f"classes[{index}].results"))
    return differences


def _compared(claimed: object, recomputed: object, path: str) -> Iterator[Problem]:
    if isinstance(claimed, Mapping) and isinstance(recomputed, Mapping):
        yield from _compared_objects(claimed, recomputed, path)
    elif isinstance(claimed, list) and isinstance(recomputed, list):
        key = {"entries": "number", "teams": "team"}.get(path.rpartition(".")[2])
        if key is not None and all(isinstance(row, Mapping) for row in claimed):
            yield from _compared_rows(claimed, recomputed, path, key)
        elif claimed != recomputed:
            yield Problem(path, f"The bundle says {_said(claimed)}, but recomputed it is {_said(recomputed)}.")
    elif type(claimed) is not type(recomputed) or claimed != recomputed:
        yield Problem(path, f"The bundle says {_said(claimed)}, but recomputed it is {_said(recomputed)}.")


def _compared_objects(claimed: Mapping[str, object], recomputed: Mapping[str, object], path: str) -> Iterator[Problem]:
    for key, value in recomputed.items():
        if key == "working":
            continue
        if key not in claimed:
            yield Problem(f"{path}.{key}", f"The bundle leaves this out, but recomputed it is {_said(value)}.")
        else:
            yield from _compared(claimed[key], value, f"{path}.{key}")
    for key in claimed:
        if key not in recomputed and not str(key).startswith("x-"):
            yield Problem(f"{path}.{key}", "The bundle says this, but nothing like it is recomputed.")


def _compared_rows(
    claimed: list[Mapping[str, object]], recomputed: list[Mapping[str, object]], path: str, key: str
) -> Iterator[Problem]:
    name = _row_name(key)
    expected = {row[key]: row for row in recomputed}
    found = [row.get(key) for row in claimed]
    for index, row in enumerate(claimed):
        identity = found[index]
        if not isinstance(identity, str) or identity not in expected:
            yield Problem(f"{path}[{index}]", f"The bundle lists {name(identity)}, which is not recomputed.")
        elif identity in found[:index]:
            yield Problem(f"{path}[{index}]", f"The bundle lists {name(identity)} twice.")
        else:
            yield from _compared_objects(row, expected[identity], f"{path}[{index}]")
    missing = [identity for identity in expected if identity not in found]
    for identity in missing:
        yield Problem(path, f"The bundle leaves out {name(identity)}.")
    if (
        not missing
        and len(found) == len(expected)
        and found != list(expected)
        and set(map(str, found)) == set(expected)
    ):
        yield Problem(path, f"The order is not as recomputed: {', '.join(map(str, expected))}.")


def _row_name(key: str) -> Callable[[object], str]:
    return lambda identity: f"{'entry' if key == 'number' else 'team'} {describe(identity)}"


def _said(value: object) -> str:
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(describe, value))}]"
    return describe(value)
