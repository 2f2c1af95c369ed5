"""Associations with their seasons, the members, and the schemes, as documents and files bring them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any

from django.db.models import F

from riders.csvrows import Row, read_rows, write_rows
from riders.errors import NotAllowed
from riders.intake import (
    Imported,
    Problems,
    day_from,
    line_from,
    refuse,
    refuse_document,
    refuse_reversed_days,
    slug_from,
)
from riders.models import Association, Horse, Membership, MembershipChange, Rider, Scheme, Season, User
from riders.services.closed import refuse_closed
from riders.services.memberships import membership_record
from riders.services.people import name_fault
from riders.services.scheme_seasons import give_scheme, set_first_day_read
from riders.services.standings import rebuild_members, store_standings
from riders.transactions import write_transaction
from scoring.documents import Reader, describe, take_format

_IMPORTED = "imported from a members file"
MEMBER_COLUMNS = ("association", "member_number", "kind", "name", "registration", "division", "from", "to")


def import_association(document: object, *, by: User | None) -> Imported:
    """Keep an ``association/1`` document: the association and its seasons, each with its scheme.

    A new season counts by the latest version of its scheme; one that is known keeps the version that it was given,
    which only ``switch_season`` changes. A closed season is not changed; a season of another scheme or other days gets
    its standings worked out anew.
    ``by`` must keep the association or be staff; None stands for the command line.
    """
    reader = Reader.over(document)
    wanted = _read_association(reader)
    refuse_document(reader.problems, what="the association")
    if not _may_keep(by, Association.objects.filter(slug=wanted["id"]).first()):
        raise NotAllowed(f"You do not keep the association {describe(wanted['id'])}. Ask staff to import it.")
    with write_transaction():
        association, made = Association.objects.get_or_create(slug=wanted["id"], defaults={"title": wanted["title"]})
        summary = Imported(created=1) if made else _changed(association, title=wanted["title"])
        for season in wanted["seasons"]:
            summary += _keep_season(association, season, by=by)
    return summary


def _may_keep(by: User | None, association: Association | None) -> bool:
    return by is None or by.is_staff or (association is not None and association.roles.filter(user=by).exists())


def _read_association(reader: Reader) -> dict[str, Any]:
    take_format(reader, "association/1")
    wanted: dict[str, Any] = {
        "id": slug_from(reader, "id", most=60),
        "title": line_from(reader, "title", most=160, required=True),
        "seasons": [],
    }
    schemes = {scheme.key: scheme for scheme in Scheme.objects.order_by("key", "version")}
    for child in reader.objects("seasons"):
        season = _read_season(child, schemes)
        if any(season["slug"] == other["slug"] for other in wanted["seasons"]):
            child.problem("id", f"The season {describe(season['slug'])} stands there twice. Give each its own id.")
        wanted["seasons"].append(season)
    reader.finish()
    return wanted


def _read_season(reader: Reader, schemes: Mapping[str, Scheme]) -> dict[str, Any]:
    key = reader.take_text("scheme", required=True, empty=False)
    if key and key not in schemes:
        reader.problem("scheme", f"The scheme {describe(key)} is not known. Import it first.")
    season: dict[str, Any] = {
        "slug": slug_from(reader, "id", most=40),
        "title": line_from(reader, "title", most=120, required=True),
        "starts_on": day_from(reader, "starts_on"),
        "ends_on": day_from(reader, "ends_on"),
        "scheme": schemes.get(key),
    }
    refuse_reversed_days(reader, season["starts_on"], season["ends_on"])
    reader.finish()
    return season


def _keep_season(association: Association, wanted: dict[str, Any], *, by: User | None) -> Imported:
    season = association.seasons.select_related("scheme").filter(slug=wanted["slug"]).first()
    if season is None:
        season = Season(association=association, **wanted)
        set_first_day_read(season)
        season.save()
        store_standings(season)
        return Imported(created=1)
    if wanted["scheme"].key == season.scheme.key:
        wanted = wanted | {"scheme": season.scheme}
    if all(getattr(season, name) == value for name, value in wanted.items()):
        return Imported(unchanged=1)
    refuse_closed(season, what="its title, days and scheme stay as they are")
    if wanted["scheme"] != season.scheme:
        give_scheme(season, wanted["scheme"], by=by, reason="the association's document was imported")
    _changed(season, **wanted)
    set_first_day_read(season)
    season.save(update_fields=["reads_from"])
    store_standings(season)
    return Imported(changed=1)


def import_members(text: str | bytes, *, by: User | None) -> Imported:
    """Keep the memberships of a ``members.csv``, all of them or none.

    A membership is identified by association, number and first day. The member is found by registration, and is a new
    rider or horse where the registration is not known yet. Without one, the same number and name is the same member.
    Each membership that is made or changed gets its row in the history.
    """
    problems: Problems = []
    rows = list(
        read_rows(
            text,
            columns=MEMBER_COLUMNS,
            required={"association", "member_number", "kind", "name", "from"},
            problems=problems,
        )
    )
    with write_transaction():
        book = _MemberBook(problems, by)
        for row in rows:
            book.read(row)
        refuse(problems, what="the members")
        summary = book.write()
        for association in book.touched:
            rebuild_members(association, book.riders_of(association))
    return summary


class _MemberBook:
    """The rows of one file, compared with what is known; nothing is written before ``write``."""

    def __init__(self, problems: Problems, by: User | None) -> None:
        self.problems = problems
        self.by = by
        kept = Association.objects.all()
        if by is not None and not by.is_staff:
            kept = kept.filter(roles__user=by)
        self.associations = {association.slug: association for association in kept}
        self.known = {
            (membership.association_id, membership.number, membership.starts_on): membership
            for membership in Membership.objects.select_related("rider", "horse")
        }
        self.people: dict[tuple[str, str], Rider | Horse] = {
            ("person", rider.registration): rider for rider in Rider.objects.exclude(registration="")
        }
        self.people.update({("horse", horse.registration): horse for horse in Horse.objects.exclude(registration="")})
        self.before = {membership.pk: membership_record(membership) for membership in self.known.values()}
        self.by_number: dict[tuple[int, str, str], Rider | Horse] = {
            (membership.association_id, membership.kind, membership.number): member
            for membership in self.known.values()
            if (member := membership.rider or membership.horse) is not None
        }
        self.seen: dict[tuple[int, str, date], int] = {}
        self.wanted: list[tuple[Membership, Rider | Horse, bool]] = []
        self.unchanged = 0
        self.touched: set[Association] = set()
        self.left: set[int] = set()

    def riders_of(self, association: Association) -> list[int] | None:
        """Return the riders whose memberships were written; None where the association kept no members before."""
        if not any(place == association.pk for place, _, _ in self.known):
            return None
        written = [one for one, _, _ in self.wanted if one.association_id == association.pk]
        return sorted({one.rider_id for one in written if one.rider_id is not None} | self.left)

    def read(self, row: Row) -> None:
        slug = row.text("association", most=60, required=True)
        association = self.associations.get(slug)
        if slug and association is None:
            row.problem("association", f"The association {describe(slug)} is not known, or you do not keep it.")
        kind = row.choice("kind", Membership.Kind.values, required=True)
        fields: dict[str, Any] = {
            "number": row.text("member_number", most=40, required=True),
            "kind": kind,
            "division": row.text("division", most=60),
            "starts_on": row.day("from", required=True),
            "ends_on": row.day("to"),
        }
        name, registration = row.text("name", required=True), row.text("registration", most=40)
        if fields["starts_on"] and fields["ends_on"] and fields["ends_on"] < fields["starts_on"]:
            row.problem("to", f"The membership ends on {fields['ends_on']}, before it starts. Correct one of the days.")
        if row.faulty or association is None:
            return
        self._compare(row, association, fields, name, registration)

    def _compare(
        self, row: Row, association: Association, fields: dict[str, Any], name: str, registration: str
    ) -> None:
        key = (association.pk, fields["number"], fields["starts_on"])
        earlier = self.seen.setdefault(key, row.number)
        if earlier != row.number:
            row.problem(
                "member_number", f"This membership stands already in row {earlier}. Remove one of the two rows."
            )
            return
        known = self.known.get(key)
        member = self._member(row, (association.pk, fields["kind"], fields["number"]), name, registration)
        if row.faulty:
            return
        membership = known or Membership(association=association)
        same_member = known is not None and member.pk is not None and (known.rider or known.horse) == member
        if same_member and all(getattr(membership, field) == value for field, value in fields.items()):
            self.unchanged += 1
            return
        if membership.rider_id is not None:
            self.left.add(membership.rider_id)  # the number may go to someone else
        for field, value in fields.items():
            setattr(membership, field, value)
        self.touched.add(association)
        self.wanted.append((membership, member, known is None))

    def _member(self, row: Row, place: tuple[int, str, str], name: str, registration: str) -> Rider | Horse:
        """Return who the row is about; a new person or horse is not saved yet."""
        kind = place[1]
        member = self.people.get((kind, registration)) if registration else self.by_number.get(place)
        if member is not None and registration:
            label = "rider" if kind == Membership.Kind.PERSON else "horse"
            fault = name_fault(label, registration=registration, known=member.name, given=name)
            if fault:
                row.problem("registration", fault)
        elif member is None or member.name != name:
            model = Rider if kind == Membership.Kind.PERSON else Horse
            member = model(name=name, registration=registration)
        if registration:
            self.people[kind, registration] = member
        self.by_number[place] = member
        return member

    def write(self) -> Imported:
        created = 0
        changes = []
        for membership, member, fresh in self.wanted:
            if member.pk is None:
                member.save()
            membership.rider = member if isinstance(member, Rider) else None
            membership.horse = member if isinstance(member, Horse) else None
            membership.save()
            created += fresh
            changes.append(
                MembershipChange(
                    association=membership.association,
                    membership=membership.pk,
                    by=self.by,
                    reason=_IMPORTED,
                    before=self.before.get(membership.pk),
                    after=membership_record(membership),
                )
            )
        MembershipChange.objects.bulk_create(changes, batch_size=2000)
        return Imported(created, len(self.wanted) - created, self.unchanged)


def association_document(association: Association) -> dict[str, Any]:
    """Return an association and its seasons as ``association/1``."""
    return {
        "format": "association/1",
        "id": association.slug,
        "title": association.title,
        "seasons": [
            {
                "id": season.slug,
                "title": season.title,
                "starts_on": season.starts_on.isoformat(),
                "ends_on": season.ends_on.isoformat(),
                "scheme": season.scheme.key,
            }
            for season in association.seasons.select_related("scheme").order_by(F("starts_on"), "slug")
        ],
    }


def _changed(row: Association | Season, **values: object) -> Imported:
    if all(getattr(row, name) == value for name, value in values.items()):
        return Imported(unchanged=1)
    for name, value in values.items():
        setattr(row, name, value)
    row.save(update_fields=list(values))
    return Imported(changed=1)


def members_csv(association: Association) -> Iterator[str]:
    """Yield the lines of the association's ``members.csv``."""
    memberships = association.memberships.select_related("rider", "horse").order_by("number", "starts_on", "pk")
    return write_rows(MEMBER_COLUMNS, (_member_row(association, membership) for membership in memberships))


def _member_row(association: Association, membership: Membership) -> dict[str, str]:
    member = membership.rider or membership.horse
    return {
        "association": association.slug,
        "member_number": membership.number,
        "kind": membership.kind,
        "name": member.name if member else "",
        "registration": member.registration if member else "",
        "division": membership.division,
        "from": membership.starts_on.isoformat(),
        "to": membership.ends_on.isoformat() if membership.ends_on else "",
    }
