"""What is sent or uploaded by whoever means ill or has the wrong file: a sentence, at once, and nothing is saved."""

import io
import time
import zipfile

import pytest
from django.test import Client
from django.urls import reverse
from openpyxl import Workbook
from PIL import Image
from pypdf import PdfReader, PdfWriter
from pypdf.generic import DictionaryObject, NameObject, TextStringObject

from clubdesk import paper
from clubdesk.bank import reading
from clubdesk.errors import Refused
from clubdesk.evidence import examine
from clubdesk.ledger.files import read_cells
from clubdesk.membership.rollfile import read_roll
from clubdesk.tables import Column, Table
from tests import factories

WIDE = ",".join(["2026-01-05"] * 200_000).encode()


def workbook(*rows, change=lambda sheet: sheet):
    """An XLSX file of these rows; `change` gets the XML of its sheet."""
    book, file, altered = Workbook(), io.BytesIO(), io.BytesIO()
    for row in rows:
        book.active.append(row)
    book.save(file)
    with zipfile.ZipFile(file) as source, zipfile.ZipFile(altered, "w", zipfile.ZIP_DEFLATED) as target:
        for name in source.namelist():
            content = source.read(name)
            target.writestr(name, change(content) if name == "xl/worksheets/sheet1.xml" else content)
    return altered.getvalue()


HEADER = ["household", "given_name", "family_name", "birth_date"]
ODO = ["Fuller", "Odo", "Fuller", "2015-03-09"]


def commented(sheet):
    return sheet.replace(b"<sheetData>", b"<!--" + b"x" * 40_000_000 + b"--><sheetData>")


def with_an_endless_tag(sheet):
    return sheet.replace(b"<sheetData>", b'<sheetData a="' + b"x" * 40_000_000 + b'">')


@pytest.mark.parametrize("change", [commented, with_an_endless_tag])
def test_a_workbook_that_would_keep_the_reader_busy_is_no_workbook(change):
    with pytest.raises(Refused, match="no workbook that can be read"):
        read_roll(workbook(HEADER, ODO, change=change))


def in_utf_16(sheet):
    return sheet.replace(b"<sheetData>", b"<!--" + b"x" * 9_000_000 + b"--><sheetData>").decode().encode("utf-16")


def with_entities(sheet):
    named = b"".join(b'<!ENTITY a%d "%s">' % (n, b"&a%d;" % (n - 1) * 10 if n else b"x") for n in range(10))
    start = sheet.index(b"<worksheet")
    told = sheet[:start] + b"<!DOCTYPE worksheet [" + named + b"]>" + sheet[start:]
    return told.replace(b"<sheetData>", b"<sheetData><row><c><v>&a9;</v></c></row>")


@pytest.mark.parametrize("change", [in_utf_16, with_entities])
def test_nor_is_one_that_hides_it_or_grows_by_itself(change):
    began = time.process_time()
    with pytest.raises(Refused, match="no workbook that can be read"):
        read_roll(workbook(HEADER, ODO, change=change))
    assert time.process_time() - began < 5 * a_roll_is_read_in() + 2


def a_roll_is_read_in():
    """Seconds of the processor for a roll of a thousand rows on this machine."""
    rows = [["Fuller", f"Odo{number}", "Fuller", "2015-03-09"] for number in range(1000)]
    content = workbook(HEADER, *rows)
    began = time.process_time()
    read_roll(content)
    return time.process_time() - began


def test_a_comment_in_any_part_of_a_workbook_is_found():
    content, altered = workbook(HEADER, ODO), io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as source, zipfile.ZipFile(altered, "w", zipfile.ZIP_DEFLATED) as target:
        for name in source.namelist():
            part = source.read(name)
            long = b"<Relationships><!--" + b"x" * 5_000_000 + b"-->"
            target.writestr(name, part.replace(b"<Relationships", long) if name.endswith(".rels") else part)
    with pytest.raises(Refused, match="no workbook that can be read"):
        read_roll(altered.getvalue())


def test_a_workbook_of_thousands_of_parts_is_too_large():
    altered = io.BytesIO(workbook(HEADER, ODO))
    with zipfile.ZipFile(altered, "a") as parts:
        for number in range(600):
            parts.writestr(f"xl/media/{number}.png", b"x")
    with pytest.raises(Refused, match="The file is too large"):
        read_roll(altered.getvalue())


def test_a_workbook_that_unpacks_to_more_than_a_roll_has_is_too_large():
    with pytest.raises(Refused, match="The file is too large"):
        read_roll(workbook(HEADER, ODO, change=lambda sheet: sheet + b" " * 60_000_000))


def test_a_workbook_with_thousands_of_empty_columns_is_read_as_it_looks():
    rows = read_roll(workbook([*HEADER, *[None] * 2000, " "], ODO))
    assert [row["given_name"] for row in rows] == ["Odo"]


@pytest.mark.parametrize("read", [read_cells, read_roll, lambda content: reading.read(content, currency="AUD")])
def test_a_file_of_200000_columns_is_refused_by_its_first_row(read):
    with pytest.raises(Refused, match="row 1: there are more than 200 columns"):
        read(WIDE)


def a_pdf_that_opens(action, where="/OpenAction"):
    writer, file = PdfWriter(), io.BytesIO()
    writer.add_blank_page(200, 200)
    writer.root_object[NameObject(where)] = DictionaryObject(action)
    writer.write(file)
    file.seek(0)
    return file


def test_a_pdf_that_goes_to_an_address_as_it_is_opened_is_refused():
    address = {NameObject("/S"): NameObject("/URI"), NameObject("/URI"): TextStringObject("https://example.org")}
    with pytest.raises(Refused, match="OpenAction"):
        examine(a_pdf_that_opens(address))
    on_the_way = {NameObject("/S"): NameObject("/GoTo"), NameObject("/Next"): DictionaryObject(address)}
    with pytest.raises(Refused, match="OpenAction"):
        examine(a_pdf_that_opens(on_the_way))
    with pytest.raises(Refused, match="AA"):
        examine(a_pdf_that_opens({NameObject("/WC"): DictionaryObject(address)}, "/AA"))


def test_a_pdf_that_opens_at_a_page_of_its_own_is_a_receipt():
    kept = examine(a_pdf_that_opens({NameObject("/S"): NameObject("/GoTo")}))
    assert len(PdfReader(io.BytesIO(kept.content)).pages) == 1


def test_what_a_photo_says_of_itself_is_left_behind():
    file = io.BytesIO()
    Image.new("RGB", (40, 30), "white").save(file, "JPEG", comment=b"Odo Fuller, 4 Quandong Row")
    file.seek(0)
    kept = examine(file).content
    assert b"Quandong" in file.getvalue()
    assert b"Quandong" not in kept


@pytest.mark.django_db
def test_a_phone_that_sends_nothing_but_brackets_gets_a_sentence(client, coordinator):
    client.force_login(coordinator)
    url = reverse("admin:range_taps", args=[factories.range_day().pk])
    answer = client.post(url, "[" * 100_000, "application/json")
    assert (answer.status_code, answer.json()["sentence"]) == (400, "This is nothing that the sheet sends.")


@pytest.mark.django_db
@pytest.mark.parametrize(("name", "status"), [("mfa_login_webauthn", 400), ("mfa_reauthenticate", 302)])
def test_nor_does_a_page_to_sign_in_fail_for_it(client, treasurer, name, status):
    client.force_login(treasurer)
    if name == "mfa_login_webauthn":
        client.logout()
    client.raise_request_exception = False
    assert client.post(reverse(name), {"credential": "[" * 100_000}).status_code == status


WORD = "W" * 3000


def test_a_word_of_3000_letters_is_cut_where_it_would_be_taller_than_the_page():
    columns = {str(width): Column(f"{width} mm", lambda row: WORD, width=width) for width in (20, 60, 12)}
    told = Table("Long words", columns, [None])
    paper.use_fonts()
    pages = PdfReader(io.BytesIO(paper.pdf("Long", "Reedbank Archers", [paper.table(told)]))).pages
    words = "".join(page.extract_text() for page in pages)
    assert words.count("…") == 3
    assert len(pages) <= 2


@pytest.mark.django_db
def test_every_page_says_that_nothing_comes_from_elsewhere_and_nothing_is_written_into_it():
    for path in (reverse("admin:login"), "/nowhere/"):
        headers = Client().get(path).headers
        policy = headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy
        assert "script-src 'self'" in policy
        assert "unsafe" not in policy
        assert "camera=()" in headers["Permissions-Policy"]
