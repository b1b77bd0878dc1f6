"""The figures of a year reckoned a second time: plain Python over plain rows, sharing no code with the reports.

The journal is read line by line as an auditor would get it, and beside it what each document was for. Cents throughout.
"""

from collections import defaultdict
from datetime import date

from django.db import connection

AHEAD, VOUCHERS, CORRECTED = "Fees owed", "Vouchers owed", "Accumulated funds"
JOURNAL = "ledger.journal"


def read(sql):
    with connection.cursor() as cursor:
        cursor.execute(sql)
        names = [column[0] for column in cursor.description]
        return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]


def day_of(value):
    return date.fromisoformat(value) if isinstance(value, str) else value


class Reckoning:
    def __init__(self):
        self.accounts = {row["name"]: row for row in read("SELECT * FROM ledger_account")}
        self.name = {row["id"]: name for name, row in self.accounts.items()}
        self.funds = [row["code"] for row in read("SELECT * FROM ledger_fund ORDER BY restricted, code")]
        self.lines = read("""
            SELECT e.id AS entry, e.date AS day, e.is_closing AS closing, p.fund_id AS fund, p.party_id AS party,
                   p.amount AS cents, p.account_id AS account,
                   COALESCE(u.source_type, e.source_type) AS kind, COALESCE(u.source_id, e.source_id) AS document
            FROM ledger_posting p JOIN ledger_entry e ON e.id = p.entry_id
            LEFT JOIN ledger_entry u ON u.id = e.reverses_id ORDER BY e.number, p.id
        """.replace("ledger_entry", "ledger_journalentry"))  # fmt: skip
        for line in self.lines:
            line["account"], line["day"] = self.name[line["account"]], day_of(line["day"])
        self.lines = [line for line in self.lines if not line["closing"]]
        self.fees = {
            row["id"]: self.name[row["line"]]
            for row in read("""
                SELECT c.id, COALESCE(i.income_account_id, c.opened_for_id) AS line FROM fees_charge c
                LEFT JOIN fees_feeprice p ON p.id = c.price_id LEFT JOIN fees_feeitem i ON i.id = p.item_id
            """)
        }
        self.bills = {
            row["id"]: self.name[row["account_id"]] for row in read("SELECT id, account_id FROM expenses_expense")
        }
        self.money = self._money()

    def kind(self, name):
        return self.accounts[name]["kind"]

    # What stands and what moved, from the postings alone

    def moved(self, first, last, account, fund):
        return sum(
            line["cents"]
            for line in self.lines
            if line["account"] == account and line["fund"] == fund and first <= line["day"] <= last
        )

    def stands(self, on, account, fund):
        """By party: what is owed to the club, and what the club owes; an account without parties on its own side."""
        each = defaultdict(int)
        for line in self.lines:
            if line["account"] == account and line["fund"] == fund and line["day"] <= on:
                each[line["party"]] += line["cents"]
        if not self.accounts[account]["needs_party"]:
            whole = sum(each.values())
            return (whole, 0) if self.kind(account) == "asset" else (0, whole)
        return sum(c for c in each.values() if c > 0), sum(c for c in each.values() if c < 0)

    # What money was for, from what each document was for

    def _money(self):
        """(day, fund, line, cents): what came for the line, below nil what went out."""
        found = []
        by_entry = defaultdict(list)
        for line in self.lines:
            by_entry[line["entry"], line["fund"]].append(line)
        for (_, fund), lines in by_entry.items():
            found += self._money_of(fund, lines)
        found += self._used() + self._vouchers_paid()
        return found

    def _money_of(self, fund, lines):
        first = lines[0]
        if first["kind"] == "fees.openingbalances":
            return []
        others = [line for line in lines if not self.accounts[line["account"]]["is_money"]]
        tells_anew = first["kind"] == JOURNAL and self._tells_anew(lines)
        if len(others) == len(lines) and not tells_anew:
            return []
        one = self.bills.get(first["document"]) if first["kind"] == "expenses.expense" else None
        return [(line["day"], fund, one or line["account"], -line["cents"]) for line in others]

    def _tells_anew(self, lines):
        kinds = {
            "suspense" if self.accounts[x["account"]]["role"] == "suspense" else self.kind(x["account"]) for x in lines
        }
        if not kinds <= {"income", "expense", "suspense"}:
            return False
        costs = sum(x["cents"] for x in lines if self.kind(x["account"]) == "expense")
        earns = sum(x["cents"] for x in lines if self.kind(x["account"]) == "income")
        return not (costs > 0 and earns < 0)

    def _used(self):
        """A receipt that pays a fee was paid ahead until then."""
        found = []
        for row in read("""
            SELECT a.used_on, a.freed_on, a.amount, a.charge_id, r.method, r.opened_for_id
            FROM fees_allocation a JOIN fees_receipt r ON r.id = a.receipt_id
        """):
            ahead = self.name[row["opened_for_id"]] if row["opened_for_id"] else AHEAD
            if row["method"] == "brought":
                moves = [] if row["charge_id"] else [(AHEAD, row["amount"]), (ahead, -row["amount"])]
            else:
                moves = (
                    [(self.fees[row["charge_id"]], row["amount"]), (AHEAD, -row["amount"])] if row["charge_id"] else []
                )
            for line, cents in moves:
                found.append((day_of(row["used_on"]), "general", line, cents))
                if row["freed_on"]:
                    found.append((day_of(row["freed_on"]), "general", line, -cents))
        return found

    def _vouchers_paid(self):
        rows = read("""
            SELECT l.paid_on, v.amount, v.charge_id FROM fees_voucher v JOIN fees_lodgement l ON l.id = v.lodgement_id
            WHERE v.state = 'paid'
        """)
        return [
            (day_of(row["paid_on"]), "general", line, cents)
            for row in rows
            for line, cents in ((self.fees[row["charge_id"]], row["amount"]), (VOUCHERS, -row["amount"]))
        ]

    def cash(self, first, last, line, fund):
        return sum(
            cents for day, its_fund, its_line, cents in self.money
            if first <= day <= last and (its_fund, its_line) == (fund, line)
        )  # fmt: skip

    def in_hand(self, on, fund):
        return sum(
            line["cents"]
            for line in self.lines
            if line["fund"] == fund and line["day"] <= on and self.accounts[line["account"]]["is_money"]
        )
