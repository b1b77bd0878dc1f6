"""Who was given what: each file, each sight of bank details in full, each opening of a family's whole file."""

import sqlite3
from datetime import date
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import call_command
from django.db import OperationalError
from django.urls import reverse

from clubdesk import handing
from clubdesk.bank import services as bank
from clubdesk.desk.models import ActRecord
from clubdesk.fees.models import Lodgement, Receipt
from clubdesk.ledger.models import FinancialYear, Party, PartyKind
from clubdesk.roll.models import Household
from tests import factories, families

pytestmark = pytest.mark.django_db
NOW = date(2026, 9, 12)


def given():
    """What was handed out, the first first: by whom, what, how many rows, and whose."""
    rows = ActRecord.objects.filter(action=ActRecord.Action.ACCESS).order_by("pk").select_related("actor")
    return [(each.actor and each.actor.username, each.what, each.rows, each.family_id) for each in rows]


def opened(client, page, *args, **query):
    answer = client.get(reverse(f"admin:{page}", args=args), query)
    assert answer.status_code == 200
    return b"".join(answer.streaming_content) if answer.streaming else answer.content


@pytest.fixture
def as_treasurer(client, treasurer):
    client.force_login(treasurer)
    return client


@pytest.fixture
def paid(season, treasurer):
    """A family with bank details."""
    family = factories.HouseholdFactory(name="the Mirabar family")
    bank.set_bank_details(
        household=family, title="Jo", bsb="123-456", account_number="98765432", on=NOW, reason="rang", by=treasurer
    )
    return family


class TestFiles:
    def test_of_one_family(self, season, as_treasurer, treasurer):
        receipt = Receipt.objects.first()
        family = receipt.household_id
        opened(as_treasurer, "household_file", family)
        opened(as_treasurer, "household_statement", family)
        opened(as_treasurer, "receipt_pdf", receipt.pk)
        who = treasurer.username
        assert given() == [
            (who, "opened the whole file", None, family),
            (who, "printed the statement", None, family),
            (who, f"printed receipt {receipt.number}", None, family),
        ]

    def test_of_many_say_how_many_rows(self, season, as_treasurer):
        opened(as_treasurer, "statements_to_print")
        opened(as_treasurer, "workbook", 2027)
        opened(as_treasurer, "audit_pack", 2027)
        opened(as_treasurer, "affiliation", **{"as": "csv", "through": "2026-09-12"} | _association())
        found = {what: rows for _, what, rows, _ in given()}
        assert len(found) == 4
        assert found["printed the statements of all who owe"] > 0
        year = FinancialYear.objects.get()
        assert found[f"exported the treasurer’s workbook of {year}"] == year.entries.count()
        assert found[f"exported the audit pack of {year}"] == year.entries.count()
        assert found["exported an affiliation list (CSV)"] is not None

    def test_a_voucher_claim_with_its_whole_codes(self, season, as_treasurer, treasurer, keeper, client):
        client.force_login(keeper)
        lodgement = Lodgement.objects.first()
        opened(client, "lodgement_list", lodgement.pk)
        assert given() == [
            (keeper.username, "exported a voucher claim with whole codes (CSV)", lodgement.vouchers.count(), None)
        ]

    def test_papers_of_the_club(self, season, as_treasurer):
        opened(as_treasurer, "statements", 2027, pdf=1)
        opened(as_treasurer, "committee", month="2026-08", pdf=1)
        assert [what for _, what, _, _ in given()] == [
            "printed the statements of the club",
            "printed the committee’s page",
        ]

    def test_a_backup_by_command(self, season, by, tmp_path, capsys):
        call_command("backup", str(tmp_path / "book.backup"))
        assert given() == [(by.username, "wrote a backup of the whole book", None, None)]

    def test_what_a_family_opens_by_its_own_link_is_nobodys_export(self, season, client):
        family = Household.objects.filter(people__memberships__isnull=False).first()
        families.page_of(client, family)
        assert client.get(reverse("account:statement")).status_code == 200
        assert given() == []

    def test_what_was_refused_was_not_given(self, season, client, range_helper):
        client.force_login(range_helper)
        assert client.get(reverse("admin:statements_to_print")).status_code == 403
        assert given() == []

    def test_each_file_of_a_page_is_made_in_the_one_place_that_notes_it(self):
        base = Path(settings.BASE_DIR) / "clubdesk"
        made = {path.relative_to(base).as_posix() for path in base.rglob("*.py") if _makes_a_file(path.read_text())}
        assert made == {"handing.py", "evidence.py"}


def _makes_a_file(text):
    return "Content-Disposition" in text


def _association():
    return {"association": Party.objects.filter(kind=PartyKind.ASSOCIATION).first().pk}


class TestBankDetails:
    def test_seen_in_full_on_the_familys_page(self, paid, as_treasurer, treasurer):
        as_treasurer.get(reverse("admin:roll_household_change", args=[paid.pk]))
        assert given() == [(treasurer.username, "saw in full the bank details", None, paid.pk)]

    def test_seen_in_full_before_they_are_changed(self, paid, as_treasurer, treasurer):
        assert "98765432" in opened(as_treasurer, "roll_household_bank-details", paid.pk).decode()
        assert given() == [(treasurer.username, "saw in full the bank details", None, paid.pk)]

    def test_seen_masked_is_nothing_to_note(self, paid, client, auditor):
        client.force_login(auditor)
        text = opened(client, "roll_household_change", paid.pk).decode()
        assert "account ending in 432" in text
        assert given() == []

    def test_the_history_of_the_family_tells_of_it(self, paid, as_treasurer):
        as_treasurer.get(reverse("admin:roll_household_change", args=[paid.pk]))
        text = opened(as_treasurer, "history", "roll.household", paid.pk).decode()
        assert "saw in full the bank details of the Mirabar family" in text
        assert "98765432" not in text


class TestWhereNothingCanBeWritten:
    def test_the_file_is_given_and_the_log_says_so(self, season, as_treasurer, monkeypatch, caplog):
        def full(**given):
            error = sqlite3.OperationalError("database or disk is full")
            error.sqlite_errorcode = sqlite3.SQLITE_FULL
            raise OperationalError("full") from error

        monkeypatch.setattr(handing.handed_out, "send", full)
        assert opened(as_treasurer, "statements_to_print").startswith(b"%PDF")
        assert "printed the statements of all who owe, which could not be written down" in caplog.text

    def test_a_fault_is_not_passed_over(self, season, as_treasurer, monkeypatch):
        def broken(**given):
            raise RuntimeError("broken")

        monkeypatch.setattr(handing.handed_out, "send", broken)
        with pytest.raises(RuntimeError, match="broken"):
            as_treasurer.get(reverse("admin:statements_to_print"))
