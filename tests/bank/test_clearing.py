"""Explaining lines by what the book expects: documents made by their verbs, sums that agree, and undoing."""

import uuid
from datetime import date

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction
from django.urls import reverse

from clubdesk.bank import services
from clubdesk.bank.expected import explain
from clubdesk.bank.models import BankRule, ClearedLine, Clearing, StatementLine
from clubdesk.bank.selectors import unexplained
from clubdesk.errors import Refused
from clubdesk.expenses import services as expenses
from clubdesk.fees import services as fees
from clubdesk.fees.models import Lodgement, Method, Receipt
from clubdesk.fees.selectors import balance as owed_by
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Posting, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import account as account_of
from clubdesk.ledger.selectors import balance, entries_of
from clubdesk.money import as_amount
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Gear, Paid
from clubdesk.roll.selectors import payment_reference
from tests import factories

pytestmark = pytest.mark.django_db
NOW, NEXT = date(2026, 9, 12), date(2026, 9, 14)


def sound():
    return [(result.name, result.faults) for result in check_all() if result.faults] == []


@pytest.fixture
def account(book):
    return factories.direct_entry()


@pytest.fixture
def line(account, by):
    def written(amount, text, on=NEXT):
        return services.record_statement_line(bank_account=account, on=on, amount=as_amount(amount), text=text, by=by)

    return written


@pytest.fixture
def raffle(by):
    """A posting of 5 in the bank."""
    lines = [debit(Role.BANK, as_amount(5)), credit(Role.DONATIONS, as_amount(5))]
    journal = ledger.record_journal(on=NOW, narration="Raffle", lines=lines, by=by)
    return entries_of(journal).get().postings.get(amount=as_amount(5))


@pytest.fixture
def home(book):
    household = factories.HouseholdFactory(name="Mirabar family", guardian="Ida Mirabar")
    factories.PersonFactory(household=household, given_name="Ada", family_name="Mirabar")
    return household


@pytest.fixture
def charge(home, by):
    price = factories.price(code="cap", amount="60.00")
    return fees.charge(household=home, price=price, on=NOW, starts_on=NOW, by=by)


def take(account, by, place=0):
    """Take the best answer to each line."""
    for each in explain(account)[0]:
        services.accept(
            lines=each.lines, answer=each.answers[place].made_of, reasons=each.reasons, how_sure=each.how_sure, by=by
        )


def grades(account):
    return [(each.how_sure, each.answers[0].words) for each in explain(account)[0]]


class TestClearing:
    def test_both_sides_must_come_to_the_same_sum(self, line, raffle, by):
        with pytest.raises(Refused, match=r"The statement says \$6.00 and what matches it \$5.00"):
            services.clear(lines=[line("6.00", "CASH")], postings=[raffle], reasons="x", by=by)
        assert not Clearing.objects.exists()

    def test_the_database_itself_finds_them_uneven(self, line, raffle, account, by):
        other = line("6.00", "CASH")
        clearing = Clearing.objects.create(bank_account=account, how_sure="by_hand", reasons="x", recorded_by=by)
        ClearedLine.objects.create(clearing=clearing, line=other)
        clearing.postings.create(posting=raffle)
        with pytest.raises(IntegrityError, match="must come to the same sum"), transaction.atomic():
            Clearing.objects.filter(pk=clearing.pk).update(complete=True)

    def test_a_line_and_an_entry_are_used_once(self, line, raffle, by):
        first = services.clear(lines=[line("5.00", "CASH")], postings=[raffle], reasons="x", by=by)
        with pytest.raises(Refused, match="matched with another line already"):
            services.clear(lines=[line("5.00", "CASH 2")], postings=[raffle], reasons="x", by=by)
        with pytest.raises(IntegrityError, match="never deleted"), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("DELETE FROM bank_clearedline")
        assert first.complete
        assert sound()

    def test_undone_it_frees_both_and_stays_as_history(self, line, raffle, by, account):
        clearing = services.clear(lines=[line("5.00", "CASH")], postings=[raffle], reasons="x", by=by)
        with pytest.raises(Refused, match="Say why"):
            services.undo_clearing(clearing=clearing, on=NOW, reason=" ", by=by)
        for _ in range(2):
            services.undo_clearing(clearing=clearing, on=NOW, reason="another raffle", by=by)
        assert unexplained(account).count() == 1
        assert [part.posting for part in clearing.postings.all()] == [raffle]
        assert services.clear(lines=[StatementLine.objects.get()], postings=[raffle], reasons="y", by=by).complete
        with pytest.raises(IntegrityError, match="stays its history"), transaction.atomic():
            ClearedLine.objects.filter(clearing=clearing).update(stands=True)
        assert sound()

    def test_a_second_press_makes_no_second_clearing(self, line, raffle, by):
        key, cash = uuid.uuid4(), line("5.00", "CASH")
        first, again = (services.clear(lines=[cash], postings=[raffle], reasons="x", by=by, key=key) for _ in range(2))
        assert first == again


class TestExplaining:
    def test_a_receipt_that_was_recorded_is_found_by_the_familys_name(self, account, line, charge, home, by):
        fees.record_receipt(household=home, amount=as_amount(60), method=Method.TRANSFER, on=NOW, by=by)
        line("60.00", "MIRABAR IDA")
        ((grade, words),) = grades(account)
        assert grade == "certain"
        assert words.startswith("Mirabar family: Bank transfer, receipt 1")
        take(account, by)
        assert Receipt.objects.count() == 1
        assert sound()

    def test_a_fee_with_its_payment_reference_becomes_a_receipt_of_the_statements_day(
        self, account, line, charge, home, by
    ):
        line("60.00", f"TFR {payment_reference(home)}")
        ((grade, words),) = grades(account)
        assert grade == "certain"
        assert words.startswith("Mirabar family pays")
        take(account, by)
        receipt = Receipt.objects.get()
        assert (receipt.received_on, receipt.amount, receipt.method) == (NEXT, as_amount(60), Method.TRANSFER)
        assert owed_by(home) == as_amount(0)
        assert not unexplained(account).exists()
        assert sound()

    def test_a_part_of_what_is_owed_is_likely_and_pays_on_account(self, account, line, charge, home, by):
        line("40.00", f"TFR {payment_reference(home)}")
        assert [grade for grade, _ in grades(account)] == ["likely"]
        take(account, by)
        assert owed_by(home) == as_amount(20)
        assert sound()

    def test_a_wrong_check_digit_is_no_reference(self, account, line, charge, home):
        reference = payment_reference(home)
        wrong = f"{reference[:-1]}{(int(reference[-1]) + 1) % 10}"
        line("60.00", f"TFR {wrong}")
        assert [grade for grade, _ in grades(account)] == ["possible"]

    def test_the_departments_sum_pays_its_lodgement(self, account, line, by):
        scheme = factories.scheme()
        child = factories.PersonFactory()
        charge = fees.charge(
            household=child.household, person=child, price=factories.price(code="m", amount="126.00"), on=NOW,
            starts_on=NOW, by=by,
        )  # fmt: skip
        fees.accept_voucher(scheme=scheme, charge=charge, code="SV1", on=NOW, by=by)
        fees.lodge_vouchers(scheme=scheme, on=NOW, by=by)
        line("100.00", "GOVT SPORT VOUCHERS", on=date(2026, 10, 20))
        ((grade, words),) = grades(account)
        assert (grade, words.startswith("the department pays Voucher claim")) == ("likely", True)
        take(account, by)
        assert Lodgement.objects.get().paid_on == date(2026, 10, 20)
        assert sound()

    def test_a_released_run_in_one_debit_is_recorded_as_paid(self, account, line, by, treasurer, coordinator, approver):
        spent = [factories.expense(by, amount=amount) for amount in ("20.50", "30.25")]
        for each in spent:
            expenses.approve_expense(expense=each, on=NOW, by=approver)
            factories.bank_details(each.household, by)
        run = services.make_run(bank_account=account, method="file", pay_on=NOW, on=NOW, by=treasurer, expenses=spent)
        services.release_run(run=run, on=NOW, by=coordinator)
        services.make_file(run=run, by=treasurer)
        line("-50.75", "DIRECT ENTRY RUN 1")
        ((grade, _),) = grades(account)
        assert grade == "certain"
        take(account, by)
        assert {item.state for item in run.items.all()} == {"paid"}
        assert {item.paid_on for item in run.items.all()} == {NEXT}
        assert sound()

    def test_card_takings_come_less_a_fee(self, account, line, by):
        factories.hire()
        rangeday.sign_on(range_day=factories.range_day(), visitor_name="Aunt", gear=Gear.HIRE, paid=Paid.CARD, by=by)
        line("14.76", "CARD SETTLEMENT")
        (found,) = explain(account)[0]
        assert found.reasons == "all card takings that wait, $15.00, less a fee of $0.24"
        take(account, by)
        assert balance(Role.CARD_TAKINGS, NEXT) == 0
        assert balance(Role.BANK_FEES, NEXT) == as_amount("0.24").amount
        assert sound()

    def test_takings_banked_together_are_found_as_a_sum(self, account, line, by):
        factories.hire()
        day = factories.range_day()
        for name in ("Ann", "Bob", "Cai"):
            rangeday.sign_on(range_day=day, visitor_name=name, gear=Gear.HIRE, paid=Paid.CASH, by=by)
        for amount in ("12.00", "20.00"):
            rangeday.bank_takings(amount=as_amount(amount), on=NOW, by=by)
        line("32.00", "CASH DEPOSIT")
        ((grade, words),) = grades(account)
        assert (grade, words.count("entry")) == ("likely", 2)
        take(account, by)
        assert sound()

    def test_two_entries_as_good_as_each_other_are_both_shown(self, account, line, by):
        for name in ("Raffle", "Sausages"):
            lines = [debit(Role.BANK, as_amount(5)), credit(Role.DONATIONS, as_amount(5))]
            ledger.record_journal(on=NOW, narration=name, lines=lines, by=by)
        line("5.00", "CASH")
        (found,) = explain(account)[0]
        assert found.how_sure == "possible"
        assert {answer.words.split()[0] for answer in found.answers} == {"Raffle", "Sausages"}

    def test_what_was_reversed_explains_nothing(self, account, line, raffle, by):
        ledger.reverse(entry=raffle.entry, on=NOW, reason="typo", by=by)
        line("5.00", "CASH")
        line("-5.00", "CASH")
        assert explain(account)[0] == []

    def test_a_fee_that_is_gone_by_now_explains_nothing(self, line, by):
        with pytest.raises(Refused, match="That fee is not there any more"):
            services.accept(lines=[line("7.00", "FEE")], answer=["charge 1"], reasons="x", how_sure="likely", by=by)

    def test_an_answer_that_no_longer_holds_saves_nothing(self, account, line, charge, home, by):
        line("-7.00", "FEE")
        with pytest.raises(Refused, match="must be more than 0.00"):
            services.accept(
                lines=[StatementLine.objects.get()],
                answer=[f"charge {charge.pk}"],
                reasons="x",
                how_sure="likely",
                by=by,
            )
        assert not Receipt.objects.exists()
        assert sound()


class TestRules:
    @pytest.fixture
    def rule(self, book):
        return BankRule.objects.create(
            name="Account fee", contains="monthly fee", way="out", most=as_amount(20), fund_id="general",
            account=account_of(Role.BANK_FEES),
        )  # fmt: skip

    def test_a_rule_writes_a_journal_and_clears(self, account, line, rule, by):
        line("-10.00", "MONTHLY FEE SEP")
        ((grade, words),) = grades(account)
        assert (grade, words) == ("certain", "Account fee: 5060 Bank and card fees, General fund")
        take(account, by)
        assert balance(Role.BANK_FEES, NEXT) == 10
        assert Posting.objects.filter(entry__narration="Account fee").count() == 2
        assert sound()

    @pytest.mark.parametrize(
        ("amount", "text"), [("10.00", "MONTHLY FEE"), ("-20.01", "MONTHLY FEE"), ("-5.00", "FEE")]
    )
    def test_it_speaks_only_of_its_words_way_and_amounts(self, account, line, rule, amount, text):
        line(amount, text)
        assert explain(account)[0] == []

    def test_where_two_rules_speak_neither_is_chosen(self, account, line, rule):
        BankRule.objects.create(
            name="Other", contains="fee", way="out", account=account_of(Role.BANK_FEES), fund_id="general"
        )
        line("-10.00", "MONTHLY FEE")
        (found,) = explain(account)[0]
        assert (found.how_sure, len(found.answers)) == ("possible", 2)

    @pytest.mark.parametrize(
        ("least", "most", "in_order"),
        [(None, None, True), (10, None, True), (None, 10, True), (10, 10, True), (10, 11, True), (11, 10, False)],
    )
    def test_its_amounts_are_in_order(self, rule, least, most, in_order):
        rule.least, rule.most = (each and as_amount(each) for each in (least, most))
        if in_order:
            rule.clean()
        else:
            with pytest.raises(ValidationError, match="At most is less than at least"):
                rule.clean()

    @pytest.mark.parametrize("amount", ["-9.99", "-10.00", "-20.00", "-20.01"])
    def test_it_speaks_from_at_least_to_at_most(self, account, line, rule, amount):
        BankRule.objects.update(least=as_amount(10))
        line(amount, "MONTHLY FEE")
        assert len(explain(account)[0]) == (amount in ("-10.00", "-20.00"))

    def test_it_shows_which_lines_it_would_have_caught(self, client, line, rule, treasurer):
        line("-10.00", "MONTHLY FEE AUG")
        client.force_login(treasurer)
        page = client.get(reverse("admin:bank_bankrule_change", args=[rule.pk])).content.decode()
        assert "MONTHLY FEE AUG" in page


class TestThePage:
    def test_the_certain_are_chosen_and_taken_together(self, client, account, line, charge, home, treasurer):
        line("60.00", f"TFR {payment_reference(home)}")
        line("5.00", "CASH")
        client.force_login(treasurer)
        url = reverse("admin:explain_lines")
        page = client.get(url).content.decode()
        assert "Its reference says so; the amount is the same." in page
        (found,) = explain(account)[0]
        answer = client.post(url, {f"lines-{found.name}": found.answers[0].name}, follow=True).content.decode()
        assert "1 answer taken." in answer
        assert unexplained(account).count() == 1
        again = client.post(url, {f"lines-{found.name}": found.answers[0].name}, follow=True).content.decode()
        assert "Something changed since you looked" in again
        assert Receipt.objects.count() == 1

    @pytest.mark.parametrize("form", [{}, {"lines-x": "posting 1"}, {"lines-1": "rule 99999999999999999999"}])
    def test_odd_input_changes_nothing(self, client, account, line, treasurer, form):
        line("5.00", "CASH")
        client.force_login(treasurer)
        assert client.post(reverse("admin:explain_lines"), form, follow=True).status_code == 200
        assert not Clearing.objects.exists()

    def test_the_auditor_reads_and_takes_nothing(self, client, account, line, charge, home, auditor):
        line("60.00", f"TFR {payment_reference(home)}")
        client.force_login(auditor)
        url = reverse("admin:explain_lines")
        assert "Take what is chosen" not in client.get(url).content.decode()
        assert client.post(url, {"lines-1": "x"}).status_code == 403


def test_a_banking_is_looked_for_from_its_own_day_on(account, line, by, monkeypatch):
    """The room that takes cash to the bank says how the bank shows it; the bank's own reading gives way."""
    from clubdesk import rooms
    from clubdesk.bank.expected import expected
    from clubdesk.bank.matching import BankLine
    from clubdesk.rangeday.expecting import banked
    from clubdesk.rooms import Room, Tab

    day = factories.range_day()
    factories.hire()
    rangeday.sign_on(range_day=day, visitor_name="Aunt", gear=Gear.HIRE, paid=Paid.CASH, by=by)
    rangeday.bank_takings(amount=as_amount(15), on=NOW, by=by)
    looked_at = [BankLine(1, NEXT, 1500, "CASH DEPOSIT")]
    monkeypatch.setattr(rooms, "ROOMS", {"rangeday": Room("rangeday", "", Tab.RANGE, expects=(banked,))})
    assert [each.early for each in expected(account, looked_at)] == [0]
    monkeypatch.setattr(rooms, "ROOMS", {})
    assert [each.early for each in expected(account, looked_at)] == [5]
