"""Two people, or two families, that turn out to be one: all that was the other's becomes the first one's."""

import uuid
from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any

from django.apps import apps
from django.conf import settings
from django.contrib.auth.models import User
from django.db.models import Field, Model, QuerySet

from clubdesk import rooms
from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Account, Document, Fund, JournalEntry, Party, Posting
from clubdesk.ledger.selectors import entries_of
from clubdesk.money import as_amount, sum_of
from clubdesk.roll.models import Belonging, Household, Merge, MovedRow, Person
from clubdesk.roll.posting import merge_lines
from clubdesk.roll.selectors import belongs_to
from clubdesk.verbs import verb

UNDONE_WITHIN = timedelta(days=1)


@verb(permission="roll.add_merge", title="The same family twice")
def merge_families(
    *, household: Household, other: Household, on: date, by: User, key: uuid.UUID | None = None
) -> Merge:
    """The `other` family turned out to be this one: its people, papers and balances are this one's from now on.

    One entry moves its balances, so that the ledger keeps what it says of each day; fees that were charged stay as they
    were. Raises Refused for what the rooms say that cannot both stand, and for whoever belongs to one of the two.
    """
    _hold(household, other)
    if found := ledger.written(Merge, key):
        return found
    stays, gone = _both(Household, household, other)
    if belongs_to(by, stays) or belongs_to(by, gone):
        raise Refused("Somebody else must do this; nobody decides about the money of their own family.")
    _refuse(stays, gone, on)
    balances = _balances(gone.party)
    document = Merge.objects.create(
        key=key or uuid.uuid4(),
        household=stays,
        other_household=gone,
        merged_on=on,
        moves_money=bool(balances),
        recorded_by=by,
    )
    _move(document)
    Party.objects.filter(pk=gone.party_id).update(merged_into=stays.party_id)
    if balances:
        ledger.post(
            source=document,
            purpose="merge",
            on=on,
            narration=f"Two accounts of one family (merge {document.pk})",
            lines=merge_lines(balances, gone=gone.party, stays=stays.party),
            by=by,
        )
    _after(document, on)
    return document


@verb(permission="roll.add_merge", title="The same person twice")
def merge_people(*, person: Person, other: Person, on: date, by: User, key: uuid.UUID | None = None) -> Merge:
    """The `other` person turned out to be this one, with this one's name, birth date and family.

    Who was charged for the other stays charged. Raises Refused for what the rooms say that cannot both stand: two
    places in a course, two memberships of one day, more vouchers than a child has.
    """
    _hold(person, other)
    if found := ledger.written(Merge, key):
        return found
    stays, gone = _both(Person, person, other)
    for each in (stays, gone):
        if each.erased_on:
            raise Refused(f"The details of {each} were erased; nobody can say any more who that was.")
    _refuse(stays, gone, on)
    document = Merge.objects.create(
        key=key or uuid.uuid4(), person=stays, other_person=gone, merged_on=on, recorded_by=by
    )
    _move(document)
    _after(document, on)
    return document


@verb(permission="roll.change_merge", title="Undo the merge")
def undo_merge(*, merge: Merge, on: date, by: User) -> Merge:
    """They are two after all: each row that was moved leads back, and the entry is reversed.

    Raises Refused after a day, and once something was recorded of the one, since nobody can say whose of the two it is.
    """
    _hold(merge.stays, merge.gone)
    document = Merge.objects.select_related("household__party", "other_household__party").get(pk=merge.pk)
    if document.undone_on:
        return document
    if on > document.merged_on + UNDONE_WITHIN:
        raise Refused(f"They were merged on {day_text(document.merged_on)}; it can be undone only within a day.")
    if since := _recorded_since(document):
        raise Refused(f"{since} was recorded for {document.stays} since; nobody can say whose of the two it is.")
    for room in rooms.in_order():
        room.merging.before_undoing(document, on)
    document.undone_on = on
    document.save(update_fields=["undone_on"])
    for table, column, rows in _moved(document):
        model = _model_of(table)
        led = model._base_manager.filter(**{"pk__in": rows, column: document.stays.pk})
        if led.update(**{column: document.gone.pk}) < len(rows):
            raise Refused(f"Some of what was moved belongs to others than {document.stays} by now; nothing was undone.")
    type(document.gone).everyone.filter(pk=document.gone.pk).update(merged_into=None)
    if document.other_household:
        Party.objects.filter(pk=document.other_household.party_id).update(merged_into=None)
    ledger.undo_entries_of(document=document, on=on, reason="two after all", by=by)
    return document


# What both verbs share


def _hold(one: Model, other: Model) -> None:
    """Take what the rooms name, then the families and the people, each by their ids."""
    for room in rooms.in_order():
        room.merging.holds(one, other)
    people = [each.pk for each in (one, other) if isinstance(each, Person)]
    families = [each.pk for each in (one, other) if isinstance(each, Household)]
    families += Person.everyone.filter(pk__in=people).values_list("household", flat=True)
    list(Household.everyone.select_for_update(of=("self",)).order_by("pk").filter(pk__in=families))
    if people:
        list(Person.everyone.select_for_update(of=("self",)).order_by("pk").filter(pk__in=people))


def _both(model: Any, one: Model, other: Model) -> Any:
    """The two as they stand now. Raises Refused where they are one already."""
    if one.pk == other.pk:
        raise Refused(f"That is {one} already; choose the other of the two.")
    rows = model.everyone.select_related("merged_into", *(["party"] if model is Household else []))
    found = rows.in_bulk([one.pk, other.pk])
    for each in (found[one.pk], found[other.pk]):
        if each.merged_into:
            raise Refused(f"{each} was merged into {each.now} already; go on with that one.")
    return found[one.pk], found[other.pk]


def _refuse(stays: Model, gone: Model, on: date) -> None:
    sentences = [said for room in rooms.in_order() for said in room.merging.refuses(stays, gone, on)]
    if sentences:
        raise Refused(" ".join(sentences))


def _balances(party: Party) -> list[tuple[Account, Fund, Any]]:
    """What the party stands at in each account and fund, debit positive; none that is nil."""
    rows = Posting.objects.filter(party=party).order_by().values_list("account", "fund")
    found = [row for row in rows.annotate(figure=sum_of("amount")).order_by("account__code", "fund") if row[2]]
    accounts, funds = Account.objects.in_bulk(), Fund.objects.in_bulk()
    return [(accounts[account], funds[fund], as_amount(figure)) for account, fund, figure in found]


def columns_to(target: type[Model]) -> "Iterator[tuple[type[Model], Field[Any, Any]]]":
    """Every column of the rooms' tables that leads to a person, or to a family, lowest floor first."""
    places = {label: place for place, label in enumerate(settings.ROOMS)}
    models = [each for each in apps.get_models(include_auto_created=True) if each._meta.app_label in places]
    for model in sorted(models, key=lambda each: places[each._meta.app_label]):
        if model is not Merge:
            yield from ((model, field) for field in model._meta.concrete_fields if field.related_model is target)


def _move(document: Merge) -> None:
    """Let each row that led to the other lead to the one that stays, and write down which they were."""
    stays, gone = document.stays, document.gone
    for model, field in columns_to(type(gone)):
        rows = _not_doubled(model, stays, model._base_manager.filter(**{field.name: gone.pk}))
        pks = list(rows.order_by("pk").values_list("pk", flat=True))
        table, column = model._meta.db_table, str(field.column)
        MovedRow.objects.bulk_create(
            MovedRow(merge=document, table_name=table, column_name=column, row_id=pk) for pk in pks
        )
        model._base_manager.filter(pk__in=pks).update(**{field.attname: stays.pk})
    type(gone).everyone.filter(pk=gone.pk).update(merged_into=stays.pk)


def _not_doubled(model: type[Model], stays: Model, rows: QuerySet[Model]) -> QuerySet[Model]:
    """Without what the one that stays has as well: a sign-in that belongs to both families."""
    if model is not Belonging:
        return rows
    theirs = Belonging.objects.filter(household=stays.pk, ended_at=None).values("user")
    return rows.exclude(ended_at=None, user__in=theirs)


def _after(document: Merge, on: date) -> None:
    for room in rooms.in_order():
        room.merging.then(document, on)


def _moved(document: Merge) -> Iterator[tuple[str, str, list[int]]]:
    """The rows that were moved, by table and column, in the order in which they were."""
    found: dict[tuple[str, str], list[int]] = {}
    for each in document.moved.order_by("pk"):
        found.setdefault((each.table_name, each.column_name), []).append(each.row_id)
    return ((table, column, rows) for (table, column), rows in found.items())


def _model_of(table: str) -> type[Model]:
    return next(each for each in apps.get_models(include_auto_created=True) if each._meta.db_table == table)


def _recorded_since(document: Merge) -> str:
    """Something that was written down about the one that stays since the merge, in words; blank where nothing was."""
    stays = document.stays
    for model, field in columns_to(type(stays)):
        if issubclass(model, Document):
            later = model._base_manager.filter(**{field.name: stays.pk, "recorded_at__gt": document.recorded_at})
            if found := later.order_by("pk").first():
                return str(found)
    if isinstance(stays, Household):
        own = entries_of(document).values("pk")
        posted = JournalEntry.objects.filter(postings__party=stays.party_id, posted_at__gt=document.recorded_at)
        if entry := posted.exclude(pk__in=own).order_by("number").first():
            return f"{entry} ({entry.narration})"
    return ""
