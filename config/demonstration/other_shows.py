"""Results of other shows, as an association takes them in: looked at, names decided on, then confirmed as shown."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from riders.csvrows import read_rows
from riders.intake import Problems, refuse
from riders.models import Horse, Rider, User, WaitingImport
from riders.services.direct_imports import import_scores
from riders.services.waiting_imports import Decision, confirm_import, decide_names, hand_in, preview_of

SOURCE = "Saltholm Shore Arena"
CONFIRMED, WAITING = "visiting-2026-08.csv", "waiting-2026-11.csv"
_NAMES = ("kind", "spelling", "registration")

Say = Callable[[str], None]


def take_in_scores(folder: Path, *, by: User, say: Say) -> None:
    """Take in the ledgers of both seasons at once: their pairs are named by registration, so nobody has to be asked."""
    for path in sorted(folder.glob("scores-*.csv")):
        say(f"Scores of {path.name}: {import_scores(path.read_bytes(), by=by, rebuild=False)}.")


def take_in_visiting_show(folder: Path, *, by: User, say: Say) -> None:
    """Hand in the file of a show that knows no registrations, decide on its names, and confirm what is shown."""
    waiting = _handed_in(folder / CONFIRMED, by=by)
    if waiting.confirmed_at is not None:
        return
    decide_names(waiting, _decisions(folder, waiting), by=by)
    waiting.refresh_from_db()
    done = confirm_import(waiting, digest=waiting.digest, state=waiting.state, by=by, reason=f"sent by {SOURCE}")
    counts = ", ".join(f"{number} {what}" for what, number in done.summary.items())
    say(f"Scores of {CONFIRMED}, their names decided on: {counts}.")


def leave_a_file_waiting(folder: Path, *, by: User, say: Say) -> None:
    """Hand in a file whose names are left to whoever looks at the demonstration."""
    waiting = _handed_in(folder / WAITING, by=by)
    if waiting.confirmed_at is None:
        say(f"{WAITING} waits: {len(preview_of(waiting).to_decide)} names to decide on.")


def _handed_in(path: Path, *, by: User) -> WaitingImport:
    earlier = WaitingImport.objects.filter(source=SOURCE, file_name=path.name).first()
    return earlier or hand_in(path.read_bytes(), source=SOURCE, file_name=path.name, by=by)


def _decisions(folder: Path, waiting: WaitingImport) -> list[Decision]:
    """Read who is meant by the names that are open; without a registration it is someone new."""
    problems: Problems = []
    text = (folder / "names-2026.csv").read_bytes()
    rows = list(read_rows(text, columns=_NAMES, required=set(_NAMES), problems=problems))
    refuse(problems, what="the names")
    still_open = {(name.kind, name.spelling) for name in preview_of(waiting).to_decide}
    wanted = [(row.raw("kind"), row.text("spelling"), row.raw("registration")) for row in rows]
    return [
        (kind, spelling, _member(kind, registration) if registration else None)
        for kind, spelling, registration in wanted
        if (kind, spelling) in still_open
    ]


def _member(kind: str, registration: str) -> Rider | Horse:
    if kind == "rider":
        return Rider.objects.get(registration=registration)
    return Horse.objects.get(registration=registration)
