"""Words that speak of the ride as a whole: greetings, the pair, summaries, collective marks, advice, the weather."""

from __future__ import annotations

import re

__all__ = ["general_words"]

_GENERAL: tuple[tuple[int, str], ...] = (
    (
        3,
        (
            r"\b(?:overall|in general|generally|on the whole|as a whole|all in all|altogether|throughout"
            r"|in summary|to sum up)\b"
        ),
    ),
    (
        3,
        (
            r"\b(?:good|nice|great|pleasing|clear|better|best) (?:morning|afternoon|luck|impression|partnership"
            r"|combination)\b"
        ),
    ),
    (3, r"\b(?:thank you|thanks|hello|welcome|well ridden|well done you|all the best|congratulations)\b"),
    (3, r"\b(?:my advice|at home|next (?:time|start|test|competition|outing|level|show)|for the future|in future)\b"),
    (
        3,
        (
            r"\b(?:impulsion|submission|harmon\w+|paces|gaits|general picture|general impression"
            r"|collective\w*)\b(?! (?:is|was) lost)"
        ),
    ),
    (
        3,
        (
            r"\b(?:trot|canter|walk|lateral) (?:work|tour)\b"
            r"|\b(?:walk|trot|canter) is (?:his|her|the|its) (?:best|strong)|\b(?:whole|entire|this) test\b"
        ),
    ),
    (3, r"\b(?:his|her|its) best (?:pace|gait)\b|\bin the (?:half-passes|pirouettes|extensions|transitions|changes)\b"),
    (
        2,
        (
            r"\bthe (?:pair|combination|partnership)\b"
            r"|\b(?:this|nice|lovely|good|trained|talented|elegant|willing|powerful|young|fit) (?:pair"
            r"|combination|horse|partnership|mare|gelding|stallion)\b"
        ),
    ),
    (
        2,
        (
            r"\b(?:pair|combination|warm-up|warming up|turned out|turnout|stirrups?|position|sits? (?:nice|well"
            r"|quiet)\w*|the rider|riding is)\b"
        ),
    ),
    (
        2,
        (
            r"\b(?:marks will|more marks|extra marks|you will|will gain|will need|work on|keep (?:working|up"
            r"|smiling|going|it up)|practise|practice|train\b|training)"
        ),
    ),
    (
        2,
        (
            r"\b(?:lower leg|quiet hands|softer hand|straight back|good seat|two of you|you two|each other"
            r"|you can tell|enjoy\w*|pleasure)\b"
        ),
    ),
    (2, r"\b(?:a|an) (?:\w+ )?(?:\w+ )?(?:horse|ride|test|start|performance|presentation|picture|mare|gelding)\b"),
    (
        2,
        (
            r"\b(?:(?:lovely|nice|kind|likeable|good|sharp|sensitive) (?:type|eye|mover|character)|ability"
            r"|progress|strength|schooling|trainer|lessons?|muscles?)\b"
        ),
    ),
    (
        2,
        (
            r"\b(?:this|next|the) (?:winter|summer|season|year|level|class)|\b(?:first|new) season\b"
            r"|\b(?:young|the|nice|tactful|good|sympathetic) (?:rider|riding)\b"
        ),
    ),
    (
        2,
        (
            r"\b(?:needs? (?:more )?(?:time|experience|confidence)|all the time|every time|look(?:ing)? forward"
            r"|the two of you|you both|ready for)\b"
        ),
    ),
    (
        2,
        (
            r"\b(?:weather|wind\w*|rain\w*|light is|sun\b|my pen|microphone|recording|the bell|bell\b|judging"
            r"|i am sitting|ride number|rider number)"
        ),
    ),
    (
        2,
        (
            r"\b(?:capable|attractive|willing|honest|promising|genuine|generous|athletic|obedient|tidy|accurate|effective"
            r"|tactful|sympathetic|confident|thoughtful|pleasant)(?: \w+)? (?:horse|mover|pony|cob|mare|gelding"
            r"|stallion|rider|riding|effort|test|ride|combination|pair|partnership|picture)\b|\bgood (?:effort|job)\b"
        ),
    ),
    (
        1,
        (
            r"\b(?:more|needs?|better|steadier|lighter|steady|consistent)(?: \w+){0,4}"
            r" (?:contact|self[- ]carriage|throughness|suppleness|engagement)\b"
        ),
    ),
    (
        1,
        (
            r"\b(?:always|needs more|more (?:suppleness|collection|engagement|relaxation|impulsion|risk)"
            r"|the (?:half-passes|pirouettes|extensions|transitions|corners))\b"
        ),
    ),
    (
        1,
        (
            r"\b(?:transitions before|before each|obedient|in the canter|in the trot|in the walk|looking forward"
            r"|obviously|together|faults)\b"
        ),
    ),
)
_GENERAL_WORDS = tuple((weight, re.compile(pattern)) for weight, pattern in _GENERAL)


def general_words(text: str) -> int:
    """Return how strongly the words speak of the whole ride: 0 for not at all.

    >>> general_words("Overall a pleasing ride."), general_words("Circle too large.")
    (5, 0)
    """
    lowered = text.lower()
    return sum(weight for weight, pattern in _GENERAL_WORDS if pattern.search(lowered))
