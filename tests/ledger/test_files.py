"""Charts and journals from CSV files: the published example to the cent, and every bad row by name."""

import json
from datetime import date
from decimal import Decimal

import pytest
from django.core.management import call_command

from clubdesk.errors import Refused
from clubdesk.ledger import selectors, services
from clubdesk.ledger.files import rows_below
from clubdesk.ledger.models import Account, JournalEntry, Role

pytestmark = pytest.mark.django_db

HEADER = "entry,date,narration,account,fund,debit,credit\n"

# Source: OpenStax, Principles of Accounting, Volume 1: Financial Accounting, sections 3.5 and 3.6, the
# "Printing Plus" example of January 2019. The codes are ours; the source has none.
PRINTING_PLUS_CHART = """code,name,kind,role
9010,Cash,asset,
9020,Accounts receivable,asset,
9030,Supplies,asset,
9040,Equipment,asset,
9050,Accounts payable,liability,
9060,Unearned revenue,liability,
9070,Common stock,equity,
9080,Dividends,equity,
9090,Service revenue,income,
9100,Salaries,expense,
9110,Utilities,expense,
"""
PRINTING_PLUS = [
    (3, "shares issued for cash", "9010", "9070", 20000),
    (5, "equipment bought on account", "9040", "9050", 3500),
    (9, "cash received in advance", "9010", "9060", 4000),
    (10, "services billed", "9020", "9090", 5500),
    (12, "utilities paid", "9110", "9010", 300),
    (14, "dividend paid", "9080", "9010", 100),
    (17, "cash for services", "9010", "9090", 2800),
    (18, "equipment paid for", "9050", "9010", 3500),
    (20, "salaries paid", "9100", "9010", 3600),
    (23, "the customer billed on the 10th pays", "9010", "9020", 5500),
    (27, "services billed", "9020", "9090", 1200),
    (30, "supplies on account", "9030", "9050", 500),
]
PRINTING_PLUS_TRIAL_BALANCE = {
    "Cash": ("24800.00", "0.00"),
    "Accounts receivable": ("1200.00", "0.00"),
    "Supplies": ("500.00", "0.00"),
    "Equipment": ("3500.00", "0.00"),
    "Accounts payable": ("0.00", "500.00"),
    "Unearned revenue": ("0.00", "4000.00"),
    "Common stock": ("0.00", "20000.00"),
    "Dividends": ("100.00", "0.00"),
    "Service revenue": ("0.00", "9500.00"),
    "Salaries": ("3600.00", "0.00"),
    "Utilities": ("300.00", "0.00"),
}


def written(tmp_path, text, name="journal.csv"):
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return str(path)


def refused(capsys, *command):
    """The sentences on standard error of a command that exits with status 1."""
    with pytest.raises(SystemExit) as stopped:
        call_command(*command)
    assert stopped.value.code == 1
    return capsys.readouterr().err.strip().splitlines()


@pytest.mark.world("empty")
def test_the_published_example_gives_its_published_trial_balance(db, tmp_path, capsys):
    call_command("start_books", club="Printing Plus", year_start="2019-01-01")
    call_command("import_chart", written(tmp_path, PRINTING_PLUS_CHART, "chart.csv"))
    rows = [
        f"{number},2019-01-{day:02d},{text},{account},,{debit},{credit}"
        for number, (day, text, debited, credited, amount) in enumerate(PRINTING_PLUS)
        for account, debit, credit in ((debited, amount, ""), (credited, "", amount))
    ]
    call_command("import_journal", written(tmp_path, HEADER + "\n".join(rows)))
    capsys.readouterr()
    call_command("trial_balance", as_at="2019-01-31", format="json")
    trial = json.loads(capsys.readouterr().out)
    assert {row["name"]: (row["debit"], row["credit"]) for row in trial["accounts"]} == PRINTING_PLUS_TRIAL_BALANCE
    assert (trial["as_at"], trial["total_debit"], trial["total_credit"]) == ("2019-01-31", "34000.00", "34000.00")
    call_command("check_books")


GOOD = "1,2026-07-05,Raffle,1010,,10.00,\n1,2026-07-05,Raffle,4060,,,10.00\n"


@pytest.mark.parametrize(
    ("rows", "sentences"),
    [
        ("1,2026-07-05,Raffle,1999,,10,\n1,2026-07-05,Raffle,4060,,,10\n", ["row 2: the account “1999” is not"]),
        ("1,2026-07-05,Raffle,1010,,10,10\n1,2026-07-05,Raffle,4060,,,10\n", ["row 2: fill either debit or credit"]),
        ("1,2026-07-05,Raffle,1010,,,\n1,2026-07-05,Raffle,4060,,,10\n", ["row 2: fill either debit or credit"]),
        ("1,2026-07-05,Raffle,1010,,-10,\n1,2026-07-05,Raffle,4060,,,10\n", ["row 2: “-10” is not an amount"]),
        ("1,2026-07-05,Raffle,1010,,10.005,\n1,2026-07-05,Raffle,4060,,,10\n", ["row 2: “10.005” is not an amount"]),
        ("1,2026-07-05,Raffle,1010,,1e3,\n1,2026-07-05,Raffle,4060,,,1000\n", ["row 2: “1e3” is not an amount"]),
        ("1,2026-07-05,Raffle,1010,,0,\n1,2026-07-05,Raffle,4060,,,10\n", ["row 2: an amount of 0.00"]),
        ("1,2026-07-05,Raffle,1010,,10,\n1,2026-07-05,Raffle,4060,,,9\n", ["row 2: entry 1 does not balance: 1"]),
        ("1,2027-07-05,Raffle,1010,,10,\n1,2027-07-05,Raffle,4060,,,10\n", ["row 2: no financial year", "row 3: no"]),
        ("1,5/7/2026,Raffle,1010,,10,\n1,2026-07-05,Raffle,4060,,,10\n", ["row 2: “5/7/2026” is not a date"]),
        ("1,2026-02-30,Raffle,1010,,10,\n1,2026-07-05,R,4060,,,10\n", ["row 2: “2026-02-30” is not a day of the"]),
        ("1,2026-07-05,Raffle,1100,,10,\n1,2026-07-05,Raffle,4060,,,10\n", ["row 2: 1100 Fees owed needs to say who"]),
        ("1,2026-07-05,Raffle,1010,moon,10,\n1,2026-07-05,Raffle,4060,,,10\n", ["row 2: the fund “moon” is unknown"]),
        ("1,2026-07-05,,1010,,10,\n1,2026-07-05,,4060,,,10\n", ["row 2: entry 1 has no narration"]),
        (",2026-07-05,Raffle,1010,,10,\n", ["row 2: the entry column is blank"]),
        ("1,2026-07-05,Raffle,1010,,10\n", ["row 2: 6 columns where 7 are needed"]),
        ("1,2026-07-05,Raffle,1010,,10,\n1,2026-07-06,Raffle,4060,,,10\n", ["row 3: entry 1 has two dates"]),
        (
            "1,2026-07-05,Refund,5010,entry,10,\n1,2026-07-05,Refund,1010,entry,,10\n",
            ["row 2: Entry fund holds $0.00; this would take $10.00"],
        ),
    ],
)
def test_a_bad_row_is_named_and_nothing_is_saved(book, tmp_path, capsys, rows, sentences):
    good = GOOD.replace("1,2026", "good,2026", 1).replace("\n1,", "\ngood,")
    said = refused(capsys, "import_journal", written(tmp_path, HEADER + rows + good))
    assert len(said) == len(sentences)
    assert all(line.startswith(sentence) for line, sentence in zip(said, sentences, strict=True))
    assert not JournalEntry.objects.exists()


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "row 1: the file is empty"),
        (HEADER.encode(), "row 1: there is nothing below the header"),
        (b"a,b\n1,2\n", "row 1: the header must be entry,date"),
        (HEADER.encode() + b"1,2026-07-05,Caf\xe9,1010,,10,\n", "row 2: the file is not UTF-8"),
        (HEADER.encode() + b"1,2026-07-05,\x00,1010,,10,\n", "row 1: the file holds binary data"),
        (HEADER.encode() + b'1,2026-07-05,"open,1010,,10,\n', "row 2: the row cannot be read as CSV"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_in_a_sentence(book, tmp_path, capsys, content, sentence):
    assert refused(capsys, "import_journal", written(tmp_path, content))[0].startswith(sentence)


def test_rows_in_a_closed_year_or_a_locked_month_are_named(book, by, tmp_path, capsys):
    services.lock_month(month_end=date(2026, 7, 31), reason="a test", by=by)
    said = refused(capsys, "import_journal", written(tmp_path, HEADER + GOOD))
    assert said == ["row 2: 2026-07-05 is in a locked month.", "row 3: 2026-07-05 is in a locked month."]
    services.lock_month(month_end=date(2027, 6, 30), reason="a test", by=by)
    services.close_year(year=selectors.year_ending(2027), by=by, on=date(2027, 7, 1))
    said = refused(capsys, "import_journal", written(tmp_path, HEADER + GOOD))
    assert said == ["row 2: 2026-07-05 is in a closed year.", "row 3: 2026-07-05 is in a closed year."]


def test_the_first_and_the_last_day_of_a_year_are_in_it(book, tmp_path):
    for number, day in enumerate(("2026-07-01", "2027-06-30"), 1):
        rows = GOOD.replace("1,2026-07-05", f"{number},{day}")
        call_command("import_journal", written(tmp_path, HEADER + rows, f"{number}.csv"))
    assert set(JournalEntry.objects.values_list("date", flat=True)) == {date(2026, 7, 1), date(2027, 6, 30)}


def test_a_file_is_read_once(book, tmp_path, capsys):
    path = written(tmp_path, HEADER + GOOD)
    call_command("import_journal", path)
    assert "imported already" in refused(capsys, "import_journal", path)[0]
    assert JournalEntry.objects.count() == 1


def test_a_dry_run_says_what_it_would_do_and_saves_nothing(book, tmp_path, capsys):
    call_command("import_journal", written(tmp_path, HEADER + GOOD), "--dry-run")
    assert "1 entries would be posted" in capsys.readouterr().out
    assert not JournalEntry.objects.exists()


def test_a_missing_file_is_said_in_a_sentence(book, capsys):
    assert "nowhere.csv cannot be used" in refused(capsys, "import_journal", "nowhere.csv")[0]


def test_the_chart_may_be_renumbered_and_roles_moved(book, tmp_path):
    call_command("import_chart", written(tmp_path, "code,name,kind,role\n1015,Society account,asset,bank\n"))
    assert selectors.account(Role.BANK).code == "1015"
    assert Account.objects.get(code="1010").role is None


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        ("10,Bank,asset,", "row 2: the code “10” is not four digits."),
        ("1010,,asset,", "row 2: the name is missing."),
        ("1010,Bank,money,", "row 2: the kind “money” is none of"),
        ("1010,Bank,asset,vault", "row 2: the role “vault” is unknown."),
        ("1010,Bank,asset,\n1010,Bank,asset,", "row 3: the code “1010” stands in an earlier row too."),
    ],
)
def test_a_bad_chart_row_is_named(book, tmp_path, capsys, row, sentence):
    said = refused(capsys, "import_chart", written(tmp_path, f"code,name,kind,role\n{row}\n"))
    assert said[0].startswith(sentence)


def test_an_account_that_was_posted_to_keeps_its_kind(book, tmp_path, capsys):
    call_command("import_journal", written(tmp_path, HEADER + GOOD))
    said = refused(capsys, "import_chart", written(tmp_path, "code,name,kind,role\n1010,Bank,expense,\n", "c.csv"))
    assert said == [
        "row 2: 1010 Bank has been posted to and keeps its kind (asset).",
        "row 2: 1010 Bank has been posted to and keeps its role (bank).",
    ]
    said = refused(capsys, "import_chart", written(tmp_path, "code,name,kind,role\n1015,Bank,asset,bank\n", "c.csv"))
    assert said == ["row 2: 1010 Bank has been posted to and keeps the role “bank”."]


def test_a_column_stands_in_a_file_once():
    for header, sentence in ((["name", "phone", "name"], "a column stands there twice"), (["name", "fax"], "“fax”")):
        with pytest.raises(Refused, match=sentence):
            rows_below([(1, header), (2, ["x"] * len(header))], ["name"], ["phone"])
    assert rows_below([(1, ["phone", "name"]), (2, ["1", "Ada"])], ["name"], ["phone"])[0]["name"] == "Ada"


@pytest.mark.parametrize(
    "command",
    [
        ("trial_balance", "--as-at", "yesterday"),
        ("trial_balance", "--format", "poem"),
        ("treasurer_export", "2031", "--output", "x.xlsx"),
        ("treasurer_export", "soon", "--output", "x.xlsx"),
        ("treasurer_export", "2027", "--output", "x.doc"),
        ("treasurer_export", "2027", "--output", "/nowhere/x.xlsx"),
        ("start_books", "--club", "Again", "--year-start", "2026-07-01"),
        ("nightly", "--date", "31-12-2026"),
        ("check_books", "--format", "poem"),
        ("demo", "--no-serve"),
        ("demo", "--no-serve", "--today", "soon"),
        ("trial_balance", "--nonsense"),
        ("start_books", "--club", "No year"),
        ("import_chart",),
    ],
)
def test_a_wrong_command_says_one_sentence_and_exits_1(book, capsys, command):
    assert len(refused(capsys, *command)) == 1


@pytest.mark.world("empty")
@pytest.mark.parametrize("command", [("trial_balance",), ("check_books",), ("nightly",)])
def test_commands_on_an_empty_database_point_to_start_books(db, capsys, command):
    assert refused(capsys, *command) == ["No book has been started yet; run start_books first."]


def test_the_trial_balance_prints_as_a_table_and_as_csv(book, tmp_path, capsys):
    call_command("import_journal", written(tmp_path, HEADER + GOOD))
    capsys.readouterr()
    call_command("trial_balance", format="csv")
    assert capsys.readouterr().out == (
        "code,name,debit,credit\n1010,Bank,10.00,0.00\n4060,Donations and fundraising,0.00,10.00\n"
    )
    call_command("trial_balance")
    assert "Total" in capsys.readouterr().out
    assert selectors.balance(Role.BANK, date(2026, 7, 5)) == Decimal("10.00")
