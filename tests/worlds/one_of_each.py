"""The season with whatever it takes for every table that the database guards to hold a row."""

from datetime import date

from django.contrib.auth.models import User

from clubdesk.courses import services as courses
from clubdesk.entryfund import services as entryfund
from clubdesk.entryfund.models import ClaimState
from clubdesk.evidence import Evidence
from clubdesk.fees import services as fees
from clubdesk.fees.models import FeeItem, FeeKind, Method, VoucherScheme
from clubdesk.fees.services import bring_in_balances
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import FinancialYear, Fund, Role, TaxBasis
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import account
from clubdesk.membership import services as membership
from clubdesk.money import as_amount
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Gear, Paid
from clubdesk.roll import services as roll
from clubdesk.roll.models import Consent
from clubdesk.yearend import services as yearend
from tests import factories
from tests.worlds.day_one import KEEPER
from tests.worlds.season import AUGUST, JULY, NOW, Season, sign_off


def grow():
    season = Season.found()
    season.close_and_credit()
    of_the_families(season)
    of_a_scheme(season.by)
    of_the_year(season.by)
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
    membership.ask_to_leave(household=owing, people=[child], reason="moving away", on=NOW, by=by)


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
