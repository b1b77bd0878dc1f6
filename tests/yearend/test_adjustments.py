"""Adjustments at a year's end: accruals, prepayments, stock and doubtful fees."""

import uuid
from datetime import date

import pytest
from django.urls import reverse

from clubdesk.errors import Refused
from clubdesk.fees import services as fees
from clubdesk.fees.models import Method
from clubdesk.ledger.models import Fund, FundRole, Journal, JournalEntry, JournalOrigin, Role
from clubdesk.ledger.selectors import balance
from clubdesk.money import as_amount
from clubdesk.yearend import services
from tests import factories
from tests.yearend.books import expense, sound

pytestmark = pytest.mark.django_db


class TestAdjustments:
    def test_a_bill_that_has_not_come_counts_and_is_undone_for_the_bill(self, general, by):
        journal = services.accrue(
            expense=expense("5050"), amount=as_amount(185), fund=general, on=date(2026, 8, 31),
            reverse_on=date(2026, 9, 1), narration="Mower serviced", by=by,
        )  # fmt: skip
        assert journal.origin == JournalOrigin.ACCRUAL
        assert [balance(Role.OTHER_PAYABLES, day) for day in (date(2026, 8, 31), date(2026, 9, 1))] == [-185, 0]
        assert sound()

    def test_a_bill_paid_ahead_leaves_the_period_and_comes_back(self, general, by):
        services.prepay(
            expense=expense("5070"), amount=as_amount(620), fund=general, on=date(2026, 8, 31),
            reverse_on=date(2026, 9, 1), narration="Insurance ahead", by=by,
        )  # fmt: skip
        assert [balance(Role.PREPAYMENTS, day) for day in (date(2026, 8, 31), date(2026, 9, 1))] == [620, 0]

    def test_stock_is_posted_as_the_difference_to_the_book_up_and_down(self, general, by):
        for counted, on in ((240, date(2026, 8, 31)), (90, date(2026, 9, 10))):
            services.count_stock(
                counted=as_amount(counted), materials=expense("5020"), fund=general, on=on, narration="Counted", by=by
            )
            assert balance(Role.STOCK, on) == counted
        with pytest.raises(Refused, match="90.00 already"):
            services.count_stock(
                counted=as_amount(90), materials=expense("5020"), fund=general, on=on, narration="Counted", by=by
            )

    def test_doubtful_fees_lessen_what_is_owed_and_leave_the_debts(self, general, by):
        home, on = factories.HouseholdFactory(), date(2026, 8, 1)
        fees.charge(household=home, price=factories.price(), on=on, starts_on=on, by=by)
        for wanted in (100, 26):
            services.provide(wanted=as_amount(wanted), on=date(2026, 9, 1), narration="Doubtful", by=by)
            assert balance(Role.ALLOWANCE, date(2026, 9, 1)) == -wanted
        assert balance(Role.FEES_OWED, date(2026, 9, 1)) == 126
        assert sound()

    def test_a_count_of_an_earlier_day_never_changes_what_a_later_one_found(self, general, by):
        for counted, on in ((240, date(2026, 8, 31)), (90, date(2026, 8, 1))):
            count = {"counted": as_amount(counted), "materials": expense("5020"), "fund": general, "on": on}
            if counted == 90:
                with pytest.raises(Refused, match="was posted for 31 Aug 2026 already"):
                    services.count_stock(**count, narration="Counted", by=by)
            else:
                services.count_stock(**count, narration="Counted", by=by)

    def test_no_more_is_doubtful_than_families_owe(self, by):
        with pytest.raises(Refused, match=r"Families owe \$0.00 on 1 Sep 2026"):
            services.provide(wanted=as_amount(1), on=date(2026, 9, 1), narration="Doubtful", by=by)

    def test_what_one_family_has_in_credit_makes_no_less_of_what_another_owes_doubtful(self, by):
        owing, ahead = (factories.HouseholdFactory() for _ in range(2))
        price, on = factories.price(amount="1.00"), date(2026, 9, 1)
        fees.charge(household=owing, price=price, on=on, starts_on=on, by=by)
        fees.record_receipt(household=ahead, amount=as_amount(30), method=Method.CARD, on=on, by=by)
        with pytest.raises(Refused, match=r"Families owe \$1.00"):
            services.provide(wanted=as_amount("1.01"), on=on, narration="Doubtful", by=by)
        services.provide(wanted=as_amount(1), on=on, narration="Doubtful", by=by)
        assert balance(Role.ALLOWANCE, on) == -1

    def test_the_same_press_twice_posts_once(self, general, by):
        key = uuid.uuid4()
        for _ in range(2):
            services.count_stock(
                counted=as_amount(240), materials=expense("5020"), fund=general, on=date(2026, 9, 1),
                narration="Counted", by=by, key=key,
            )  # fmt: skip
        assert JournalEntry.objects.count() == 1

    def test_a_fund_that_is_restricted_is_never_overdrawn_by_one(self, by):
        entry = Fund.objects.get(pk=FundRole.ENTRY)
        with pytest.raises(Refused, match=r"holds \$0.00"):
            services.accrue(
                expense=expense("5030"), amount=as_amount(5), fund=entry, on=date(2026, 9, 1),
                reverse_on=date(2026, 9, 2), narration="Medals", by=by,
            )  # fmt: skip

    @pytest.mark.parametrize("page", ["accrual", "prepayment", "stock", "provision", "depreciation"])
    def test_each_has_a_page_that_says_what_is_missing(self, client, treasurer, page):
        client.force_login(treasurer)
        url = reverse(f"admin:ledger_journal_{page}")
        assert client.get(url).status_code == 200
        assert client.post(url, {"key": uuid.uuid4()}).status_code == 422
        assert not Journal.objects.exists()

    def test_an_accrual_by_its_page(self, client, treasurer):
        client.force_login(treasurer)
        form = {"key": uuid.uuid4(), "expense": expense("5050").pk, "amount": "185.00", "fund": "general",
                "on": "2026-08-31", "reverse_on": "2026-09-01", "narration": "Mower serviced"}  # fmt: skip
        client.post(reverse("admin:ledger_journal_accrual"), form)
        assert JournalEntry.objects.count() == 2
