"""A child's sport voucher is taken for a fee, by the rules of its scheme."""

import uuid
from datetime import date, timedelta

from django.contrib.auth.models import User
from djmoney.money import Money

from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.fees import counting, eligible, selectors
from clubdesk.fees.models import Charge, FeePrice, Voucher, VoucherScheme
from clubdesk.fees.services.charging import queue, settle
from clubdesk.fees.services.crediting import Taken, set_against
from clubdesk.fees.services.parts import lay_anew
from clubdesk.ledger import services as ledger
from clubdesk.money import nil
from clubdesk.roll.models import Person
from clubdesk.roll.selectors import refuse_erased
from clubdesk.verbs import verb


@verb(permission="fees.add_voucher", title="Accept a sport voucher")
def accept_voucher(
    *,
    scheme: VoucherScheme,
    charge: Charge,
    code: str,
    on: date,
    by: User,
    birth_date: date | None = None,
    issued_on: date | None = None,
    school_year: int | None = None,
    key: uuid.UUID | None = None,
) -> Voucher:
    """Set a child's voucher against a charge: it pays at most what is left of the fee, the rest is forgone.

    Where the family has paid already, its receipt becomes credit by as much, unless the scheme forbids that. `code` is
    the voucher's, or the number of the child, which may be left blank where the club has it. Raises Refused for a code
    or a `birth_date` that cannot be right, a voucher that has lapsed, a child or a fee that the scheme does not pay
    for, a day before the fee, and more vouchers than the scheme allows a child in its year or window.
    Source: a state's published programme terms (one voucher a child in a calendar year at one provider, ages 5 to 15; a
    fee below the voucher's value claims only the fee).
    """
    household = queue(charge.household, charge.person)
    if found := ledger.written(Voucher, key):
        return found
    row = Charge.objects.select_related("person", "price__item", "household__party").get(pk=charge.pk)
    if row.person is None:
        raise Refused("A voucher belongs to a child; this charge names nobody.")
    refuse_erased(row.person)
    if row.price is None:
        raise Refused("This balance was brought in; a voucher pays only a fee that was charged here.")
    if on < row.charged_on:
        raise Refused(f"{row} was charged on {day_text(row.charged_on)}; a voucher cannot pay it before.")
    code = _key_of(scheme, row.person, code)
    if birth_date is not None and birth_date != row.person.birth_date:
        raise Refused(f"That is not the date of birth of {row.person} on the roll; check the voucher, and the roll.")
    _refuse_the_wrong_child(scheme, row.person, on, issued_on, school_year)
    _refuse_the_wrong_fee(scheme, row, row.price, on)
    taken, worth = _taken(scheme, row.person, code, on, issued_on)
    amount = min(worth, selectors.open_amount(row) if scheme.only_unpaid else selectors.creditable(row))
    if amount <= nil():
        raise Refused(_why_nothing(scheme, row))
    document = set_against(row, scheme, taken, amount, on, by, key=key)
    settle(household=household, on=on)
    lay_anew(household=household, on=on, by=by)
    return document


def _why_nothing(scheme: VoucherScheme, charge: Charge) -> str:
    if scheme.only_unpaid and selectors.creditable(charge) > nil():
        return f"This fee is paid, and {scheme} never pays for what is paid already; keep the voucher for the next fee."
    return "Nothing of this fee is left for a voucher to pay."


def _key_of(scheme: VoucherScheme, person: Person, typed: str) -> str:
    """The code or the child's number as the book writes it; the number that the club has, where none is typed."""
    code = "".join(typed.split()).upper()
    if scheme.of_child and not code:
        known = Voucher.objects.filter(scheme=scheme, person=person, of_child=True, code_erased_on=None)
        code = known.order_by("-pk").values_list("code", flat=True).first() or ""
    if not code:
        raise Refused("Type the number of the child." if scheme.of_child else "Type the voucher's code.")
    if scheme.code_form and not eligible.code_fits(scheme.code_form, code):
        called, signs = "number" if scheme.of_child else "code", "# a digit, @ a letter"
        signs += ", * either" if "*" in scheme.code_form else ""
        raise Refused(f"A {called} of {scheme} looks like {scheme.code_form} ({signs}); check what was typed.")
    if not eligible.digit_holds(scheme.check_digit, scheme.check_weights, code):
        raise Refused(f"A digit of this {'number' if scheme.of_child else 'code'} is wrong; check what was typed.")
    others = Voucher.objects.filter(scheme=scheme, of_child=True, code=code).exclude(person=person)
    if scheme.of_child and others.exists():
        raise Refused("The club has this number of another child; check it with the family.")
    return code


def _refuse_the_wrong_child(
    scheme: VoucherScheme, person: Person, on: date, issued_on: date | None, school_year: int | None
) -> None:
    born = person.birth_date
    if eligible.is_of_age(scheme.ages, born, on, issued_on=issued_on, school_year=school_year):
        return
    youngest = f"{scheme.youngest or 0}{'½' if scheme.youngest_months == 6 else ''}"
    if scheme.aged_by == eligible.AgedBy.DAY and scheme.youngest_months in (0, 6):
        raise Refused(f"{person} is {person.age_on(on)}; {scheme} is for ages {youngest} to {scheme.oldest or 'any'}.")
    if school_year is not None:
        raise Refused(f"{scheme} is not for school year {school_year}; check it with the family.")
    first, last = eligible.born_between(scheme.ages, on)
    since = f"from {day_text(first)} " if first > date.min else ""
    raise Refused(
        f"{person} was born on {day_text(born)}; {scheme} is for who was born {since}to {day_text(last)}."
        + (" A child in another school year: say which." if scheme.aged_by == eligible.AgedBy.SCHOOL_YEAR else "")
    )


def _refuse_the_wrong_fee(scheme: VoucherScheme, charge: Charge, price: FeePrice, on: date) -> None:
    if sentence := counting.why_not_for(scheme, price.item, charge.charged_on, on):
        raise Refused(sentence)
    if scheme.one_a_fee and counting.stands_on(scheme, charge):
        raise Refused(f"A voucher of {scheme} pays this fee already, and only one may; keep this one for another fee.")


def _taken(scheme: VoucherScheme, person: Person, code: str, on: date, issued_on: date | None) -> tuple[Taken, Money]:
    """The voucher by the scheme's year, window and days, and what it is worth; or Refused."""
    lapses = _lapses(scheme, on, issued_on)
    window, closed = counting.window_of(scheme, on)
    value = selectors.value_for(scheme, on)
    if value.last_claim_on and on > value.last_claim_on:
        raise Refused(
            f"The last day to claim vouchers of {scheme} of {value.calendar_year} was {day_text(value.last_claim_on)}."
        )
    if sentence := closed or counting.why_no_more(scheme, person, value.calendar_year, window):
        raise Refused(sentence)
    if counting.is_used(scheme, code):
        raise Refused("This voucher code has been used already; check it with the family.")
    claim_days = on + timedelta(days=scheme.claim_days) if scheme.claim_days is not None else None
    claim_by = eligible.earliest(lapses, value.last_claim_on, claim_days)
    return Taken(code, value.calendar_year, window, issued_on, lapses, claim_by), value.amount


def _lapses(scheme: VoucherScheme, on: date, issued_on: date | None) -> date | None:
    if issued_on is not None and issued_on > on:
        raise Refused(f"The voucher would be issued on {day_text(issued_on)}, after it was taken; check the day.")
    if scheme.valid_days is not None and issued_on is None:
        raise Refused(
            f"A voucher of {scheme} lapses {scheme.valid_days} days after its issue; say on the page of the fee when "
            "it was issued."
        )
    last = eligible.lapses_on(issued_on, scheme.valid_days)
    if last and on > last:
        raise Refused(f"This voucher lapsed on {day_text(last)}; the family can ask the department for a new one.")
    return last
