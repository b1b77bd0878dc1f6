"""A PostgreSQL of one's own beside the one that the tests use: it is stopped and started while people work."""

import glob
import os
import random
import shutil
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from django.db import connection

from tests.faults.killing import apart

BETWEEN_STOPS, DOWN_FOR = (1.0, 3.0), (0.1, 1.0)
"""In seconds, drawn anew each time."""
HOW = ("fast", "immediate")
"""Sessions are ended first, or everything ends at once and is recovered at the start."""


class Cluster:
    """Its folder, its port, and the programs that make, start and stop it, as nobody but its own user may."""

    def __init__(self, folder: Path, port: int):
        self.folder, self.port = folder, port
        self.programs = sorted(glob.glob("/usr/lib/postgresql/*/bin"))[-1]

    def run(self, program: str, *arguments: str) -> None:
        as_its_user = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
        command = [*as_its_user, f"{self.programs}/{program}", *arguments]
        subprocess.run(command, cwd="/", check=True, stdout=subprocess.DEVNULL, stdin=subprocess.DEVNULL)

    def make(self) -> None:
        self.run("initdb", "-D", str(self.folder), "-A", "trust", "-U", "postgres", "-E", "UTF8", "--no-sync")
        # It is the server that goes down here, never the machine beneath it.
        own = f"port = {self.port}\nlisten_addresses = '127.0.0.1'\nunix_socket_directories = ''\nfsync = off\n"
        with (self.folder / "postgresql.conf").open("a") as conf:
            conf.write(own)

    def start(self) -> None:
        self.run("pg_ctl", "-D", str(self.folder), "-w", "-t", "120", "-l", f"{self.folder}/log", "start")

    def stop(self, how: str = "immediate") -> None:
        self.run("pg_ctl", "-D", str(self.folder), "-w", "-t", "120", "-m", how, "stop")

    def start_anew(self) -> None:
        """Whether it is up, down or on the way; afterwards it is up."""
        with suppress(subprocess.CalledProcessError):
            self.stop()
        self.start()

    def stop_and_start(self) -> None:
        time.sleep(random.uniform(*BETWEEN_STOPS))
        self.stop(random.choice(HOW))
        time.sleep(random.uniform(*DOWN_FOR))
        self.start()


@contextmanager
def of_its_own() -> Iterator[Cluster]:
    """Within the block the book that is open stands in a cluster of its own, as a copy."""
    there, name = connection.settings_dict, connection.settings_dict["NAME"]
    shared = {key: there[key] for key in ("HOST", "PORT", "USER", "OPTIONS")}
    folder = Path(tempfile.mkdtemp(prefix="cluster"))
    if os.geteuid() == 0:
        shutil.chown(folder, "postgres")
    cluster = Cluster(folder, _free_port())
    cluster.make()
    cluster.start()
    try:
        _copy(name, shared, cluster)
        apart()
        there.update(HOST="127.0.0.1", PORT=str(cluster.port), USER="postgres", OPTIONS=_waiting(shared["OPTIONS"]))
        yield cluster
    finally:
        apart()
        there.update(shared)
        cluster.stop()
        shutil.rmtree(folder, ignore_errors=True)


def _waiting(options: dict[str, Any]) -> dict[str, Any]:
    """A commit is answered once it is written. The other tests do not wait, and a stop would lose the last ones."""
    return options | {"options": options["options"].replace("synchronous_commit=off", "synchronous_commit=on")}


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    return port


def _copy(name: str, shared: dict[str, str], cluster: Cluster) -> None:
    at = ["-h", "127.0.0.1", "-p", str(cluster.port), "-U", "postgres"]
    subprocess.run(["createdb", *at, name], check=True)
    source = ["-h", shared["HOST"], "-p", str(shared["PORT"] or 5432), "-U", shared["USER"]]
    dump = subprocess.run(["pg_dump", *source, name], check=True, stdout=subprocess.PIPE)
    loading = ["psql", "-q", "-v", "ON_ERROR_STOP=1", *at, name]
    subprocess.run(loading, input=dump.stdout, check=True, stdout=subprocess.DEVNULL)
