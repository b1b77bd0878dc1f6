"""One box on every page finds people and families however they are spelt, and whatever has a number or an amount."""

from datetime import date

import pytest
from django.core.cache import cache
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clubdesk import clock
from clubdesk.bank import services as bank
from clubdesk.bank.models import BankAccount, PaymentRun
from clubdesk.courses import services as courses
from clubdesk.courses.models import Certificate
from clubdesk.desk.erasing import erase_person
from clubdesk.desk.search import MOST_IN_A_GROUP, finders_of, look
from clubdesk.entryfund.models import EntryClaim
from clubdesk.fees import services as fees
from clubdesk.fees.models import FeeKind, Lodgement, Method
from clubdesk.finding import read
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import JournalEntry, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import entries_of
from clubdesk.money import as_amount
from clubdesk.rangeday.models import Kit
from clubdesk.roll.selectors import payment_reference
from tests import factories
from tests.worlds import keeping
from tests.worlds.season import NOW

pytestmark = [pytest.mark.database, pytest.mark.django_db]
LATER = date(2035, 7, 1)


@pytest.fixture
def home(season):
    """A family whose names, phone and address are nobody else's."""
    return factories.HouseholdFactory(
        name="Mirabar family", guardian="Ida Quillfeather", email="ida@example.org", phone="08 7010 0001"
    )


@pytest.fixture
def child(home):
    return factories.PersonFactory(household=home, given_name="Zephyrine", family_name="Mirabar")


@pytest.fixture
def voucher(child, season, by):
    price = factories.price(FeeKind.OTHER, "83.50", Role.HIRE, code="locker")
    owed = fees.charge(household=child.household, person=child, price=price, on=NOW, starts_on=NOW, by=by)
    return fees.accept_voucher(scheme=season.scheme, charge=owed, code="SV 7788 9912", on=NOW, by=by)


def found(who, typed):
    """What the box finds for somebody: the names of what is found, by group."""
    groups = look(finders_of(who), read(typed))
    return {group.name: [row.hit.name for row in group.rows] for group in groups}


def lines(who, typed):
    return [row.hit.line for group in look(finders_of(who), read(typed)) for row in group.rows]


class TestFamiliesAndPeople:
    @pytest.mark.parametrize(
        "typed",
        ["mirabar", "Mirabar family", "the Mirabar family", "Ida Quillfeather", "quillf", "zephyrine", "MÍRABAR",
         "Mirabar Zephyrine", "ida@example.org", "IDA@EXAMPLE.ORG", "08 7010 0001", "0870100001",
         "+61 8 7010 0001", "phone 7010 0001", "0001"],
    )  # fmt: skip
    def test_a_family_is_found_by_any_of_its_names_a_phone_or_an_e_mail(self, coordinator, child, typed):
        assert found(coordinator, typed)["Families"] == ["Mirabar family"]

    @pytest.mark.parametrize("typed", ["Mirrabar", "Quilfeather", "Zefyrine", "mirabr zephirine"])
    def test_a_misspelt_name_finds_its_family(self, coordinator, child, typed):
        assert found(coordinator, typed)["Families"] == ["Mirabar family"]

    def test_a_family_is_found_by_the_reference_that_it_pays_with(self, treasurer, home):
        reference = payment_reference(home)
        for typed in (reference, f"{reference[:3]} {reference[3:]}", f"ref {reference}"):
            assert found(treasurer, typed)["Families"] == ["Mirabar family"]
        slipped = reference[:-1] + str((int(reference[-1]) + 1) % 10)
        assert "Families" not in found(treasurer, slipped)

    def test_its_line_says_whom_to_ring_and_who_belongs_to_it(self, coordinator, child):
        assert lines(coordinator, "Quillfeather") == ["Ida Quillfeather, 08 7010 0001 · Zephyrine"]

    def test_a_person_is_found_with_the_family_and_the_age_class(self, coordinator, child):
        assert found(coordinator, "Zephyrine Mirabar")["People"] == ["Zephyrine Mirabar"]
        # Born in March 2014: 12 in 2026, under 14.
        assert "Mirabar family, Under 14" in lines(coordinator, "Zephyrine Mirabar")

    def test_who_is_spelt_as_typed_comes_first_and_who_is_alike_after(self, coordinator, child):
        factories.PersonFactory(household=child.household, given_name="Zefyrine", family_name="Mirabar")
        assert found(coordinator, "Zefyrine")["People"] == ["Zefyrine Mirabar", "Zephyrine Mirabar"]

    def test_what_is_erased_is_not_found(self, keeper, child, by):
        clock.set_today(LATER)
        erase_person(person=child, on=LATER, by=by)
        for typed in ("erased", "Zephyrine", "Mirabar", "Quillfeather", "ida@example.org", "08 7010 0001",
                      payment_reference(child.household)):  # fmt: skip
            assert found(keeper, typed) == {}


class TestNumbers:
    @pytest.mark.parametrize("typed", ["{}", "#{}", "no. {}", "receipt {}", "Receipt no. {}"])
    def test_a_receipt_is_found_by_its_number(self, treasurer, home, by, typed):
        receipt = fees.record_receipt(household=home, amount=as_amount(31), method=Method.CARD, on=NOW, by=by)
        assert f"Receipt {receipt.number}" in found(treasurer, typed.format(receipt.number))["Receipts"]

    def test_a_receipt_is_found_by_what_was_written_with_the_payment(self, treasurer, home, by):
        paid = {"household": home, "amount": as_amount(31), "method": Method.TRANSFER, "on": NOW, "by": by}
        receipt = fees.record_receipt(**paid, reference="Winter 100% arrows")
        for typed in ("winter", "100% arrows"):
            assert found(treasurer, typed)["Receipts"] == [f"Receipt {receipt.number}"]

    def test_a_word_before_the_number_finds_only_what_is_called_so(self, treasurer, season):
        assert len(found(treasurer, "1")) > 3
        assert list(found(treasurer, "entry 1")) == ["Journal entries"]
        assert list(found(treasurer, "booking 1")) == ["Bookings"]
        assert list(found(treasurer, "payment run 1")) == ["Payment runs"]

    def test_where_nothing_is_called_so_the_words_are_looked_for_as_they_stand(self, treasurer, season):
        factories.expense(treasurer, what="Bow 7 string")
        assert found(treasurer, "bow 7 string") == {"Expenses": ["Bow 7 string"]}

    @pytest.mark.parametrize("typed", ["{}", "#{}", "entry {}", "journal entry no. {}"])
    def test_a_journal_entry_is_found_by_its_number(self, auditor, season, typed):
        last = JournalEntry.objects.latest("number")
        assert f"Entry {last.number}" in found(auditor, typed.format(last.number))["Journal entries"]

    @pytest.mark.parametrize("typed", ["{}", "booking {}", "Booking #{}"])
    def test_a_booking_is_found_by_its_number(self, coordinator, season, child, by, typed):
        booking = courses.book_party(course=season.cohort.course, people=[child], by=by, on=NOW)
        assert f"Booking {booking.number}" in found(coordinator, typed.format(booking.number))["Bookings"]
        assert any("Mirabar family" in line for line in lines(coordinator, typed.format(booking.number)))

    @pytest.mark.parametrize("typed", ["SV77889912", "sv 7788 9912", "voucher SV77889912", "889912", "voucher 912"])
    def test_a_voucher_is_found_by_its_code_or_enough_of_it_and_never_shown_whole(self, coordinator, voucher, typed):
        assert found(coordinator, typed)["Vouchers"] == ["State sport voucher ••••912"]

    def test_three_signs_of_a_code_alone_find_no_voucher(self, coordinator, voucher):
        assert "Vouchers" not in found(coordinator, "912")

    def test_documents_are_found_as_the_ledger_and_the_bank_name_them(self, treasurer, season, voucher):
        charge, claim, run = voucher.charge, EntryClaim.objects.first(), PaymentRun.objects.first()
        lodged = Lodgement.objects.first()
        assert charge.named.endswith(f"(charge {charge.pk})")
        assert found(treasurer, f"charge {charge.pk}") == {"Fees": [charge.description]}
        assert found(treasurer, f"ENTRY FEE {claim.pk}") == {"Refund requests": [str(claim)]}
        assert found(treasurer, f"payment run {run.number}") == {"Payment runs": [str(run)]}
        assert found(treasurer, f"voucher claim {lodged.pk}") == {"Voucher claims": [str(lodged)]}
        expense = factories.expense(treasurer, what="paint")
        assert found(treasurer, f"expense {expense.pk}") == {"Expenses": ["paint"]}

    def test_a_certificate_is_found_by_its_number_with_spaces_or_without(self, coordinator, season):
        certificate = Certificate.objects.first()
        for typed in (certificate.number, certificate.shown_number, f"certificate {certificate.number}"):
            assert found(coordinator, typed)["Certificates"] == [f"Certificate {certificate.shown_number}"]

    @pytest.mark.parametrize("typed", ["Q77", "q77", "bow Q77", "kit Q77"])
    def test_a_piece_of_kit_is_found_by_the_number_on_it(self, range_helper, season, typed):
        Kit.objects.create(number="Q77", kind="bow")
        assert found(range_helper, typed) == {"Kit": ["Bow Q77"]}


class TestAmounts:
    @pytest.mark.parametrize("typed", ["83.50", "$83.50", "$ 83.5", "-83.50"])
    def test_an_amount_finds_fees_receipts_entries_and_bank_lines(self, treasurer, voucher, by, typed):
        owed = voucher.charge
        fees.record_receipt(household=owed.household, amount=owed.amount, method=Method.CARD, on=NOW, by=by)
        line = {"bank_account": BankAccount.objects.get(), "on": NOW, "by": by}
        bank.record_statement_line(amount=-owed.amount, text="LOCKER", **line)
        groups = found(treasurer, typed)
        assert groups["Fees"] == [owed.description]
        assert len(groups["Receipts"]) == 1
        assert groups["Bank lines"] == ["LOCKER"]
        assert f"Entry {entries_of(owed).get().number}" in groups["Journal entries"]

    def test_an_amount_with_thousands_is_found(self, treasurer, season):
        assert "Journal entries" in found(treasurer, "$9,000.00")  # the containers cashed in

    def test_the_latest_come_first_and_the_list_has_the_rest(self, client, treasurer, season, by):
        amount = as_amount("77.35")
        lines = [debit(Role.BANK, amount), credit(Role.GRANTS, amount)]
        for number in range(MOST_IN_A_GROUP + 2):
            ledger.record_journal(on=NOW, narration=f"Grant {number}", lines=lines, by=by)
        (group,) = look(finders_of(treasurer), read("77.35"))
        assert [row.hit.line.split(",")[0] for row in group.rows] == [f"Grant {n}" for n in range(9, 1, -1)]
        client.force_login(treasurer)
        rest = client.get(group.rest_url).context["cl"]
        assert rest.result_count == MOST_IN_A_GROUP + 2


class TestOtherNames:
    @pytest.mark.parametrize("typed", ["state clout", "clout championship", "Championchip clout"])
    def test_an_event_is_found_by_its_name(self, approver, season, typed):
        assert found(approver, typed)["Events"] == ["State clout championship"]

    def test_courses_organisations_expenses_and_bank_lines_are_found_by_their_words(self, treasurer, season):
        assert str(season.cohort) in found(treasurer, "beginner")["Courses"]
        assert found(treasurer, "Dept for Sport") == {}
        assert found(treasurer, "Department")["Organisations"] == ["Department for Sport"]
        assert found(treasurer, "string wax") == {"Expenses": ["string wax"]}
        assert found(treasurer, "STAMPS")["Bank lines"] == ["STAMPS"]


MAY_FIND = {
    "range_helper": {"People", "Kit"},
    "approver": {"People", "Events", "Refund requests", "Expenses", "Payment runs"},
    "coordinator": {
        "Families", "People", "Bookings", "Courses", "Certificates", "Kit", "Events", "Refund requests", "Expenses",
        "Receipts", "Fees", "Vouchers", "Voucher claims", "Payment runs",
    },
}  # fmt: skip
OF_MONEY_ALONE = {"Bank lines", "Organisations", "Journal entries"}


class TestWhoMayFindWhat:
    @pytest.mark.parametrize("who", MAY_FIND)
    def test_each_role_finds_its_own_work_and_no_other(self, request, who):
        assert {finder.group for finder in finders_of(request.getfixturevalue(who))} == MAY_FIND[who]

    def test_bank_accounts_are_the_treasurers_and_codes_of_whoever_may_claim(self, treasurer, auditor):
        every = MAY_FIND["coordinator"] | OF_MONEY_ALONE
        assert {finder.group for finder in finders_of(treasurer)} == every | {"Bank accounts of families"}
        assert {finder.group for finder in finders_of(auditor)} == every - {"Vouchers"}

    def test_a_helper_finds_no_receipt_no_family_and_no_amount(self, range_helper, child, by):
        home = child.household
        receipt = fees.record_receipt(household=home, amount=as_amount(31), method=Method.CARD, on=NOW, by=by)
        for typed in (receipt.number, f"receipt {receipt.number}", "31.00", payment_reference(home), "08 7010 0001",
                      "ida@example.org", "Quillfeather", "Mirabar family"):  # fmt: skip
            assert found(range_helper, str(typed)) == {}

    def test_a_helper_is_told_of_a_child_no_more_than_the_name_and_the_age_class(self, range_helper, child):
        assert found(range_helper, "Zephyrine") == {"People": ["Zephyrine Mirabar"]}
        assert lines(range_helper, "Zephyrine") == ["Under 14"]

    def test_a_familys_account_is_found_by_the_treasurer_alone_and_never_shown_whole(
        self, treasurer, coordinator, auditor, home, by
    ):
        factories.bank_details(home, by, number="551234")
        for typed in ("551234", "account 551234", "082-902"):
            assert "Mirabar family" in found(treasurer, typed)["Bank accounts of families"]
            assert not any("551234" in line for line in lines(treasurer, typed))
            for other in (coordinator, auditor):
                assert "Bank accounts of families" not in found(other, typed)

    def test_an_account_that_is_the_familys_no_more_is_not_found(self, treasurer, home, by):
        factories.bank_details(home, by, number="551234")
        factories.bank_details(home, by, number="779988")
        assert found(treasurer, "551234") == {}
        assert list(found(treasurer, "779988")) == ["Bank accounts of families"]

    @pytest.mark.parametrize("who", [*MAY_FIND, "treasurer", "auditor"])
    def test_whatever_somebody_finds_they_may_open(self, client, request, child, who):
        somebody = request.getfixturevalue(who)
        client.force_login(somebody)
        asked = ("1", "60", "Zephyrine", "championship", "beginner", "string", "State", "charge 1")
        groups = [group for typed in asked for group in look(finders_of(somebody), read(typed))]
        first_two = {row.url for group in groups for row in group.rows[:2]}
        assert first_two
        assert {client.get(url).status_code for url in first_two} == {200}

    def test_who_has_no_role_is_told_whom_to_ask(self, client, coordinator):
        coordinator.groups.clear()
        client.force_login(coordinator)
        answer = client.get(reverse("admin:find"), {"q": "Zephyrine"}).content.decode()
        assert "Your sign-in has no role yet. Ask an administrator" in answer


WILD = [
    "%", "_", "%%%", "'", '"', "\\", "\\%", "'; DROP TABLE roll_person; --", "🏹", "🏹" * 400, "x" * 1000, "(", "[a-z]",
    "\x00", "a\x00b", "\ud800", "²", "٣", "-", "$", "#", "1" * 1000, "-0", "0", "9" + ",999" * 20, "@", "NaN",
]  # fmt: skip


class TestThePage:
    @pytest.fixture
    def page(self, client, keeper, season):
        client.force_login(keeper)
        return lambda typed: client.get(reverse("admin:find"), {"q": typed})

    @pytest.mark.parametrize("typed", WILD, ids=range(len(WILD)))
    def test_whatever_is_typed_it_does_not_fail(self, page, typed):
        assert page(typed.encode(errors="surrogatepass")).status_code == 200

    @pytest.mark.parametrize("typed", ["%", "_", "%%%", "\\", "🏹", "'", "x" * 1000])
    def test_signs_that_a_database_reads_in_its_own_way_find_nothing(self, page, typed):
        assert page(typed).context["groups"] == []

    def test_what_was_looked_for_and_what_can_be_found_stand_where_nothing_is(self, page):
        answer = page("<b>Quillfeather</b>").content.decode()
        assert "Nothing found for “&lt;b&gt;Quillfeather&lt;/b&gt;”" in answer
        assert "by a name of the family, a guardian or a child" in answer

    @pytest.mark.parametrize("typed", ["", "   ", "\x00"])
    def test_where_nothing_was_typed_it_says_what_can_be_found(self, page, typed):
        answer = page(typed)
        assert answer.context["title"] == "Find"
        assert "Type into the box above what you know." in answer.content.decode()

    def test_it_is_kept_nowhere_and_its_links_hold_nothing_of_a_child(self, page, child):
        answer = page("Zephyrine")
        assert "no-store" in answer["Cache-Control"]
        assert "private" in answer["Cache-Control"]
        urls = [row.url for group in answer.context["groups"] for row in group.rows]
        assert urls == [f"/roll/household/{child.household_id}/change/", f"/roll/person/{child.pk}/change/"]

    def test_the_box_stands_on_every_page_and_keeps_what_was_typed(self, client, page):
        for url in (reverse("admin:index"), reverse("admin:fees_receipt_changelist"), reverse("admin:find")):
            assert '<input type="search" id="site-find" name="q" value=""' in client.get(url).content.decode()
        assert 'name="q" value="Zephyrine"' in page("Zephyrine").content.decode()

    def test_who_is_not_signed_in_has_no_box(self, client, book):
        assert "site-find" not in client.get(reverse("admin:login")).content.decode()


@pytest.mark.slow
@pytest.mark.world("season")
@pytest.mark.django_db(transaction=True)
def test_finding_costs_as_many_queries_at_50_people_as_at_12(client, keeper):
    typed = ["Child", "Childe 10", "1", "60.00", "08 7010 0001", "SV1", "State clout", "receipt 1", "x@example.org"]
    url = reverse("admin:find")

    def queries():
        client.force_login(keeper)
        client.get(url)  # once unmeasured: Django remembers content types from then on
        return [queries_of(client, url, each) for each in typed]

    small = queries()
    keeping.spoil()
    keeping.enter("season_50")
    assert queries() == small
    assert max(small) <= 25


def queries_of(client, url, typed):
    cache.clear()
    with CaptureQueriesContext(connection) as captured:
        assert client.get(url, {"q": typed}).status_code == 200
    return len(captured)
