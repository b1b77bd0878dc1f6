"""A club brings its roll in from a file: what each row would do, likely duplicates, balances as one entry."""

import io
import uuid
from datetime import date
from decimal import Decimal

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.urls import reverse
from openpyxl import Workbook

from clubdesk.errors import Refused
from clubdesk.fees import selectors as fees
from clubdesk.fees import services as charging
from clubdesk.fees.models import Charge, FeeKind, Method, OpeningBalances, Receipt
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import JournalEntry, Role
from clubdesk.ledger.selectors import balance
from clubdesk.membership import services
from clubdesk.membership.models import Membership, Plan
from clubdesk.membership.rollfile import plan_roll, read_roll
from clubdesk.membership.selectors import is_member, renewals
from clubdesk.money import as_amount
from clubdesk.roll.models import Guardian, Household, Person
from tests import factories

pytestmark = pytest.mark.django_db
NOW = date(2026, 9, 12)
HEADER = "household,guardian,email,phone,given_name,family_name,birth_date,plan,expiry,opening_balance,balance_for"
FAMILIES = f"""{HEADER}
Mirabar family,Ida Mirabar,ida@example.org,08 7010 0001,Ada,Mirabar,2014-05-05,Junior,2027-03-31,45.00,memberships
Mirabar family,Ida Mirabar,ida@example.org,08 7010 0001,Bela,Mirabar,9/3/2012,Junior,2027-03-31,,
Solano family,Uma Solano,uma@example.org,,Cato,Solano,2013-01-02,,,-12.50,
"""


def sound():
    return [result for result in check_all() if result.faults] == []


@pytest.fixture
def plan(book):
    return factories.plan()


@pytest.fixture
def bring(plan, by):
    def brought(text, **decided):
        content = text if isinstance(text, bytes) else text.encode()
        return services.import_roll(content=content, by=by, decided=decided.get("decided"))

    return brought


class TestBringingIn:
    def test_people_households_memberships_and_balances_come_with_one_entry(self, bring):
        done = bring(FAMILIES)
        assert (done.households, done.people, done.memberships) == (2, 3, 2)
        mirabar, solano = Household.objects.order_by("name")
        assert [str(each) for each in mirabar.people.order_by("birth_date")] == ["Bela Mirabar", "Ada Mirabar"]
        assert Guardian.objects.get(household=solano).email == "uma@example.org"
        assert (fees.balance(mirabar), fees.balance(solano)) == (as_amount(45), as_amount("-12.50"))
        entry = JournalEntry.objects.get()
        assert entry.postings.count() == 3
        assert balance(Role.ACCUMULATED, NOW) == Decimal("-32.50")
        assert is_member(Person.objects.get(given_name="Ada"), NOW)
        assert sound()

    def test_what_was_brought_in_is_paid_and_used_like_any_other(self, bring, by):
        bring(FAMILIES)
        mirabar, solano = Household.objects.order_by("name")
        charging.record_receipt(household=mirabar, amount=as_amount(45), method=Method.CARD, on=NOW, by=by)
        assert fees.balance(mirabar) == as_amount(0)
        charging.charge(household=solano, price=factories.price(), on=NOW, starts_on=NOW, by=by)
        assert fees.balance(solano) == as_amount("113.50")
        charging.credit_charge(charge=Charge.objects.get(household=mirabar), on=NOW, reason="written twice", by=by)
        assert [balance(role, NOW) for role in (Role.ACCUMULATED, Role.MEMBERSHIPS)] == [Decimal("-32.50"), 45]
        with pytest.raises(Refused, match="was brought in with the opening balances"):
            charging.cancel_receipt(receipt=Receipt.objects.get(method="brought"), on=NOW, reason="x", by=by)
        charge = Charge.objects.get(household=mirabar)
        with pytest.raises(Refused, match="this charge names nobody"):
            charging.accept_voucher(scheme=factories.scheme(), charge=charge, code="SV1", on=NOW, by=by)
        assert sound()

    def test_its_members_are_renewed_when_their_time_comes(self, bring):
        bring(FAMILIES)
        (found,) = renewals(date(2027, 3, 15))
        assert found.total == as_amount(456)

    def test_the_same_file_again_changes_nothing_but_its_balances_are_refused(self, bring):
        without = FAMILIES.replace("45.00", "").replace("-12.50", "")
        bring(without)
        again = bring(without)
        assert (again.households, again.people, again.memberships) == (0, 0, 0)
        bring(FAMILIES)
        with pytest.raises(Refused, match="are recorded already"):
            bring(FAMILIES)
        assert (Person.objects.count(), Membership.objects.count(), OpeningBalances.objects.count()) == (3, 2, 1)

    def test_a_workbook_says_the_same_as_a_csv(self, bring):
        book = Workbook()
        for line in FAMILIES.strip().splitlines():
            book.active.append(line.split(","))
        book.active["G2"].value, book.active["J2"].value = date(2014, 5, 5), 45
        file = io.BytesIO()
        book.save(file)
        done = bring(file.getvalue())
        assert (done.households, done.people, done.memberships) == (2, 3, 2)
        assert fees.balance(Household.objects.get(name="Mirabar family")) == as_amount(45)


class TestLikelyDuplicates:
    @pytest.fixture
    def ada(self, plan):
        home = factories.HouseholdFactory(name="Mirabar home", guardian="Ida", email="other@example.org")
        return factories.PersonFactory(
            household=home, given_name="Adah", family_name="Mirabar", birth_date=date(2014, 5, 5)
        )

    def test_somebody_born_the_same_day_with_a_similar_name_is_never_merged_silently(self, ada, bring):
        with pytest.raises(Refused, match="row 2: Ada Mirabar is likely the same as Adah Mirabar of Mirabar home"):
            bring(FAMILIES)
        assert Person.objects.count() == 1

    def test_it_is_somebody_else(self, ada, bring):
        bring(FAMILIES, decided={2: "new"})
        assert Person.objects.filter(birth_date=ada.birth_date).count() == 2

    def test_it_is_the_same_and_joins_the_household_of_the_roll(self, ada, bring):
        bring(FAMILIES, decided={2: str(ada.pk)})
        assert is_member(ada, NOW)
        assert Person.objects.filter(birth_date=ada.birth_date).count() == 1
        assert fees.balance(ada.household) == as_amount(45)

    def test_the_file_itself_can_say_so(self, ada, bring):
        lines = FAMILIES.strip().splitlines()
        text = "\n".join([f"{lines[0]},same_as", f"{lines[1]},new", *(f"{line}," for line in lines[2:])])
        assert bring(text).people == 3

    def test_two_rows_of_one_file_may_be_one_child(self, bring):
        twice = FAMILIES + "Mirabar family,,,,Adda,Mirabar,2014-05-05,,,,\n"
        with pytest.raises(Refused, match="row 5: Adda Mirabar is likely the same as row 2 of this file"):
            bring(twice)

    @pytest.mark.parametrize(("name", "alike"), [
        ("Ada Mirabar", True), ("Mirabar Ada", True), ("Adah Mirabar", True), ("Ada Mirrabar", True),
        ("Zoltan Mirabar", False), ("Ada Wirrin", False), ("Ada Mirax", True), ("Ada Miraxy", False),
    ])  # fmt: skip
    def test_how_similar_a_name_must_be(self, plan, name, alike):
        given, family = name.split()
        person = factories.PersonFactory(given_name=given, family_name=family, birth_date=date(2014, 5, 5))
        (row, *_) = plan_roll(read_roll(FAMILIES.encode()))
        assert (person in row.likely) == alike


class TestHouseholds:
    """Whose household a row belongs to is never guessed from a name alone."""

    def test_a_second_file_with_a_sibling_and_another_familys_balance(self, bring):
        bring(FAMILIES)
        more = f"""{HEADER}
Mirabar family,Ida Mirabar,ida@example.org,,Dora,Mirabar,2016-05-05,,,,
Wattle family,Uma Wattle,uma.w@example.org,,Eva,Wattle,2013-01-02,,,12.00,Beginner courses
"""
        assert bring(more).households == 1
        assert Household.objects.get(name="Mirabar family").people.count() == 3

    def test_a_stranger_of_the_same_name_is_charged_nothing(self, bring):
        stranger = factories.HouseholdFactory(name="Solano family", guardian="Noor", email="noor@example.org")
        bring(FAMILIES.replace("uma@example.org", "").replace("-12.50,", "12.50,4020"))
        assert fees.balance(stranger) == as_amount(0)
        assert Household.objects.filter(name="Solano family").count() == 2

    def test_two_of_one_name_in_a_file_need_the_e_mail(self, bring):
        text = FAMILIES.replace("Solano family", "Mirabar family") + "Mirabar family,,,,Eva,Mirabar,2011-01-02,,,,\n"
        with pytest.raises(Refused, match="row 5: two families of this name stand in the file"):
            bring(text)

    def test_families_of_one_name_stay_two_though_a_row_without_an_e_mail_stands_between(self, bring):
        bring(
            FAMILIES.replace("Solano family,Uma Solano", "Mirabar family,Uma Solano")
            .replace("Mirabar family,Ida Mirabar,ida@example.org,08 7010 0001,Bela", "Mirabar family,,,,Bela")
        )  # fmt: skip
        assert Household.objects.filter(name="Mirabar family").count() == 2
        assert Guardian.objects.get(name="Uma Solano").household.people.count() == 1

    def test_a_sibling_without_an_e_mail_joins_by_the_guardians_phone(self, bring):
        own = "Mirabar family,Uma,uma@example.org,0491570156"
        two = FAMILIES.replace("Solano family,Uma Solano,uma@example.org,", own)
        bring(two + "Mirabar family,Uma M.,,+61 491 570 156,Eva,Mirabar,2011-01-02,,,,\n")
        assert Guardian.objects.get(name="Uma").household.people.filter(given_name="Eva").exists()

    def test_a_sibling_that_was_left_for_later_joins_the_family_by_its_guardians_name(self, bring):
        bring(FAMILIES)
        bring(HEADER + "\nMirabar family,Ida Mirabar,,,Eva,Mirabar,2011-01-02,,,,\n")
        assert Household.objects.filter(name="Mirabar family").count() == 1

    @pytest.mark.parametrize("written", ["Jnr", "JUNIOR annual", "junior"])
    def test_a_plan_is_known_by_what_people_write_for_it(self, bring, plan, written):
        bring(FAMILIES.replace("Junior,2027-03-31,45", f"{written},2027-03-31,45"))
        assert Person.objects.get(given_name="Ada").memberships.get().plan == plan

    def test_siblings_of_one_who_is_the_same_join_that_household(self, bring, plan):
        home = factories.HouseholdFactory(name="Mirabar home", guardian="Ida", email="other@example.org")
        ada = factories.PersonFactory(
            household=home, given_name="Adah", family_name="Mirabar", birth_date=date(2014, 5, 5)
        )
        bring(FAMILIES, decided={2: str(ada.pk)})
        assert home.people.count() == 2
        assert home.guardians.count() == 2

    def test_pressed_twice_it_is_brought_in_once(self, plan, by):
        key = uuid.uuid4()
        for _ in range(2):
            services.import_roll(content=FAMILIES.encode(), by=by, key=key)
        assert Person.objects.count() == 3
        assert OpeningBalances.objects.count() == 1

    def test_a_member_brought_in_changes_plan_for_the_difference(self, bring, plan, by):
        bring(FAMILIES)
        dear = factories.price(FeeKind.MEMBERSHIP, "300.00", Role.MEMBERSHIPS, code="dear")
        other = Plan.objects.create(name="Other", fee_item=dear.item)
        standing = Person.objects.get(given_name="Ada").memberships.get()
        changed = services.change_plan(membership=standing, plan=other, on=date(2026, 10, 1), reason="x", by=by)
        # Six months of 300.00 less six months of 228.00.
        assert changed.charge.amount == as_amount(36)


class TestBadFiles:
    @pytest.mark.parametrize(("text", "sentence"), [
        ("", "row 1: the file is empty"),
        ("household,given_name\nA,B\n", "row 1: the header lacks family_name, birth_date"),
        (HEADER + ",colour\n", "row 1: nothing is known of the column “colour”"),
        (FAMILIES.replace("2014-05-05", "5th of May"), "row 2: the date of birth “5th of May” is not a date"),
        (FAMILIES.replace("2014-05-05", "1814-05-05"), "row 2: the date of birth: That is too long ago"),
        (FAMILIES.replace("45.00", "45.005"), "row 2: what is owed, “45.005”, is not an amount"),
        (FAMILIES.replace("45.00,memberships", "45.00,"), "row 2: say what the opening balance is owed for"),
        (FAMILIES.replace("45.00,memberships", "0.01,"), "row 2: say what the opening balance is owed for"),
        (FAMILIES.replace("memberships", "hats"), "row 2: what is owed is for “hats”, which is no fee or income"),
        (FAMILIES.replace("45.00", "NaN"), "row 2: what is owed, “NaN”, is not an amount"),
        (FAMILIES.replace("Junior,2027-03-31,45", "Senior,2027-03-31,45"), "row 2: there is no plan “Senior”"),
        (FAMILIES.replace("ida@example.org", "ida"), "row 2: “ida” is no e-mail address"),
        (FAMILIES.replace("Ada,", ","), "row 2: the given name is missing"),
        (FAMILIES.replace("2027-03-31,45", "0001-01-01,45"), "row 2: the expiry 1 Jan 1 is more than two years off"),
        (FAMILIES.replace("2027-03-31,45", "9999-12-31,45"), "row 2: the expiry 31 Dec 9999 is more than two years"),
        (FAMILIES.replace("Uma Solano", ""), "row 4: an e-mail or phone needs the guardian"),
        (FAMILIES + FAMILIES.splitlines()[1], "row 5: Ada Mirabar stands in row 2 too"),
        (b"PK\x03\x04 no workbook", "row 1: this is no workbook that can be read"),
        (b"\xff\xfe\x00", "row 1: the file is not UTF-8 text"),
    ])  # fmt: skip
    def test_each_fault_is_named_by_its_row_and_nothing_is_saved(self, bring, text, sentence):
        with pytest.raises(Refused) as refusal:
            bring(text)
        assert any(sentence in each for each in refusal.value.messages), refusal.value.messages
        assert not Household.objects.exists()

    def test_the_shell_prints_each_fault_and_exits_1(self, plan, tmp_path, capsys):
        file = tmp_path / "roll.csv"
        file.write_text(FAMILIES.replace("2014-05-05", "x").replace("uma@example.org", "uma"))
        with pytest.raises(SystemExit) as left:
            call_command("import_roll", str(file))
        assert left.value.code == 1
        assert [line[:6] for line in capsys.readouterr().err.splitlines()] == ["row 2:", "row 4:"]

    def test_a_dry_run_saves_nothing(self, plan, tmp_path, capsys):
        file = tmp_path / "roll.csv"
        file.write_text(FAMILIES)
        call_command("import_roll", str(file), "--dry-run")
        assert "2 families, 3 people and 2 memberships would be imported" in capsys.readouterr().out
        assert not Person.objects.exists()
        call_command("import_roll", str(file))
        assert OpeningBalances.objects.get().as_at == date(2026, 6, 30)


class TestOnTheSite:
    def test_a_preview_then_all_of_it(self, client, coordinator, plan):
        home = factories.HouseholdFactory(name="Other family")
        factories.PersonFactory(household=home, given_name="Adah", family_name="Mirabar", birth_date=date(2014, 5, 5))
        client.force_login(coordinator)
        url = reverse("admin:import_roll")
        assert client.get(url).status_code == 200
        file = SimpleUploadedFile("roll.csv", FAMILIES.encode())
        page = client.post(url, {"file": file})
        text = page.content.decode()
        assert "Likely the same as Adah Mirabar of Other family" in text
        assert "member by Junior to 31 Mar 2027, owes $45.00 for Memberships" in text
        assert Person.objects.count() == 1
        form = {"content": page.context["content"], "key": str(page.context["key"])}
        assert "Write new or that number" in client.post(url, form).content.decode()
        answer = client.post(url, form | {"row-2": "new"}, follow=True)
        assert "Imported: 2 families, 3 people, 2 memberships, 2 balances." in answer.content.decode()
        assert sound()

    def test_a_bad_file_is_told_in_words(self, client, coordinator, plan):
        client.force_login(coordinator)
        url = reverse("admin:import_roll")
        answer = client.post(url, {"file": SimpleUploadedFile("r.csv", b"\0\1" * 9)})
        assert answer.status_code == 422
        assert "binary data" in answer.content.decode()
        assert client.post(url, {"content": "%%%"}).status_code == 422
        faulty = SimpleUploadedFile("r.csv", FAMILIES.replace("2014-05-05", "x").encode())
        page = client.post(url, {"file": faulty}).content.decode()
        assert "1 of them must be put right" in page
        assert "Import all of it" not in page

    def test_only_the_coordinator_may(self, client, treasurer, plan):
        client.force_login(treasurer)
        assert client.get(reverse("admin:import_roll")).status_code == 403
