"""What the treasurer writes by hand: balanced, with its document, copied, and undone on its day."""

import io
from datetime import date
from decimal import Decimal

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, connection, transaction
from django.urls import reverse
from PIL import Image

from clubdesk import clock
from clubdesk.desk.services import nightly
from clubdesk.errors import Refused
from clubdesk.ledger import services
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Account, Journal, JournalEntry, JournalOrigin, Party, PartyKind, Posting, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import balance
from clubdesk.money import as_amount

pytestmark = pytest.mark.django_db
KEY = "5b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a11"


def photo():
    file = io.BytesIO()
    Image.new("RGB", (40, 30), "white").save(file, "PNG")
    return SimpleUploadedFile("bill.png", file.getvalue(), "image/png")


def form(*lines, **more):
    """The journal's form; a line is account code, debit, credit and, where it needs one, who."""
    codes = {account.code: account.pk for account in Account.objects.all()}
    data = {"key": KEY, "on": "2026-09-12", "narration": "Bill", "line-TOTAL_FORMS": len(lines) + 1,
            "line-INITIAL_FORMS": 0, **more}  # fmt: skip
    for number, (code, out, came, *who) in enumerate(lines):
        data |= {f"line-{number}-account": codes[code], f"line-{number}-fund": "general",
                 f"line-{number}-debit": out, f"line-{number}-credit": came,
                 f"line-{number}-party": who[0] if who else ""}  # fmt: skip
    return data


def sound():
    return [result for result in check_all() if result.faults] == []


@pytest.fixture
def page(client, treasurer):
    client.force_login(treasurer)
    return reverse("admin:ledger_journal_add")


class TestWriting:
    def test_of_many_lines_with_its_document(self, client, page):
        lines = [("5070", "60.00", ""), ("5050", "15.50", ""), ("1010", "", "75.50")]
        client.post(page, {**form(*lines), "evidence": photo()})
        journal = Journal.objects.get()
        assert [row.amount.amount for row in JournalEntry.objects.get().postings.order_by("pk")] == [60, 15.5, -75.5]
        assert journal.receipt_type == "image/jpeg"
        assert client.get(reverse("admin:ledger_journal_document", args=[journal.pk])).status_code == 200
        assert sound()
        with journal.receipt.open("ab") as file:
            file.write(b"x")
        assert not sound()

    @pytest.mark.parametrize(
        ("lines", "sentence"),
        [
            ([("5070", "60.00", ""), ("1010", "", "59.99")], "out of balance by $0.01"),
            ([("5070", "60.00", "60.00"), ("1010", "", "60.00")], "Fill one of both; the other has a line of its own"),
            ([("5070", "60.00", "")], "at least two lines"),
            ([("1110", "60.00", ""), ("1010", "", "60.00")], "Say who owes"),
            ([("5070", "6e1", ""), ("1010", "", "x")], "That is not an amount"),
        ],
    )
    def test_what_is_wrong_is_said_and_nothing_typed_is_lost(self, client, page, lines, sentence):
        response = client.post(page, form(*lines))
        assert response.status_code == 422
        text = response.content.decode()
        assert sentence in text
        assert lines[0][1] in text
        assert not Journal.objects.exists()

    def test_an_account_without_its_amount_is_asked_about(self, client, page):
        lines = [("5070", "60.00", ""), ("1010", "", "60.00"), ("5050", "", "")]
        refused = client.post(page, {**form(*lines), "evidence": photo()})
        assert refused.status_code == 422
        assert "Write the amount on one side" in refused.content.decode()
        assert "is kept" in refused.content.decode()
        assert not Journal.objects.exists()

    def test_what_has_not_come_yet_is_not_written(self, client, page):
        refused = client.post(page, form(("5070", "60.00", ""), ("1010", "", "60.00"), on="2062-09-12"))
        assert "That day has not come yet" in refused.content.decode()
        lines = form(("5070", "60.00", ""), ("1010", "", "60.00"), reverse_on="2062-07-01")
        assert "within thirteen months" in client.post(page, lines).content.decode()
        assert not Journal.objects.exists()

    def test_its_page_shows_what_it_moved_and_the_list_how_much(self, client, page):
        client.post(page, form(("5070", "60.00", ""), ("5050", "15.50", ""), ("1010", "", "75.50")))
        journal = Journal.objects.get()
        shown = client.get(reverse("admin:ledger_journal_change", args=[journal.pk])).content.decode()
        assert [text in shown for text in ("5070 Insurance", "15.50", "75.50", "stands")] == [True] * 4
        assert "75.50" in client.get(reverse("admin:ledger_journal_changelist")).content.decode()

    def test_it_is_not_undone_before_its_own_day(self, client, page):
        client.post(page, form(("5070", "60.00", ""), ("1010", "", "60.00")))
        url = reverse("admin:ledger_journal_reverse", args=[Journal.objects.get().pk])
        for on, status in (("2026-09-11", 422), ("2026-09-12", 302)):
            answer = client.post(url, {"key": KEY, "on": on, "reason": "typed twice"})
            assert answer.status_code == status
        assert JournalEntry.objects.count() == 2
        for entry in JournalEntry.objects.all():
            shown = client.get(reverse("admin:ledger_journalentry_change", args=[entry.pk])).content.decode()
            assert "typed twice" in shown
        assert "on 12 Sep 2026" in client.get(reverse("admin:ledger_journal_changelist")).content.decode()

    def test_only_what_was_written_by_hand_is_offered_to_be_written_again(self, client, page, by):
        lines = [debit(Role.DEPRECIATION, as_amount(5)), credit(Role.DEPRECIATED, as_amount(5))]
        for origin, offered in ((JournalOrigin.HAND, True), (JournalOrigin.DEPRECIATION, False)):
            journal = services.record_journal(on=date(2026, 9, 1), narration="X", lines=lines, by=by, origin=origin)
            shown = client.get(reverse("admin:ledger_journal_change", args=[journal.pk])).content.decode()
            assert ("Write one like it" in shown) is offered

    def test_accounts_kept_family_by_family_are_not_offered(self, client, page):
        text = client.get(page).content.decode()
        assert "1010 Bank" in text
        assert "1100 Fees owed" not in text
        assert "2200 Refunds payable" not in text

    def test_a_copy_of_an_earlier_one_begins_with_its_lines(self, client, page):
        client.post(page, form(("5070", "60.00", ""), ("1010", "", "60.00")))
        text = client.get(f"{page}?copy={Journal.objects.get().pk}").content.decode()
        assert text.count('value="60.00"') == 2
        assert client.get(f"{page}?copy=x").status_code == 200

    def test_one_for_a_department_keeps_the_books_sound(self, client, page):
        department = Party.objects.create(name="State sport department", kind=PartyKind.DEPARTMENT)
        client.post(page, form(("1110", "300.00", "", department.pk), ("4080", "", "300.00")))
        assert balance(Role.VOUCHERS_OWED, date(2026, 9, 12)) == 300
        assert sound()


def test_whoever_may_not_is_told_so_by_the_verb_and_may_as_a_part_of_another(auditor, treasurer, by):
    lines = [debit(Role.BANK, as_amount(5)), credit(Role.DONATIONS, as_amount(5))]
    with pytest.raises(Refused, match="Write a journal: your sign-in may not do that"):
        services.record_journal(on=date(2026, 9, 1), narration="Raffle", lines=lines, by=auditor)
    journal = services.record_journal(
        on=date(2026, 9, 1), narration="Raffle", lines=lines, by=treasurer, reverse_on=date(2026, 9, 2)
    )
    journal.refresh_from_db()
    assert journal.why_undone == "as dated when it was written"
    with pytest.raises(Refused, match="your sign-in may not do that"):
        services.reverse_as_dated(journal=journal, by=treasurer)


class TestReversedOnItsDay:
    LINES = [debit(Role.BANK_FEES, as_amount(30)), credit(Role.OTHER_PAYABLES, as_amount(30))]

    def write(self, by, on, reverse_on):
        return services.record_journal(on=on, narration="Fee due", lines=self.LINES, by=by, reverse_on=reverse_on)

    def test_at_once_where_the_day_has_come(self, by):
        journal = self.write(by, date(2026, 8, 31), date(2026, 9, 1))
        entry, undone = JournalEntry.objects.order_by("number")
        assert (undone.reverses, undone.date) == (entry, date(2026, 9, 1))
        services.reverse_as_dated(journal=journal, by=by)
        assert JournalEntry.objects.count() == 2
        assert balance(Role.OTHER_PAYABLES, date(2026, 8, 31)) == -30
        assert balance(Role.OTHER_PAYABLES, date(2026, 9, 1)) == 0

    def test_by_the_night_otherwise_and_only_once(self, by):
        self.write(by, date(2026, 9, 1), date(2026, 10, 1))
        for day, entries in ((date(2026, 9, 30), 1), (date(2026, 10, 1), 2), (date(2026, 10, 2), 2)):
            with clock.on(day):
                nightly(on=day, by=by)
            assert JournalEntry.objects.count() == entries
        assert sound()

    def test_a_day_that_no_year_covers_is_named_and_holds_nothing_back(self, by):
        self.write(by, date(2027, 6, 30), date(2027, 7, 1))
        with clock.on(date(2027, 7, 2)):
            said = services.reverse_due(on=date(2027, 7, 2), by=by)
        assert "No financial year covers 1 Jul 2027" in said[0]

    def test_a_day_before_it_is_refused_by_the_verb_and_by_the_database(self, by):
        with pytest.raises(Refused, match="from 2 Sep 2026 to 3 Oct 2027"):
            self.write(by, date(2026, 9, 1), date(2026, 9, 1))
        with pytest.raises(IntegrityError, match="reversed_later"), transaction.atomic():
            Journal.objects.create(date=date(2026, 9, 1), reverse_on=date(2026, 9, 1), narration="x", recorded_by=by)

    def test_its_day_and_document_stay(self, by):
        self.write(by, date(2026, 9, 1), date(2026, 10, 1))
        for change in ("reverse_on = NULL", "receipt_digest = 'x'"):
            with (
                pytest.raises(IntegrityError, match="journal keeps what the ledger says"),
                transaction.atomic(),
                connection.cursor() as cursor,
            ):
                cursor.execute(f"UPDATE ledger_journal SET {change}")


def test_each_opening_balance_is_brought_in_once(client, page):
    url = reverse("admin:ledger_journal_opening")
    for number, status in ((1, 302), (2, 422)):
        lines = form(("1010", "5,000.00", ""), key=KEY[:-1] + str(number))
        assert client.post(url, lines).status_code == status
    assert balance(Role.BANK, date(2026, 9, 12)) == 5000


def test_an_opening_says_where_the_balances_come_from(by):
    lines = [debit(Role.BANK, as_amount(9)), credit(Role.ACCUMULATED, as_amount(9))]
    with pytest.raises(Refused, match="where the balances come from"):
        services.record_opening(narration=" ", lines=lines, by=by)
    assert not Journal.objects.exists()


def test_a_copy_of_an_impossible_number_begins_with_nothing(client, page):
    for asked in ("9" * 30, "9" * 5000, "x"):
        assert client.get(f"{page}?copy={asked}").status_code == 200


def test_the_opening_is_typed_account_by_account_and_what_is_left_is_the_clubs_own(client, page):
    url = reverse("admin:ledger_journal_opening")
    text = client.get(url).content.decode()
    assert "selected>1010 Bank" in text
    assert ">3010" not in text, "what the club calls its own is worked out"
    assert ">4010" not in text, "income is counted from the first day of a year"
    lines = [("1010", "5000.00", ""), ("1500", "2400.00", ""), ("1510", "", "600.00"), ("2010", "", "400.00"),
             ("1020", "", "")]  # fmt: skip
    own_fund = {
        "line-5-account": Account.objects.get(role=Role.BANK).pk,
        "line-5-fund": "entry",
        "line-5-debit": "612.40",
    }
    client.post(url, form(*lines, narration="The books kept before") | own_fund)
    opening = Journal.objects.get()
    assert (opening.origin, opening.date) == (JournalOrigin.OPENING, date(2026, 6, 30))
    left = Posting.objects.filter(account__role=Role.ACCUMULATED)
    assert {row.fund_id: row.amount.amount for row in left} == {"general": -6400, "entry": Decimal("-612.40")}
    assert balance(Role.BANK, date(2026, 6, 30)) == Decimal("5612.40")
    assert sound()


def test_an_opening_of_nothing_asks_what_the_club_had(client, page):
    answer = client.post(reverse("admin:ledger_journal_opening"), form(("1010", "", "")))
    assert answer.status_code == 422
    assert "Write what the club had, in at least one account." in answer.content.decode()
