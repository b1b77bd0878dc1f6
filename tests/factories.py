"""Invented families and what they buy, for tests."""

import io
import uuid
from datetime import date

import factory
from django.contrib.auth.models import User
from PIL import Image
from reportlab.pdfgen import canvas

from clubdesk.bank import services as bank
from clubdesk.bank.models import BankAccount
from clubdesk.courses.models import Cohort, Course
from clubdesk.entryfund.models import StateEvent
from clubdesk.evidence import Evidence
from clubdesk.expenses import services as expenses
from clubdesk.fees.models import FeeItem, FeeKind, FeePrice, FeeShare, VoucherScheme, VoucherValue
from clubdesk.fees.services import OpenItem
from clubdesk.ledger.models import Account, Fund, Party, PartyKind, Role
from clubdesk.ledger.selectors import account
from clubdesk.membership.models import Plan
from clubdesk.money import as_amount
from clubdesk.rangeday.models import RangeDay
from clubdesk.roll import services as roll
from clubdesk.roll.models import Household, Person
from clubdesk.verbs import shell_user

LONG_AGO = date(2020, 1, 1)


class HouseholdFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Household

    name = factory.Sequence(lambda n: f"Family {n}")

    @classmethod
    def _create(cls, model_class, *args, **kwargs):
        return roll.add_household(**kwargs)


class PersonFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Person

    household = factory.SubFactory(HouseholdFactory)
    given_name = factory.Sequence(lambda n: f"Child{n}")
    family_name = factory.SelfAttribute("household.name")
    birth_date = date(2014, 3, 9)


def price(kind=FeeKind.COURSE, amount="126.00", role=Role.COURSES, code=None, shares=()):
    """A fee item with one price; `shares` are (party, amount) that go to associations."""
    item = FeeItem.objects.create(
        code=code or f"{kind}", name=f"{FeeKind(kind).label} fee", kind=kind, income_account=account(role)
    )
    made = FeePrice.objects.create(item=item, valid_from=LONG_AGO, amount=as_amount(amount))
    for party, share in shares:
        FeeShare.objects.create(
            price=made, account=account(Role.AFFILIATION_PAYABLE), party=party, amount=as_amount(share)
        )
    return made


def open_item(household, amount, role=Role.COURSES):
    """What the household owed (above nil) or had paid ahead when the book began, and for what; None: not known."""
    return OpenItem(household, as_amount(amount), account(role) if role else None)


def association(name="State archery association"):
    return Party.objects.create(name=name, kind=PartyKind.ASSOCIATION)


def plan(amount="228.00", shares=()):
    made = price(FeeKind.MEMBERSHIP, amount, Role.MEMBERSHIPS, shares=shares)
    return Plan.objects.create(name="Junior", fee_item=made.item, months=12)


def cohort(capacity=2, first=date(2026, 10, 4), minimum_age=10, fee="126.00"):
    item = FeeItem.objects.filter(kind=FeeKind.COURSE).first() or price(amount=fee).item
    course, _ = Course.objects.get_or_create(name="Beginner course", fee_item=item, minimum_age=minimum_age)
    return Cohort.objects.create(
        course=course,
        name=f"From {first}",
        first_session=first,
        last_session=first.replace(day=25),
        capacity=capacity,
    )


def hire(member="7.00", visitor="15.00"):
    """The prices of a range day."""
    return price(FeeKind.HIRE, member, Role.HIRE), price(FeeKind.VISITOR, visitor, Role.VISITORS)


def range_day(on=date(2026, 9, 12)):
    return RangeDay.objects.create(date=on, place="River range")


def scheme(values=((2026, "100.00"), (2027, "150.00")), name="State sport voucher"):
    department, _ = Party.objects.get_or_create(name="Department for Sport", kind=PartyKind.DEPARTMENT)
    made = VoucherScheme.objects.create(name=name, department=department)
    for year, amount in values:
        VoucherValue.objects.create(scheme=made, calendar_year=year, amount=as_amount(amount))
    return made


def event(fee="60.00", held=date(2026, 9, 5), **more):
    return StateEvent.objects.create(
        name="State clout championship",
        discipline="clout",
        held_on=held,
        entries_close=held,
        fee=as_amount(fee),
        **more,
    )


def paid_into(account=None, asks=None, agrees=None, **numbers):
    """The club's bank account with the number that two people gave it; a BSB and a number unless others are said."""
    account = account or BankAccount.objects.get()
    numbers = numbers or {"bsb": "012-003", "account_number": "4500123"}
    if all(getattr(account, name) == number for name, number in numbers.items()):
        return account
    by = asks or shell_user()
    asked = bank.ask_for_account(
        bank_account=account, holder="Reedbank Archers Inc", reason="the bank’s own letter", on=date(2026, 7, 1), by=by,
        **numbers,
    )  # fmt: skip
    agrees = agrees or User.objects.exclude(pk=by.pk).filter(is_superuser=True).first()
    bank.agree_to_account(change=asked, on=date(2026, 7, 1), by=agrees)
    account.refresh_from_db()
    return account


def direct_entry(account=None):
    """The club's bank account with all that a payment file needs."""
    account = paid_into(account)
    account.bank_letters = "QUB"
    account.user_name, account.user_id, account.remitter = "REEDBANK ARCHERS INC", "301500", "REEDBANK ARCHERS"
    account.save()
    return account


def bank_details(household, by, title="Mira Mirabar", number="123456", reason="rang the family"):
    return bank.set_bank_details(
        household=household,
        title=title,
        bsb="082-902",
        account_number=number,
        reason=reason,
        on=date(2026, 9, 12),
        by=by,
    )


def expense(by, household=None, amount="25.50", what="batteries for the timer", fund="general", code="5040"):
    return expenses.record_expense(
        household=household or HouseholdFactory(),
        what=what,
        amount=as_amount(amount),
        spent_on=date(2026, 9, 10),
        account=Account.objects.get(code=code),
        fund=Fund.objects.get(code=fund),
        evidence=Evidence(f"{what} {uuid.uuid4()}".encode(), "image/jpeg"),
        by=by,
    )


def photo(text="receipt", kind="PNG"):
    """The bytes of a small picture, different for each text."""
    file = io.BytesIO()
    shade = sum(map(ord, text)) % 255
    image = Image.new("RGB", (32, 32), (shade, len(text) % 255, 90))
    image.putpixel((len(text) % 32, shade % 32), (1, 2, 3))
    image.save(file, kind)
    return file.getvalue()


def pdf(text="receipt"):
    """The bytes of a plain one-page PDF."""
    file = io.BytesIO()
    page = canvas.Canvas(file)
    page.drawString(72, 720, text)
    page.showPage()
    page.save()
    return file.getvalue()
