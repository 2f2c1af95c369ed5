from riders.models.accounts import ApiToken, AssociationRole, User
from riders.models.associations import Association, Membership, Scheme, Season
from riders.models.ledger import Score, ScoreChange, StandingRow
from riders.models.people import Horse, Owner, Pair, Rider

__all__ = [
    "ApiToken",
    "Association",
    "AssociationRole",
    "Horse",
    "Membership",
    "Owner",
    "Pair",
    "Rider",
    "Scheme",
    "Score",
    "ScoreChange",
    "Season",
    "StandingRow",
    "User",
]
