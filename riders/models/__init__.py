from riders.models.accounts import ApiToken, AssociationRole, User
from riders.models.associations import Association, Membership, Scheme, Season
from riders.models.closing import EditionRow, SeasonChange, SeasonEdition
from riders.models.imports import WaitingImport
from riders.models.ledger import Score, ScoreChange
from riders.models.matching import NameDecision
from riders.models.memberships import MembershipChange
from riders.models.merges import Merge
from riders.models.names import NameChange
from riders.models.people import Horse, Owner, Pair, Rider
from riders.models.rebuilds import StandingsRebuild
from riders.models.requests import IdempotencyRecord
from riders.models.schemes import SchemeChange, SchemeDraft, SeasonSchemeChange
from riders.models.standings import StandingRow, StandingTable

__all__ = [
    "ApiToken",
    "Association",
    "AssociationRole",
    "EditionRow",
    "Horse",
    "IdempotencyRecord",
    "Membership",
    "MembershipChange",
    "Merge",
    "NameChange",
    "NameDecision",
    "Owner",
    "Pair",
    "Rider",
    "Scheme",
    "SchemeChange",
    "SchemeDraft",
    "Score",
    "ScoreChange",
    "Season",
    "SeasonChange",
    "SeasonEdition",
    "SeasonSchemeChange",
    "StandingRow",
    "StandingTable",
    "StandingsRebuild",
    "User",
    "WaitingImport",
]
