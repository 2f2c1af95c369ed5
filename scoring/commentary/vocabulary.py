"""The words of the trade, as concepts: what a sentence names and what a movement is.

A concept is written ``kind:name``. The kinds are ``gait``, ``figure``, ``pace`` (collected, medium, ...), ``hand``
(left, right), ``pair`` (pace and gait), ``letter``, ``size`` (metres), ``quality`` (what is said of few movements
only) and ``order`` (first, again), ``end`` (the last movement) and ``bare`` (nothing but a gait). The same patterns
read a test's items and what was said, so that both meet in the same concepts.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

__all__ = ["FAMILY_FIGURES", "QUALITIES_OF", "Mention", "mentions", "stems"]

_NUMBERS = {"five": 5, "six": 6, "eight": 8, "ten": 10, "twelve": 12, "fifteen": 15, "eighteen": 18, "twenty": 20}

_PATTERNS: tuple[tuple[str, str], ...] = (
    ("gait:trot", r"trot(?:s|ted|ting)?\b"),
    ("gait:canter", r"canter(?:s|ed|ing)?\b|gallop\w*"),
    ("gait:walk", r"walk(?:s|ed|ing)?\b"),
    ("figure:enter", r"ent(?:ry|ries|rance|er|ers|ered|ering)\b|com(?:es?|ing) (?:in|down)\b|came (?:in|down)\b"),
    (
        "figure:halt",
        (
            r"halt(?:s|ed|ing)?\b(?!-)|stand(?:s|ing)?\b|stood\b|stop(?:s|ped)?\b(?! (?:and|to|for)\b)|immobil\w*"
            r"|salut\w*|standstill"
        ),
    ),
    ("figure:centre-line", r"(?:cent(?:re|er)|middle) ?-?lines?\b|onto the line|to the line|on the line"),
    ("figure:circle", r"circles?\b|circling|volt[e\u00e9]s?\b"),
    ("figure:turn", r"turn(?:s|ed|ing)?\b(?! out\b)"),
    ("figure:loop", r"serpentines?\b|loops?\b"),
    (
        "figure:diagonal",
        r"diagonals?\b(?! steps)|chang\w+ (?:of |the )?(?:the )?rein\b|across the (?:school|arena|ring)",
    ),
    ("figure:shoulder-in", r"shoulders?[- ]?in\b|shoulder-fore"),
    ("figure:half-pass", r"half[- ]?pass(?:es)?\b|zig-?zag|travers(?:ale|al)s?\b|traversing"),
    ("figure:leg-yield", r"leg[- ]?yield\w*|yielding\b|yields?\b"),
    ("figure:travers", r"travers\b|(?:haunches|quarters)[- ]in\b(?! the)"),
    ("figure:renvers", r"renvers\b|(?:haunches|quarters)-out\b"),
    (
        "figure:lengthen",
        (
            r"length?en(?:s|ed|ing|ings)?\b(?! reins)|(?:long(?:er)?|big(?:ger)?) (?:\w+ )?(?:strides?|steps)\b"
            r"|extensions?\b|opens? (?:him |her )?(?:up|out)\b|medium strides"
        ),
    ),
    (
        "figure:transition",
        (
            r"transitions?\b|downwards?\b|upwards?\b|move[sd]? off|moving off|move-off"
            r"|(?:down|back|on|up|off|in)(?: \w+)?? (?:in)?to (?:the )?(?:\w+ )?(?:trot|canter|walk)\b"
            r"|(?:in)?to (?:the )?(?:trot|canter|walk)\b|(?:trot|canter) (?:on|off|start)\b"
            r"|start to (?:trot|canter)"
        ),
    ),
    (
        "figure:strike-off",
        (
            r"str(?:ike|uck)s?[- ]?off|strikes? off|depart(?:s|ure)?\b|canter start\b"
            r"|(?:wrong|correct|right|left|new) lead\b|(?:in)?to (?:the )?(?:\w+ )?canter\b|wrong leg\b"
        ),
    ),
    (
        "figure:stretch",
        (
            r"stretch\w*|forward and down\b|chew\w*|reins? down\b|let (?:him|her|the horse|it) (?:go )?down"
            r"|down to the hand|follows? (?:it|the hand|the rein)|tak(?:es?|ing) the reins? (?:down|forward)"
        ),
    ),
    ("figure:rein-back", r"rein(?:s|ed|ing)?[- ]back|backwards?\b|steps back\b|back steps?"),
    ("figure:haunches", r"haunches\b(?! (?:out|in|a|to|lead))|half[- ]?(?:turn|pirouette)s?\b|turning on\b"),
    ("figure:pirouette", r"pirouettes?\b"),
    (
        "figure:change",
        (
            r"(?:simple|flying|single|lead) changes?\b|chang\w+ (?:of |the )?(?:the )?(?:leg|lead|legs)\b"
            r"|tempi(?:s|\b)|swap(?:s|ped)?\b|(?:the|that|this|second|first|last|late|clean) changes?\b(?! of)"
            r"|changes? (?:left|right|was|is|late|clean)\b|\btwos\b|\bthrees\b"
            r"|(?:every|each) (?:second|third|fourth|other) stride"
        ),
    ),
    ("figure:simple-change", r"simple changes?\b|through (?:\w+ ){0,4}(?:walk|trot)\b|over the trot"),
    ("figure:flying-change", r"flying changes?\b|tempi(?:s|\b)|clean change|\btwos\b|\bthrees\b|single change"),
    ("figure:twos", r"\btwos\b|two[- ]tempis?|(?:every|each) (?:second|other) stride"),
    ("figure:threes", r"\bthrees\b|three[- ]tempis?|(?:every|each) third stride"),
    ("figure:fours", r"\bfours\b|four[- ]tempis?|(?:every|each) fourth stride"),
    ("figure:ones", r"\bones\b(?= )|one[- ]tempis?|every stride\b"),
    ("figure:counter-canter", r"counter[- ]?canter"),
    ("figure:piaffe", r"piaff\w*"),
    ("figure:passage", r"passage\b"),
    (
        "figure:give-reins",
        r"(?:give|gives|gave|giving|retake\w*|uberstreich\w*)(?: and (?:re)?take\w*)?(?: \w+){0,2} reins?\b",
    ),
    (
        "figure:take-reins",
        (
            r"(?:pick|pull|take|took|taken|taking|gather|short"
            r"|collect)\w*(?: \w+){0,2} reins?\b(?! down)(?! forward)(?! well)"
            r"|reins? (?:\w+ )?(?:pick|pull|take|gather|short|came|come|up)\w*"
        ),
    ),
    ("pace:collected", r"collect(?:ed|ing|ion|s)?\b"),
    ("pace:working", r"working (?:trot|canter|pace|gait)"),
    ("pace:medium", r"(?:medium|middle) (?:trot|canter|walk|strides|pace)|\bmedium\b"),
    ("pace:extended", r"exten(?:ded|sions?|ding|d)\b|strong (?:walk|trot|canter)"),
    ("pace:free", r"free (?:\w+ )?(?:walk|steps)|walk\w* free\w*|(?:long|loose) rein\b"),
    ("pace:rising", r"rising"),
    ("hand:left", r"left\b(?! (?:hind|fore|leg|ear|shoulder|knee|hip|behind|out))"),
    (
        "hand:right",
        (
            r"(?<!all )(?<!that's )(?<!quite )right\b(?! (?:hind|fore|leg|ear|shoulder|knee|hip|away|at|in|on\b"
            r"|enough|now|behind))"
            r"|right (?:rein|hand)\b"
        ),
    ),
    (
        "quality:walk",
        (
            r"over-?track\w*|over-?steps?\b|overreach|footprint|stepping over the print|stride out|strides out"
            r"|march\w*|jog(?:s|ged|ging)?\b|lateral at|pacing\b|four beats|purpose\w*"
        ),
    ),
    ("quality:cover", r"ground[- ]?cover\w*|cover\w*(?: \w+)? ground|uphill|wide(?:r)? behind|rush\w*|scope\b"),
    (
        "quality:round",
        (
            r"oval|egg\b|round(?:er|ness)?\b(?! the)|shape\b|size\b|too (?:big|large|small|tiny)|met(?:re|er)s?\b"
            r"|open side|fall(?:s|ing)? in\b|fell in\b"
        ),
    ),
    ("quality:bend", r"b(?:end(?:s|ing)?|ent|ended)\b"),
    ("quality:angle", r"angle|three tracks|two tracks|too much neck|inside hand"),
    (
        "quality:push",
        (
            r"push(?:es|ing)?\b|hocks\b|bold\w*|brave\w*|bigger\b|powerful|scope\b|reserved|more of a medium"
            r"|broken step|carrie[sd] away"
        ),
    ),
    (
        "quality:pivot",
        (
            r"spinn?\w*|pivot\w*|stuck\b|glued|stepp\w+ (?:out|back)|inside hind|loses the beat"
            r"|hind (?:feet|legs?) (?:should )?(?:keep|lift)|each foot|too (?:large|big)|centred|large\b"
            r"|on the (?:right )?spot"
        ),
    ),
    (
        "quality:low",
        (
            r"nose\b|low(?:er)?\b|deeper|curls? up|reach\w*|to the ground|long and low|poke\w*"
            r"|swing\w* (?:through|over|back)|swinging back|back swings"
        ),
    ),
    ("quality:corner", r"corners?\b|outside shoulder|cut (?:that|the)|leaning on"),
    ("quality:lift", r"height|lift\b|cadence\w*|airtime|more air|elevat\w*|hover\w*"),
    (
        "quality:prompt",
        (
            r"off he goes|off again|slow (?:away|off)|move[sd]? away|moves? (?:straight )?off|willing\w*"
            r"|behind the leg|off the leg|off your leg|sleepy|kick\w*"
        ),
    ),
    (
        "quality:cross",
        (
            r"cross(?:es|ed|ing)\b|parallel\w*|sideways|steps over|over (?:he|she|it) goes|com(?:es|ing) over"
            r"|alongside|quarters (?:lead\w*|trailing|late|a)|steep\w*|haunches (?:a bit )?lead\w*|leads? with"
        ),
    ),
    (
        "quality:still",
        (
            r"square\w*|still\b(?! \w+ (?:a|beat|clear))|four seconds|seconds\b|established|closed\b"
            r"|hind leg (?:out|back)|(?:left|right) hind (?:out|stays)|resting|fidget\w*|three legs"
            r"|leg (?:a bit )?(?:out|back)\b|restless"
        ),
    ),
    ("quality:entry", r"wobbl\w*|straight(?: as)?\b|crooked"),
    ("quality:line", r"oversh[o0]t|overshoot\w*|past it|went past|missed the line|late onto|turned too (?:early|late)"),
    ("quality:clean", r"late behind|clean\b|one stride late|swings the quarters|short in front"),
    ("quality:back", r"diagonal steps|dragg?(?:s|ing)|steps? (?:not )?(?:are |were )?(?:\w+ )?diagonal"),
    (
        "quality:abrupt",
        (
            r"abrupt\w*|fell into|ran (?:on|into)|runs into|hollow\b|prompt\w*|resist\w*|direct\b|hesitat\w*"
            r"|sudden\w*|promptly"
        ),
    ),
    ("quality:canter", r"four-beat|three-beat|\bjump\b|disunited|the jump"),
    ("quality:return", r"com(?:e|es|ing) back|return\w*|bring\w* (?:him |her )?back|back to (?:collect\w*|working)"),
    ("quality:spot", r"on the spot|lower\w* the croup|\bsit\b|more sit|croup lower"),
    ("order:first", r"\bfirst\b(?! moment)"),
    (
        "order:again",
        (
            r"\bagain\b|\bsecond\b|\banother\b|\bother (?:rein|side|way|hand|circle|one|direction|pirouette)\b"
            r"|\bthis time\b|than (?:the )?(?:first|before|other|left|right)|\bas well\b|\bthis side\b|the other"
        ),
    ),
    (
        "end:last",
        (
            r"\blast (?:halt|cent\w+ ?line|movement|time|line|salute)\b|\bfinal\b|\bfinish\w*|at last\b"
            r"|(?:halt|salute|line) at the end\b|to end with"
        ),
    ),
)
_CONCEPTS = tuple((name, re.compile(rf"(?:(?<=^)|(?<=[^\w]))(?:{pattern})")) for name, pattern in _PATTERNS)
_SIZE = re.compile(r"\b(\d{1,2}|" + "|".join(_NUMBERS) + r")[- ]?(?:m\b|met(?:re|er)s?\b)")
_LETTERS_TOGETHER = re.compile(r"(?<![\w'])([A-Z](?:(?:\s*[-,\u2013]\s*|\s+to\s+|\s+and\s+|\s+)[A-Z]){1,3})(?![\w'])")
_LETTER = re.compile(
    r"(?<![\w'.])(?<!\d )([B-HJ-Z]|[AI](?![\w' ])|(?<=\bat )[AI]|(?<=\bto )A\b|(?<=\bfrom )A\b)(?![\w'])"
)
_SPOKEN_LETTER = re.compile(
    r"(?<!\w)(?:at|near|from|after|before|towards|letter|over|by|approaching) ([b-hj-z]|a(?=$|[.,;!?]))(?![\w'])"
)
_NUMBER = re.compile(r"\b(?:movement|number|box|nr\.?|no\.?) (\d{1,3}[a-z]?)\b")
_PAIR = re.compile(r"\b(collected|medium|middle|extended|strong|working|free) (walk|trot|canter)\b")
_PACE_NAMES = {"middle": "medium", "strong": "extended"}
_BARE = re.compile(
    r"(?:(?:then|now|and|on|up|off|down|back|to|into|in|the|a|good|nice|working|collected"
    r"|medium|right|left|this|that|his|her|then) )*"
    r"(?:trot|canter|walk)(?:ing)?\b(?! (?:circle|half|serpentine|pirouette|volte|strides?|steps?|work|loop"
    r"|extension|stretch|is (?:his|her|its)))"
    r"(?!.*(?:circle|pass|change|length|half|cover|centre|lead|long side|diagonal))"
)
_WORD = re.compile(r"[a-z\u00df-\u00ff]{4,}")
_SUFFIX = re.compile(r"(?:ing|edly|ed|ly|es|s|er|ness)\Z")
_COMMON = frozenset(
    [
        "with",
        "that",
        "this",
        "then",
        "than",
        "have",
        "from",
        "more",
        "much",
        "very",
        "bit",
        "little",
        "good",
        "nice",
        "well",
        "need",
        "what",
        "where",
        "when",
        "which",
        "while",
        "would",
        "could",
        "should",
        "there",
        "their",
        "they",
        "here",
        "them",
        "some",
        "quite",
        "also",
        "only",
        "just",
        "into",
        "onto",
        "over",
        "under",
        "after",
        "before",
        "still",
        "even",
        "again",
        "down",
        "back",
        "horse",
        "rider",
        "between",
        "proceed",
        "show",
        "first",
        "second",
        "last",
        "left",
        "right",
        "like",
        "want",
        "does",
        "were",
        "been",
        "your",
        "about",
        "steps",
        "step",
        "stride",
        "better",
        "best",
        "lovely",
        "great",
        "same",
        "both",
        "side",
        "hand",
        "rein",
        "reins",
        "loses",
        "keep",
        "kept",
        "made",
        "make",
        "comes",
        "come",
        "going",
        "goes",
        "because",
        "other",
    ]
)

FAMILY_FIGURES = {
    "halt": ("halt",),
    "centre-line": ("centre-line", "turn"),
    "circle": ("circle",),
    "turn": ("turn",),
    "loop": ("loop",),
    "change-of-rein": ("diagonal",),
    "lateral": (),
    "lengthening": ("lengthen",),
    "transition": ("transition",),
    "walk": (),
    "stretch": ("stretch",),
    "rein-back": ("rein-back",),
    "change": ("change",),
}

QUALITIES_OF = {
    "walk": ("figure:walk-movement",),
    "cover": ("figure:lengthen", "pace:medium", "pace:extended"),
    "round": ("figure:circle", "figure:loop"),
    "bend": ("figure:circle", "figure:shoulder-in", "figure:half-pass", "figure:turn", "figure:loop", "figure:travers"),
    "angle": ("figure:shoulder-in", "figure:travers", "figure:renvers"),
    "cross": ("figure:half-pass", "figure:leg-yield"),
    "still": ("figure:halt",),
    "entry": ("figure:enter", "figure:centre-line", "figure:diagonal", "figure:halt"),
    "line": ("figure:centre-line", "figure:turn"),
    "clean": ("figure:flying-change",),
    "back": ("figure:rein-back",),
    "abrupt": ("figure:transition",),
    "canter": ("gait:canter",),
    "return": ("figure:return", "figure:lengthen"),
    "push": ("figure:lengthen", "pace:medium", "pace:extended"),
    "pivot": ("figure:haunches", "figure:pirouette"),
    "low": ("figure:stretch",),
    "corner": ("figure:turn", "figure:centre-line"),
    "lift": ("figure:passage", "figure:piaffe"),
    "prompt": ("figure:transition", "figure:halt"),
    "spot": ("figure:piaffe", "figure:pirouette"),
}


@dataclass(frozen=True, slots=True)
class Mention:
    """One concept that a text names, from ``start`` up to ``end`` in its letters."""

    concept: str
    start: int
    end: int


def mentions(text: str) -> Iterator[Mention]:
    """Yield every concept that ``text`` names, once each.

    >>> sorted(mention.concept for mention in mentions("B circle right 15 m"))
    ['figure:circle', 'hand:right', 'letter:B', 'size:15']
    """
    lowered = text.lower()
    for name, pattern in _CONCEPTS:
        found = pattern.search(lowered)
        if found:
            yield Mention(name, found.start(), found.end())
    for found in _SIZE.finditer(lowered):
        yield Mention(f"size:{_NUMBERS.get(found[1], found[1])}", found.start(), found.end())
    for found in _NUMBER.finditer(lowered):
        yield Mention(f"number:{found[1]}", found.start(), found.end())
    pair = _PAIR.search(lowered)
    if pair:
        yield Mention(f"pair:{_PACE_NAMES.get(pair[1], pair[1])}-{pair[2]}", pair.start(), pair.end())
    if _BARE.match(lowered):
        yield Mention("bare:gait", 0, 1)
    yield from _letters(text, lowered)


def _letters(text: str, lowered: str) -> Iterator[Mention]:
    seen: set[str] = set()
    for pattern, source in ((_LETTERS_TOGETHER, text), (_LETTER, text), (_SPOKEN_LETTER, lowered)):
        for found in pattern.finditer(source):
            for letter in re.findall(r"(?<![\w'])[A-Za-z](?![\w'])", found[1]):
                if letter.upper() not in seen:
                    seen.add(letter.upper())
                    yield Mention(f"letter:{letter.upper()}", found.start(), found.end())


def stems(text: str) -> frozenset[str]:
    """Return the rarer words of a text without their endings, for what the vocabulary does not know.

    >>> sorted(stems("Canter resumes towards the quarterline"))
    ['cant', 'quarterline', 'resum', 'toward']
    """
    words = (word for word in _WORD.findall(text.lower()) if word not in _COMMON)
    return frozenset(_SUFFIX.sub("", word) if len(word) > 5 else word.removesuffix("s") for word in words)
