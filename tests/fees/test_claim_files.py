"""Claims by the columns of the department's own template, and its answer read back from a file."""

import csv
import hashlib
import io
import uuid
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from django.db import IntegrityError, connection, transaction
from django.urls import reverse
from openpyxl import Workbook, load_workbook

from clubdesk import clock
from clubdesk.desk.services import nightly
from clubdesk.errors import Refused
from clubdesk.fees import services
from clubdesk.fees.answerfile import as_file, read_answer
from clubdesk.fees.claimfile import reference_of
from clubdesk.fees.eligible import digit_holds
from clubdesk.fees.models import ClaimFile, Holds, Lodgement, Voucher, VoucherScheme
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance
from clubdesk.money import as_amount
from tests import factories
from tests.fees import ten_schemes as ten

pytestmark = pytest.mark.django_db
NOW, LATER = date(2026, 9, 12), date(2026, 10, 3)
TEMPLATE = (
    ("First name", Holds.GIVEN, {}), ("Surname", Holds.FAMILY, {}), ("DOB", Holds.BORN, {"days_as": "%d/%m/%Y"}),
    ("Voucher no.", Holds.KEY, {}), ("Provider", Holds.FIXED, {"text": "P-4471"}), ("Fee", Holds.FEE, {}),
    ("Amount claimed", Holds.AMOUNT, {}), ("Your ref", Holds.REFERENCE, {}), ("Office use", Holds.BLANK, {}),
    ("Amount paid", Holds.PAID, {"in_claim": False}), ("Outcome", Holds.DECISION, {"in_claim": False}),
    ("Reason", Holds.REASON, {"in_claim": False}),
)  # fmt: skip
HEADS = [heading for heading, _, _ in TEMPLATE]


def lay_out(scheme, template=TEMPLATE, **more):
    for place, (heading, holds, how) in enumerate(template, 1):
        scheme.claim_columns.create(place=place, heading=heading, holds=holds, **how)
    VoucherScheme.objects.filter(pk=scheme.pk).update(paid_words="Paid, Approved", refused_words="Rejected", **more)
    scheme.refresh_from_db()
    return scheme


def sound():
    return [result for result in check_all() if result.faults] == []


@pytest.fixture
def scheme(book):
    return lay_out(factories.scheme())


@pytest.fixture
def accept(scheme, by):
    """A child's voucher taken for a fee: `accept("SV1")`."""
    price = factories.price(amount="80.00")

    def accepted(code, of=None, child=None, name="Ada", on=NOW):
        child = child or factories.PersonFactory(given_name=name, birth_date=date(2014, 3, 9))
        charge = services.charge(household=child.household, person=child, price=price, on=on, starts_on=on, by=by)
        return services.accept_voucher(scheme=of or scheme, charge=charge, code=code, on=on, by=by)

    return accepted


@pytest.fixture
def claim(accept, scheme, by):
    """Three vouchers of 80.00 in one claim."""
    for number, name in enumerate(("Ada", "Bo", "=Cy"), 1):
        accept(f"SV{number}", name=name)
    return services.lodge_vouchers(scheme=scheme, on=NOW, by=by)


def rows_of(document):
    with document.file.open("rb") as file:
        return list(csv.reader(io.StringIO(file.read().decode("utf-8-sig"))))


def answered(claim, *rows, heads=HEADS):
    """The claim's own file with what the department wrote beside some of its rows: `(row, paid, outcome, reason)`."""
    sent = rows_of(claim.files.get(kind="sent"))[1:]
    file = io.StringIO()
    writer = csv.writer(file)
    writer.writerow(heads)
    for place, *said in rows:
        writer.writerow([*sent[place], *said])
    return file.getvalue().encode()


def first_of(claim):
    return claim.vouchers.order_by("pk").first()


def states(claim):
    return [each.state for each in Voucher.objects.filter(lodgement__scheme=claim.scheme).order_by("pk")]


class TestTheClaimByItsTemplate:
    def test_a_claim_makes_the_departments_file_which_is_kept_and_numbered(self, claim):
        kept = claim.files.get()
        heads, first, *_, last = rows_of(kept)
        family, reference = first_of(claim).person.family_name, reference_of(first_of(claim))
        assert heads == HEADS[:9], "what comes with the answer alone is not in the claim"
        assert first == ["Ada", family, "09/03/2014", "SV1", "P-4471", "80.00", "80.00", reference, ""]
        assert last[0] == "'=Cy", "no name becomes a formula; CWE-1236"
        assert (str(kept), kept.rows, kept.amount) == (f"Claim {claim.pk}-1", 3, as_amount(240))
        with kept.file.open("rb") as file:
            assert kept.file_digest == hashlib.sha256(file.read()).hexdigest()
        assert sound()

    def test_a_workbook_holds_days_and_amounts_as_such(self, accept, by):
        scheme = lay_out(factories.scheme(name="Workbook voucher"), claims_as="xlsx")
        accept("W1", of=scheme, name="=Cy")
        claim = services.lodge_vouchers(scheme=scheme, on=NOW, by=by)
        with claim.files.get().file.open("rb") as file:
            _, row = load_workbook(io.BytesIO(file.read())).active.iter_rows()
        assert (row[2].value, row[2].number_format) == (datetime(2014, 3, 9), "dd/mm/yyyy")
        assert (row[5].value, row[0].value, row[0].data_type) == (80, "=Cy", "s")

    def test_without_a_template_there_is_no_file_until_it_is_laid_out(self, accept, by):
        scheme = factories.scheme(name="Plain voucher")
        accept("P1", of=scheme)
        claim = services.lodge_vouchers(scheme=scheme, on=NOW, by=by)
        with pytest.raises(Refused, match="Lay out the columns of the department’s template on the page of Plain"):
            services.make_claim_file(lodgement=claim, on=NOW, by=by)
        lay_out(scheme)
        first, again = (services.make_claim_file(lodgement=claim, on=NOW, by=by) for _ in range(2))
        assert (first, first.number) == (again, 1)

    def test_what_was_sent_stays_and_what_changed_gets_the_next_number(self, claim, by):
        before = rows_of(claim.files.get())
        services.unlodge_voucher(voucher=first_of(claim), by=by)
        second = services.make_claim_file(lodgement=claim, on=LATER, by=by)
        assert (second.number, second.rows, rows_of(second)[1:]) == (2, 2, before[2:])
        assert rows_of(claim.files.get(number=1)) == before
        with pytest.raises(IntegrityError, match="stays as it was sent"), transaction.atomic():
            ClaimFile.objects.filter(pk=second.pk).update(file="evidence/other")
        with pytest.raises(IntegrityError, match="keeps what the ledger says"), transaction.atomic():
            ClaimFile.objects.filter(pk=second.pk).update(file_digest="0" * 64)
        assert sound()

    def test_a_claim_that_became_empty_has_no_file_to_make(self, claim, by):
        for voucher in claim.vouchers.all():
            services.unlodge_voucher(voucher=voucher, by=by)
        with pytest.raises(Refused, match="No voucher is left in"):
            services.make_claim_file(lodgement=claim, on=NOW, by=by)

    @pytest.mark.parametrize(("sql", "sentence"), [
        ("UPDATE fees_claimcolumn SET text = '' WHERE holds = 'fixed'", "fees_claim_column_says_its_text"),
        ("UPDATE fees_claimcolumn SET text = 'x' WHERE holds = 'fee'", "fees_claim_column_says_its_text"),
        ("UPDATE fees_claimcolumn SET place = 61 WHERE holds = 'fee'", "fees_claim_column_within_a_sheet"),
        ("UPDATE fees_claimcolumn SET heading = 'DOB' WHERE holds = 'fee'", "heading"),
    ])  # fmt: skip
    def test_a_template_that_cannot_be_is_refused(self, scheme, sql, sentence):
        with pytest.raises(IntegrityError, match=sentence), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(sql)


class TestTheAnswerFromAFile:
    def test_it_is_taken_voucher_by_voucher_and_kept(self, claim, by):
        content = answered(claim, (0, "80.00", "Paid", ""), (1, "$60.00", "", ""), (2, "", "Rejected", "used"))
        taken = services.take_answer(lodgement=claim, content=content, on=LATER, by=by)
        assert states(claim) == ["paid", "paid", "refused"]
        assert [str(each.amount.amount) for each in Voucher.objects.order_by("pk")] == ["80.00", "60.00", "80.00"]
        assert (str(taken), taken.rows, taken.amount) == (f"Answer {claim.pk}-1", 3, as_amount(140))
        assert (balance(Role.BANK, LATER), balance(Role.VOUCHERS_OWED, LATER)) == (140, 0)
        assert Voucher.objects.get(state="refused").end_reason == "used"
        assert sound()

    def test_read_again_it_changes_nothing(self, claim, by):
        content = answered(claim, (0, "80.00", "", ""), (1, "", "Rejected", ""))
        first = services.take_answer(lodgement=claim, content=content, on=LATER, by=by)
        assert services.take_answer(lodgement=claim, content=content, on=LATER, by=by) == first
        other = answered(claim, (0, "80.00", "", ""))
        with pytest.raises(Refused, match="Nothing in this file is new"):
            services.take_answer(lodgement=claim, content=other, on=LATER, by=by)
        assert (ClaimFile.objects.filter(kind="answer").count(), balance(Role.BANK, LATER)) == (1, 80)
        rest = answered(claim, (0, "80.00", "", ""), (1, "", "Rejected", ""), (2, "80.00", "Approved", ""))
        services.take_answer(lodgement=claim, content=rest, on=LATER, by=by)
        assert (states(claim), balance(Role.BANK, LATER)) == (["paid", "refused", "paid"], 160)
        assert sound()

    def test_good_rows_are_taken_and_the_others_come_back_with_the_reason(self, claim, by):
        content = answered(claim, (0, "80.00", "", ""), (1, "80.01", "", ""), (2, "80.00", "Pending", ""))
        with pytest.raises(Refused) as refusal:
            services.take_answer(lodgement=claim, content=content, on=LATER, by=by)
        assert "row 3: $80.00 was claimed; $80.01 cannot be paid for it." in refusal.value.messages
        assert balance(Role.BANK, LATER) == 0
        services.take_answer(lodgement=claim, content=content, on=LATER, by=by, only_good=True)
        assert (states(claim), balance(Role.BANK, LATER)) == (["paid", "lodged", "lodged"], 80)
        answer = read_answer(claim, content)
        left = as_file(answer, answer.faulty)
        told = list(csv.reader(io.StringIO(left.decode("utf-8-sig"))))
        assert [row[-1][:22] for row in told] == [
            "why it was not taken",
            "$80.00 was claimed; $8",
            "“Pending” is no word f",
        ]
        right = left.replace(b"80.01", b"79.00").replace(b"Pending", b"Paid")
        services.take_answer(lodgement=claim, content=right, on=LATER, by=by)
        assert (states(claim), balance(Role.BANK, LATER)) == (["paid", "paid", "paid"], 239)
        assert sound()

    @pytest.mark.parametrize(("said", "fault"), [
        (("0", "", ""), "was paid nothing, and no reason"),
        (("-5.00", "", ""), "below zero"),
        (("85,5", "", ""), "comma where a point"),
        (("80.00", "Rejected", ""), "do not go together"),
        (("0.00", "Paid", ""), "do not go together"),
        (("80.00", "In review", ""), "no word for paid or refused"),
    ])  # fmt: skip
    def test_a_row_that_cannot_be_right_says_why(self, claim, said, fault):
        (row,) = read_answer(claim, answered(claim, (0, *said))).rows
        assert fault in row.fault

    @pytest.mark.parametrize(("said", "paid", "reason"), [
        (("", "", ""), None, ""), (("", "Paid", ""), 80, ""), (("", " approved ", "thanks"), 80, ""),
        (("0.00", "Rejected", ""), None, "Rejected"), (("0", "", "not eligible"), None, "not eligible"),
        (("", "", "not eligible"), None, "not eligible"), (("AUD 80", "", "ok"), 80, ""),
    ])  # fmt: skip
    def test_what_was_paid_or_why_not(self, claim, said, paid, reason):
        (row,) = read_answer(claim, answered(claim, (0, *said))).rows
        assert (row.fault, row.paid, row.reason) == ("", as_amount(paid) if paid else None, reason)

    def test_a_row_is_known_by_reference_else_key_else_child(self, claim):
        first = first_of(claim)
        child = first.person
        for heads, cells in (
            (("Amount paid", "Your ref"), ("80", f"v{first.pk}")),
            (("VOUCHER NO", "Amount paid"), (" sv 1", "80")),
            (("Surname", "First name", "DOB", "Amount paid"), (child.family_name, "ada", "9.3.2014", "80")),
        ):
            file = io.StringIO()
            csv.writer(file, delimiter=";").writerows([("Report of the department",), heads, cells, ("Total",)])
            answer = read_answer(claim, file.getvalue().encode("cp1252"))
            assert [(row.number, row.voucher, row.fault) for row in answer.rows] == [(3, first, "")]
            assert len(answer.unanswered) == 2

    def test_a_file_sorted_column_by_column_is_noticed(self, claim):
        sent = rows_of(claim.files.get())[1:]
        mixed = answered(claim, (0, "80", "", "")).decode().replace("Ada", sent[1][0])
        (row,) = read_answer(claim, mixed.encode()).rows
        assert "the row names Bo" in row.fault
        twice = read_answer(claim, answered(claim, (0, "80", "", ""), (0, "80", "", "")))
        assert [row.fault for row in twice.rows] == ["", "this voucher stands in row 2 too."]
        other = answered(claim, (0, "80", "", "")).replace(reference_of(first_of(claim)).encode(), b"V999")
        assert read_answer(claim, other).rows[0].fault == "no voucher of this claim is V999."

    def test_what_the_book_has_otherwise_is_pointed_out(self, claim, by):
        services.take_answer(
            lodgement=claim, content=answered(claim, (0, "80", "", ""), (1, "", "Rejected", "")), on=LATER, by=by
        )
        answer = read_answer(claim, answered(claim, (0, "70", "", ""), (1, "80", "", ""), (2, "", "", "")))
        assert [row.fault for row in answer.rows] == [
            "the book has it as paid, $80.00.", "the book has it as refused: Rejected.", "",
        ]  # fmt: skip
        assert [row.what for row in answer.rows][-1] == "no answer yet"

    def test_two_vouchers_by_one_number_of_a_child_need_the_clubs_reference(self, accept, by):
        scheme = lay_out(ten.SA_2025.entered(), TEMPLATE[:7] + TEMPLATE[8:])
        child = factories.PersonFactory(birth_date=date(2014, 3, 9))
        number = "21234567111"
        number = next(each for each in (f"{number[:8]}{digit}11" for digit in range(10)) if _holds(scheme, each))
        for _ in range(2):
            accept(number, of=scheme, child=child)
        claim = services.lodge_vouchers(scheme=scheme, on=NOW, by=by)
        heads = [heading for heading in HEADS if heading != "Your ref"]
        (row,) = read_answer(claim, answered(claim, (0, "80", "", ""), heads=heads)).rows
        assert "2 vouchers of this claim are known by this; add a column for the club’s own reference" in row.fault

    def test_a_file_without_the_columns_of_the_template_is_refused_whole(self, claim, scheme):
        with pytest.raises(Refused, match="No row of the file heads its columns as the template"):
            read_answer(claim, b"a,b\n1,2\n")
        with pytest.raises(Refused, match="The file is empty"):
            read_answer(claim, b"\n\n")
        scheme.claim_columns.filter(in_claim=False).delete()
        with pytest.raises(Refused, match="which columns of the department’s file hold its answer"):
            read_answer(claim, answered(claim, (0, "80", "", "")))

    def test_a_workbook_in_which_numbers_lost_their_zeros_is_read(self, accept, scheme, by):
        accept("0042")
        claim = services.lodge_vouchers(scheme=scheme, on=NOW, by=by)
        book, file = Workbook(), io.BytesIO()
        book.active.append(["Voucher no.", "DOB", "Amount paid"])
        book.active.append([42, date(2014, 3, 9), 80])
        book.save(file)
        services.take_answer(lodgement=claim, content=file.getvalue(), on=LATER, by=by)
        assert (states(claim), balance(Role.BANK, LATER)) == (["paid"], 80)


def _holds(scheme, number):
    return digit_holds(scheme.check_digit, scheme.check_weights, number)


class TestNumbersAreErased:
    def test_the_files_go_with_a_number_that_is_erased(self, accept, by):
        scheme = lay_out(ten.SA_2025.entered())
        child = factories.PersonFactory(birth_date=date(2014, 3, 9))
        number = next(each for each in (f"2123456{n:04}" for n in range(10000)) if _holds(scheme, each))
        accept(number, of=scheme, child=child)
        claim = services.lodge_vouchers(scheme=scheme, on=NOW, by=by)
        content = answered(claim, (0, "80", "", ""))
        services.take_answer(lodgement=claim, content=content, on=NOW, by=by)
        paths = [each.file.path for each in ClaimFile.objects.all()]
        nightly(on=NOW + timedelta(days=scheme.key_kept_days + 1), by=by)
        gone = ClaimFile.objects.order_by("kind")
        assert [(each.kind, bool(each.file), bool(each.erased_on), len(each.file_digest)) for each in gone] == [
            ("answer", False, True, 64), ("sent", False, True, 64),
        ]  # fmt: skip
        assert len(paths) == 2
        assert not any(_stands(path) for path in paths)
        with pytest.raises(Refused, match="A number in .* was erased"):
            services.make_claim_file(lodgement=claim, on=LATER, by=by)
        with pytest.raises(IntegrityError, match="does not come back"), transaction.atomic():
            gone.update(erased_on=None, file="evidence/x")
        assert sound()


def _stands(path):
    return Path(path).exists()


class TestThePages:
    def test_the_treasurer_lays_out_sends_looks_and_takes(self, client, claim, treasurer, auditor):
        clock.set_today(LATER)
        client.force_login(treasurer)
        page = client.get(reverse("admin:fees_lodgement_change", args=[claim.pk])).content.decode()
        kept = claim.files.get()
        url = reverse("admin:lodgement_answer_file", args=[claim.pk])
        assert (reverse("admin:claim_file", args=[kept.pk]) in page, url in page) == (True, True)
        given = client.get(reverse("admin:claim_file", args=[kept.pk]))
        assert b"SV1" in b"".join(given.streaming_content)
        assert "no-store" in given["Cache-Control"]
        content = answered(claim, (0, "80.00", "", ""), (1, "99.00", "", ""))
        told = client.post(url, {"file": io.BytesIO(content)}).content.decode()
        assert "$99.00 cannot be paid for it" in told
        assert balance(Role.BANK, LATER) == 0, "looking writes nothing"
        sent = {"content": _hidden(told, "content"), "key": str(uuid.uuid4()), "on": "2026-10-03"}
        left = client.post(url, sent | {"take": "left"}).content.decode()
        assert "$99.00 cannot be paid" in left
        assert client.post(url, sent).status_code == 422, "not while a row is wrong"
        done = client.post(url, sent | {"take": "good"}, follow=True).content.decode()
        assert "1 paid, $80.00" in done
        assert (states(claim), balance(Role.BANK, LATER)) == (["paid", "lodged", "lodged"], 80)
        client.force_login(auditor)
        assert client.get(reverse("admin:claim_file", args=[kept.pk])).status_code == 403
        assert client.get(url).status_code == 403
        looked = client.get(reverse("admin:fees_lodgement_change", args=[Lodgement.objects.first().pk]))
        assert reverse("admin:claim_file", args=[kept.pk]) not in looked.content.decode()

    def test_the_columns_are_entered_on_the_page_of_the_scheme(self, client, treasurer, book):
        scheme = factories.scheme()
        client.force_login(treasurer)
        page = client.get(reverse("admin:fees_voucherscheme_change", args=[scheme.pk])).content.decode()
        assert "Columns of the department’s own template" in page
        assert 'name="claim_columns-__prefix__-heading"' in page

    @pytest.mark.parametrize("content", [b"", b"\0\0", b"PK\x03\x04 nothing", b"a,b\n"])
    def test_a_file_that_cannot_be_read_is_answered_in_a_sentence(self, client, claim, treasurer, content):
        client.force_login(treasurer)
        answer = client.post(reverse("admin:lodgement_answer_file", args=[claim.pk]), {"file": io.BytesIO(content)})
        assert (answer.status_code, "error" in answer.content.decode()) == (422, True)


def _hidden(page, name):
    return page.split(f'name="{name}" value="')[1].split('"')[0]
