"""The register of equipment: depreciation, disposal and sale."""

import uuid
from datetime import date

import pytest
from django.db import IntegrityError, connection, transaction
from django.urls import reverse

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import FinancialYear, Fund, FundRole, Journal, JournalOrigin, Role, TaxBasis
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import account, balance
from clubdesk.money import as_amount
from clubdesk.reports.selectors import Figures
from clubdesk.yearend import closing, selectors, services
from clubdesk.yearend.invariants import depreciation_holds
from clubdesk.yearend.models import DepreciationLine, Disposal, Equipment
from clubdesk.yearend.register import Register, disposal_of, loss_of, lost_by, with_worth_and_gone
from tests.yearend.books import FIRST, LAST, NEXT, bought, sound

pytestmark = pytest.mark.django_db


def left_of(thing, until):
    return Register.at(until).to_lose(thing, until).amount


class TestRegister:
    @pytest.fixture
    def bows(self, general, by):
        lines = [debit(Role.EQUIPMENT, as_amount(1000)), credit(Role.BANK, as_amount(1000))]
        ledger.record_journal(on=date(2026, 7, 10), narration="Bows", lines=lines, by=by)
        return services.add_equipment(
            name="Bows", bought_on=date(2026, 7, 10), cost=as_amount(1000), residual=as_amount(100), years=3,
            fund=general, by=by,
        )  # fmt: skip

    def test_it_loses_an_equal_part_a_month_exact_at_the_end(self, bows, by):
        """Straight line: 900.00 over 36 months is 25.00 a month; the month it was bought in counts whole."""
        with clock.on(date(2027, 7, 1)):
            for until, lost in ((date(2026, 7, 31), 25), (date(2026, 9, 30), 50), (LAST, 225)):
                journal = services.depreciate(until=until, by=by)
                assert journal.depreciation.get().amount == as_amount(lost)
        assert balance(Role.DEPRECIATED, LAST) == -300
        with pytest.raises(Refused, match="left to depreciate"):
            services.depreciate(until=LAST, by=by)
        assert left_of(bows, date(2040, 6, 30)) == 600
        assert lost_by(bows, date(2026, 6, 30)) == 0
        assert sound()

    def test_odd_cents_come_out_even_over_its_years(self, general, by):
        bought(by, 100)
        thing = services.add_equipment(
            name="Butt", bought_on=FIRST, cost=as_amount("100.00"), years=3, fund=general, by=by
        )
        lost = []
        for month in range(36):
            until = selectors.month_end(date(2026 + (6 + month) // 12, (6 + month) % 12 + 1, 1))
            lost.append(left_of(thing, until) - sum(lost))
        assert sum(lost) == 100
        assert set(map(str, lost)) == {"2.77", "2.78"}

    def test_a_reversed_depreciation_is_posted_again(self, bows, by):
        journal = services.depreciate(until=date(2026, 8, 31), by=by)
        ledger.undo_entries_of(document=journal, on=date(2026, 8, 31), reason="too early", by=by)
        with pytest.raises(IntegrityError, match="What was depreciated is never changed"), transaction.atomic():
            DepreciationLine.objects.update(amount=as_amount(1))
        assert left_of(bows, date(2026, 8, 31)) == 50
        services.depreciate(until=date(2026, 9, 30), by=by)
        assert balance(Role.DEPRECIATED, date(2026, 9, 30)) == -75
        assert sound()

    def test_what_is_gone_leaves_its_worth_as_a_loss(self, bows, by):
        services.depreciate(until=date(2026, 8, 31), by=by)
        gone = services.dispose(equipment=bows, on=date(2026, 9, 5), reason="broken", by=by)
        assert loss_of(gone) == as_amount(950)
        services.dispose(equipment=bows, on=date(2026, 9, 6), reason="again", by=by)
        assert [balance(role, date(2026, 9, 12)) for role in self.ACCOUNTS] == [0, 0, 50, 950]
        assert Disposal.objects.count() == 1
        assert sound()

    ACCOUNTS = (Role.EQUIPMENT, Role.DEPRECIATED, Role.DEPRECIATION, Role.DISPOSALS)

    def test_what_is_sold_for_more_than_its_worth_is_a_gain_and_its_money_a_receipt(self, bows, by):
        """IAS 16, paragraph 71: a gain or loss is what came for it less its worth in the book (from memory)."""
        services.depreciate(until=date(2026, 8, 31), by=by)
        gone = services.dispose(equipment=bows, on=date(2026, 9, 5), reason="sold", proceeds=as_amount(980), by=by)
        assert loss_of(gone) == as_amount(-30)
        assert [balance(role, date(2026, 9, 12)) for role in self.ACCOUNTS] == [0, 0, 50, -30]
        now = Figures(FIRST, date(2026, 9, 12))
        assert now.cash(now.by_role[Role.DISPOSALS]) == 980
        assert now.surplus() == -20
        assert sound()

    def test_a_disposal_that_is_reversed_brings_the_thing_back(self, bows, by):
        services.depreciate(until=date(2026, 8, 31), by=by)
        gone = services.dispose(equipment=bows, on=date(2026, 9, 5), reason="lost", by=by)
        assert disposal_of(bows) == gone
        assert gone.journal.narration == f"Disposed of: {bows.name}", "the reason stands in the disposal alone"
        ledger.undo_entries_of(document=gone.journal, on=date(2026, 9, 8), reason="found", by=by)
        assert disposal_of(bows) is None
        assert loss_of(gone) == as_amount(950), "as it was posted then"
        there = {day: bool(Register.at(date(2026, 9, day)).things) for day in (4, 5, 7, 8)}
        assert there == {4: True, 5: False, 7: False, 8: True}
        services.depreciate(until=date(2026, 9, 30), by=by)
        services.dispose(equipment=bows, on=date(2026, 9, 30), reason="lost again", by=by)
        assert [balance(role, date(2026, 9, 30)) for role in self.ACCOUNTS] == [0, 0, 75, 925]
        assert sound()

    def test_what_was_depreciated_stays_while_the_thing_is_gone(self, bows, by):
        journal = services.depreciate(until=date(2026, 8, 31), by=by)
        gone = services.dispose(equipment=bows, on=date(2026, 9, 5), reason="lost", by=by)
        with pytest.raises(IntegrityError, match="reverse the journal of its disposal first"), transaction.atomic():
            ledger.undo_entries_of(document=journal, on=date(2026, 9, 6), reason="wrong", by=by)
        with pytest.raises(IntegrityError, match="not depreciated any more"), transaction.atomic():
            DepreciationLine.objects.create(
                journal=journal, equipment=bows, until=date(2026, 8, 31), amount=as_amount(1)
            )
        with pytest.raises(IntegrityError, match="gone already"), transaction.atomic():
            other = ledger.record_journal(
                on=date(2026, 9, 6), narration="Again", by=by, origin=JournalOrigin.DISPOSAL,
                lines=[debit(Role.DISPOSALS, as_amount(1)), credit(Role.EQUIPMENT, as_amount(1))],
            )  # fmt: skip
            Disposal.objects.create(equipment=bows, gone_on=date(2026, 9, 6), reason="x", journal=other, recorded_by=by)
        with pytest.raises(IntegrityError, match="disposal keeps what the ledger says"), transaction.atomic():
            Disposal.objects.filter(pk=gone.pk).update(gone_on=date(2026, 9, 1))

    def test_depreciation_hangs_on_its_own_kind_of_journal(self, bows, by):
        bought = Journal.objects.get()
        with pytest.raises(IntegrityError, match="journal of depreciation"), transaction.atomic():
            DepreciationLine.objects.create(
                journal=bought, equipment=bows, until=date(2026, 7, 10), amount=as_amount(1)
            )

    def test_the_register_has_no_more_than_the_ledger_bought(self, bows, general, by):
        with pytest.raises(Refused, match=r"1,000.00 by the ledger, of which \$1,000.00 is in the register already"):
            services.add_equipment(name="Mower", bought_on=FIRST, cost=as_amount(1), years=5, fund=general, by=by)

    def test_a_thing_typed_wrongly_leaves_the_register_while_nothing_hangs_on_it(
        self, client, treasurer, bows, general, by
    ):
        client.force_login(treasurer)
        url = reverse("admin:yearend_equipment_withdraw", args=[bows.pk])
        client.post(url, {"key": uuid.uuid4(), "reason": "three years, not five"})
        assert Register.at(LAST).things == []
        again = services.add_equipment(name="Bows", bought_on=FIRST, cost=as_amount(1000), years=5, fund=general, by=by)
        services.depreciate(until=date(2026, 8, 31), by=by)
        with pytest.raises(Refused, match="Something was posted of it"):
            services.withdraw_equipment(equipment=again, on=LAST, reason="x", by=by)
        for sql in (
            "UPDATE yearend_equipment SET withdrawn_on = '2026-09-01'",
            "UPDATE yearend_equipment SET withdrawn_on = NULL",
        ):
            with pytest.raises(IntegrityError, match="removed from the register"), transaction.atomic():
                connection.cursor().execute(sql)

    def test_what_a_restricted_fund_holds_is_money(self, by):
        """Equipment and bills paid ahead would be counted as money and spent a second time."""
        entry = Fund.objects.get(pk=FundRole.ENTRY)
        lines = [debit(Role.BANK, as_amount(90), fund=entry), credit(Role.GRANTS, as_amount(90), fund=entry)]
        ledger.record_journal(on=FIRST, narration="Grant", lines=lines, by=by)
        ledger.register_for_gst(since=FIRST, basis=TaxBasis.CASH, by=by)
        for role in ledger.NO_MONEY_ROLES:
            lines = [debit(role, as_amount(5), fund=entry), credit(Role.BANK, as_amount(5), fund=entry)]
            with pytest.raises(Refused, match="holds money only"):
                ledger.record_journal(on=FIRST, narration="Bows", lines=lines, by=by)
        with pytest.raises(Refused, match="equipment stands in another fund"):
            services.add_equipment(name="Bows", bought_on=FIRST, cost=as_amount(5), years=3, fund=entry, by=by)

    def test_depreciation_undone_later_and_posted_again_never_counts_twice_on_one_day(self, bows, by, year):
        ledger.open_year(first_day=NEXT, by=by)
        with clock.on(date(2027, 7, 20)):
            journal = services.depreciate(until=LAST, by=by)
            ledger.reverse_journal(journal=journal, on=date(2027, 7, 10), reason="a slip", by=by)
            again = services.depreciate(until=LAST, by=by)
            assert again.date == date(2027, 7, 10)
            assert [balance(Role.DEPRECIATED, day) for day in (LAST, date(2027, 7, 10))] == [-300, -300]
            assert closing.register_agrees(year).done
            assert closing.equipment_depreciated(year).done
            assert list(depreciation_holds()) == []

    def test_what_a_thing_lost_in_an_earlier_year_is_posted_before_it_goes(self, bows, by):
        ledger.open_year(first_day=NEXT, by=by)
        with clock.on(date(2027, 8, 1)):
            with pytest.raises(Refused, match="Depreciate to 30 Jun 2027 first"):
                services.dispose(equipment=bows, on=date(2027, 7, 20), reason="sold", by=by)
            services.depreciate(until=LAST, by=by)
            services.dispose(equipment=bows, on=date(2027, 7, 20), reason="sold", by=by)

    def test_what_a_closed_year_has_not_told_is_asked_of_nobody(self, by, year, general):
        """It was bought in that year, and put in the register when the year was closed."""
        bought(by, 1000)
        ledger.open_year(first_day=NEXT, by=by)
        with clock.on(date(2027, 8, 1)):
            ledger.close_year(year=year, on=NEXT, by=by)
            bow = services.add_equipment(name="Bow", bought_on=LAST, cost=as_amount(1000), years=3, fund=general, by=by)
            gone = services.dispose(equipment=bow, on=date(2027, 7, 20), reason="broken", by=by)
        assert loss_of(gone) == as_amount(1000)

    def test_of_two_things_one_goes_and_the_other_goes_on_losing(self, bows, general, by):
        bought(by, 360)
        butt = services.add_equipment(name="Butt", bought_on=FIRST, cost=as_amount(360), years=3, fund=general, by=by)
        services.dispose(equipment=bows, on=date(2026, 7, 20), reason="lost", by=by)
        register = Register.at(date(2026, 7, 31))
        assert (register.things, register.behind(date(2026, 7, 31))) == ([butt], [(butt, as_amount(10))])
        assert {each.name: each.gone_on for each in with_worth_and_gone(Equipment.objects.all())} == {
            "Bows": date(2026, 7, 20), "Butt": None,
        }  # fmt: skip

    def test_what_came_for_a_thing_goes_into_an_account_of_money(self, bows, by):
        with pytest.raises(Refused, match="is no account of money"):
            services.dispose(
                equipment=bows, on=date(2026, 9, 5), reason="sold", by=by, into=account(Role.EQUIPMENT),
                proceeds=as_amount(700),
            )  # fmt: skip
        services.dispose(
            equipment=bows, on=date(2026, 9, 5), reason="sold", by=by, into=account(Role.TILL), proceeds=as_amount(700)
        )
        assert (balance(Role.TILL, date(2026, 9, 5)), balance(Role.BANK, date(2026, 9, 5))) == (700, -1000)

    def test_a_key_used_again_after_a_reversal_disposes_of_nothing_twice(self, bows, by):
        key = uuid.uuid4()
        gone = services.dispose(equipment=bows, on=date(2026, 8, 5), reason="lost", by=by, key=key)
        ledger.undo_entries_of(document=gone.journal, on=date(2026, 8, 8), reason="found", by=by)
        assert services.dispose(equipment=bows, on=date(2026, 8, 5), reason="lost", by=by, key=key) == gone
        with pytest.raises(Refused, match="It was in use on 8 Aug 2026"):
            services.dispose(equipment=bows, on=date(2026, 8, 6), reason="lost again", by=by)

    def test_months_are_depreciated_in_their_order(self, bows, by):
        ledger.open_year(first_day=NEXT, by=by)
        with clock.on(date(2027, 9, 1)):
            with pytest.raises(Refused, match="Depreciate to 30 Jun 2027 first"):
                services.depreciate(until=date(2027, 8, 31), by=by)
            services.depreciate(until=LAST, by=by)
            services.depreciate(until=date(2027, 8, 31), by=by)
            first = Journal.objects.get(date=LAST)
            ledger.undo_entries_of(document=first, on=LAST, reason="wrong", by=by)
            item = closing.equipment_depreciated(FinancialYear.objects.get(last_day=LAST))
            assert "Later months were posted first" in item.said
            with pytest.raises(Refused, match="to 31 Aug 2027 already"):
                services.depreciate(until=LAST, by=by)

    def test_what_belongs_to_a_locked_month_is_posted_on_the_first_open_day(self, bows, by, year):
        ledger.open_year(first_day=NEXT, by=by)
        ledger.lock_month(month_end=LAST, reason="a test", by=by)
        with clock.on(date(2027, 7, 20)):
            journal = services.depreciate(until=LAST, by=by)
        assert (journal.date, journal.depreciation.get().until) == (NEXT, LAST)
        assert closing.equipment_depreciated(year).done

    def test_its_page_says_what_would_be_posted(self, client, treasurer, bows):
        client.force_login(treasurer)
        with clock.on(date(2026, 10, 3)):
            page = client.get(reverse("admin:ledger_journal_depreciation")).content.decode()
            assert "30 September 2026: $75.00" in page
            assert "31 August 2026: $50.00" in page
            client.post(reverse("admin:ledger_journal_depreciation"), {"key": uuid.uuid4(), "until": "2026-09-30"})
        assert balance(Role.DEPRECIATED, date(2026, 9, 30)) == -75

    def test_it_is_sold_on_its_page(self, client, treasurer, bows):
        client.force_login(treasurer)
        url = reverse("admin:yearend_equipment_dispose", args=[bows.pk])
        form = {"key": uuid.uuid4(), "on": "2026-09-05", "reason": "sold", "proceeds": "700"}
        client.post(url, form)
        page = client.get(reverse("admin:yearend_equipment_change", args=[bows.pk])).content.decode()
        assert "What became of it" in page
        assert "700.00" in page
        assert "5 Sep 2026" in client.get(reverse("admin:yearend_equipment_changelist")).content.decode()

    @pytest.mark.parametrize(
        ("change", "sentence"),
        [
            ({"residual": as_amount(1000)}, "less than what it cost"),
            ({"years": 0}, "1 to 50 years"),
            ({"brought_in": as_amount(1001)}, r"more than \$1,000.00 before"),
            ({"name": " "}, "Write what it is"),
        ],
    )
    def test_what_cannot_be_is_said(self, general, by, change, sentence):
        thing = {"name": "Bows", "bought_on": FIRST, "cost": as_amount(1000), "years": 3, "fund": general, "by": by}
        with pytest.raises(Refused, match=sentence):
            services.add_equipment(**{**thing, **change})

    def test_the_database_lets_nothing_lose_more_than_it_cost(self, bows, by):
        journal = services.depreciate(until=date(2026, 8, 31), by=by)
        with pytest.raises(IntegrityError, match="more than what it cost"), transaction.atomic():
            DepreciationLine.objects.create(
                journal=journal, equipment=bows, until=date(2026, 8, 31), amount=as_amount("850.01")
            )
        for sql, sentence in (
            ("UPDATE yearend_equipment SET cost = 200000", "thing of the register keeps what the ledger says"),
            ("DELETE FROM yearend_equipment", "thing of the register is never deleted"),
            ("DELETE FROM yearend_depreciationline", "What was depreciated is never deleted"),
        ):
            with pytest.raises(IntegrityError, match=sentence), transaction.atomic():
                connection.cursor().execute(sql)
        assert Equipment.objects.count() == 1
