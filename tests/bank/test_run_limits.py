"""Where a run cannot go: to no account, beyond what the bank holds, or out a second time."""

import re
import threading
import uuid
from datetime import date

import pytest
from django.contrib.auth.models import Group, User
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connections, transaction
from django.urls import reverse

from clubdesk import clock
from clubdesk.bank import services
from clubdesk.bank.directentry import Payment, Sender, write
from clubdesk.bank.models import BankDetails, PaymentRun, RunState
from clubdesk.bank.selectors import free_in_bank
from clubdesk.errors import Refused
from clubdesk.expenses import services as expenses
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Role
from clubdesk.ledger.posting import credit as credited
from clubdesk.ledger.posting import debit
from clubdesk.money import as_amount, shown
from clubdesk.rooms import COORDINATOR
from tests import factories
from tests.bank.paying import LATER, NOW, sound

SENDER = Sender("082-902", "40012345", "QBB", "QUANDONG BEND", "300123", "QUANDONG BEND")


class TestNoSuchAccount:
    """Common practice, no source: 000-000 and 999-999 are no bank's, the second marks a file's last record."""

    NOWHERE = [
        ("000-000", "1234", "No bank has the BSB 000-000"),
        ("999-999", "1234", "No bank has the BSB 999-999"),
        ("082-902", "000000", "never all zeros"),
        ("082-902", "00", "never all zeros"),
    ]

    @pytest.mark.parametrize(("bsb", "number", "said"), NOWHERE)
    def test_it_is_refused_as_bank_details_and_by_the_database_itself(self, home, by, bsb, number, said):
        with pytest.raises(Refused, match=said):
            services.set_bank_details(
                household=home, title="Ida", bsb=bsb, account_number=number, reason="rang", on=NOW, by=by
            )
        with pytest.raises(IntegrityError, match="No bank has this BSB"), transaction.atomic():
            BankDetails.objects.create(
                household=home, title="Ida", bsb=bsb, account_number=number, reason="x", noted_on=NOW, recorded_by=by
            )

    @pytest.mark.parametrize(("bsb", "number", "said"), NOWHERE)
    def test_it_stands_in_no_file_neither_as_payee_nor_as_the_clubs_own(self, bsb, number, said):
        to_nobody = Payment(bsb, number, "Ida Mirabar", "CREDIT 1", 6000)
        with pytest.raises(Refused, match=f"Ida Mirabar: .*{said}"):
            write(SENDER, [to_nobody], description="RUN 1", on=NOW)
        own = Sender(bsb, number, *(getattr(SENDER, name) for name in ("bank", "user_name", "user_id", "remitter")))
        with pytest.raises(Refused, match=f"The club’s own account: .*{said}"):
            write(own, [Payment("082-902", "1234", "Ida Mirabar", "CREDIT 1", 6000)], description="RUN 1", on=NOW)

    @pytest.mark.parametrize(("bsb", "number", "said"), NOWHERE)
    def test_it_is_refused_as_the_clubs_own_account(self, account, bsb, number, said):
        account.bsb, account.account_number = bsb, number
        with pytest.raises(ValidationError, match=said):
            account.full_clean()

    def test_zeros_before_and_behind_a_number_are_its_own(self, home, by):
        noted = services.set_bank_details(
            household=home, title="Ida", bsb="082-902", account_number="001000", reason="rang", on=NOW, by=by
        )
        assert noted.account_number == "001000"


class TestWhatTheBankHolds:
    @pytest.fixture
    def in_the_bank(self, by):
        def put(amount):
            lines = [debit(Role.BANK, as_amount(amount)), credited(Role.DONATIONS, as_amount(amount))]
            ledger.record_journal(on=NOW, narration="Raffle", lines=lines, by=by)

        return put

    @pytest.fixture
    def asked(self, client, account, treasurer):
        """What the page says to a run of one expense."""
        client.force_login(treasurer)
        form = {"bank_account": account.pk, "method": "single", "pay_on": LATER.isoformat()}
        url = reverse("admin:bank_paymentrun_add")

        def of(expense, **more):
            sent = {**form, "key": uuid.uuid4(), "expenses": [expense.pk], **more}
            return client.post(url, sent, follow=True).content.decode()

        return of

    def test_a_run_of_more_says_so_before_it_is_made(self, asked, spent, in_the_bank):
        in_the_bank("25.49")
        page = asked(spent)
        assert f"This run comes to {shown(as_amount('25.50'))}; Club account holds {shown(as_amount('25.49'))}" in page
        assert not PaymentRun.objects.exists()
        assert "is made" in asked(spent, beyond="on")
        assert PaymentRun.objects.count() == 1

    def test_a_run_of_all_that_is_there_asks_nothing(self, asked, spent, in_the_bank):
        in_the_bank("25.50")
        assert "is made" in asked(spent)

    def test_what_an_earlier_run_has_still_to_pay_is_spent_already(
        self, account, asked, spent, in_the_bank, by, approver
    ):
        in_the_bank("40.00")
        assert "is made" in asked(spent)
        assert free_in_bank(account) == as_amount("14.50")
        second = expenses.approve_expense(expense=factories.expense(by, what="tape"), on=NOW, by=approver)
        assert f"holds {shown(as_amount('14.50'))}" in asked(second)


@pytest.mark.django_db(transaction=True)
class TestFourReleaseOneRunAtOnce:
    @pytest.fixture
    def four(self, book):
        group = Group.objects.get(name=COORDINATOR)
        people = [User.objects.create_user(f"second-{n}", is_staff=True) for n in range(4)]
        for each in people:
            each.groups.add(group)
        return people

    def at_once(self, acts):
        """What each of them got or was told, all having begun together."""
        ready, results = threading.Barrier(len(acts)), []

        def run(act):
            ready.wait(30)
            try:
                with clock.on(date(2026, 9, 12)):
                    results.append(act())
            except Exception as error:
                results.append(error)
            finally:
                connections.close_all()

        threads = [threading.Thread(target=run, args=(act,)) for act in acts]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(60)
        return results

    def test_one_releases_it_and_three_are_told_that_it_was_released(self, run, four):
        results = self.at_once([lambda who=who: services.release_run(run=run, on=NOW, by=who) for who in four])
        told = [str(each.sentence) for each in results if isinstance(each, Refused)]
        run.refresh_from_db()
        assert [each for each in results if not isinstance(each, Refused)] == [run]
        assert len(told) == 3
        assert {f"{run} was released already, by {run.released_by} on 12 Sep 2026; nothing more is to be done."} == {
            *told
        }
        assert run.state == RunState.RELEASED
        assert sound()

    def test_by_their_pages_too(self, run, four, client):
        url = reverse("admin:bank_paymentrun_release", args=[run.pk])
        clients = [client.__class__() for _ in four]
        pages = []
        for each, who in zip(clients, four, strict=True):
            each.force_login(who)
            pages.append(each.get(url).content.decode())

        def press(each, page):
            hidden = dict(re.findall(r'type="hidden" name="(key|opened)" value="([^"]*)"', page))
            assert set(hidden) == {"key", "opened"}
            return each.post(url, hidden, follow=True).content.decode()

        acts = [lambda each=each, page=page: press(each, page) for each, page in zip(clients, pages, strict=True)]
        answers = self.at_once(acts)
        assert [type(each) for each in answers] == [str] * 4
        assert sum("is released. The treasurer can pay it now." in each for each in answers) == 1
        assert sum("was released already, by second-" in each for each in answers) == 3
        assert sound()
