"""Somebody else who writes at the same time: in a thread of their own, with a connection of their own."""

import threading
from contextlib import contextmanager
from datetime import date
from itertools import count

from django.db import connection, connections

from clubdesk.fees import services as fees
from clubdesk.fees.models import Method
from clubdesk.money import as_amount

NOW = date(2026, 9, 12)
EVERY = 5


def beside(act):
    """Let somebody else do `act` and be done; gives what it returned, raises what it raised."""
    came_to = []

    def run():
        try:
            came_to.append(act())
        except Exception as error:
            came_to.append(error)
        finally:
            connections.close_all()

    thread = threading.Thread(target=run)
    thread.start()
    thread.join()
    if isinstance(came_to[0], Exception):
        raise came_to[0]
    return came_to[0]


def receipt_of(household, by):
    return fees.record_receipt(household=household, amount=as_amount(10), method=Method.CASH, on=NOW, by=by)


@contextmanager
def receipts_between_questions(household, by):
    """Somebody else records a receipt after every fifth question that is asked here; gives the receipts."""
    asked, written = count(1), []

    def disturbed(execute, sql, params, many, context):
        answer = execute(sql, params, many, context)
        if next(asked) % EVERY == 0 and sql.lstrip().startswith("SELECT"):
            written.append(beside(lambda: receipt_of(household, by)))
        return answer

    with connection.execute_wrapper(disturbed):
        yield written
