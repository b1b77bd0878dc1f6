"""Where the cases of letters happen, and the list of them."""

from datetime import date

from clubdesk.courses import services as courses
from clubdesk.courses.models import RefundStep
from clubdesk.fees import services as fees
from clubdesk.fees.models import Method
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Book
from clubdesk.mail.models import Message
from clubdesk.membership import services as membership
from clubdesk.membership.models import Refund
from clubdesk.money import as_amount
from tests import factories

NOW, OCTOBER, FEBRUARY = date(2026, 9, 12), date(2026, 10, 4), date(2027, 2, 7)


def family(name="Mirabar", *children):
    household = factories.HouseholdFactory(name=f"{name} family", guardian=f"Ida {name}", email="ida@example.org")
    return [
        factories.PersonFactory(
            household=household, given_name=given, family_name=name, birth_date=date(2014 - index, 3, 9)
        )
        for index, given in enumerate(children or ("Ada",))
    ]


def last(household):
    return Message.objects.filter(household=household).latest("pk")


def pay(household, amount, by):
    return fees.record_receipt(household=household, amount=as_amount(amount), method=Method.CARD, on=NOW, by=by)


class Club:
    """Where the cases of letters happen."""

    def __init__(self, by):
        self.by = by
        factories.paid_into()
        Book.objects.update(contact_name="Kim Bell", contact_email="kim@example.org", contact_phone="08 7010 0100")

    def moves_bank(self):
        factories.paid_into(account_number="4500999", bsb="012-003")

    def cohort(self, capacity=2, first=OCTOBER):
        made = factories.cohort(capacity=capacity, first=first)
        made.name = f"{first:%B %Y}"
        made.save()
        made.course.pay_days, made.course.reminder_days = 14, 7
        made.course.save()
        RefundStep.objects.get_or_create(course=made.course, days_before=7, defaults={"percent": 50})
        return made

    def book(self, cohort, *children, name="Mirabar", on=NOW):
        people = family(name, *children)
        return courses.book_party(course=cohort.course, people=people, cohorts=[cohort], on=on, by=self.by)

    def fee(self, child, amount="126.00"):
        price = factories.price(amount=amount, code=f"fee of {child}")
        home = child.household
        return fees.charge(household=home, person=child, price=price, on=NOW, starts_on=NOW, by=self.by)

    def lodged(self, charge):
        scheme = factories.scheme()
        fees.accept_voucher(scheme=scheme, charge=charge, code="SV1", on=NOW, by=self.by)
        return fees.lodge_vouchers(scheme=scheme, on=NOW, by=self.by)

    def plan(self):
        ledger.open_year(first_day=date(2027, 7, 1), by=self.by)
        made = factories.plan(shares=[(factories.association(), "116.00")])
        made.sibling_percent, made.refund, made.oldest = 10, Refund.MONTHS, 17
        made.save()
        return made

    def join(self, child, plan, on=NOW):
        return membership.take_out_membership(person=child, plan=plan, starts_on=on, on=on, by=self.by)


CASES = {}


def case(function):
    """A kind of letter, named as the function: what it does to a club ends with the letter."""
    CASES[function.__name__] = function
    return function
