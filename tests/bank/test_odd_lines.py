"""Lines that are none of the usual, each with its way to right books: what comes back, moves, or was so before."""

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clubdesk.bank import services
from clubdesk.bank.expected import explain
from clubdesk.bank.models import BankAccount, BankRule, Clearing, StatementLine
from clubdesk.bank.reconciling import reconcile
from clubdesk.bank.selectors import unexplained
from clubdesk.errors import Refused
from clubdesk.fees import services as fees
from clubdesk.fees.models import Lodgement, Method, Receipt, Voucher
from clubdesk.fees.selectors import balance as owed_by
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Account, Fund, Journal, Party, Posting, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import account as account_of
from clubdesk.ledger.selectors import balance, entries_of
from clubdesk.money import as_amount, in_all
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Banking, Gear, Paid
from clubdesk.roll.selectors import payment_reference
from tests import factories
from tests.bank.paying import paid

pytestmark = pytest.mark.django_db
NOW, NEXT, LATER = date(2026, 9, 12), date(2026, 9, 14), date(2026, 9, 21)
REPAIRS = "5050"


def sound():
    return [(result.name, result.faults) for result in check_all() if result.faults] == []


@pytest.fixture
def savings(account):
    ledger_account = Account.objects.create(code="1015", name="Savings", kind="asset", is_money=True)
    return BankAccount.objects.create(name="Savings", account=ledger_account)


@pytest.fixture
def line(account, by):
    def written(amount, text, on=NEXT, at=account):
        return services.record_statement_line(bank_account=at, on=on, amount=as_amount(amount), text=text, by=by)

    return written


@pytest.fixture
def supplier(book):
    return Party.objects.create(name="Acme Hardware", kind="supplier")


def balance_of_code(code):
    return in_all(Posting.objects.filter(account__code=code))


def answers(account):
    return [(each.how_sure, each.answers[0].made_of) for each in explain(account)[0]]


def take(account, by):
    for each in explain(account)[0]:
        services.accept(
            lines=each.lines, answer=each.answers[0].made_of, reasons=each.reasons, how_sure=each.how_sure, by=by
        )


def pay(line, supplier, by):
    return services.pay_supplier(
        line=line, party=supplier, account=Account.objects.get(code=REPAIRS), fund=Fund.objects.get(pk="general"),
        narration="Hinges", by=by,
    )  # fmt: skip


class TestARefundByTheSupplier:
    def test_it_is_offered_by_what_was_paid_before_and_comes_off_that_account(self, account, line, supplier, by):
        pay(line("-80.00", "DIRECT DEBIT 0098213 ACME HARDWARE"), supplier, by)
        line("30.00", "REFUND ACME HARDWARE 77", on=LATER)
        ((grade, (answer,)),) = answers(account)
        assert (grade, answer.split()[0]) == ("possible", "like")
        take(account, by)
        assert balance_of_code(REPAIRS) == 50
        assert not unexplained(account).exists()
        assert sound()

    def test_its_own_form_takes_it_off_too(self, account, line, supplier, by):
        pay(line("30.00", "CREDIT FROM A SHOP"), supplier, by)
        assert balance_of_code(REPAIRS) == -30
        assert sound()


class TestAPaymentThatBounces:
    def test_a_familys_payment_that_was_matched_is_cancelled_and_owed_again(self, account, line, home, by):
        price = factories.price(code="cap", amount="60.00")
        fees.charge(household=home, price=price, on=NOW, starts_on=NOW, by=by)
        line("60.00", f"TFR {payment_reference(home)}")
        take(account, by)
        assert owed_by(home) == as_amount(0)
        line("-60.00", f"DISHONOURED {payment_reference(home)}", on=LATER)
        ((grade, (answer,)),) = answers(account)
        assert (grade, answer) == ("likely", f"bounce {Receipt.objects.get().pk}")
        take(account, by)
        assert owed_by(home) == as_amount(60)
        assert Receipt.objects.get().cancelled_on == LATER
        assert not unexplained(account).exists()
        assert sound()

    def test_one_that_names_nobody_is_offered_by_its_amount(self, account, line, home, by):
        fees.record_receipt(household=home, amount=as_amount(60), method=Method.TRANSFER, on=NOW, by=by)
        line("60.00", "MIRABAR IDA")
        take(account, by)
        line("-60.00", "RETURNED ITEM", on=LATER)
        ((grade, (answer,)),) = answers(account)
        assert (grade, answer) == ("likely", f"bounce {Receipt.objects.get().pk}")

    def test_a_payment_of_the_clubs_that_comes_back_waits_to_be_paid_again(self, account, released, line, treasurer):
        items = paid(released, treasurer)
        line("-125.50", "DIRECT ENTRY RUN 1", on=date(2026, 9, 16))
        take(account, treasurer)
        line("25.50", "REJECTED INVALID ACCOUNT", on=LATER)
        ((_, (answer,)),) = answers(account)
        assert answer == f"returned {items['Expense'].pk}"
        take(account, treasurer)
        items["Expense"].refresh_from_db()
        assert (items["Expense"].state, items["Expense"].expense.state) == ("returned", "approved")
        assert not unexplained(account).exists()
        assert sound()


class TestTheBanksOwnCorrection:
    @pytest.mark.parametrize("day", [NEXT, LATER])
    def test_a_wrong_line_and_its_reverse_cancel_each_other(self, account, line, by, day):
        line("500.00", "DEPOSIT 4471")
        line("-500.00", "REVERSAL DEPOSIT 4471", on=day)
        (found,) = explain(account)[0]
        assert (found.how_sure, len(found.lines), found.answers[0].made_of) == ("likely", 2, ("correction",))
        take(account, by)
        assert not unexplained(account).exists()
        assert not Journal.objects.exists()
        assert sound()

    def test_over_the_end_of_a_month_it_is_held_until_the_bank_puts_it_right(self, account, line, by):
        line("500.00", "DEPOSIT 4471", on=date(2026, 9, 29))
        line("-500.00", "REVERSAL DEPOSIT 4471", on=date(2026, 10, 2))
        take(account, by)
        assert balance(Role.SUSPENSE, date(2026, 9, 30)) == -500
        assert balance(Role.SUSPENSE, date(2026, 10, 31)) == 0
        for end, holds in ((date(2026, 9, 30), 500), (date(2026, 10, 31), 0)):
            assert reconcile(account, end, as_amount(holds)).difference == as_amount(0)
        assert sound()

    def test_lines_that_do_not_cancel_each_other_are_no_correction(self, line, by):
        first, second = line("500.00", "A"), line("-500.01", "B")
        with pytest.raises(Refused, match="do not cancel each other"):
            services.match_correction(lines=[first, second], by=by)

    def test_by_its_page(self, client, account, line, treasurer):
        client.force_login(treasurer)
        wrong, right = line("500.00", "ODD"), line("-500.00", "EVEN", on=LATER)
        url = reverse("admin:bank_statementline_correction", args=[wrong.pk])
        client.post(url, {"other": right.pk, "key": "4b8f4f4c-6d0b-4e06-9d58-0a0c1c0f6c21"})
        assert not unexplained(account).exists()


class TestATransferBetweenTheClubsAccounts:
    def test_both_lines_are_offered_and_matched_with_one_entry(self, account, savings, line, by):
        line("-300.00", "TFR TO 4471", on=NEXT)
        line("300.00", "TFR FROM CLUB", on=date(2026, 9, 15), at=savings)
        take(account, by)
        assert [each.bank_account.name for each in Clearing.objects.order_by("pk")] == ["Savings", "Club account"]
        entry = entries_of(Journal.objects.get()).get()
        assert (entry.date, balance_of_code("1015")) == (NEXT, 300)
        assert not StatementLine.objects.filter(clearings=None).exists()
        assert sound()

    def test_said_by_hand_it_finds_the_other_accounts_line(self, account, savings, line, by):
        out = line("-300.00", "OUT")
        line("300.00", "IN", at=savings)
        services.transfer_line(line=out, account=savings.account, by=by)
        assert not unexplained(savings).exists()
        assert sound()

    def test_it_is_written_once(self, account, savings, line, by):
        lines = [debit(savings.account, as_amount(300)), credit(Role.BANK, as_amount(300))]
        ledger.record_journal(on=NOW, narration="To savings", lines=lines, by=by)
        out = line("-300.00", "OUT")
        with pytest.raises(Refused, match="is that transfer already"):
            services.transfer_line(line=out, account=savings.account, by=by)
        take(account, by)
        line("300.00", "IN", at=savings)
        take(savings, by)
        assert sound()

    def test_cash_brought_to_the_bank_is_a_banking(self, account, line, by):
        factories.hire()
        rangeday.sign_on(range_day=factories.range_day(), visitor_name="Aunt", gear=Gear.HIRE, paid=Paid.CASH, by=by)
        services.transfer_line(line=line("15.00", "BRANCH"), account=account_of(Role.TILL), by=by)
        assert Banking.objects.get().amount == as_amount(15)
        assert balance(Role.TILL, LATER) == 0
        assert sound()

    def test_cash_fetched_from_the_bank_goes_into_the_cash_box(self, account, line, by):
        services.transfer_line(line=line("-50.00", "WITHDRAWAL"), account=account_of(Role.TILL), by=by)
        assert balance(Role.TILL, LATER) == 50
        assert sound()


class TestWhatTheAccountDidBefore:
    @pytest.fixture
    def fee(self, line, by):
        lines = [debit(Role.BANK_FEES, as_amount(8)), credit(Role.BANK, as_amount(8))]
        journal = ledger.record_journal(on=NOW, narration="Fee", lines=lines, by=by)
        posting = entries_of(journal).get().postings.get(account__role=Role.BANK)
        services.explain_line(line=line("-8.00", "ACCOUNT KEEPING FEE AUG", on=NOW), posting=posting, by=by)
        return posting

    def test_a_fee_is_offered_where_such_words_were_booked(self, account, line, fee, by):
        line("-9.50", "ACCOUNT KEEPING FEE SEP", on=LATER)
        (found,) = explain(account)[0]
        assert found.how_sure == "likely"
        assert found.answers[0].words == "as before: 5060 Bank and card fees, General fund"
        take(account, by)
        assert balance(Role.BANK_FEES, LATER) == as_amount("17.50").amount
        assert sound()

    def test_one_that_was_undone_since_is_refused_and_saves_nothing(self, account, line, fee, by):
        later = line("-9.50", "ACCOUNT KEEPING FEE SEP", on=LATER)
        (found,) = explain(account)[0]
        services.undo_clearing(clearing=Clearing.objects.get(), on=LATER, reason="wrong", by=by)
        with pytest.raises(Refused, match="is not so any more"):
            services.accept(lines=[later], answer=found.answers[0].made_of, reasons="x", how_sure="likely", by=by)
        assert Journal.objects.count() == 1


class TestADepartmentThatPaysSome:
    @pytest.fixture
    def lodgement(self, by):
        scheme = factories.scheme()
        for place in range(3):
            child = factories.PersonFactory()
            price = factories.price(code=f"m{place}", amount=f"{60 + place}.00")
            charge = fees.charge(household=child.household, person=child, price=price, on=NOW, starts_on=NOW, by=by)
            fees.accept_voucher(scheme=scheme, charge=charge, code=f"SV{place}", on=NOW, by=by)
        return fees.lodge_vouchers(scheme=scheme, on=NOW, by=by)

    def test_the_vouchers_whose_sum_fits_are_paid_and_the_others_stay_lodged_and_owed(
        self, account, line, lodgement, treasurer
    ):
        line("122.00", "GOVT SPORT VOUCHERS", on=NOW)
        (found,) = explain(account)[0]
        said = "2 of the 3 that were claimed come to it, the others stay owed"
        assert (found.how_sure, found.reasons) == ("likely", said)
        vouchers = list(lodgement.vouchers.order_by("pk"))
        take(account, treasurer)
        assert not unexplained(account).exists()
        assert [Voucher.objects.get(pk=each.pk).state for each in vouchers] == ["paid", "lodged", "paid"]
        assert (balance(Role.VOUCHERS_OWED, NOW), balance(Role.BANK, NOW)) == (61, 122)
        assert sound()
        line("61.00", "GOVT SPORT VOUCHERS", on=LATER)
        (rest,) = explain(account)[0]
        assert rest.answers[0].made_of == (f"lodgement {lodgement.pk}",)
        take(account, treasurer)
        assert (balance(Role.VOUCHERS_OWED, LATER), balance(Role.BANK, LATER)) == (0, 183)
        assert [each.paid_on for each in Lodgement.objects.order_by("pk")] == [LATER, NOW]
        assert sound()


class TestTheSameDayAndAmount:
    def test_it_is_among_the_answers_whoever_it_names(self, account, line, home, by):
        receipt = fees.record_receipt(household=home, amount=as_amount(60), method=Method.TRANSFER, on=NEXT, by=by)
        line("60.00", "P HARTLEY")
        (found,) = explain(account)[0]
        posting = entries_of(receipt).get().postings.get(account__role=Role.BANK)
        assert (found.how_sure, found.answers[0].made_of) == ("possible", (f"posting {posting.pk}",))

    def test_a_rule_books_nothing_that_is_written_already(self, account, line, by):
        BankRule.objects.create(
            name="Fee", contains="fee", way="out", account=account_of(Role.BANK_FEES), fund_id="general"
        )
        lines = [debit(Role.BANK_FEES, as_amount(8)), credit(Role.BANK, as_amount(8))]
        ledger.record_journal(on=NEXT, narration="Fee", lines=lines, by=by)
        line("-8.00", "ACCOUNT FEE")
        (found,) = explain(account)[0]
        assert (found.how_sure, len(found.answers)) == ("possible", 2)
        assert found.answers[0].made_of[0].startswith("posting ")


class TestFromAnyLine:
    """Each button leads to a form that is filled in from the line."""

    KEY = "4b8f4f4c-6d0b-4e06-9d58-0a0c1c0f6c41"

    def form(self, client, slug, line):
        url = reverse(f"admin:bank_statementline_{slug}", args=[line.pk])
        answer = client.get(url)
        assert answer.status_code == 200
        return url, answer.content.decode()

    @pytest.fixture
    def browser(self, client, treasurer):
        client.force_login(treasurer)
        return client

    def test_the_list_shows_a_button_for_each(self, browser, account, line):
        came, went = line("60.00", "STRANGER ONE"), line("-7.00", "STRANGER TWO")
        page = browser.get(reverse("admin:explain_lines")).content.decode()
        for slug in ("receipt", "supplier", "journal", "transfer"):
            assert reverse(f"admin:bank_statementline_{slug}", args=[came.pk]) in page
        assert f"{reverse('admin:bank_bankrule_add')}?name=stranger+one&amp;contains=stranger+one&amp;way=in" in page
        assert reverse("admin:bank_statementline_receipt", args=[went.pk]) not in page

    def test_more_lines_ask_no_more_of_the_book(self, browser, account, line, home, django_assert_max_num_queries):
        url = reverse("admin:explain_lines")
        for words in ("ACCOUNT FEE", "MIRABAR IDA", "ACME HARDWARE", "REVERSAL 1"):
            line("-8.00", words)
        with CaptureQueriesContext(connection) as few:
            browser.get(url)
        for number in range(20):
            line(f"-{number + 9}.00", f"MONTHLY FEE {number}")
            line(f"{number + 9}.00", f"MIRABAR IDA {number}")
        with django_assert_max_num_queries(len(few)):
            browser.get(url)

    def test_a_receipt_from_the_family_that_is_named(self, browser, account, line, home):
        url, form = self.form(browser, "receipt", line("60.00", "MIRABAR IDA"))
        assert f'<option value="{home.pk}" selected>' in form
        browser.post(url, {"household": home.pk, "key": self.KEY})
        assert (Receipt.objects.get().received_on, owed_by(home)) == (NEXT, as_amount(-60))
        assert not unexplained(account).exists()
        assert sound()

    def test_a_supplier_whose_name_is_in_the_words(self, browser, account, line, supplier):
        url, form = self.form(browser, "supplier", line("-80.00", "VISA ACME HARDWARE 4471"))
        assert f'<option value="{supplier.pk}" selected>' in form
        account_id = Account.objects.get(code=REPAIRS).pk
        sent = {"party": supplier.pk, "account": account_id, "fund": "general", "narration": "Hinges", "key": self.KEY}
        browser.post(url, sent)
        assert balance_of_code(REPAIRS) == 80
        assert not unexplained(account).exists()
        assert sound()

    def test_a_journal_with_both_sides(self, browser, account, line):
        url, form = self.form(browser, "journal", line("-8.00", "MONTHLY FEE"))
        bank, fees_account = account.account_id, account_of(Role.BANK_FEES).pk
        assert form.count('value="8.00"') == 2
        assert f'<option value="{bank}" selected>' in form
        assert f'<option value="{fees_account}" selected>' in form
        sent = {
            "narration": "Fee", "key": self.KEY, "line-TOTAL_FORMS": 2, "line-INITIAL_FORMS": 2,
            "line-0-account": bank, "line-0-fund": "general", "line-0-credit": "8.00",
            "line-1-account": fees_account, "line-1-fund": "general", "line-1-debit": "8.00",
        }  # fmt: skip
        wrong = browser.post(url, {**sent, "line-0-credit": "7.00", "line-1-debit": "7.00"}).content.decode()
        assert "The journal must move 1010 Bank by" in wrong
        assert not Journal.objects.exists()
        browser.post(url, sent)
        assert balance(Role.BANK_FEES, LATER) == 8
        assert sound()

    def test_a_rule_with_the_words_that_such_lines_share(self, browser, line):
        written = line("-8.00", "MONTHLY FEE SEP 4471")
        page = browser.get(reverse("admin:bank_statementline_change", args=[written.pk])).content.decode()
        assert "contains=monthly+fee" in page
        form = browser.get(f"{reverse('admin:bank_bankrule_add')}?contains=monthly+fee&way=out").content.decode()
        assert 'value="monthly fee"' in form

    def test_a_second_press_and_a_line_that_is_matched(self, account, line, home, by):
        came = line("60.00", "MIRABAR IDA")
        first, again = (services.receive_line(line=came, household=home, by=by, key=self.KEY) for _ in range(2))
        assert first == again
        with pytest.raises(Refused, match="matched already"):
            services.receive_line(line=came, household=home, by=by)
        assert Receipt.objects.count() == 1

    def test_money_out_is_no_receipt_and_a_family_no_supplier(self, line, home, by):
        with pytest.raises(Refused, match="Money went out"):
            services.receive_line(line=line("-60.00", "X"), household=home, by=by)
        with pytest.raises(Refused, match="is no supplier"):
            pay(line("-60.00", "Y"), home.party, by)
