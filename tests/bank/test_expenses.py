"""What volunteers spent, what the container depot paid, and what the fund statement tells of both."""

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from clubdesk.entryfund import services as entryfund
from clubdesk.entryfund.models import PaidInto
from clubdesk.errors import Refused
from clubdesk.evidence import Evidence
from clubdesk.expenses import services as expenses
from clubdesk.ledger.models import JournalEntry, Role
from clubdesk.ledger.selectors import balance
from clubdesk.money import as_amount
from tests import factories, families
from tests.bank.paying import NOW, sound

pytestmark = pytest.mark.django_db


class TestExpenses:
    def test_an_approved_expense_is_charged_to_its_account_and_fund(self, by, approver, claim):
        spent = factories.expense(by, amount="100.00", fund="entry", code="5020")
        expenses.approve_expense(expense=spent, on=NOW, by=approver)
        from clubdesk.ledger.selectors import fund_balance

        assert fund_balance("entry") == 340
        assert sound()

    def test_a_restricted_fund_is_not_overdrawn(self, by, approver, claim):
        spent = factories.expense(by, amount="500.00", fund="entry")
        with pytest.raises(Refused, match=r"holds \$440.00"):
            expenses.approve_expense(expense=spent, on=NOW, by=approver)

    def test_nobody_decides_what_they_recorded_or_what_pays_their_own(self, by, approver):
        spent = factories.expense(by)
        with pytest.raises(Refused, match="You recorded this"):
            expenses.approve_expense(expense=spent, on=NOW, by=by)
        families.belongs(approver, spent.household)
        with pytest.raises(Refused, match="You belong or belonged to"):
            expenses.approve_expense(expense=spent, on=NOW, by=approver)
        for who, rule in ((by, "nobody_decides_what_they_recorded"), (approver, "expense of their own family")):
            with pytest.raises(IntegrityError, match=rule), transaction.atomic():
                type(spent).objects.filter(pk=spent.pk).update(state="approved", decided_by=who, decided_on=NOW)

    def test_one_receipt_stands_behind_one_expense(self, by, approver, home):
        spent = factories.expense(by)
        known = {
            "household": home, "what": "again", "amount": as_amount(1), "spent_on": NOW, "account": spent.account,
            "fund": spent.fund, "by": by, "evidence": Evidence(spent.receipt.read(), "image/jpeg"),
        }  # fmt: skip
        with pytest.raises(Refused, match="stands behind another expense"):
            expenses.record_expense(**known)
        expenses.decline_expense(expense=spent, reason="not for the club", on=NOW, by=approver)
        assert expenses.record_expense(**known).state == "recorded"
        assert sound()

    def test_only_an_expense_account_or_equipment_bears_it(self, by, home):
        with pytest.raises(Refused, match="cannot be charged to 4010"):
            factories.expense(by, home, code="4010")
        assert factories.expense(by, home, code="1500").account.code == "1500"

    def test_the_approver_may_choose_another_account(self, by, approver):
        from clubdesk.ledger.models import Account

        spent = factories.expense(by, code="5040")
        other = Account.objects.get(code="5050")
        assert expenses.approve_expense(expense=spent, account=other, on=NOW, by=approver).account == other
        with pytest.raises(IntegrityError, match="was decided stays as it is"), transaction.atomic():
            type(spent).objects.filter(pk=spent.pk).update(account=spent.account)

    def test_a_declined_one_tells_the_volunteer_and_stays_declined(self, by, approver, home):
        spent = factories.expense(by, home)
        with pytest.raises(Refused, match="Give the reason"):
            expenses.decline_expense(expense=spent, reason=" ", on=NOW, by=approver)
        expenses.decline_expense(expense=spent, reason="the club has some", on=NOW, by=approver)
        assert "the club has some" in home.messages.get().body
        with pytest.raises(Refused, match="was declined"):
            expenses.approve_expense(expense=spent, on=NOW, by=approver)


class TestContainers:
    def cash_in(self, by, amount="500.00", **more):
        known = {"containers": 5012, "paid_into": PaidInto.BANK, "on": NOW, "by": by}
        return entryfund.cash_in(amount=as_amount(amount), **known | more)

    def test_the_depots_receipt_is_kept_and_known_again(self, client, by, coordinator):
        receipt = Evidence(factories.photo("depot", "JPEG"), "image/jpeg")
        cashed_in = self.cash_in(by, evidence=receipt)
        with pytest.raises(Refused, match="This very receipt stands behind"):
            self.cash_in(by, evidence=receipt)
        client.force_login(coordinator)
        answer = client.get(reverse("admin:entryfund_containerreturn_evidence", args=[cashed_in.pk]))
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert b"".join(answer.streaming_content) == receipt.content

    def test_the_depots_number_and_amount_come_once(self, by):
        self.cash_in(by, depot_receipt="7781")
        with pytest.raises(Refused, match=r"receipt 7781 over \$500.00 is recorded already"):
            self.cash_in(by, depot_receipt=" 7781 ")
        self.cash_in(by, amount="400.00", depot_receipt="7781")

    def test_the_difference_to_the_count_is_shown(self, client, by, coordinator):
        # Source: Environment Protection Act 1993 (SA), Part 8 Division 2: ten cents a container; 5012 are 501.20.
        cashed_in = self.cash_in(by)
        assert cashed_in.difference == as_amount("-1.20")
        client.force_login(coordinator)
        page = client.get(reverse("admin:entryfund_containerreturn_change", args=[cashed_in.pk])).content.decode()
        assert "−$1.20" in page

    def test_a_mistyped_return_is_cancelled_with_a_reason(self, by):
        cashed_in = self.cash_in(by, amount="5000.00")
        with pytest.raises(Refused, match="Say why"):
            entryfund.cancel_return(container_return=cashed_in, on=NOW, reason=" ", by=by)
        for _ in range(2):
            entryfund.cancel_return(container_return=cashed_in, on=NOW, reason="a nought too many", by=by)
        self.cash_in(by)
        assert balance(Role.BANK, NOW) == 500
        assert sound()

    def test_not_once_the_fund_has_promised_the_money(self, by, claim):
        from clubdesk.entryfund.models import ContainerReturn

        with pytest.raises(Refused, match=r"holds \$440.00; this would take \$500.00"):
            entryfund.cancel_return(container_return=ContainerReturn.objects.get(), on=NOW, reason="typo", by=by)
        assert sound()

    def test_cash_from_the_depot_that_was_cancelled_leaves_the_tin(self, by):
        cashed_in = self.cash_in(by, paid_into=PaidInto.TILL)
        entryfund.cancel_return(container_return=cashed_in, on=NOW, reason="typo", by=by)
        assert balance(Role.TILL, NOW) == 0
        assert sound()

    def test_bags_are_an_estimate_and_no_money(self, by):
        from clubdesk.entryfund.selectors import bags_in_words

        entryfund.count_bags(bags=4, containers=1200, on=NOW, by=by)
        assert bags_in_words() == (
            "4 bags, about 1200 containers, about $120.00 that is not in the fund yet (counted 12 Sep 2026)"
        )
        assert JournalEntry.objects.count() == 0
        self.cash_in(by)
        assert bags_in_words().endswith("containers were cashed in since, so count again")
        with pytest.raises(Refused, match="both nought"):
            entryfund.count_bags(bags=0, containers=5, on=NOW, by=by)


def test_the_fund_statement_tells_the_outlook_and_totals_by_discipline(client, claim, auditor):
    client.force_login(auditor)
    page = client.get(reverse("admin:fund_statement")).content.decode()
    assert "Chance that it covers all requests to 30 Jun 2027" in page
    assert "Refunds by discipline" in page
    assert "drawn a thousand times" in page
