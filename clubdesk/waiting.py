"""How rows of any room wait: how many, and since when or by when."""

from collections.abc import Iterator, Sequence
from datetime import date, datetime
from typing import Any

from django.db.models import DateField, F, IntegerField, QuerySet, Subquery, Value
from django.utils import timezone

from clubdesk.rooms import Rows, Waiting


def waiting(*rows: QuerySet[Any, Any], since: str = "", by: str = "", line: str = "") -> Rows:
    return Rows(rows, since, by, line)


class _Count(Subquery):
    template = "(SELECT COUNT(*) FROM (%(subquery)s) AS counted)"
    output_field = IntegerField()
    empty_result_set_value = 0


class _Earliest(Subquery):
    template = "(SELECT MIN(counted.day) FROM (%(subquery)s) AS counted)"


def counted(found: Sequence[Rows], one_row: QuerySet[Any, Any]) -> list[Waiting]:
    """How each of them waits, in one question for all, which is asked of a table of one row."""
    if not found:
        return []
    asked = [expression for each in found for rows in each.of for expression in _asked(rows.order_by(), each)]
    answers = iter(one_row.values_list(*asked).get())
    return [_waiting(each, answers) for each in found]


def _asked(rows: QuerySet[Any, Any], each: Rows) -> tuple[Subquery, Subquery | Value]:
    column = each.since or each.by
    earliest = _Earliest(rows.values(day=F(column))) if column else Value(None, output_field=DateField())
    return _Count(rows.values("pk")), earliest


def _waiting(each: Rows, answers: Iterator[Any]) -> Waiting:
    pairs = [(next(answers), next(answers)) for _ in each.of]
    earliest = min((_day(first) for _, first in pairs if first), default=None)
    since, by = (earliest if each.since else None), (earliest if each.by else None)
    return Waiting(sum(count for count, _ in pairs), since, by, each.line)


def _day(given: date) -> date:
    return timezone.localtime(given).date() if isinstance(given, datetime) else given
