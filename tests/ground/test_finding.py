"""What somebody types is read in each way that it may be meant, and names are found however they are spelt."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clubdesk.finding import MOST_LETTERS, is_in_phone, namesakes, plain_words, read

NAMES = [
    (1, "Ada Mirabar"),
    (2, "Bela Mirabar"),
    (3, "Steven O’Brien"),
    (4, "Anke van Dam"),
    (5, "José Nuñez"),
    (6, "Noor Smith-Jones"),
    (7, "Mira Adams"),
]


def found(typed, limit=9):
    return [each.key for each in namesakes(read(typed).words, NAMES, limit)]


def exactly(typed):
    return {each.key for each in namesakes(read(typed).words, NAMES, 9) if not each.is_alike}


class TestWhatIsTyped:
    @pytest.mark.parametrize("typed", ["412", " 412 ", "#412", "no. 412", "No 412", "number 412", "４１２"])
    def test_a_number_is_a_number_however_it_is_written(self, typed):
        assert read(typed).number == 412

    @pytest.mark.parametrize("typed", ["126.00", "$126", "1,234", "12 6", "4 1 2", "SV412", "", "9" * 10])
    def test_what_is_no_number_is_none(self, typed):
        assert read(typed).number is None

    @pytest.mark.parametrize(
        ("typed", "cents"),
        [("126", 12600), ("126.00", 12600), ("$126.00", 12600), ("$ 126", 12600), ("-126.00", 12600),
         ("−126", 12600), ("126.5", 12650), ("€126.05", 12605), ("1,234.50", 123450), ("1234.50", 123450),
         ("9,999,999,999.99", 999_999_999_999)],
    )  # fmt: skip
    def test_an_amount_is_whole_cents_whatever_its_sign(self, typed, cents):
        assert read(typed).cents == cents

    @pytest.mark.parametrize(
        "typed",
        ["12.345", "1,2", "12 6", "08 7010 0001", "1.2.3", "1e3", "", "$", "Ada", "9" * 11, "9" + ",999" * 20, "12,50"],
    )
    def test_what_is_no_amount_is_none(self, typed):
        assert read(typed).cents is None

    def test_a_word_before_a_number_says_of_what_it_is(self):
        called = read("Voucher claim no. 4").after(("claim", "voucher claim"))
        assert (called.called, called.number, called.cents) == ("voucher claim", 4, None)
        assert read("receipt $126.00").after(("receipt",)).cents == 12600

    @pytest.mark.parametrize("typed", ["receipt", "receipts 4", "receipt for Ada", "Ada receipt 4"])
    def test_a_word_with_no_number_after_it_is_a_word(self, typed):
        assert read(typed).after(("receipt",)) is None

    @given(typed=st.text(max_size=300))
    def test_whatever_is_typed_is_read_without_what_no_row_can_hold(self, typed):
        sought = read(typed)
        assert len(sought.text) <= MOST_LETTERS
        assert sought.text == " ".join(sought.text.split())
        assert all(map(str.isprintable, sought.text))
        assert all(sought.words)
        assert 0 <= (sought.cents or 0) < 10**12
        assert 0 <= (sought.number or 0) < 10**9
        assert sought.digits.isascii()
        namesakes(sought.words, [*NAMES, (8, typed)], 9)


class TestPhones:
    @pytest.mark.parametrize("kept", ["08 7010 0001", "0870100001", "+61 8 7010 0001", "(08) 7010-0001"])
    @pytest.mark.parametrize("typed", ["08 7010 0001", "+61 8 7010 0001", "7010 0001", "0001", "(08)70100001"])
    def test_a_phone_is_found_with_its_country_or_without_or_by_its_end(self, kept, typed):
        assert is_in_phone(read(typed).digits, kept)

    @pytest.mark.parametrize("typed", ["08 7010 0002", "7010", "0000", "08 7010 00012"])
    def test_another_phone_is_not_it(self, typed):
        assert not is_in_phone(read(typed).digits, "08 7010 0001")

    def test_who_has_no_phone_is_found_by_none(self):
        assert not is_in_phone("0001", "")
        assert not is_in_phone("000000", "")
        assert not is_in_phone("0870100001", "")


class TestNames:
    @pytest.mark.parametrize("typed", ["Ada Mirabar", "mirabar ADA", "ad mirab", "ada  mirabar"])
    def test_a_name_is_found_by_its_words_or_their_beginnings_in_any_order(self, typed):
        assert found(typed)[0] == 1
        assert 1 in exactly(typed)

    @pytest.mark.parametrize(
        ("typed", "key"),
        [("Mirabr Ada", 1), ("Mirrabar Bela", 2), ("Stephen Obrien", 3), ("steven o'brian", 3), ("van Damm", 4),
         ("Jose Nunes", 5), ("Smyth", 6), ("Nor Smith", 6)],
    )  # fmt: skip
    def test_a_misspelt_name_is_found_and_said_to_be_spelt_otherwise(self, typed, key):
        assert found(typed)[:1] == [key]
        assert key not in exactly(typed)

    @pytest.mark.parametrize(
        ("typed", "key"), [("jose nunez", 5), ("obrien", 3), ("O'Brien", 3), ("jones", 6), ("vandam", 4)]
    )
    def test_accents_apostrophes_hyphens_and_a_name_in_two_parts_are_no_matter(self, typed, key):
        assert exactly(typed) == {key}

    def test_whole_words_come_before_beginnings_and_these_before_what_is_only_alike(self):
        names = [(1, "Adda Fenwick"), (2, "Adair Fenwick"), (3, "Ada Fenwick")]
        assert [each.key for each in namesakes(read("ada").words, names, 9)] == [3, 2, 1]

    def test_no_more_are_given_than_asked_for_and_the_best_of_them(self):
        assert found("mirabar", limit=1) == [1]
        assert found("mira adams", limit=1) == [7]

    def test_a_name_that_stands_several_times_is_given_once_by_its_best(self):
        names = [(1, "Mirrabar family"), (1, "Ida Mirabar")]
        assert [(each.key, each.is_alike) for each in namesakes(("mirabar",), names, 9)] == [(1, False)]

    @pytest.mark.parametrize("typed", ["zz", "qqqq", "Ada Quillfeather", "Mirabar Smith"])
    def test_nobody_is_found_by_a_name_that_nobody_has(self, typed):
        assert found(typed) == []

    @given(name=st.text(st.characters(categories=["Lu", "Ll"]), min_size=1, max_size=20))
    def test_everybody_is_found_by_their_own_name(self, name):
        words = plain_words(name)[:1]
        found = namesakes(words, [(1, name), (2, "X Y")], 9)
        assert (1 in [each.key for each in found]) == bool(words)
