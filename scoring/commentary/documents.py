"""Reading ``alignment/1`` back: what the document says, or every problem in it."""

from __future__ import annotations

import re

from scoring.documents import Reader, describe, take_format

__all__ = ["check_alignment"]

_CONFIDENCE = re.compile(r"0\.\d\d\Z", re.ASCII)


def check_alignment(reader: Reader) -> str:
    """Say what an ``alignment/1`` document holds, adding its problems to the reader's."""
    take_format(reader, "alignment/1")
    last, parts, laid, count = -1, 0, 0, 0
    for cue in reader.objects("cues", required=True):
        count += 1
        index = cue.take_int("index", required=True)
        part = cue.take_int("part")
        item = cue.take_text("item")
        laid += bool(item)
        _check_order(cue, index, part, last=last, parts=parts)
        parts = parts + 1 if index == last else 1
        last = last if index is None else index
        _check_values(cue)
        cue.finish()
    reader.finish()
    return (
        f"Commentary laid on a test, alignment/1, {count} {'entry' if count == 1 else 'entries'}, {laid} on movements."
    )


def _check_order(cue: Reader, index: int | None, part: int | None, *, last: int, parts: int) -> None:
    if index is None:
        return
    if index < last:
        cue.problem("index", f"The index {index} stands after {last}. Put the cues in the order of the input.")
    elif index == last and part != parts:
        cue.problem("part", f'Cue {index} stands here again, with the part {describe(part)}. Give "part" {parts}.')
    elif index > last and part not in (None, 0):
        cue.problem("part", f"Cue {index} begins with part {part}. Begin with part 0.")


def _check_values(cue: Reader) -> None:
    if "item" not in cue.value and cue.usable:
        cue.problem("item", '"item" is missing. Give the id of a movement, or null for the whole ride.')
    if "start" not in cue.value and cue.usable:
        cue.problem("start", '"start" is missing. Give seconds such as "61.5", or null where the time is not known.')
    for key in ("start", "end"):
        cue.take_decimal(key, least=0)
    confidence = cue.take_text("confidence", required=True)
    if confidence and not _CONFIDENCE.match(confidence):
        cue.problem("confidence", f'"confidence" is {describe(confidence)}. Give two decimals from "0.00" to "0.99".')
    cue.take_text("text")
