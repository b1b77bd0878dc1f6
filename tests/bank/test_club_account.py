"""Into which account families pay: nobody changes it alone, the database sees to it, and families hear of it."""

from datetime import date

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError, connection, transaction
from django.urls import reverse

from clubdesk.bank import selectors, services
from clubdesk.bank.models import AccountChange, BankAccount
from clubdesk.errors import Refused
from clubdesk.rooms import APPROVER, AUDITOR, COORDINATOR, TREASURER
from tests import factories
from tests.worlds.day_one import username

pytestmark = pytest.mark.django_db
NOW, LATER = date(2026, 9, 12), date(2026, 9, 13)
GIVEN = {"holder": "Reedbank Archers Inc", "bsb": "012-003", "account_number": "4500123"}


@pytest.fixture
def own(book):
    return BankAccount.objects.get()


@pytest.fixture
def treasurer(book):
    return User.objects.get(username=username(TREASURER))


@pytest.fixture
def second(book):
    return User.objects.get(username=username(COORDINATOR))


def ask(own, by, **numbers):
    numbers = GIVEN | numbers
    return services.ask_for_account(bank_account=own, reason="the bank’s letter", on=NOW, by=by, **numbers)


def test_a_book_on_its_first_day_knows_no_account(own):
    assert selectors.paid_into() is None
    assert selectors.without_a_number().count() == 1


def test_nothing_changes_until_somebody_else_has_agreed(own, treasurer, second):
    change = ask(own, treasurer)
    assert selectors.paid_into() is None
    services.agree_to_account(change=change, on=LATER, by=second)
    into = selectors.paid_into()
    assert (into.holder, into.bsb, into.number, into.since) == ("Reedbank Archers Inc", "012-003", "4500123", None)
    change.refresh_from_db()
    assert (change.recorded_by, change.decided_by, change.decided_on) == (treasurer, second, LATER)


def test_who_asked_does_not_agree_to_it_even_past_the_verb(own, treasurer):
    change = ask(own, treasurer)
    with pytest.raises(Refused, match="somebody else agrees"):
        services.agree_to_account(change=change, on=LATER, by=treasurer)
    with pytest.raises(IntegrityError, match="agreed_to_by_another"), transaction.atomic():
        AccountChange.objects.update(state="agreed", decided_by=treasurer, decided_on=NOW)


def test_agreed_twice_is_agreed_once_and_declined_is_for_good(own, treasurer, second):
    change = services.decline_account(change=ask(own, treasurer), reason="not the bank’s letter", on=NOW, by=second)
    assert services.decline_account(change=change, reason="again", on=NOW, by=second).answer == "not the bank’s letter"
    with pytest.raises(Refused, match="It was declined"):
        services.agree_to_account(change=change, on=LATER, by=second)
    agreed = services.agree_to_account(change=ask(own, treasurer), on=NOW, by=second)
    assert services.agree_to_account(change=agreed, on=LATER, by=second).decided_on == NOW
    with pytest.raises(Refused, match="agreed to already"):
        services.decline_account(change=agreed, reason="no", on=LATER, by=second)


def test_one_change_waits_at_a_time(own, treasurer):
    ask(own, treasurer)
    with pytest.raises(Refused, match="asked for 012-003 4500123 already"):
        ask(own, treasurer, account_number="999")


def test_no_program_changes_the_number_past_the_two(own, treasurer, second):
    services.agree_to_account(change=ask(own, treasurer), on=NOW, by=second)
    for column in ("bsb", "account_number", "iban", "bic", "holder"):
        with pytest.raises(IntegrityError, match="one person asked and another agreed"), transaction.atomic():
            connection.cursor().execute(f"UPDATE bank_bankaccount SET {column} = '123-456'")
    ask(own, treasurer, account_number="4500999")
    with pytest.raises(IntegrityError, match="another agreed"), transaction.atomic():
        BankAccount.objects.update(account_number="4500999")


def test_an_earlier_number_does_not_come_back_by_itself(own, treasurer, second):
    for number in ("4500123", "4500999"):
        services.agree_to_account(change=ask(own, treasurer, account_number=number), on=NOW, by=second)
    with pytest.raises(IntegrityError, match="another agreed"), transaction.atomic():
        BankAccount.objects.update(account_number="4500123")


def test_that_it_is_another_is_known_with_its_day(own, treasurer, second):
    services.agree_to_account(change=ask(own, treasurer), on=NOW, by=second)
    services.agree_to_account(change=ask(own, treasurer, account_number="4500999"), on=LATER, by=second)
    assert (selectors.paid_into().number, selectors.paid_into().since) == ("4500999", LATER)
    assert AccountChange.objects.first().replaces == "012-003 4500123"


@pytest.mark.parametrize(
    ("numbers", "said"),
    [
        ({"holder": " "}, "Write the account name"),
        ({"bsb": ""}, "Write both the BSB"),
        ({"bsb": "", "account_number": ""}, "either a BSB and an account number, or an IBAN"),
        ({"iban": "DE89370400440532013000"}, "either a BSB and an account number, or an IBAN"),
        ({"bsb": "", "account_number": "", "iban": "DE89370400440532013001"}, "This IBAN is not right"),
        ({"bic": "COBADEFF"}, "goes with an IBAN"),
        ({"bsb": "012003"}, "A BSB is six digits"),
        ({"bsb": "000-000"}, "No bank has the BSB"),
        ({"account_number": "000000"}, "never all zeros"),
    ],
)
def test_what_is_no_account_is_refused_in_words(own, treasurer, numbers, said):
    with pytest.raises(Refused, match=said):
        ask(own, treasurer, **numbers)


def test_an_iban_is_taken_as_it_is_typed(own, treasurer, second):
    change = ask(own, treasurer, bsb="", account_number="", iban="de89 3704 0044 0532 0130 00")
    services.agree_to_account(change=change, on=NOW, by=second)
    assert [each.text for each in selectors.paid_into().lines] == [
        "Reedbank Archers Inc",
        "DE89 3704 0044 0532 0130 00",
    ]


def test_two_people_do_it_on_the_pages(own, client, treasurer, second):
    page = reverse("admin:bank_bankaccount_another-account", args=[own.pk])
    client.force_login(treasurer)
    form = client.get(page).context["form"]
    typed = {"key": form["key"].value(), **GIVEN, "reason": "the bank’s letter"}
    client.post(page, typed | {"bsb": "12"})
    assert not AccountChange.objects.exists()
    client.post(page, typed)
    change = AccountChange.objects.get()
    agree = reverse("admin:bank_accountchange_agree", args=[change.pk])
    assert agree not in client.get(reverse("admin:bank_accountchange_change", args=[change.pk])).content.decode()
    client.force_login(second)
    asked = client.get(agree)
    assert "4500123" in asked.content.decode()
    client.post(agree, {"key": asked.context["form"]["key"].value()})
    assert selectors.paid_into().number == "4500123"


@pytest.mark.parametrize(("role", "asks", "agrees"), [
    (TREASURER, True, True), (COORDINATOR, False, True), (APPROVER, False, True), (AUDITOR, False, False),
])  # fmt: skip
def test_who_may_ask_and_who_may_agree(book, role, asks, agrees):
    user = User.objects.get(username=username(role))
    assert user.has_perm("bank.change_bankaccount") == asks
    assert user.has_perm("bank.agree_accountchange") == agrees


def test_the_form_of_an_account_does_not_take_its_number(own, client, treasurer):
    client.force_login(treasurer)
    page = reverse("admin:bank_bankaccount_change", args=[own.pk])
    client.post(page, {"name": "Main account", "account": own.account_id, "bsb": "062-000", "account_number": "1"})
    own.refresh_from_db()
    assert (own.name, own.bsb) == ("Main account", "")


def test_home_says_that_the_number_is_missing_until_it_is_there(own, client, treasurer, second):
    client.force_login(treasurer)
    missing = "Account without its number"
    assert missing in client.get("/").content.decode()
    factories.paid_into(own)
    assert missing not in client.get("/").content.decode()
