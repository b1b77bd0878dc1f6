"""Ratios measured in one run: what a thing costs beside a plain way of doing the same."""

import statistics

import pytest
from django.db import connection

from clubdesk import guards


@pytest.fixture
def without_guards(book):
    """The guards cost bulk rows what they are worth; here only reading is measured."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
    guards.remove(connection)
    yield
    guards.install(connection)


@pytest.fixture
def ratio(benchmark):
    """Time `ours` and `plain` in turns; returns how many times as long ours takes, by medians.

    Both are timed by the same clock in the same run, so the answer does not depend on the machine's speed.
    pytest-benchmark keeps ours for its table, with the ratio beside it.
    """

    def measure(ours, plain, rounds, limit):
        import time

        times = {"ours": [], "plain": []}
        for turn in range(rounds + 1):
            for name, act in (("ours", ours), ("plain", plain)):
                began = time.perf_counter()
                act()
                if turn:
                    times[name].append(time.perf_counter() - began)
        found = statistics.median(times["ours"]) / statistics.median(times["plain"])
        benchmark.extra_info.update(ratio=round(found, 2), limit=limit)
        benchmark.pedantic(ours, rounds=1, iterations=1)
        print(f"\n  {benchmark.name}: {found:.2f} times the plain way (at most {limit})")
        assert found <= limit
        return found

    return measure
