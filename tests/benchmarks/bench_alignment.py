"""How well and how fast spoken commentary is laid on the sheet: shares of sentences, calibration, time for ten minutes.

Run it: ``python tests/benchmarks/bench_alignment.py``. The commentaries are the invented ones of the tests, half of
them held out. What is compared with is what one would do without an alignment: by the words alone (each sentence on the
movement that it fits best, without order or times), and by the times alone (the words struck out).
"""

from __future__ import annotations

import statistics
import sys
import time
from dataclasses import replace
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))


def run(*, rounds: int = 5) -> dict[str, float | str]:
    from tests.scoring.commentary.labelled import Labelled, Outcome, commentaries, outcomes

    def rows(*, held_out: bool, times: bool = True) -> list[Outcome]:
        chosen: list[Labelled] = [one for one in commentaries() if one.held_out is held_out]
        return [row for labelled in chosen for row in outcomes(labelled, times=times)]

    held_out = rows(held_out=True)
    return {
        "sentences, tuned half": len(rows(held_out=False)),
        "sentences, held-out half": len(held_out),
        "right, tuned half, %": percent(rows(held_out=False)),
        "right, held-out half, %": percent(held_out),
        "right without times, tuned half, %": percent(rows(held_out=False, times=False)),
        "right without times, held-out half, %": percent(rows(held_out=True, times=False)),
        "alternative: words alone, held-out half, %": words_alone(),
        "alternative: times alone, held-out half, %": times_alone(),
        "calibration error, held-out half, %": calibration_error(held_out),
        "ten minutes of commentary, ms of processor time": ten_minutes(rounds=rounds),
        "a line of 80,000 words to one of 40,000": long_line(80_000) / long_line(40_000),
    }


def percent(rows: list) -> float:
    return 100 * sum(row.right for row in rows) / len(rows)


def calibration_error(rows: list) -> float:
    """The mean distance between confidence and share of right ones, over ten bins, weighted by their sentences."""
    bins: dict[int, list] = {}
    for row in rows:
        bins.setdefault(int(row.confidence.replace(".", "")) // 10, []).append(row)
    gaps = (abs(sum(float(row.confidence) - row.right for row in found)) for found in bins.values())
    return 100 * sum(gaps) / len(rows)


def words_alone() -> float:
    from scoring.commentary.evidence import fit, general_fit, read_piece
    from scoring.commentary.profiles import movements
    from tests.scoring.commentary.labelled import commentaries

    right = total = 0
    for labelled in commentaries():
        if not labelled.held_out:
            continue
        profiles = movements(labelled.test)
        for _, label, said in labelled.sentences:
            piece = read_piece(said)
            fits = [(general_fit(piece), None), *((fit(piece, profile), profile.item.id) for profile in profiles)]
            right += max(fits, key=lambda pair: pair[0])[1] == label
            total += 1
    return 100 * right / total


def times_alone() -> float:
    from scoring import commentary
    from tests.scoring.commentary.labelled import commentaries

    right = total = 0
    for labelled in commentaries():
        if not labelled.held_out:
            continue
        cues = [replace(cue, text="Hm.") for cue in commentary.read_commentary(labelled.text)]
        found = {row.index: row.item for row in commentary.align(labelled.test, cues)}
        right += sum(found[index] == label for index, label, _ in labelled.sentences)
        total += len(labelled.sentences)
    return 100 * right / total


def ten_minutes(*, rounds: int) -> float:
    """Two hundred sentences over ten minutes on the longest test of the corpus."""
    from scoring import commentary
    from tests.scoring.commentary.labelled import commentaries

    labelled = max(commentaries(), key=lambda one: (len(one.test.items), one.name))
    spoken = commentary.read_commentary(labelled.text)
    cues = [
        commentary.Cue(number, number * spoken[-1].end / 200, (number + 1) * spoken[-1].end / 200, text)
        for number, text in enumerate(spoken[number * len(spoken) // 200].text for number in range(200))
    ]
    took = []
    for _ in range(rounds):
        started = time.process_time()
        commentary.align(labelled.test, cues)
        took.append(time.process_time() - started)
    return 1000 * statistics.median(took)


def long_line(words: int) -> float:
    """Seconds for one line in which every third word could name a movement."""
    from scoring import commentary
    from tests.scoring.commentary.labelled import commentaries

    labelled = next(iter(commentaries()))
    cues = commentary.read_commentary(" ".join(["change", "the", "halt"] * (words // 3)))
    started = time.process_time()
    commentary.align(labelled.test, cues)
    return time.process_time() - started


if __name__ == "__main__":
    for label, value in run().items():
        print(f"{label:<46}  {value if isinstance(value, str) else f'{value:,.2f}'}")
