"""Season rules: scores of a ledger in, standings and outlooks out, under a scheme that is data.

Each stage of a scheme is a module: ``windows`` (season), ``conditions`` (eligible), ``reranking``, ``steps`` (score),
``limits``, ``requirements``, ``values``, ``thresholds``, ``ties``, ``afterwards``. The contract is in
``scoring/schemas/formats-season.md``.
"""

from scoring.season import commands
from scoring.season.chances import Chance, compute_chances
from scoring.season.descriptions import describe_scheme
from scoring.season.ledger import Score, number_text, scores_from_rows
from scoring.season.ledger_reading import read_scores
from scoring.season.outlook import NextPlace, NextScore, Outlook, Ride, compute_outlook
from scoring.season.placing import place_rows
from scoring.season.rows import GroupKey, Row, group_as_dict
from scoring.season.scheme import Scheme, read_scheme
from scoring.season.standings import Standings, compute_standings

__all__ = [
    "Chance",
    "GroupKey",
    "NextPlace",
    "NextScore",
    "Outlook",
    "Ride",
    "Row",
    "Scheme",
    "Score",
    "Standings",
    "commands",
    "compute_chances",
    "compute_outlook",
    "compute_standings",
    "describe_scheme",
    "group_as_dict",
    "number_text",
    "place_rows",
    "read_scheme",
    "read_scores",
    "scores_from_rows",
]
