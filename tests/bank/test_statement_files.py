"""Statements brought in: each line once, whatever file it comes by; columns kept; nothing half saved."""

import io
import uuid
from datetime import date
from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.urls import reverse
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clubdesk.bank import services
from clubdesk.bank.models import BankAccount, StatementImport, StatementLine
from clubdesk.errors import Refused
from clubdesk.ledger.invariants import check_all
from clubdesk.money import as_amount
from tests.bank.test_reading import OFX_LINES, camt, ofx_sgml, ofx_xml

pytestmark = pytest.mark.django_db
SEPTEMBER = (
    b"Date,Details,Amount,Balance\n12/09/2026,MIRABAR I,60.00,1560.00\n14/09/2026,PAYMENT RUN 1,-125.50,1434.50\n"
)


@pytest.fixture
def account(book):
    return BankAccount.objects.get()


@pytest.fixture
def bring(account, by):
    def brought(content, **more):
        return services.import_statement(bank_account=account, content=content, file_name="a", by=by, **more)

    return brought


def lines():
    return [(line.date, line.amount.amount, line.text) for line in StatementLine.objects.order_by("date", "pk")]


def test_a_file_brings_its_lines_and_posts_nothing(bring):
    document = bring(SEPTEMBER)
    assert (document.brought, document.known) == (2, 0)
    assert (document.opening, document.closing) == (as_amount(1500), as_amount("1434.50"))
    assert [text for *_, text in lines()] == ["MIRABAR I", "PAYMENT RUN 1"]
    assert [result for result in check_all() if result.faults] == []


def test_a_long_name_of_a_file_is_kept_from_its_end(account, by):
    name = f"{'x' * 130}.csv"
    found = services.import_statement(bank_account=account, content=SEPTEMBER, file_name=name, by=by)
    assert found.file_name == f"{'x' * 116}.csv"


def test_the_same_file_again_brings_nothing(bring):
    bring(SEPTEMBER)
    again = bring(SEPTEMBER)
    assert (again.brought, again.known) == (0, 2)
    assert len(lines()) == 2


def test_a_press_of_the_button_again_writes_one_document(bring):
    key = uuid.uuid4()
    assert bring(SEPTEMBER, key=key) == bring(SEPTEMBER, key=key)
    assert StatementImport.objects.count() == 1


def test_files_that_overlap_bring_each_line_once(bring):
    bring(SEPTEMBER)
    longer = SEPTEMBER + b"15/09/2026,FEE,-2.00,1432.50\n"
    assert (bring(longer).brought, len(lines())) == (1, 3)


def test_two_true_payments_alike_on_one_day_are_two_lines(bring):
    twice = b"12/09/2026,QUOLL,5.00,105.00\n12/09/2026,QUOLL,5.00,110.00\n13/09/2026,FEE,-1.00,109.00\n"
    assert bring(twice).brought == 3
    assert bring(twice).brought == 0
    half = b"12/09/2026,QUOLL,5.00,105.00\n"
    assert bring(half).brought == 0
    assert len(lines()) == 3


def test_the_same_lines_by_another_kind_of_file_come_once(bring):
    assert bring(SEPTEMBER).brought == 2
    for content in (ofx_sgml(), ofx_xml(), camt()):
        assert bring(content).brought == 0
    assert len(lines()) == 2


def test_the_banks_own_number_tells_alike_payments_apart_but_not_twice(bring):
    alike = [("20260912", "5.00", "X1", "QUOLL", ""), ("20260912", "5.00", "X2", "QUOLL", "")]
    assert bring(ofx_sgml(alike)).brought == 2
    assert bring(ofx_sgml(alike[1:])).brought == 0
    assert bring(ofx_sgml([*OFX_LINES, *alike])).brought == 2


def test_a_statement_missing_between_two_is_named(bring):
    bring(camt())
    later = camt([("2026-11-02", "10.00", "CRDT", "B1", "QUOLL", "")], opening="1400.00", closing="1410.00")
    assert bring(later).note == (
        "The statement to 14 Sep 2026 closed with $1,434.50 and this one opens with $1,400.00: "
        "one in between is missing."
    )


def test_the_account_keeps_the_columns_of_its_file(bring, account):
    bring(SEPTEMBER)
    account.refresh_from_db()
    assert account.csv_mapping["amount"] == 2
    with pytest.raises(Refused, match="row 2: 2 columns where 4 are needed"):
        bring(b"Date,Details,Amount,Balance\n15/09/2026,FEE\n")


def test_a_broken_file_saves_nothing(bring):
    with pytest.raises(Refused, match=r"the balance jumps by \$1.00"):
        bring(SEPTEMBER.replace(b"1434.50", b"1435.50"))
    assert not StatementImport.objects.exists()
    assert not StatementLine.objects.exists()


rows = st.lists(
    st.tuples(st.integers(1, 5), st.sampled_from([500, -200, 725]), st.sampled_from(["QUOLL", "FEE"])), min_size=1,
    max_size=12,
)  # fmt: skip


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(made=rows, cut=st.integers(0, 5), other=st.integers(0, 5))
def test_days_brought_in_any_parts_and_order_are_the_days_of_one_file(bring, made, cut, other):
    """Whole days in several files, some of them twice, come to the same lines as one file with all of them."""
    from django.db import transaction

    made = sorted(made, key=lambda row: row[0])

    def file_of(chosen):
        return "".join(f"{day:02}/09/2026,{words},{cents / 100:.2f}\n" for day, cents, words in chosen).encode()

    with transaction.atomic():
        for part in (
            [row for row in made if row[0] > cut],
            [row for row in made if row[0] <= cut],
            [row for row in made if row[0] >= other],
        ):
            if part:
                bring(file_of(part))
        found = sorted((day.day, int(amount * 100), text) for day, amount, text in lines())
        transaction.set_rollback(True)
    assert found == sorted(made)


class TestTheCommand:
    def run(self, tmp_path, content, *options):
        path = tmp_path / "september.csv"
        path.write_bytes(content)
        out = io.StringIO()
        call_command("import_statement", str(path), "--account", "1010", *options, stdout=out)
        return out.getvalue()

    def test_it_brings_a_file_in(self, account, tmp_path):
        assert "2 lines imported" in self.run(tmp_path, SEPTEMBER)
        assert "0 lines imported" in self.run(tmp_path, SEPTEMBER)

    def test_a_dry_run_saves_nothing(self, account, tmp_path):
        assert "2 lines would be imported" in self.run(tmp_path, SEPTEMBER, "--dry-run")
        assert not StatementLine.objects.exists()

    def test_each_fault_is_a_line_and_the_status_one(self, account, tmp_path, capsys):
        broken = SEPTEMBER + b"31/02/2026,A,1.00,1.00\nx,B,2.00,1.00\n"
        with pytest.raises(SystemExit) as ended:
            self.run(tmp_path, broken)
        assert ended.value.code == 1
        assert [line[:6] for line in capsys.readouterr().err.splitlines()] == ["row 4:", "row 5:"]
        assert not StatementLine.objects.exists()

    def test_an_unknown_account_is_refused(self, account, tmp_path, capsys):
        Path(tmp_path / "a").write_bytes(SEPTEMBER)
        with pytest.raises(SystemExit, match="1"):
            call_command("import_statement", str(tmp_path / "a"), "--account", "9999")
        assert "No bank account has the code 9999." in capsys.readouterr().err


class TestThePage:
    @pytest.fixture
    def page(self, client, treasurer, account):
        client.force_login(treasurer)

        def sent(file=None, **fields):
            form = {"bank_account": account.pk, **fields}
            if file is not None:
                form["file"] = SimpleUploadedFile("september.csv", file)
            return client.post(reverse("admin:import_statement"), form)

        return sent

    def confirmed(self, response, **changed):
        context = response.context
        chosen = {
            name: "" if value is None else value
            for name, value in (context["columns"].initial if context["columns"] else {}).items()
            if name in context["columns"].fields
        }
        return (
            {"content": context["content"], "key": str(context["key"]), "file_name": "september.csv"} | chosen | changed
        )

    def test_its_lines_are_seen_before_anything_is_saved_and_then_brought_in(self, page):
        seen = page(SEPTEMBER)
        assert "2 new lines, 0 known before" in seen.content.decode()
        assert not StatementLine.objects.exists()
        assert page(**self.confirmed(seen)).status_code == 302
        assert len(lines()) == 2

    def test_columns_put_right_show_the_lines_anew(self, page):
        american = b"09/12/2026,MIRABAR,60.00\n09/11/2026,QUOLL,5.00\n"
        seen = page(american)
        assert seen.context["plan"].fresh[0].date == date(2026, 11, 9)
        again = page(**self.confirmed(seen, dates="month first", show="1"))
        assert again.context["plan"].fresh[0].date == date(2026, 9, 11)
        assert page(**self.confirmed(again)).status_code == 302
        assert [day for day, *_ in lines()] == [date(2026, 9, 11), date(2026, 9, 12)]

    def test_a_file_of_another_shape_is_proposed_anew(self, page, account, by):
        services.import_statement(bank_account=account, content=SEPTEMBER, file_name="a", by=by)
        other = b"Balance;Words;Day;Sum\n1.440,50;QUOLL;2026-09-16;6,00\n1.445,50;QUOLL;2026-09-17;5,00\n"
        seen = page(other)
        assert [line.amount for line in seen.context["plan"].fresh] == [6, 5]
        assert page(**self.confirmed(seen)).status_code == 302

    def test_wrong_columns_are_told_and_can_be_put_right(self, page):
        seen = page(SEPTEMBER)
        wrong = page(**self.confirmed(seen, amount="1", show="1"))
        assert wrong.status_code == 422
        assert "Row 2: “MIRABAR I” is not an amount." in wrong.content.decode()
        assert "Which column" not in wrong.content.decode()
        none = page(**self.confirmed(seen, amount="", show="1"))
        assert "Say which column is the amount" in none.content.decode()

    @pytest.mark.parametrize(
        ("content", "sentence"),
        [(b"", "empty"), (b"%PDF-1.7", "no statement that can be read"), (b"<x>", "broken, cut off"),
         (ofx_sgml()[:-30], "broken or cut off"), (b"a" * 1_600_000, "from the shell"),
         (b"hello,there\n", "No column of dates")],
    )  # fmt: skip
    def test_what_cannot_be_read_is_told_in_a_sentence(self, page, content, sentence):
        response = page(content)
        assert response.status_code == 422
        assert sentence in response.content.decode()

    def test_a_file_spoilt_on_the_way_is_told(self, page):
        for spoilt in ("!!", "x"):
            response = page(content=spoilt, file_name="a", key=str(uuid.uuid4()))
            assert response.status_code == 422
            assert "The file did not come through whole; choose it again." in response.content.decode()
