"""A second, empty database of the same kind beside the world that a test begins in."""

from contextlib import contextmanager

import pytest
from django.db import connection

from tests.worlds import keeping


@pytest.fixture
def elsewhere(settings, tmp_path):
    """Work within the block in an empty database and an empty folder for evidence, which are thrown away."""
    made = []

    @contextmanager
    def entered(name="elsewhere"):
        world, evidence = connection.settings_dict["NAME"], settings.MEDIA_ROOT
        database = keeping.databases.fresh(f"{name}_{len(made)}")
        if not made or not keeping.databases.exists(database):
            keeping.databases.create(database)
        made.append(database)
        settings.MEDIA_ROOT = tmp_path / f"evidence {len(made)}"
        keeping.use(database)
        try:
            yield
        finally:
            keeping.use(world)
            settings.MEDIA_ROOT = evidence

    yield entered
    for database in made:
        keeping.databases.drop(database)
