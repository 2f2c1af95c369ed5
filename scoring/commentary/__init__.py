r"""Spoken commentary to the sheet: timed or plain text in, each sentence laid on the movement it is about.

>>> from scoring import read_test
>>> test = read_test({"format": "test/1", "id": "t", "mark": {"min": "0", "max": "10", "step": "0.5"}, "items": [
...     {"id": "1", "at": "A, X", "text": "Enter in working trot. X halt, salute.", "family": "halt", "gait": "trot"},
...     {"id": "2", "at": "B", "text": "Circle right 15 m.", "family": "circle", "gait": "trot"}]})
>>> cues = read_commentary("Straight entry.\nCircle too large.\nOverall a pleasing pair.")
>>> [assignment.item for assignment in align(test, cues)]
['1', '2', None]
"""

from __future__ import annotations

from scoring.commentary.alignment import Assignment, align
from scoring.commentary.cues import Cue, read_commentary
from scoring.commentary.laid import LaidSentence, lay_sentences, proposal

__all__ = ["Assignment", "Cue", "LaidSentence", "align", "lay_sentences", "proposal", "read_commentary"]
