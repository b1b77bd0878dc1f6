"""The season with whatever it takes for every table that the database guards to hold a row."""

from datetime import date

from django.contrib.auth.models import User

from clubdesk import clock
from clubdesk.care import services as care
from clubdesk.care.models import OF_EACH, Kind
from clubdesk.care.selectors import Contact
from clubdesk.care.services import Health, Said
from clubdesk.courses import services as courses
from clubdesk.courses.letter_kinds import BOOKED
from clubdesk.desk.models import Seen
from clubdesk.desk.signin.record import note
from clubdesk.entryfund import services as entryfund
from clubdesk.entryfund.models import ClaimState
from clubdesk.evidence import Evidence
from clubdesk.fees import services as fees
from clubdesk.fees.models import FeeItem, FeeKind, Holds, Method, VoucherScheme
from clubdesk.fees.services import bring_in_balances
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import FinancialYear, Fund, Role, TaxBasis
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import account
from clubdesk.mail import services as mail
from clubdesk.membership import services as membership
from clubdesk.membership.models import Plan
from clubdesk.money import as_amount
from clubdesk.news import services as news
from clubdesk.news.models import Concern
from clubdesk.news.selectors import To
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Gear, Kit, Paid
from clubdesk.roll import services as roll
from clubdesk.roll.models import Consent
from clubdesk.safety import services as safety
from clubdesk.safety.models import CheckKind, DayRules, Duty
from clubdesk.yearend import services as yearend
from tests import factories
from tests.worlds.day_one import KEEPER
from tests.worlds.season import AUGUST, JULY, NOW, Season, sign_off


def grow():
    season = Season.found()
    season.close_and_credit()
    note(Seen.SIGNED_IN, season.by)
    of_the_families(season)
    of_a_scheme(season.by)
    of_the_year(season.by)
    of_a_safe_day(season)
    ledger.lock_month(month_end=JULY, reason="a test", by=season.by)
    ledger.ask_to_unlock(
        year=FinancialYear.objects.get(), month_end=JULY, reason="a bill was forgotten", on=NOW, by=season.by
    )
    sign_off(season.by)


def of_the_families(season):
    by = season.by
    keeper = User.objects.get(username=KEEPER)
    roll.add_to_family(household=factories.HouseholdFactory(guardian="Ida"), user=keeper, by=by)
    asked = season.event.claims.get(state=ClaimState.ASKED)
    entryfund.answer_claim(claim=asked, answer="Juniors", by=by, evidence=Evidence(b"more", "application/pdf"))
    courses.record_reach_check(person=factories.PersonFactory(), checked_by="Jo", on=NOW, by=by)
    owing, ahead = factories.HouseholdFactory(), factories.HouseholdFactory()
    Consent.objects.create(household=owing, given_by="Mira", wording="I agree.")
    bring_in_balances(items=[factories.open_item(owing, 40), factories.open_item(ahead, -30)], by=by)
    twice, again = (factories.PersonFactory(household=factories.HouseholdFactory(guardian="Ida")) for _ in range(2))
    roll.add_to_family(household=again.household, user=season.second, by=by)
    roll.merge_people(person=twice, other=again, on=NOW, by=by)
    roll.merge_families(household=twice.household, other=again.household, on=NOW, by=by)
    child = factories.PersonFactory(household=owing)
    rangeday.sign_on(range_day=season.day, person=child, gear=Gear.HIRE, paid=Paid.ACCOUNT, by=by)
    membership.take_out_membership(person=child, plan=Plan.objects.get(), starts_on=NOW, payer=ahead, on=NOW, by=by)
    membership.ask_to_leave(household=owing, people=[child], reason="moving away", on=NOW, by=by)
    mail.change_letter(kind=BOOKED.key, subject="{{ course }}: welcome", body=BOOKED.body, by=by)
    rangeday.hand_in_count(range_day=season.day, pieces={500: 1}, second_counter=season.second, on=NOW, by=by)
    what_is_known_of(child, by)
    to = To("Who owes something", {owing.pk: [child.pk]})
    news.write_to_many(to=to, subject="Fair", text="Come, {children}.", concern=Concern.NEWS, on=NOW, by=by)


def what_is_known_of(child, by):
    """All that a family says of a child, the club's own words about photos, and a look at the range and at a desk."""
    guardian = child.household.guardians.create(name="Ida Quoll", phone="08 7010 0101")
    uncle = Contact("Odo Quoll", "08 7010 0102", "uncle")
    said = Said([uncle], [uncle], Health(allergy="bees"), dict.fromkeys(OF_EACH, True))
    care.keep_by_family(guardian=guardian, person=child, said=said, on=NOW, by=by)
    care.confirm_by_family(guardian=guardian, on=NOW, by=by)
    news.take_up_news(guardian=guardian, by=by)
    care.write_text(kind=Kind.PHOTOS, text="Photos, but no films.", asks_anew=True, on=NOW, by=by)
    care.look(person=child, by=by)
    care.looked(person=child, day=NOW, by=by)


def of_a_safe_day(season):
    """The club's own rules, who is on duty and swaps, a child who came alone, an incident with a piece of kit."""
    by, day = season.by, season.day
    DayRules.objects.create(since=NOW, people=1, children=2, arrivals=True)
    first, second = (factories.PersonFactory(birth_date=date(1980, 1, 1)) for _ in range(2))
    for person, kind in ((first, CheckKind.CHILDREN), (second, CheckKind.COACHING)):
        safety.write_check(person=person, kind=kind, number="WW 1", expires_on=date(2029, 1, 1), on=NOW, by=by)
    safety.take_over(
        turn=safety.put_on_duty(range_day=day, person=second, duty=Duty.COACH, by=by), person=first, on=NOW, by=by
    )
    safety.note_weather(range_day=day, kind="heat", words="39 degrees", by=by)
    safety.open_day(range_day=day, reason="parents watch the line", on=NOW, by=by)
    child, piece = factories.PersonFactory(), Kit.objects.get(number="X1")
    safety.note_arrival(range_day=day, person=child, at=clock.now(), by=by)
    hurt = safety.record_incident(
        kind="incident", on=NOW, place="line", what="A finger was pinched", first_aid="a plaster", child=child,
        piece=piece, by=by,
    )  # fmt: skip
    safety.note_incident(incident=hurt, words="The tab was torn", on=NOW, by=by)


def of_a_scheme(by):
    """A family has paid, and a voucher that is never given back as money takes the place of a part."""
    scheme, child = factories.scheme(name="Winter voucher"), factories.PersonFactory()
    VoucherScheme.objects.filter(pk=scheme.pk).update(no_money_back=True)
    scheme.refresh_from_db()
    scheme.windows.create(from_month=1, from_day=1, until_month=12, until_day=31)
    price = factories.price(FeeKind.OTHER, "80.00", code="winter-shooting")
    charge = fees.charge(household=child.household, person=child, price=price, on=NOW, starts_on=NOW, by=by)
    fees.record_receipt(household=child.household, amount=as_amount(80), method=Method.CARD, on=NOW, by=by)
    fees.accept_voucher(scheme=scheme, charge=charge, code="WV1", on=NOW, by=by)
    more = factories.price(FeeKind.OTHER, "30.00", code="winter-targets")
    fees.charge(household=child.household, person=child, price=more, on=NOW, starts_on=NOW, by=by)
    claimed_by_template(price, by)


def claimed_by_template(price, by):
    """A voucher in a claim whose file is made by the columns of the department's template."""
    scheme, child = factories.scheme(name="Spring voucher"), factories.PersonFactory()
    for place, (heading, holds) in enumerate((("Code", Holds.KEY), ("Claimed", Holds.AMOUNT), ("Paid", Holds.PAID)), 1):
        scheme.claim_columns.create(place=place, heading=heading, holds=holds)
    charge = fees.charge(household=child.household, person=child, price=price, on=NOW, starts_on=NOW, by=by)
    fees.accept_voucher(scheme=scheme, charge=charge, code="SP1", on=NOW, by=by)
    fees.lodge_vouchers(scheme=scheme, on=NOW, by=by)
    other = factories.PersonFactory()
    paid = fees.charge(household=other.household, person=other, price=price, on=NOW, starts_on=NOW, by=by)
    voucher = fees.accept_voucher(scheme=scheme, charge=paid, code="SP2", on=NOW, by=by)
    fees.record_lodgement_paid(lodgement=fees.lodge_vouchers(scheme=scheme, on=NOW, by=by), on=NOW, by=by)
    fees.take_back(charge=paid, on=NOW, reason="left", by=by, keep=as_amount(30))
    fees.give_back(voucher=voucher, invoice="INV 7", pay_to="012-003 4500123", reason="the child left", on=NOW, by=by)
    waits_for_the_next_fee(price, by)


def waits_for_the_next_fee(price, by):
    """A claimed voucher whose fee was called off, of a child that belongs to another family since."""
    scheme, child = factories.scheme(name="Autumn voucher"), factories.PersonFactory()
    charge = fees.charge(
        household=child.household, person=child, price=price, on=NOW, starts_on=date(2026, 11, 1), by=by
    )
    fees.accept_voucher(scheme=scheme, charge=charge, code="AU1", on=NOW, by=by)
    fees.lodge_vouchers(scheme=scheme, on=NOW, by=by)
    fees.call_off(charge=charge, on=NOW, reason="flood", by=by)
    courses.move_person(person=child, household=factories.HouseholdFactory(), on=NOW, by=by)


def of_the_year(by):
    general, restricted = Fund.objects.get(code="general"), Fund.objects.get(restricted=True)
    entryfund.move_between_funds(
        from_fund=restricted, to_fund=general, amount=as_amount(20), minute="Minute 4", on=NOW, by=by
    )
    lines = [debit(Role.EQUIPMENT, as_amount(1000)), credit(Role.BANK, as_amount(1000))]
    ledger.record_journal(
        on=date(2026, 7, 10), narration="Bows", lines=lines, by=by, evidence=Evidence(b"bill", "application/pdf")
    )
    common = {"bought_on": date(2026, 7, 10), "years": 3, "fund": general, "by": by}
    bows, _ = (yearend.add_equipment(name=name, cost=as_amount(300), **common) for name in ("Bows", "Butts"))
    yearend.depreciate(until=AUGUST, by=by)
    yearend.dispose(equipment=bows, on=NOW, reason="broken", by=by)
    grants = account(Role.GRANTS)
    year = FinancialYear.objects.get()
    yearend.set_budget(year=year, account=grants, months={date(2026, 7, 1): as_amount(50)}, by=by)
    yearend.set_comparatives(year_end=date(2026, 6, 30), fund=general, figures={grants: as_amount(70)}, by=by)
    FeeItem.objects.filter(kind__in=(FeeKind.COURSE, FeeKind.HIRE)).update(tax_code="taxable")
    ledger.register_for_gst(since=date(2026, 7, 1), basis=TaxBasis.ACCRUALS, by=by)
    yearend.post_found_tax(until=NOW, by=by)
    yearend.post_gst(first=date(2026, 7, 1), last=date(2026, 9, 30), by=by)
