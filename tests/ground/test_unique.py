"""What a unique index of the database refuses is said in the words of its constraint, on both databases."""

import uuid
from datetime import date

import pytest
from django.apps import apps
from django.contrib.auth.models import User
from django.db import IntegrityError, connection, transaction
from django.db.models import UniqueConstraint

from clubdesk import clock, unique
from clubdesk.courses.models import Cohort, Course, RefundStep
from clubdesk.entryfund.models import EventFee, StateEvent
from clubdesk.money import as_amount
from clubdesk.rangeday.models import Phone, RangeDay
from clubdesk.roll.models import Consent
from clubdesk.screens.verbs import sentence_of
from tests import factories
from tests.house.firing import Unique, added, another, columns_of, literal, run, without_checks
from tests.sessions import beside

OURS = {
    constraint.name: (model, constraint)
    for model in apps.get_models()
    if model.__module__.startswith("clubdesk.")
    for constraint in model._meta.constraints
    if isinstance(constraint, UniqueConstraint)
}


@pytest.mark.parametrize("name", OURS)
def test_every_constraint_has_a_sentence_of_its_own(name):
    _, constraint = OURS[name]
    assert constraint.violation_error_message != UniqueConstraint.default_violation_error_message
    assert constraint.violation_error_message.endswith(".")


NOT_IN_THE_WORLD = {
    "courses_refundstep": lambda: RefundStep.objects.create(course=Course.objects.first(), days_before=7, percent=50),
    "entryfund_eventfee": lambda: EventFee.objects.create(
        event=StateEvent.objects.first(), age_class="Under 14", amount=as_amount(5)
    ),
    "rangeday_phone": lambda: Phone.objects.create(
        range_day=RangeDay.objects.first(), user=User.objects.first(), key=uuid.uuid4(), unsent=2, seen_at=clock.now()
    ),
}


def one_more(table, where="TRUE", **values):
    """A copy of a row that comes to it, and never takes its place."""
    return added(table, where, **values).replace("INSERT OR REPLACE", "INSERT")


def refused_by(name):
    """What the database says to a row that is like one that stands."""
    model, constraint = OURS[name]
    table, columns = model._meta.db_table, columns_of(model._meta.db_table)
    with without_checks(table):
        if table in NOT_IN_THE_WORLD:
            NOT_IN_THE_WORLD[table]()
        return answer_of(constraint, model, table, columns)


def answer_of(constraint, model, table, columns):
    like = Unique(model, constraint.fields, constraint.condition)
    where, before = like.row()
    others = {
        field.column: literal(another(columns[field.column], None))
        for field in model._meta.concrete_fields
        if field.unique and field.column not in ("id", "key")
    }
    others |= {
        column: literal(another(columns[column], None))
        for other in model._meta.constraints
        if isinstance(other, UniqueConstraint) and other.name != constraint.name and other.fields
        for column in Unique(model, other.fields, other.condition).columns
        if column not in like.decides
    }
    if "key" in constraint.fields:
        others["key"] = '"key"'
    if connection.vendor == "sqlite":
        run("PRAGMA defer_foreign_keys = ON")
    for each in before:
        run(each)
    with pytest.raises(IntegrityError) as refused, transaction.atomic():
        run(one_more(table, where, **others))
    return refused.value


@pytest.mark.django_db
@pytest.mark.world("unguarded")
@pytest.mark.parametrize("name", [name for name, (_, each) in OURS.items() if each.fields])
def test_it_is_said_by_the_constraint(name):
    assert unique.sentence_of(refused_by(name)) == OURS[name][1].violation_error_message


@pytest.mark.django_db
@pytest.mark.world("unguarded")
def test_of_an_expression_too(db):
    columns = "number, kind, description, state, size, hand"
    piece = f"INSERT INTO rangeday_kit ({columns}) SELECT '{{}}', 'bow', '', 'usable', '', ''"
    run(piece.format("q7"))
    with pytest.raises(IntegrityError) as refused, transaction.atomic():
        run(piece.format("Q7"))
    assert unique.sentence_of(refused.value) == "A piece of kit carries this number already; write another on it."


@pytest.mark.django_db
@pytest.mark.world("unguarded")
def test_a_field_that_is_unique_by_itself_is_named(db):
    with pytest.raises(IntegrityError) as refused, transaction.atomic():
        run(one_more("courses_course"))
    sentence = "There is a course with this name already; look for it, or write another name."
    assert unique.sentence_of(refused.value) == sentence
    key = "'5b1f0a5754a14a3e8f5f1b9d7b0e6a11'"
    run(f"UPDATE roll_consent SET key = {key}")
    with pytest.raises(IntegrityError) as refused, transaction.atomic():
        run(one_more("roll_consent", key=key))
    assert unique.sentence_of(refused.value) == unique.SAVED_BEFORE
    assert Consent.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_who_comes_second_at_the_same_moment_is_told(book):
    course = factories.cohort().course
    days = {"first_session": date(2026, 11, 1), "last_session": date(2026, 11, 22)}

    def save():
        with transaction.atomic():
            return Cohort.objects.create(course=course, name="November", capacity=6, **days)

    _, refused = beside(save, save, after=(Cohort, "save_base"))
    expected = "The course has a cohort of that name already; choose another name. Nothing was saved."
    assert sentence_of(refused) == expected


@pytest.mark.django_db
@pytest.mark.world("unguarded")
@pytest.mark.parametrize("statement", [
    "UPDATE fees_arrangement SET household_id = 4711",
    "UPDATE fees_arrangement SET household_id = NULL",
    "UPDATE fees_charge SET amount = 0",
])  # fmt: skip
def test_a_row_that_points_nowhere_or_is_wrong_in_itself_is_none_of_it(statement):
    with pytest.raises(IntegrityError) as refused, transaction.atomic():
        run(statement)
        connection.check_constraints()
    assert unique.sentence_of(refused.value) == ""


def test_any_other_refusal_is_none_of_it():
    assert unique.sentence_of(IntegrityError("What was counted is never changed.")) == ""
    assert unique.sentence_of(ValueError("no")) == ""
