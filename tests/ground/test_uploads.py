"""A file that was chosen stays chosen when something else of its form is refused."""

import hashlib
import os
import re
import time
import uuid
from datetime import date
from html import unescape

import pytest
from django import forms
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from clubdesk import uploads
from clubdesk.bank.models import BankAccount
from clubdesk.desk import services
from clubdesk.desk.house.pages import screens
from clubdesk.entryfund.models import EntryClaim
from clubdesk.expenses.models import Expense
from clubdesk.ledger.models import Account, FundRole
from clubdesk.screens.verbs import VerbPage
from tests import factories, families

pytestmark = pytest.mark.django_db


def photo(name="receipt.png"):
    return SimpleUploadedFile(name, factories.photo(), "image/png")


def kept_in(answer):
    """The token of the page, by the name of its field; none where it keeps no file."""
    found = re.findall(r'name="(kept-[\w-]+)" value="([^"]+)"', answer.content.decode())
    return {name: unescape(token) for name, token in found}


def files():
    return [each for folder in uploads.root().glob("*") for each in folder.iterdir()]


@pytest.fixture
def child(book):
    return factories.PersonFactory()


@pytest.fixture
def claim_of(client, child):
    """What a family types for a refund request, and the page that it sends it from."""
    form = {"key": str(uuid.uuid4()), "person": child.pk, "event": factories.event().pk, "entry_shown": "on"}
    return families.claims_of(client, child.household), form


class TestTheFamilysPage:
    def test_the_receipt_is_kept_while_the_amount_is_put_right(self, client, claim_of):
        url, form = claim_of
        answer = client.post(url, {**form, "receipt_amount": "85,5", "receipt": photo()})
        assert answer.status_code == 422
        assert "receipt.png is kept; choose another to replace it." in answer.content.decode()
        assert not EntryClaim.objects.exists()
        done = client.post(url, {**form, "receipt_amount": "85.50", **kept_in(answer)})
        assert done.status_code == 302
        claim = EntryClaim.objects.get()
        assert claim.receipt.read().startswith(b"\xff\xd8")
        assert claim.upload_digest == hashlib.sha256(factories.photo()).hexdigest()

    def test_it_is_kept_as_often_as_something_is_refused_and_once_on_the_disk(self, client, claim_of):
        url, form = claim_of
        answer = client.post(url, {**form, "receipt_amount": "", "receipt": photo()})
        again = client.post(url, {**form, "receipt_amount": "x", **kept_in(answer)})
        assert kept_in(again) == kept_in(answer)
        assert len(files()) == 1

    def test_another_file_replaces_it(self, client, claim_of):
        url, form = claim_of
        answer = client.post(url, {**form, "receipt_amount": "", "receipt": photo()})
        again = client.post(url, {**form, "receipt_amount": "", "receipt": photo("new.png"), **kept_in(answer)})
        assert "new.png is kept" in again.content.decode()

    def test_what_its_own_field_refuses_is_not_kept(self, client, claim_of):
        url, form = claim_of
        bad = SimpleUploadedFile("receipt.pdf", b"<html>")
        answer = client.post(url, {**form, "receipt_amount": "", "receipt": bad})
        assert "neither a PDF nor a photo" in answer.content.decode()
        assert (kept_in(answer), files()) == ({}, [])

    def test_nobody_else_has_it_by_the_same_token(self, client, claim_of):
        url, form = claim_of
        token = kept_in(client.post(url, {**form, "receipt_amount": "", "receipt": photo()}))
        other = factories.PersonFactory()
        answer = client.post(
            families.claims_of(client, other.household), {**form, "person": other.pk, "receipt_amount": "60", **token}
        )
        assert answer.status_code == 422
        assert not EntryClaim.objects.exists()
        assert "choose it again" in answer.content.decode()

    @pytest.mark.parametrize("token", ["", "x", "W10:1:x", "../../../etc/passwd"])
    def test_a_token_that_is_none_finds_nothing(self, client, claim_of, token):
        url, form = claim_of
        answer = client.post(url, {**form, "receipt_amount": "60", "kept-receipt": token})
        assert answer.status_code == 422
        assert not EntryClaim.objects.exists()


class TestBehindTheSignIn:
    @pytest.fixture
    def form(self, client, treasurer):
        client.force_login(treasurer)
        return {
            "key": str(uuid.uuid4()), "household": factories.HouseholdFactory().pk, "spent_on": "2026-09-10",
            "what": "Targets", "account": Account.objects.get(code="5040").pk, "fund": FundRole.GENERAL.value,
        }  # fmt: skip

    def test_a_receipt_is_kept_while_its_amount_is_put_right(self, client, form):
        url = reverse("admin:expenses_expense_add")
        answer = client.post(url, {**form, "amount": "1.085", "evidence": photo("targets.png")})
        assert "targets.png is kept" in answer.content.decode()
        assert "Write whole cents" in answer.content.decode()
        assert client.post(url, {**form, "amount": "$1,085", **kept_in(answer)}).status_code == 302
        assert str(Expense.objects.get().amount.amount) == "1085.00"

    def test_another_session_of_the_same_person_does_not_have_it(self, client, form, treasurer):
        url = reverse("admin:expenses_expense_add")
        token = kept_in(client.post(url, {**form, "amount": "", "evidence": photo()}))
        elsewhere = Client()
        elsewhere.force_login(treasurer)
        assert elsewhere.post(url, {**form, "amount": "85", **token}).status_code == 422
        assert not Expense.objects.exists()

    def test_a_statement_is_kept_while_its_account_is_chosen(self, client, form):
        for number, name in ((1016, "Everyday"), (1017, "Savings")):
            account = Account.objects.create(code=str(number), name=name, kind="asset", is_money=True)
            BankAccount.objects.create(name=name, account=account)
        url = reverse("admin:import_statement")
        content = b"Date,Amount,Description,Balance\n12/09/2026,85.00,MIRABAR,185.00\n"
        answer = client.post(url, {"file": SimpleUploadedFile("september.csv", content)})
        assert "september.csv is kept" in answer.content.decode()
        shown = client.post(url, {"bank_account": BankAccount.objects.first().pk, **kept_in(answer)})
        assert "september.csv, for" in shown.content.decode()


class TestTheFolder:
    def test_after_an_hour_it_is_let_go_and_the_page_says_so(self, client, claim_of):
        url, form = claim_of
        token = kept_in(client.post(url, {**form, "receipt_amount": "", "receipt": photo()}))
        old = time.time() - 3700
        os.utime(files()[0], (old, old))
        uploads.forget()
        assert list(uploads.root().iterdir()) == []
        answer = client.post(url, {**form, "receipt_amount": "60", **token})
        assert "The file was kept for an hour, which is over; choose it again." in answer.content.decode()

    def test_one_family_keeps_six_at_most(self, client, claim_of):
        url, form = claim_of
        for number in range(9):
            client.post(url, {**form, "receipt_amount": "", "receipt": photo(f"{number}.png")})
        assert len(files()) == uploads.MOST_OF_ONE

    def test_only_the_club_s_own_user_can_read_them(self, client, claim_of):
        url, form = claim_of
        client.post(url, {**form, "receipt_amount": "", "receipt": photo()})
        assert [oct(each.stat().st_mode & 0o777) for each in (files()[0].parent, files()[0])] == ["0o700", "0o600"]

    def test_a_full_disk_only_asks_for_it_again(self, client, claim_of, monkeypatch):
        def full(*_, **__):
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(uploads.os, "open", full)
        url, form = claim_of
        answer = client.post(url, {**form, "receipt_amount": "", "receipt": photo()})
        assert (answer.status_code, kept_in(answer)) == (422, {})

    def test_a_name_that_would_write_into_the_page_is_only_told(self, client, claim_of):
        url, form = claim_of
        answer = client.post(url, {**form, "receipt_amount": "", "receipt": photo("<b>x.png")})
        assert "&lt;b&gt;x.png is kept" in answer.content.decode()


def test_every_form_behind_the_sign_in_asks_for_files_by_the_field_that_keeps_them():
    found = [
        (screen.named_as, page.slug, name, type(field.widget))
        for screen in screens()
        for page in (*screen.all_pages, *screen.all_list_pages)
        if isinstance(page, VerbPage)
        for name, field in page.form_class.base_fields.items()
        if isinstance(field, forms.FileField)
    ]
    assert len(found) >= 5
    assert [each for each in found if each[3] is not uploads.FileInput] == []


def test_the_night_lets_go_of_what_is_old(book, by):
    folder = uploads.root() / "somebody"
    folder.mkdir(parents=True)
    (folder / "old").write_bytes(b"1")
    os.utime(folder / "old", (0, 0))
    services.nightly(on=date(2026, 9, 12), by=by)
    assert not folder.exists()
