"""The file that a payment run sends to the bank, and the bank details that it pays to."""

import uuid
from datetime import date

import pytest
from django.db import IntegrityError, connection, transaction
from django.urls import reverse

from clubdesk.bank import selectors, services
from clubdesk.bank.models import ItemState
from clubdesk.errors import Refused
from tests import factories
from tests.bank.paying import NOW, paid, sound

pytestmark = pytest.mark.django_db


class TestTheFile:
    def test_made_twice_it_is_the_same_file_with_the_same_number_and_says_so(self, client, released, treasurer):
        from clubdesk.bank.services.runs import file_of

        first = file_of(released)
        client.force_login(treasurer)
        page = reverse("admin:bank_paymentrun_make-file", args=[released.pk])
        assert "It was made once before. The bank must get it once." in client.get(page).content.decode()
        answer = client.post(page, {"key": str(uuid.uuid4())}, follow=True).content.decode()
        assert "The same file again. It was made once before. It has the same number" in answer
        download = client.get(reverse("admin:bank_paymentrun_file", args=[released.pk]))
        assert download.content == first
        assert b"RUN 1 " in first.splitlines()[0]
        assert 'filename="payment-run-1.aba"' in download["Content-Disposition"]
        assert released.files.count() == 2
        assert sound()

    def test_its_content_is_what_the_run_pays(self, released):
        from clubdesk.bank.services.runs import file_of
        from tests.bank.test_direct_entry import read

        found = read(file_of(released))
        assert [row["cents"] for row in found.details] == [6000, 2550, 4000]
        assert {row["account"] for row in found.details} == {"123456"}
        assert int(found.foot["net"]) == 12550

    def test_settings_changed_since_do_not_make_another_file_under_its_number(self, released, account, treasurer):
        account.user_id = "999999"
        account.save()
        with pytest.raises(Refused, match="settings changed since this file was made"):
            services.make_file(run=released, by=treasurer)

    def test_a_payment_that_the_bank_did_not_make_is_free_for_another_run_and_the_file_stays(self, released, treasurer):
        from clubdesk.bank.services.runs import file_of

        before, item = file_of(released), released.items.first()
        services.leave_out(item=item, on=NOW, reason="account unknown", by=treasurer)
        item.refresh_from_db()
        assert item.state == ItemState.REFUSED
        assert file_of(released) == before
        assert selectors.claims_to_pay().count() == 1
        paid(released, treasurer)
        assert sound()

    def test_a_file_whose_day_has_passed_is_not_released(self, run, coordinator):
        with pytest.raises(Refused, match="was to pay on 16 Sep 2026, which has passed"):
            services.release_run(run=run, on=date(2026, 9, 17), by=coordinator)

    def test_the_bank_cannot_have_paid_before_the_day_that_the_file_tells_it(self, released, treasurer):
        with pytest.raises(Refused, match="tells the bank to pay on 16 Sep 2026"):
            services.record_paid(run=released, items=list(released.items.all()), on=NOW, by=treasurer)

    def test_there_is_no_file_before_the_release_or_for_others_than_the_treasurer(
        self, client, run, treasurer, coordinator
    ):
        url = reverse("admin:bank_paymentrun_file", args=[run.pk])
        with pytest.raises(Refused, match="Only a released run"):
            services.make_file(run=run, by=treasurer)
        client.force_login(treasurer)
        assert client.get(url).status_code == 404
        services.release_run(run=run, on=NOW, by=coordinator)
        services.make_file(run=run, by=treasurer)
        client.force_login(coordinator)
        assert client.get(url).status_code == 403


class TestBankDetails:
    def test_a_change_needs_a_reason_and_the_same_again_changes_nothing(self, home, by):
        first = factories.bank_details(home, by)
        assert factories.bank_details(home, by, reason="") == first
        with pytest.raises(Refused, match="Say who asked for this"):
            factories.bank_details(home, by, number="7654321", reason=" ")

    @pytest.mark.parametrize("number", ["1", "12345678901", "12-34", "abc", "１２３４"])
    def test_a_number_of_another_form_is_refused(self, home, by, number):
        with pytest.raises(Refused, match="two to nine digits"):
            factories.bank_details(home, by, number=number)

    def test_all_but_the_treasurer_see_them_masked(self, client, run, treasurer, auditor, coordinator, home):
        def seen(user, url):
            client.force_login(user)
            return client.get(url).content.decode()

        page = reverse("admin:bank_paymentrun_change", args=[run.pk])
        assert "082-902, 123456" in seen(treasurer, page)
        for user in (auditor, coordinator):
            assert "082-902" not in seen(user, page)
            assert "account ending in 456" in seen(user, page)
        household = reverse("admin:roll_household_change", args=[home.pk])
        assert "082-902, 123456" in seen(treasurer, household)
        assert "account ending in 456" in seen(auditor, household)
        assert "ending in" not in seen(coordinator, household)

    def test_nobody_is_paid_at_a_bank_that_does_not_exist(self, home, by):
        with pytest.raises(Refused, match="No bank has the BSB 000-000"):
            services.set_bank_details(
                household=home, title="Ida", bsb="000-000", account_number="1234", reason="x", on=NOW, by=by
            )

    def test_the_database_keeps_what_was_noted(self, home, by):
        factories.bank_details(home, by)
        with (
            pytest.raises(IntegrityError, match="Bank details are never changed"),
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute("UPDATE bank_bankdetails SET account_number = '999999'")
