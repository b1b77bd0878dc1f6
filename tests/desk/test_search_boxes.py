"""Each list's own search box finds what it says, and all that the box on every page finds of it."""

import pytest
from django.contrib import admin
from django.urls import reverse

from clubdesk import rooms
from clubdesk.courses import services as courses
from clubdesk.desk.search import as_called, finders_of
from clubdesk.fees import services as fees
from clubdesk.fees.models import FeeKind, Method
from clubdesk.finding import read
from clubdesk.ledger.models import JournalEntry, Role
from clubdesk.money import as_amount
from clubdesk.roll.selectors import payment_reference
from tests import factories
from tests.worlds.season import NOW

pytestmark = [pytest.mark.database, pytest.mark.django_db]


@pytest.fixture
def child(season, by):
    """A child with every kind of record, of a family whose names are nobody else's."""
    home = factories.HouseholdFactory(
        name="Mirabar family", guardian="Ida Quillfeather", email="ida@example.org", phone="08 7010 0001"
    )
    child = factories.PersonFactory(household=home, given_name="Zephyrine", family_name="Mirabar")
    season.add_child_of(child)
    return child


@pytest.fixture
def home(child):
    return child.household


@pytest.fixture
def listed(client):
    """What the list of a model shows somebody for what was typed, and what it says that it finds."""

    def look(who, name, typed):
        client.force_login(who)
        changes = client.get(reverse(f"admin:{name}_changelist"), {"q": str(typed)}).context["cl"]
        return list(changes.result_list), changes.search_help_text

    return look


def rows(found):
    return found[0]


def test_a_receipt_is_found_by_its_number_its_family_a_guardian_an_amount_or_a_payment_reference(
    listed, treasurer, home, by
):
    receipt = fees.record_receipt(household=home, amount=as_amount("31.45"), method=Method.CARD, on=NOW, by=by)
    assert receipt in rows(listed(treasurer, "fees_receipt", receipt.number))  # beside those of that amount
    assert rows(listed(treasurer, "fees_receipt", "$31.45")) == [receipt]
    for typed in ("Mirabar", "Quillfeather", payment_reference(home)):
        found, says = listed(treasurer, "fees_receipt", typed)
        assert receipt in found
        assert {each.household for each in found} == {home}
    assert "receipt number" in says
    assert "guardian" in says
    assert "payment reference" in says


@pytest.mark.parametrize(
    ("name", "family"),
    [("fees_charge", "household"), ("fees_receipt", "household"), ("courses_booking", "household"),
     ("entryfund_entryclaim", "household"), ("membership_membership", "person__household")],
)  # fmt: skip
def test_lists_of_families_find_a_guardian_and_a_payment_reference(listed, keeper, child, name, family):
    own = [row for row in rows(listed(keeper, name, "")) if _through(row, family) == child.household]
    assert own
    for typed in ("Ida Quillfeather", payment_reference(child.household)):
        assert rows(listed(keeper, name, typed)) == own


def _through(row, lookup):
    for step in lookup.split("__"):
        row = getattr(row, step)
    return row


def test_a_booking_is_found_by_its_number_and_not_by_a_part_of_it(listed, coordinator, season, by):
    course = season.cohort.course
    made = [courses.book_party(course=course, people=[factories.PersonFactory()], by=by, on=NOW) for _ in range(12)]
    numbers = {booking.number for booking in made}
    twelve = next(booking for booking in made if booking.number > 11)
    assert rows(listed(coordinator, "courses_booking", twelve.number)) == [twelve]
    assert len(numbers) == 12


def test_an_entry_is_found_by_its_own_number_or_the_amount_of_a_line(listed, auditor, season):
    tenth = JournalEntry.objects.get(number=10)
    found = rows(listed(auditor, "ledger_journalentry", "10"))
    assert tenth in found
    of_ten = set(JournalEntry.objects.filter(postings__amount=as_amount(10)))
    assert all("10" in entry.narration for entry in set(found) - of_ten - {tenth})
    cashed_in = JournalEntry.objects.get(postings__amount=as_amount(9000))
    assert rows(listed(auditor, "ledger_journalentry", "$9,000.00")) == [cashed_in]


class TestVoucherCodes:
    @pytest.fixture
    def voucher(self, child, season, by):
        price = factories.price(FeeKind.OTHER, "83.50", Role.HIRE, code="locker")
        owed = fees.charge(household=child.household, person=child, price=price, on=NOW, starts_on=NOW, by=by)
        season.scheme.per_year = 2
        season.scheme.save()
        return fees.accept_voucher(scheme=season.scheme, charge=owed, code="XY77889912", on=NOW, by=by)

    def test_who_may_claim_finds_a_voucher_by_its_code(self, listed, coordinator, treasurer, voucher):
        for who in (coordinator, treasurer):
            found, says = listed(who, "fees_voucher", "XY77889912")
            assert found == [voucher]
            assert says.startswith("A code, a child")

    def test_for_anybody_else_a_code_is_nothing_to_ask_for(self, listed, auditor, voucher):
        found, says = listed(auditor, "fees_voucher", "XY77889912")
        assert found == []
        assert "code" not in says
        assert voucher in rows(listed(auditor, "fees_voucher", "Zephyrine"))


class TestNames:
    @pytest.mark.parametrize("typed", ["Mirrabar", "Zefyrine", "Quilfeather", "08 7010 0001", "ida@example.org"])
    def test_a_family_is_found_misspelt_by_phone_or_by_e_mail(self, listed, coordinator, home, typed):
        assert rows(listed(coordinator, "roll_household", typed)) == [home]

    def test_a_misspelt_person_event_or_organisation_is_found(self, listed, treasurer, child, season):
        assert rows(listed(treasurer, "roll_person", "Zefyrine Mirrabar")) == [child]
        assert rows(listed(treasurer, "entryfund_stateevent", "Championchip")) == [season.event]
        assert [str(each) for each in rows(listed(treasurer, "ledger_party", "Departement Sport"))] == [
            "Department for Sport"
        ]

    def test_who_is_spelt_as_typed_is_not_mixed_with_who_is_alike(self, listed, coordinator, child):
        other = factories.PersonFactory(household=child.household, given_name="Zefyrine", family_name="Mirabar")
        assert rows(listed(coordinator, "roll_person", "Zefyrine")) == [other]

    def test_a_helper_finds_a_child_by_name_and_not_by_its_guardian(self, listed, range_helper, coordinator, child):
        assert rows(listed(range_helper, "roll_person", "Zephyrine")) == [child]
        found, says = listed(range_helper, "roll_person", "Quillfeather")
        assert found == []
        assert "guardian" not in says
        found, says = listed(coordinator, "roll_person", "Quillfeather")
        assert found == [child]
        assert "guardian" in says


SAMPLES = (
    "Zephyrine", "Mirabar", "08 7010 0001", "ida@example.org", "1", "60", "126.00", "50.00", "championship", "beginner",
    "string", "State", "STAMPS", "receipt 1", "booking 2", "entry 3", "payment run 1", "9,000.00",
)  # fmt: skip


def test_each_list_finds_whatever_the_box_finds_of_it(client, keeper, child):
    client.force_login(keeper)
    lacking, seen = [], set()
    for typed in SAMPLES:
        finders = finders_of(keeper)
        for finder, sought in as_called(finders, read(typed)) or [(each, read(typed)) for each in finders]:
            wanted = {hit.arguments[0] for hit in finder.find(sought, 500) if not hit.is_alike}
            if finder.page and wanted:
                seen.add(finder.group)
                changes = client.get(reverse(finder.page), {"q": sought.text, "all": ""}).context["cl"]
                if missing := wanted - set(changes.queryset.values_list("pk", flat=True)):
                    lacking.append((typed, finder.group, missing))
    assert lacking == []
    with_a_list = {finder.group for room in rooms.in_order() for finder in room.finds if finder.page}
    assert with_a_list - seen == {"Certificates", "Kit", "Vouchers", "Voucher claims"}


@pytest.mark.parametrize("typed", ["%_\\", "'\"", "\x00", "🏹" * 99, "9" * 30, "²"])
def test_no_list_fails_whatever_is_typed_into_its_box(client, keeper, season, typed):
    client.force_login(keeper)
    searched = [model._meta for model, screen in admin.site._registry.items() if screen.search_fields]
    urls = [reverse(f"admin:{each.app_label}_{each.model_name}_changelist") for each in searched]
    assert len(urls) > 20
    assert {client.get(url, {"q": typed}).status_code for url in urls} == {200}
