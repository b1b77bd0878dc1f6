"""The house with one room more, for tests/house/test_locker.py: the only place that has to be told of it."""

from tests.settings import *  # noqa: F403
from tests.settings import INSTALLED_APPS, ROOMS

ROOMS = [*ROOMS[:-4], "locker", *ROOMS[-4:]]
INSTALLED_APPS = [*INSTALLED_APPS, "tests.house.locker"]
