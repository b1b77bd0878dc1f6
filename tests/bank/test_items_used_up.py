"""What one line of a statement used up explains no second line, by whatever way of matching the second is tried."""

from datetime import date, timedelta

from clubdesk.bank.matching import BankLine, Expected, Grade, match

DAY = date(2026, 9, 12)
NEXT = DAY + timedelta(days=1)
SIX = (-1100, -1300, -1700, -1900, -2300, -2900)
"""One more than a sum is searched of, so that only what is known of the batch finds them together."""

MIRABAR = {"names": (("Ida", "Mirabar"),), "payer": "1"}


def run_of(cents, **more):
    return [Expected(f"payment {n}", DAY, each, "refund", batch="run 3", **more) for n, each in enumerate(cents)]


def told(lines, items):
    """By the line's key what explains it: the keys of the items, how sure it is, and the first reason."""
    return {
        line.key: ([item.key for item in each.items], each.grade, each.reasons[0])
        for each in match(lines, items)
        for line in each.lines
    }


def test_a_reference_that_was_paid_once_explains_no_second_payment():
    lines = [BankLine(1, DAY, 6000, "PAYMENT 100018"), BankLine(2, NEXT, 6000, "PAYMENT 100018")]
    found = told(lines, [Expected("fee", DAY, 6000, "fee", references=("100018",))])
    assert found == {1: (["fee"], Grade.CERTAIN, "its reference says so")}


def test_two_fees_of_one_reference_come_to_one_line_and_not_to_a_second():
    lines = [BankLine(1, DAY, 3000, "PAYMENT 100018"), BankLine(2, NEXT, 3000, "PAYMENT 100018")]
    fees = [Expected(key, DAY, cents, "fee", references=("100018",)) for key, cents in (("a", 1000), ("b", 2000))]
    found = told(lines, fees)
    assert list(found) == [1]
    assert sorted(found[1][0]) == ["a", "b"]


def test_a_name_whose_fee_was_paid_explains_no_second_payment():
    lines = [BankLine(1, DAY, 6000, "MIRABAR IDA"), BankLine(2, NEXT, 6000, "MIRABAR IDA")]
    found = told(lines, [Expected("fee", DAY, 6000, "fee", **MIRABAR)])
    assert found == {1: (["fee"], Grade.CERTAIN, "its words are like the name")}


def test_an_amount_that_came_once_explains_no_second_line_of_that_amount():
    lines = [BankLine(1, DAY, 5000, "CASH"), BankLine(2, NEXT, 5000, "CASH")]
    found = told(lines, [Expected("takings", DAY, 5000, "takings")])
    assert found == {1: (["takings"], Grade.LIKELY, "the amount is the same")}


def test_takings_banked_together_explain_no_second_deposit():
    lines = [BankLine(1, DAY, 3000, "CASH"), BankLine(2, NEXT, 3000, "CASH")]
    found = told(lines, [Expected(key, DAY, cents, "takings") for key, cents in (("a", 1000), ("b", 2000))])
    assert list(found) == [1]
    assert sorted(found[1][0]) == ["a", "b"]


def test_a_run_that_the_bank_debited_in_one_sum_explains_no_second_debit():
    lines = [BankLine(1, DAY, sum(SIX), "BATCH"), BankLine(2, NEXT, sum(SIX), "BATCH")]
    found = told(lines, run_of(SIX))
    assert list(found) == [1]
    assert len(found[1][0]) == len(SIX)


def test_a_payment_that_is_used_up_stands_in_no_runs_way():
    """A single repayment of just what the run comes to was debited the day before."""
    lines = [BankLine(1, DAY, sum(SIX), "REPAID 100018"), BankLine(2, NEXT, sum(SIX), "BATCH")]
    repaid = Expected("repaid", DAY, sum(SIX), "credit repaid", references=("100018",))
    found = told(lines, [repaid, *run_of(SIX)])
    assert found[1][0] == ["repaid"]
    assert found[2] == ([f"payment {n}" for n in (5, 4, 3, 2, 1, 0)], Grade.LIKELY, "6 that belong together come to it")


def test_what_was_debited_of_a_run_by_itself_is_not_in_the_runs_sum():
    first, *others = run_of((-4500, *SIX), references=("run 3",))
    lines = [BankLine(1, DAY, -4500, "DE RUN 3"), BankLine(2, NEXT, sum(SIX), "DE RUN 3")]
    found = told(lines, [first, *others])
    assert found[1] == ([first.key], Grade.CERTAIN, "its reference says so")
    assert (set(found[2][0]), found[2][1]) == ({item.key for item in others}, Grade.CERTAIN)


def test_a_fee_that_was_paid_whole_is_not_what_two_later_payments_come_to():
    """The whole came with its reference; two later lines of the family come to the same by chance."""
    whole = BankLine(1, DAY, 3000, "PAYMENT 100018")
    parts = [BankLine(2, NEXT, 1000, "IDA MIRABAR"), BankLine(3, NEXT, 2000, "IDA MIRABAR")]
    found = told([whole, *parts], [Expected("fee", DAY, 3000, "membership", references=("100018",), **MIRABAR)])
    assert list(found) == [1]


def test_fees_that_a_family_paid_together_are_not_what_its_second_payment_comes_to():
    lines = [BankLine(1, DAY, 3000, "IDA MIRABAR"), BankLine(2, NEXT, 3000, "IDA MIRABAR")]
    fees = [Expected(key, DAY, cents, "fee", loose=True, **MIRABAR) for key, cents in (("a", 1000), ("b", 2000))]
    first, second = match(lines, fees)
    assert first.reasons[1] == "2 of its fees come to it"
    assert second.reasons[1] == "the amount is another"
