"""Short ways to write schemes and ledgers in the season's tests."""

from scoring import season


def scheme(**keys):
    """Read a scheme that takes the mean of all percentages, unless ``keys`` say otherwise."""
    return season.read_scheme(
        {"format": "scheme/1", "id": "check", "unit": "pair", "value": {"aggregate": "mean"}, **keys}
    )


def ledger(*rows):
    """Read rows with the score_ids s1, s2, ... unless they bring their own."""
    return season.scores_from_rows({"score_id": f"s{n}", **row} for n, row in enumerate(rows, start=1))


def rides(*percentages, unit="P1", **common):
    """Return rows of one pair."""
    return [{"pair": unit, "percentage": str(percentage), **common} for percentage in percentages]


def rows_by_unit(rule, scores, **options):
    return {row.unit: row for row in season.compute_standings(rule, scores, **options).rows()}


def only_row(rule, scores, **options):
    (row,) = season.compute_standings(rule, scores, **options).rows()
    return row


def states(row):
    return {score_id: state for score_id, state, _ in row.explanations}
