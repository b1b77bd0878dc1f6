"""How often chance has its turn: seldom in the gate, `CHANCE=10 pytest …` ten times as often for an hour or a night."""

import os

from hypothesis import HealthCheck, settings


def often(times: int) -> int:
    """So often, or so many of it, in the gate."""
    return times * int(os.environ.get("CHANCE", "1"))


def by_chance(runs: int, steps: int = 50) -> settings:
    """So many runs in the gate, of at most so many steps where a run has any."""
    return settings(
        max_examples=often(runs), stateful_step_count=steps, deadline=None, suppress_health_check=list(HealthCheck)
    )
