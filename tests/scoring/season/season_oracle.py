"""A season worked out again, slowly and straight from the contract, on parsed JSON and rows of text.

It shares no line with ``scoring``: the best set is found by trying all subsets, judges are matched by SciPy, places are
counted by comparing every row with every other. Known keys only; what the ledger does not hold is ``None``.
"""

import datetime as dt
import math
import re
import statistics
from collections import defaultdict
from decimal import ROUND_DOWN, ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal, localcontext
from fractions import Fraction
from itertools import combinations

import numpy as np
from scipy.optimize import linear_sum_assignment

ROUNDING = {"half-up": ROUND_HALF_UP, "half-even": ROUND_HALF_EVEN, "down": ROUND_DOWN}
WHOLE = ("placing", "starters", "horse_age")
NUMBERS = ("percentage", "collectives", *WHOLE)


class Unknown(Exception):  # noqa: N818 - it is no error of the program: the ledger does not hold a value
    """The ledger does not hold what a rule needs."""


def natural(text):
    parts = re.findall(r"\d+|\D+", str(text))
    return [(0, int(part), "") if part[0] in "0123456789" else (1, 0, part) for part in parts]


def read(row):
    score = {name: (value.strip() or None) for name, value in row.items()}
    for name in NUMBERS:
        if score.get(name) is not None:
            score[name] = Fraction(score[name])
    for name in ("member", "hors_concours", "recognised", "highest_of_level"):
        if score.get(name) is not None:
            score[name] = score[name] == "true"
    if score.get("date"):
        score["date"] = dt.date.fromisoformat(score["date"])
    score["judges"] = [name.strip() for name in (score.get("judges") or "").split(";") if name.strip()] or None
    score["judge_count"] = Fraction(len(score["judges"])) if score["judges"] else None
    return score


def as_list(value):
    return [] if value is None else value if isinstance(value, list) else [value]


def text(value):
    return {True: "true", False: "false"}[value] if isinstance(value, bool) else str(value)


# conditions: True, False or None


def holds(condition, score):
    if isinstance(condition, list):
        return every([holds(one, score) for one in condition])
    if "all" in condition:
        return holds(as_list(condition["all"]), score)
    if "any" in condition:
        parts = [holds(one, score) for one in as_list(condition["any"])]
        return True if True in parts else None if None in parts else False
    if "not" in condition:
        inner = holds(as_list(condition["not"]), score)
        return None if inner is None else not inner
    return compare(condition, score)


def every(parts):
    return False if False in parts else None if None in parts else True


def compare(condition, score):
    field = condition["field"]
    (operator, operand) = next((key, value) for key, value in condition.items() if key != "field")
    have = score.get(field)
    if have is None:
        return None
    if operator == "at_least_by":
        try:
            return have >= figure(operand, score)
        except Unknown:
            return None
    if operator in ("is", "in", "not_in"):
        wanted = [as_field(field, one) for one in (operand if operator != "is" else [operand])]
        found = any(one in wanted for one in (have if isinstance(have, list) else [have]))
        return found != (operator == "not_in")
    bar = as_field(field, operand)
    return {
        "at_least": have >= bar, "above": have > bar, "after": have > bar,
        "at_most": have <= bar, "below": have < bar, "before": have < bar,
    }[operator]  # fmt: skip


def as_field(field, value):
    if field == "date":
        return dt.date.fromisoformat(value)
    return Fraction(value) if field in (*NUMBERS, "judge_count") else value


def figure(table, score):
    if not isinstance(table, dict):
        return Fraction(table)
    ((field, figures),) = table.items()
    if score.get(field) is None:
        raise Unknown
    found = figures.get(text(score[field]), figures.get("*"))
    if found is None:
        raise Unknown
    return figure(found, score)


# the number of a score


def need(score, field):
    if score.get(field) is None:
        raise Unknown
    return score[field]


def known(number):
    if number is None:
        raise Unknown
    return number


def number_of(steps, score, shared):
    return known(run(steps, score.get("percentage"), score, shared))


def run(steps, number, score, shared):
    for step in steps:
        number = apply(step, number, score, shared)
    return number


def apply(step, number, score, shared):  # noqa: PLR0911, PLR0912, C901 - one case for each step of the contract
    how = step.get("shared", "same")
    if "take" in step:
        return need(score, step["take"])
    if "constant" in step:
        return Fraction(step["constant"])
    if "places" in step:
        return placed(step["places"], score, shared, how)
    if "places_by_starters" in step:
        starters = need(score, "starters")
        for size, table in step["places_by_starters"].items():
            low, high = re.fullmatch(r"(\d+)(\+|-\d+|)", size).groups()
            top = math.inf if high == "+" else int(high[1:] or 0) if high else int(low)
            if int(low) <= starters <= top:
                return placed(table, score, shared, how)
        return Fraction(0)
    if "from_starters" in step:
        winner = min(Fraction(step["from_starters"]["most"]), need(score, "starters"))
        table = {str(place): str(max(Fraction(1), winner - place + 1)) for place in range(1, 60)}
        return placed({**table, "*": "1"}, score, shared, how)
    if "riders_beaten" in step:
        holders, _ = shared(score)
        return max(Fraction(0), need(score, "starters") - need(score, "placing") - holders + 1) * Fraction(
            step["riders_beaten"]
        )
    if "bands" in step:
        reached = [Fraction(points) for bound, points in step["bands"] if known(number) >= Fraction(bound)]
        return reached[-1] if reached else Fraction(step.get("below", "0"))
    for name in ("multiply", "multiply_by"):
        if name in step:
            return known(number) * figure(step[name], score)
    if "divide" in step:
        return known(number) / Fraction(step["divide"])
    for name in ("add", "add_by"):
        if name in step:
            return known(number) + figure(step[name], score)
    if "linear" in step:
        ((field, lines),) = step["linear"].items()
        line = lines.get(text(need(score, field)), lines.get("*"))
        return known(number) * Fraction(known(line)[0]) + Fraction(line[1])
    if "round" in step:
        return rounded(known(number), step["round"]["decimals"], step["round"].get("rounding", "half-up"))
    if "plus" in step:
        return known(number) + number_of(step["plus"], score, shared)
    verdict = holds(step["when"], score)
    if verdict is None:
        raise Unknown
    return run(step.get("then" if verdict else "else", []), number, score, shared)


def placed(table, score, shared, how):
    place = int(need(score, "placing"))
    holders, dense = shared(score) if how != "same" else (1, place)

    def points(one):
        return Fraction(table.get(str(one), table.get("*", "0")))

    if how == "mean":
        return sum(points(place + index) for index in range(holders)) / holders
    return points(dense if how == "dense" else place)


def rounded(number, decimals, mode):
    with localcontext() as context:
        context.prec = 60
        scaled = Decimal(number.numerator * 10**decimals) / Decimal(number.denominator)
        if Fraction(number * 10**decimals).denominator != 1 and scaled == scaled.to_integral_value():
            raise ArithmeticError("more digits than this oracle has")
        return Fraction(int(scaled.quantize(Decimal(1), rounding=ROUNDING[mode]))) / 10**decimals


# requirements


def matched(choices):
    names = sorted({name for judges in choices for name in judges})
    if not names or not choices:
        return 0
    gain = np.array([[int(name in judges) for name in names] for judges in choices])
    rows, columns = linear_sum_assignment(gain, maximize=True)
    return int(gain[rows, columns].sum())


def counted(requirement, scores):
    fitting = [score for score in scores if holds(as_list(requirement.get("where")), score) is True]
    count = requirement["count"]
    if count == "scores":
        return len(fitting)
    if count == "judges":
        return matched([score["judges"] for score in fitting if score["judges"]])
    if count == "classes":
        values = {(s.get("competition"), s["class"]) for s in fitting if s.get("class") is not None}
    elif count == "weekends":
        values = {s["date"].strftime("%G-%V") for s in fitting if s.get("date")}
    else:
        field = {"competitions": "competition", "tests": "test", "levels": "level", "venues": "venue", "dates": "date",
                 "pairs": "pair", "riders": "rider", "horses": "horse"}[count]  # fmt: skip
        values = {s[field] for s in fitting if s.get(field) is not None}
    return len(values)


def measure(requirement, scores, competitions):
    if isinstance(requirement, list):
        inner = [measure(one, scores, competitions) for one in requirement]
        return {"all_of": inner, "met": all(one["met"] for one in inner)}
    if "any_of" in requirement:
        inner = [measure(one, scores, competitions) for one in requirement["any_of"]]
        return {"any_of": inner, "met": any(one["met"] for one in inner)}
    have = counted(requirement, scores)
    if "at_most" in requirement:
        return {"count": requirement["count"], "have": have, "at_most": requirement["at_most"],
                "met": have <= requirement["at_most"]}  # fmt: skip
    bar = requirement.get("at_least")
    if bar is None:
        bar = math.ceil(Fraction(requirement["share_of_competitions"]) * competitions)
    return {"count": requirement["count"], "have": have, "need": bar, "met": have >= bar}


def measures(requirements, scores, competitions):
    return [measure(one, scores, competitions) for one in as_list(requirements)]


def met(requirements, scores, competitions):
    return all(one["met"] for one in measures(requirements, scores, competitions))


# values


class Piece:
    """One number of the value and the scores behind it."""

    def __init__(self, number, scores):
        self.number, self.scores = number, scores

    def day(self):
        days = [score.get("date") for score in self.scores]
        return None if None in days else max(days)


def aggregate(numbers, how, sign):
    if not numbers:
        return None
    return {
        "mean": lambda: sum(numbers, Fraction(0)) / len(numbers),
        "median": lambda: Fraction(statistics.median(numbers)),
        "sum": lambda: sum(numbers, Fraction(0)), "best": lambda: max(numbers, key=lambda number: sign * number),
        "count": lambda: Fraction(len(numbers)),
    }[how]()  # fmt: skip


def when_ridden(piece):
    return piece.day() or dt.date.max, natural(piece.scores[0]["score_id"])


def best_first(pieces, sign):
    return sorted(sorted(pieces, key=when_ridden), key=lambda piece: -sign * piece.number)


def flat(pieces):
    return [score for piece in pieces for score in piece.scores]


def season_number(spec, competitions):
    if not isinstance(spec, dict):
        return spec
    if "competitions_minus" in spec:
        number = competitions - spec["competitions_minus"]
    else:
        number = math.ceil(Fraction(spec["share_of_competitions"]) * competitions)
    return min(max(number, spec.get("at_least", 0), 0), spec.get("at_most", 10**6))


def choose(pieces, rule, *, require, competitions, sign, musts):
    """Return the pieces that count, or all that could where no set meets what those taken must meet."""
    take, drop = rule.get("take") or {}, rule.get("drop_lowest")
    always = []
    if take.get("plus_all"):
        verdicts = [(every([holds(as_list(take["plus_all"]), s) for s in piece.scores]), piece) for piece in pieces]
        unknown = [p for _, p in verdicts if None in [holds(as_list(take["plus_all"]), s) for s in p.scores]]
        always = [piece for verdict, piece in verdicts if verdict and piece not in unknown]
        pieces = [piece for verdict, piece in verdicts if verdict is False and piece not in unknown]
    if drop and len(pieces) > drop.get("when_more_than", 0):
        pieces = dropped(pieces, drop, [*as_list(require), *as_list(take.get("must"))], always, competitions, sign)
    if "last" in take:
        pieces = sorted((p for p in pieces if p.day()), key=when_ridden)[::-1][
            : season_number(take["last"], competitions)
        ]
    elif take.get("must"):
        pieces = best_set(pieces, rule, always, competitions=competitions, sign=sign, musts=musts)
    elif take:
        pieces = best_first(pieces, sign)[: season_number(take["best"], competitions)]
    return [*pieces, *always]


def dropped(pieces, drop, needs, always, competitions, sign):
    left, gone = best_first(pieces, sign), 0
    for piece in left[::-1]:
        if gone == drop.get("number", 1):
            break
        rest = [other for other in left if other is not piece]
        if drop.get("protect") and any(
            met(one, flat([*left, *always]), competitions) and not met(one, flat([*rest, *always]), competitions)
            for one in ([need] for need in needs)
        ):
            continue
        left, gone = rest, gone + 1
    return left


def best_set(pieces, rule, always, *, competitions, sign, musts):
    must, size = rule["take"]["must"], min(season_number(rule["take"]["best"], competitions), len(pieces))
    best, best_rank = None, None
    for chosen in combinations(best_first(pieces, sign), size):
        if not met(must, flat([*chosen, *always]), competitions):
            continue
        value = aggregate([piece.number for piece in (*chosen, *always)], rule["aggregate"], sign)
        rank = (sign * (value or 0), sorted((sign * piece.number for piece in chosen), reverse=True))
        if best_rank is None or rank > best_rank:
            best, best_rank = chosen, rank
    counting = pieces if best is None else best
    musts += [{**one, "no_set": best is None} for one in measures(must, flat([*counting, *always]), competitions)]
    return list(counting)


def work_out(rule, scores, *, require, competitions, sign):
    """Return the exact figure, the pieces that count and what those taken must meet."""
    pieces, musts = [Piece(score["number"], [score]) for score in scores], []
    options = {"require": require, "competitions": competitions, "sign": sign, "musts": musts}
    first = rule.get("first")
    if first:
        heaps = defaultdict(list)
        for piece in pieces:
            key = tuple(piece.scores[0].get(field) for field in first["by"])
            if None not in key:
                heaps[key].append(piece)
        pieces = []
        for _, heap in sorted(heaps.items(), key=lambda pair: [natural(text(value)) for value in pair[0]]):
            chosen = choose(heap, first, **options)
            number = aggregate([piece.number for piece in chosen], first["aggregate"], sign)
            if number is not None:
                if first.get("round"):
                    number = rounded(number, first["round"]["decimals"], first["round"].get("rounding", "half-up"))
                pieces.append(Piece(number, flat(chosen)))
    pieces = choose(pieces, rule, **options)
    without_set = [one.pop("no_set") for one in musts]
    if any(without_set):
        return None, [], musts
    number = aggregate([piece.number for piece in pieces], rule["aggregate"], sign)
    return with_bonuses(rule, number, flat(pieces), scores, competitions), flat(pieces), musts


def with_bonuses(rule, number, counting, scores, competitions):
    if number is None:
        return None
    number += Fraction(rule.get("add_per_score", "0")) * len(counting)
    number += sum(Fraction(b["amount"]) for b in rule.get("add", []) if met(b["when"], scores, competitions))
    if rule.get("add_field"):
        known_ones = [score for score in scores if score.get(rule["add_field"]) is not None]
        if not known_ones:
            return None
        number += max(known_ones, key=time_order)[rule["add_field"]]
    return number


def time_order(score):
    return score.get("date") or dt.date.min, natural(score["score_id"])


# the whole


def months_before(day, months):
    year, month = divmod(day.year * 12 + day.month - 1 - months, 12)
    for last in (day.day, 30, 29, 28):
        if last <= day.day:
            try:
                return dt.date(year, month + 1, last)
            except ValueError:
                continue
    raise AssertionError


def stays_open(season, score):
    """Tell whether a ride of the days after is inside a season that has a last day."""
    day = score["date"]
    return not ("to" in season and day > dt.date.fromisoformat(season["to"])) and not (
        "from" in season and day < dt.date.fromisoformat(season["from"])
    )


def in_season(season, scores, as_of):
    rolling = "rolling_months" in season or "rolling_days" in season
    latest = max((s["date"] for s in scores if s.get("date")), default=None)
    day = as_of or (latest if rolling else None)
    first = dt.date.fromisoformat(season["from"]) if season.get("from") else None
    last = dt.date.fromisoformat(season["to"]) if season.get("to") else None
    if day and "rolling_months" in season:
        first = months_before(day, season["rolling_months"]) + dt.timedelta(days=1)
    if day and "rolling_days" in season:
        first = day - dt.timedelta(days=season["rolling_days"] - 1)

    def inside(score):
        if first is None and last is None and day is None and not rolling:
            return True
        when = score.get("date")
        return when is not None and (not first or when >= first) and (not last or when <= last) and (
            not day or when <= day
        )  # fmt: skip

    return inside


def reranked(scores, by):
    heaps = defaultdict(list)
    fields = [*by, "competition"] if "class" in by and "competition" not in by else by
    for score in scores:
        heaps[tuple(score.get(field) for field in fields)].append(score)
    new = []
    for key, heap in heaps.items():
        named = dict(zip(fields, key, strict=True))
        use_places = "class" in by and any(s.get("placing") is not None for s in heap)

        def better(one, other, use_places=use_places):
            if use_places:
                return one.get("placing") is not None and one["placing"] < other["placing"]
            return one.get("percentage") is not None and one["percentage"] > other["percentage"]

        for score in heap:
            lacking = any(named[field] is None for field in by)
            ordered_by = "placing" if use_places else "percentage"
            place = None
            if not lacking and score.get(ordered_by) is not None:
                place = Fraction(1 + sum(better(other, score) for other in heap))
            new.append({**score, "placing": place, "starters": None if lacking else Fraction(len(heap))})
    return new


def sharing(scores, by):
    """Return a function that tells how many hold a score's place and what it is where a shared place counts once."""
    fields = [*by, "competition"] if "class" in by else by

    def tell(score):
        key = [score.get(field) for field in fields]
        if score.get("placing") is None or score.get(by[0]) is None:
            return 1, int(score.get("placing") or 1)
        mates = [s for s in scores if [s.get(f) for f in fields] == key and s.get("placing") is not None]
        holders = sum(s["placing"] == score["placing"] for s in mates)
        ahead = [s["placing"] for s in mates if s["placing"] < score["placing"]]
        return holders, max(1, int(score["placing"]) - (len(ahead) - len(set(ahead))))

    return tell


def limited(limits, scores, sign):
    for limit in limits:
        kept, heaps = [], defaultdict(list)
        for score in scores:
            verdict = holds(as_list(limit.get("where")), score)
            needed = [*limit.get("per", []), *([] if limit["keep"] == "best" else ["date"])]
            if verdict is False:
                kept.append(score)
            elif verdict is True and all(score.get(field) is not None for field in needed):
                heaps[tuple(score[field] for field in limit.get("per", []))].append(score)
        for heap in heaps.values():
            heap.sort(key=lambda s: (s.get("date") or dt.date.max, natural(s["score_id"])))
            if limit["keep"] == "best":
                heap.sort(key=lambda s: -sign * s["number"])
            if limit["keep"] == "last":
                heap.reverse()
            kept += heap[: limit["number"]]
        scores = kept
    return scores


COMPARISONS = {
    "at_least": lambda a, b: a >= b, "above": lambda a, b: a > b,
    "at_most": lambda a, b: a <= b, "below": lambda a, b: a < b,
}  # fmt: skip


def threshold_met(threshold, value, group, sign):
    how, bar = ("at_least" if sign > 0 else "at_most"), threshold
    if isinstance(threshold, dict) and next(iter(threshold)) in COMPARISONS:
        ((how, bar),) = threshold.items()
    try:
        bar = figure(bar, group)
    except Unknown:
        return False, ""
    return value is not None and COMPARISONS[how](value, bar), bar


def tie_key(tie, counting, everything, sign):  # noqa: PLR0911 - one return for each step of the contract
    looked_at = everything if tie.get("of") == "all" or tie["by"] == "better-in" else counting
    looked_at = [s for s in looked_at if holds(as_list(tie.get("where")), s) is True]
    merits = sorted((sign * s["number"] for s in looked_at), reverse=True)
    match tie["by"]:
        case "best-score" | "better-in":
            return merits[:1]
        case "next-best-scores":
            return merits
        case "more-scores":
            return [len(looked_at)]
        case "fewer-scores":
            return [-len(looked_at)]
        case "latest-score":
            days = [s["date"] for s in looked_at if s.get("date")]
            return sorted(sign * s["number"] for s in looked_at if s.get("date") and s["date"] == max(days))[-1:]
        case "best-collectives":
            return sorted(s["collectives"] for s in looked_at if s.get("collectives") is not None)[-1:]
        case "mean-percentage":
            known_ones = [s["percentage"] for s in looked_at if s.get("percentage") is not None]
            return [Fraction(statistics.mean(known_ones))] if known_ones else []
        case "most-firsts":
            return [sum(s.get("placing") == 1 for s in looked_at)]
        case _:
            return [counted({"count": tie["count"]}, looked_at)]


def published(number, decimals, mode):
    if number is None:
        return None, None
    value = rounded(number, decimals, mode)
    sign, digits = ("-" if value < 0 else ""), str(abs(int(value * 10**decimals))).rjust(decimals + 1, "0")
    return value, sign + (digits if not decimals else f"{digits[:-decimals]}.{digits[-decimals:]}")


def standings(scheme, rows, as_of=None, ahead=()):
    """Work out the groups of ``standings/1``: a list of ``(group, rows)``, rows as in the document.

    ``ahead`` are rides of the days after: the season stands still meanwhile, and their places are not counted again.
    """
    sign = -1 if scheme.get("order") == "ascending" else 1
    further = [read(row) for row in ahead]
    ledger = [read(row) for row in rows]
    stands = in_season(scheme.get("season", {}), ledger, as_of)
    ids = {score["score_id"] for score in further}

    def inside(score):
        return stays_open(scheme.get("season", {}), score) if score["score_id"] in ids else stands(score)

    ledger += further
    held = scheme.get("season", {}).get("competitions")
    if not isinstance(held, int):
        shows = [s for s in ledger if inside(s) and holds(as_list(held), s) is True]
        held = len({s["competition"] for s in shows if s.get("competition") is not None})
    eligible = [
        score
        for score in ledger
        if score.get(scheme["unit"]) is not None
        and inside(score)
        and holds(as_list(scheme.get("eligible")), score) is True
    ]
    by = scheme.get("rerank")
    if by:
        eligible = [
            *reranked([score for score in eligible if score["score_id"] not in ids], by),
            *(score for score in eligible if score["score_id"] in ids),
        ]
    tell = sharing([score for score in (eligible if by else ledger) if score["score_id"] not in ids], by or ["class"])

    def shared(score):
        return (1, int(score["placing"] or 1)) if score["score_id"] in ids else tell(score)

    tables = defaultdict(lambda: defaultdict(list))
    for score in eligible:
        try:
            score["number"] = number_of(scheme.get("score", []), score, shared)
        except Unknown:
            continue
        group = tuple((field, score.get(field)) for field in scheme.get("group_by", []))
        tables[group][text(score[scheme["unit"]])].append(score)
    lines = [
        line
        for group, units in tables.items()
        for unit, scores in units.items()
        if (line := assessed(scheme, group, unit, scores, held=held, sign=sign))
    ]
    out = left_out(scheme, lines)
    return ordered(scheme, lines, out)


def assessed(scheme, group, unit, scores, *, held, sign):
    everything = limited(scheme.get("limit", []), scores, sign)
    if not everything:
        return None
    counting, musts, number = everything, [], None
    if scheme.get("value"):
        number, counting, musts = work_out(
            scheme["value"], everything, require=scheme.get("require"), competitions=held, sign=sign
        )
    value, said = published(number, scheme.get("decimals", 3), scheme.get("rounding", "half-up"))
    requirements = [*measures(scheme.get("require"), everything, held), *musts]
    qualified = all(one["met"] for one in requirements) and not (scheme.get("value") and value is None)
    tier, tier_rank = None, 0
    if scheme.get("mode") == "achieve":
        for tier_rank, one in enumerate(scheme["tiers"]):  # noqa: B007 - the rank reached is used below
            needs = measures(one["require"], everything, held)
            if qualified and all(part["met"] for part in needs):
                tier = one["name"]
                break
        else:
            tier_rank = len(scheme["tiers"])
        requirements += needs
        qualified = qualified and tier is not None
    if scheme.get("threshold") is not None:
        fine, bar = threshold_met(scheme["threshold"], value, dict(group), sign)
        requirements.append({"count": "value", "have": said or "", "need": bar, "met": fine})
        qualified, tier = qualified and fine, tier if fine else None
    keys = [tie_key(tie, counting, everything, sign) for tie in scheme.get("ties", [])]
    return {
        "unit": unit, "group": group, "value": said, "qualified": qualified, "tier": tier, "tier_rank": tier_rank,
        "merit": None if value is None else sign * value, "keys": keys, "requirements": requirements,
        "counted": sorted((s["score_id"] for s in counting), key=natural),
        "eligible": scores,
    }  # fmt: skip


def beats(one, other):
    mine, theirs = ((line["merit"] or Fraction(0), *line["keys"]) for line in (one, other))
    return mine > theirs


def placings(lines):
    return {id(line): 1 + sum(beats(other, line) for other in lines) for line in lines}


def left_out(scheme, lines):
    """Return the ids of the lines that ``after`` takes out of the ranking."""
    out = set()
    for step in scheme.get("after", []):
        tables = defaultdict(list)
        for line in lines:
            if line["qualified"] and id(line) not in out:
                tables[line["group"]].append(line)
        for table in tables.values():
            places = placings(table)
            if "places" in step:
                out |= {key for key, place in places.items() if place > step["places"]}
            if "minimum_units" in step and len(table) < step["minimum_units"]:
                out |= set(places)
            if "exclude" in step:
                out |= {id(line) for line in table if line["unit"] in step["exclude"]}
            if "one_per" in step:
                out |= not_the_best(table, step["one_per"], places)
        if "keep" in step:
            out |= below_the_highest([line for table in tables.values() for line in table], step)
    return out


def not_the_best(table, field, places):
    heaps = defaultdict(list)
    for line in table:
        known_ones = [s for s in line["eligible"] if s.get(field) is not None]
        if known_ones:
            heaps[max(known_ones, key=time_order)[field]].append(line)
    return {
        id(line)
        for heap in heaps.values()
        for line in sorted(heap, key=lambda line: (places[id(line)], natural(line["unit"])))[1:]
    }


def below_the_highest(lines, step):
    order, out = step["order"], set()
    for unit in {line["unit"] for line in lines}:
        mine = {id(line): order.index(level) for line in lines if line["unit"] == unit
                if (level := dict(line["group"]).get(step["of"])) in order}  # fmt: skip
        top = max(mine.values(), default=0)
        kept = {top}
        while len(kept) < step.get("number", 1) and min(kept) - 1 in mine.values():
            kept.add(min(kept) - 1)
        out |= {key for key, level in mine.items() if level not in kept}
    return out


def ordered(scheme, lines, out):
    groups = defaultdict(list)
    for line in lines:
        groups[line["group"]].append(line)
    tables = []
    for group in sorted(groups, key=lambda g: [(v is None, natural("" if v is None else text(v))) for _, v in g]):
        table = groups[group]
        ranking = [line for line in table if line["qualified"] and id(line) not in out]
        places = placings(ranking) if scheme.get("mode", "rank") == "rank" else {}
        found = []
        for line in table:
            place = places.get(id(line))
            qualified = line["qualified"] and (scheme.get("mode", "rank") == "rank" or id(line) not in out)
            tier = line["tier"] if id(line) not in out else None
            rank = line["tier_rank"] if qualified else 0
            row = {
                "unit": line["unit"], "placing": place,
                "shared": place is not None and list(places.values()).count(place) > 1,
                "value": line["value"], "qualified": qualified, "counted": line["counted"],
                "requirements": line["requirements"],
            }  # fmt: skip
            if scheme.get("mode") == "achieve":
                row["tier"] = tier
            key = (place is None, place or 0, not qualified, rank, line["merit"] is None, -(line["merit"] or 0))
            found.append(((key, natural(line["unit"])), row))
        tables.append((dict(group), [row for _, row in sorted(found, key=lambda pair: pair[0])]))
    return tables
