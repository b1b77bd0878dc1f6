"""Sport vouchers: what a scheme pays for, the department's answer line by line, and the acquittal."""

from contextlib import suppress
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.fees import accounts, selectors, services
from clubdesk.fees.eligible import code_fits
from clubdesk.fees.models import FeeKind, Lodgement, Method, Voucher
from clubdesk.fees.states import VOUCHER
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance
from clubdesk.mail.models import Message
from clubdesk.money import as_amount
from clubdesk.tables import in_file
from tests import factories

pytestmark = pytest.mark.django_db
NOW, LATER = date(2026, 9, 12), date(2026, 10, 3)
BORN = date(2014, 3, 9)
NEW_YEAR = date(2027, 1, 3)


def sound():
    return [result for result in check_all() if result.faults] == []


@pytest.fixture
def scheme(book):
    return factories.scheme()


@pytest.fixture
def price(book):
    return factories.price(FeeKind.MEMBERSHIP, "228.00", Role.MEMBERSHIPS)


@pytest.fixture
def accept(scheme, price, by):
    """A child's voucher accepted against a new membership fee."""
    made = []

    def accepted(code=None, child=None, on=NOW, kind=None, **more):
        if child is None:
            home = factories.HouseholdFactory(guardian="Ida", email=f"family{len(made)}@example.org")
            child = factories.PersonFactory(household=home)
        made.append(child)
        charge = services.charge(
            household=child.household, person=child, price=kind or price, on=on, starts_on=on, by=by
        )
        return services.accept_voucher(
            scheme=scheme, charge=charge, code=code or f"SV{len(made):08d}", on=on, by=by, **more
        )

    return accepted


class TestWhatASchemePays:
    @pytest.mark.parametrize(("form", "code", "fits"), [
        ("SV########", "SV12345678", True), ("SV########", "SV1234567", False), ("SV########", "XV12345678", False),
        ("@@-##", "AB-12", True), ("@@-##", "A1-12", False), ("a.b", "AXB", False), ("a.b", "A.B", True),
    ])  # fmt: skip
    def test_a_code_has_the_schemes_form(self, form, code, fits):
        assert code_fits(form, code) is fits

    def test_a_code_or_birth_date_that_cannot_be_right_is_refused(self, accept, scheme):
        scheme.code_form = "SV########"
        scheme.save()
        with pytest.raises(Refused, match="looks like SV########"):
            accept("SV12")
        with pytest.raises(Refused, match="not the date of birth of Child"):
            accept("SV12345678", birth_date=BORN + timedelta(days=1))
        voucher = accept(" sv1234 5678 ", birth_date=BORN)
        assert (voucher.code, voucher.masked_code) == ("SV12345678", "••••678")

    # Source: a state's published programme terms: Reception to Year 9, ages 5 to 15.
    @pytest.mark.parametrize(("born", "paid"), [
        (date(2021, 9, 12), True), (date(2021, 9, 13), False), (date(2010, 9, 13), True), (date(2010, 9, 12), False),
    ])  # fmt: skip
    def test_it_pays_for_its_ages(self, accept, scheme, born, paid):
        scheme.youngest, scheme.oldest = 5, 15
        scheme.save()
        child = factories.PersonFactory(birth_date=born)
        if paid:
            assert accept(child=child).amount == as_amount("100.00")
        else:
            with pytest.raises(Refused, match="is for ages 5 to 15"):
                accept(child=child)

    def test_it_pays_for_its_kinds_of_fee(self, accept, scheme):
        scheme.pays_courses = scheme.pays_other = False
        scheme.save()
        course, kit = factories.price(), factories.price(FeeKind.OTHER, "30.00", Role.DONATIONS)
        for kind in (course, kit):
            with pytest.raises(Refused, match="does not pay a fee of this kind"):
                accept(kind=kind)
        assert accept().amount == as_amount("100.00")

    def test_so_many_a_child_and_calendar_year(self, accept, scheme):
        child = factories.PersonFactory()
        accept(child=child)
        with pytest.raises(Refused, match="has used a voucher of State sport voucher in 2026"):
            accept(child=child)
        scheme.per_year = 2
        scheme.save()
        accept(child=child)
        with pytest.raises(Refused, match="has used 2 vouchers"):
            accept(child=child)
        accept(child=child, on=date(2027, 1, 4))
        assert sound()

    def test_none_is_dated_before_its_fee(self, accept, price, scheme, by):
        """Else it would have the value of the year before, for a child who was still young enough then."""
        child = factories.PersonFactory(birth_date=date(2011, 1, 2))  # 15 on the last day of 2026, then 16
        scheme.oldest = 15
        scheme.save()
        charge = services.charge(
            household=child.household, person=child, price=price, on=NEW_YEAR, starts_on=NEW_YEAR, by=by
        )
        with pytest.raises(Refused, match="was charged on 3 Jan 2027; a voucher cannot pay it before"):
            services.accept_voucher(scheme=scheme, charge=charge, code="SV1", on=NEW_YEAR - timedelta(days=3), by=by)
        with pytest.raises(Refused, match="is 16"):
            services.accept_voucher(scheme=scheme, charge=charge, code="SV1", on=NEW_YEAR, by=by)
        with pytest.raises(IntegrityError, match="before it was charged"), transaction.atomic():
            Voucher.objects.create(
                scheme=scheme, person=child, charge=charge, code="SV1", calendar_year=2026, amount=as_amount(1),
                accepted_on=NOW, recorded_by=by,
            )  # fmt: skip

    def test_the_database_counts_them_too(self, accept):
        first = accept()
        with pytest.raises(IntegrityError, match="used this year's vouchers"), transaction.atomic():
            Voucher.objects.create(
                scheme=first.scheme, person=first.person, charge=first.charge, code="SV9", calendar_year=2026,
                amount=as_amount(1), accepted_on=NOW, recorded_by=first.recorded_by,
            )  # fmt: skip


WAYS = {
    "accepted": (),
    "lodged": ("lodged",),
    "paid": ("lodged", "paid"),
    "refused": ("refused",),
    "released": ("released",),
}


@pytest.mark.parametrize("before", WAYS)
def test_the_database_lets_a_voucher_go_only_along_its_states(accept, before):
    """To what was given back it goes by the department's invoice alone (tests/fees/test_giving_back.py)."""
    voucher = Voucher.objects.filter(pk=accept().pk)
    for state in WAYS[before]:
        voucher.update(state=state)
    went = set()
    for after in set(VOUCHER.all) - {before}:
        with suppress(IntegrityError), transaction.atomic():
            voucher.update(state=after)
            went.add(after)
            transaction.set_rollback(True)
    assert went == {after for after in VOUCHER.all if VOUCHER.may_follow(before, after)} - {before, "returned"}


class TestTheDepartmentsAnswer:
    @pytest.fixture
    def batch(self, accept, scheme, by):
        """Three vouchers of 100 lodged together."""
        vouchers = [accept() for _ in range(3)]
        return services.lodge_vouchers(scheme=scheme, on=NOW, by=by), vouchers

    def answer(self, batch, by, paid, refused=()):
        lodgement, vouchers = batch
        return services.answer_lodgement(
            lodgement=lodgement,
            paid={vouchers[index].pk: as_amount(text) for index, text in paid},
            refused={vouchers[index].pk: why for index, why in refused},
            on=LATER,
            by=by,
        )

    def test_paid_refused_and_paid_short_each_as_they_came(self, batch, by):
        for _ in range(2):
            self.answer(batch, by, [(0, "100.00"), (2, "80.00")], [(1, "used elsewhere")])
        _, vouchers = batch
        assert [Voucher.objects.get(pk=each.pk).state for each in vouchers] == ["paid", "refused", "paid"]
        assert balance(Role.BANK, LATER) == Decimal("180.00")
        assert balance(Role.VOUCHERS_OWED, LATER) == 0
        owed = [selectors.balance(each.charge.household).amount for each in vouchers]
        assert owed == [Decimal("128.00"), Decimal("228.00"), Decimal("148.00")]
        assert sound()

    def test_what_has_no_answer_stays_lodged_and_owed_while_the_rest_is_paid(self, batch, by, client, treasurer):
        lodgement, vouchers = batch
        parts = {self.answer(batch, by, [(0, "100.00"), (2, "80.00")]) for _ in range(2)}
        (part,) = parts
        assert (part.part_of, part.paid_on, part.lodged_on, part.scheme) == (
            lodgement, LATER, lodgement.lodged_on, lodgement.scheme
        )  # fmt: skip
        assert [Voucher.objects.get(pk=each.pk).state for each in vouchers] == ["paid", "lodged", "paid"]
        assert (balance(Role.BANK, LATER), balance(Role.VOUCHERS_OWED, LATER)) == (180, 100)
        client.force_login(treasurer)
        listed = client.get(reverse("admin:lodgement_list", args=[lodgement.pk])).content.decode()
        assert all(each.code in listed for each in vouchers), "as it was sent"
        assert sound()
        assert self.answer(batch, by, [(1, "100.00")]) == lodgement
        assert (balance(Role.BANK, LATER), balance(Role.VOUCHERS_OWED, LATER)) == (280, 0)
        assert sound()

    def test_the_page_leaves_what_is_blank_as_it_is(self, batch, client, treasurer):
        lodgement, vouchers = batch
        client.force_login(treasurer)
        page = reverse("admin:fees_lodgement_answer", args=[lodgement.pk])
        sent = {f"paid_{vouchers[0].pk}": "100.00", f"why_{vouchers[1].pk}": "used elsewhere", "on": NOW}
        told = client.post(page, sent | {"key": "4b8f4f4c-6d0b-4e06-9d58-0a0c1c0f6c77"}, follow=True).content.decode()
        assert f"Still owed of {lodgement}: 1, $100.00." in told
        assert [Voucher.objects.get(pk=each.pk).state for each in vouchers] == ["paid", "refused", "lodged"]
        assert balance(Role.VOUCHERS_OWED, NOW) == 100
        assert sound()

    def test_families_are_told_what_they_owe_again(self, batch, by):
        self.answer(batch, by, [(0, "100.00"), (2, "80.00")], [(1, "used elsewhere")])
        letters = {letter.to: letter.body for letter in Message.objects.all()}
        assert set(letters) == {"family1@example.org", "family2@example.org"}
        assert "was refused by Department for Sport: used elsewhere. \n" not in letters["family1@example.org"]
        assert "Please pay $100.00" in letters["family1@example.org"]
        assert "Please pay $20.00" in letters["family2@example.org"]

    def test_what_the_family_has_in_credit_pays_it_at_once(self, batch, by):
        _, vouchers = batch
        household = vouchers[2].charge.household
        services.record_receipt(household=household, amount=as_amount(148), method=Method.CARD, on=NOW, by=by)
        self.answer(batch, by, [(0, "100.00"), (1, "100.00"), (2, "80.00")])
        assert selectors.balance(household) == as_amount(0)
        assert selectors.unused_credit(household) == as_amount(0)

    def test_all_refused_pays_nothing(self, batch, by):
        self.answer(batch, by, [], [(index, "scheme closed") for index in range(3)])
        assert balance(Role.BANK, LATER) == 0
        assert Lodgement.objects.get().paid_on is None
        assert sound()

    @pytest.mark.parametrize(("paid", "refused", "sentence"), [
        ([], [], "Say of at least one voucher"),
        ([(0, "100.00"), (1, "100.00"), (2, "100.00")], [(2, "no")], "either what was paid or why"),
        ([(0, "100.00"), (1, "100.00"), (2, "100.01")], [], "no more can be paid"),
        ([(0, "100.00"), (1, "100.00"), (2, "0.00")], [], "nor zero"),
    ])  # fmt: skip
    def test_what_cannot_be_is_refused_whole(self, batch, by, paid, refused, sentence):
        with pytest.raises(Refused, match=sentence):
            self.answer(batch, by, paid, refused)
        assert balance(Role.BANK, LATER) == 0
        assert set(Voucher.objects.values_list("state", flat=True)) == {"lodged"}

    @pytest.mark.parametrize(("sql", "sentence"), [
        ("UPDATE fees_voucher SET amount = amount - 1", "keeps what was claimed"),
        ("UPDATE fees_voucher SET amount = amount - 1, short_by = short_by + 1", "keeps what was claimed"),
        ("UPDATE fees_voucher SET calendar_year = 2027", "keeps what the ledger says"),
    ])  # fmt: skip
    def test_the_database_keeps_what_was_claimed(self, batch, sql, sentence):
        with pytest.raises(IntegrityError, match=sentence), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(sql)

    def test_the_treasurer_answers_on_one_page_and_the_coordinator_takes_the_list(
        self, client, batch, treasurer, coordinator
    ):
        lodgement, vouchers = batch
        clock.set_today(LATER)
        client.force_login(treasurer)
        url = reverse("admin:fees_lodgement_answer", args=[lodgement.pk])
        first, second, third = (each.pk for each in vouchers)
        form = {"key": "5b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a01", "on": "2026-10-03", f"paid_{first}": "100.00",
                f"why_{second}": "used elsewhere", f"paid_{third}": "120.00"}  # fmt: skip
        assert "100.00 was claimed" in client.post(url, form).content.decode()
        client.post(url, form | {f"paid_{third}": "80.00"})
        assert balance(Role.BANK, LATER) == Decimal("180.00")
        client.force_login(coordinator)
        text = client.get(reverse("admin:lodgement_list", args=[lodgement.pk])).content.decode()
        assert text.splitlines()[0] == "given name,family name,date of birth,voucher code,fee,claimed,accepted on"
        assert "SV00000003,228.00,100.00,2026-09-12" in text

    def test_an_auditor_never_sees_a_whole_code(self, client, batch, auditor):
        lodgement, vouchers = batch
        client.force_login(auditor)
        assert client.get(reverse("admin:lodgement_list", args=[lodgement.pk])).status_code == 403
        page = client.get(reverse("admin:fees_voucher_change", args=[vouchers[0].pk])).content.decode()
        assert "SV00000001" not in page


@given(words=st.text(min_size=1, max_size=20))
def test_a_name_reaches_the_departments_spreadsheet_in_file(words):
    # Source: OWASP, CSV injection; CWE-1236.
    assert in_file(words)[0] not in "=+-@\t\r"


class TestTheAcquittal:
    def test_it_comes_to_the_control_account_by_state_and_age(self, client, accept, scheme, by, auditor):
        old = [accept(on=date(2026, 7, 2)) for _ in range(3)]
        lodgement = services.lodge_vouchers(scheme=scheme, on=date(2026, 7, 5), by=by)
        services.answer_lodgement(
            lodgement=lodgement,
            paid={old[0].pk: as_amount("100.00"), old[1].pk: as_amount("90.00")},
            refused={old[2].pk: "used elsewhere"},
            on=date(2026, 8, 1),
            by=by,
        )
        accept(on=date(2026, 7, 20))
        services.lodge_vouchers(scheme=scheme, on=date(2026, 8, 2), by=by)
        accept(), accept()
        (row,) = accounts.acquittals(NOW)
        assert (row.accepted, row.lodged, row.paid, row.refused) == ((2, 200), (1, 100), (2, 190), (1, 100))
        assert (row.short, row.outstanding, list(row.ages.values())) == (10, 300, [200, 100, 0, 0])
        assert row.outstanding == balance(Role.VOUCHERS_OWED, NOW)
        client.force_login(auditor)
        text = client.get(reverse("admin:vouchers_answered")).content.decode()
        assert "300.00" in text
        assert sound()


class TestTakenOutOfAClaim:
    """A voucher that was put into a claim and was not sent with it."""

    def test_it_waits_for_the_next_claim_and_the_others_stay(self, accept, scheme, by):
        one, other = accept(), accept()
        first = services.lodge_vouchers(scheme=scheme, on=NOW, by=by)
        for _ in range(2):
            services.unlodge_voucher(voucher=Voucher.objects.get(pk=one.pk), by=by)
        assert list(first.vouchers.all()) == [other]
        second = services.lodge_vouchers(scheme=scheme, on=LATER, by=by)
        assert [voucher.pk for voucher in second.vouchers.all()] == [one.pk]
        assert sound()

    def test_it_can_be_left_unclaimed_then(self, accept, scheme, by):
        voucher = accept()
        services.lodge_vouchers(scheme=scheme, on=NOW, by=by)
        taken_out = services.unlodge_voucher(voucher=Voucher.objects.get(), by=by)
        services.release_voucher(voucher=taken_out, on=NOW, reason="the wrong child", by=by)
        assert Voucher.objects.get(pk=voucher.pk).state == "released"
        assert sound()

    def test_once_the_department_has_answered_the_claim_was_sent(self, accept, scheme, by):
        one, other = accept(), accept()
        claim = services.lodge_vouchers(scheme=scheme, on=NOW, by=by)
        services.refuse_voucher(voucher=one, on=NOW, reason="used elsewhere", by=by)
        with pytest.raises(Refused, match="has answered .* so it was sent"):
            services.unlodge_voucher(voucher=Voucher.objects.get(pk=other.pk), by=by)
        with pytest.raises(Refused, match="is in no claim that waits"):
            services.unlodge_voucher(voucher=Voucher.objects.get(pk=one.pk), by=by)
        with pytest.raises(IntegrityError, match="stays in the claim"), transaction.atomic():
            Voucher.objects.filter(pk=other.pk).update(state="accepted", lodgement=None)
        services.record_lodgement_paid(lodgement=claim, on=NOW, by=by)
        with pytest.raises(Refused, match="is in no claim that waits"):
            services.unlodge_voucher(voucher=Voucher.objects.get(pk=other.pk), by=by)

    def test_one_in_no_claim_stays_as_it_is_or_is_refused(self, accept, by):
        waiting = accept()
        assert services.unlodge_voucher(voucher=waiting, by=by).state == "accepted"
        services.release_voucher(voucher=waiting, on=NOW, reason="the wrong child", by=by)
        with pytest.raises(Refused, match="not claimed; it is in no claim"):
            services.unlodge_voucher(voucher=waiting, by=by)

    def test_the_coordinator_takes_it_out_on_its_page(self, client, coordinator, accept, scheme, by):
        voucher = accept()
        services.lodge_vouchers(scheme=scheme, on=NOW, by=by)
        client.force_login(coordinator)
        url = reverse("admin:fees_voucher_unlodge", args=[voucher.pk])
        assert "Remove it from the claim" in client.get(url).content.decode()
        text = client.post(url, {"key": "8b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a01"}, follow=True).content.decode()
        assert "waits for the next claim" in text
        assert (
            "Remove it from the claim"
            not in client.get(reverse("admin:fees_voucher_change", args=[voucher.pk])).content.decode()
        )
