"""What the tests of hosting start on loopback, each from a folder and on a port of its own, and end again."""

import os
import shlex
import shutil
import signal
import socket
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

import pytest

HOUSE = Path(__file__).resolve().parent.parent.parent


def needs(program):
    """The path of a program of Debian; in the gate, which installs it, the test fails where it is missing."""
    path = shutil.which(program, path=f"{os.environ['PATH']}:/usr/sbin:/sbin")
    if path is None:
        if os.environ.get("CI"):
            pytest.fail(f"{program} is missing; the gate installs it")
        pytest.skip(f"{program} is not on this machine")
    return path


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def environment_of(file):
    """An environment file as systemd reads it: a name and a value a line, the value perhaps in quotes."""
    lines = (line for line in file.read_text().splitlines() if line and not line.startswith("#"))
    pairs = (line.split("=", 1) for line in lines)
    return {name: "".join(shlex.split(value)) for name, value in pairs}


def bare_environment():
    """This process's own without what says of the site what it is."""
    ours = ("DJANGO_SETTINGS_MODULE", "DATABASE_URL", "ALLOWED_HOSTS", "DEBUG", "PYTEST_CURRENT_TEST")
    return {name: value for name, value in os.environ.items() if name not in ours}


def manage(*words, env):
    """A command of the site in a process of its own; gives what it said."""
    done = subprocess.run(
        [sys.executable, "manage.py", *words], cwd=HOUSE, env=env, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


@contextmanager
def running(command, *, port, log, env=None):
    """The program until the block ends; it answers on the port from the first line on."""
    with log.open("w") as said:
        process = subprocess.Popen(
            [str(each) for each in command], cwd=HOUSE, env=env, stdout=said, stderr=said, start_new_session=True
        )
    try:
        _wait_for(port, process, log)
        yield process
    finally:
        os.killpg(process.pid, signal.SIGTERM)
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait(20)


def _wait_for(port, process, log):
    for _ in range(600):
        assert process.poll() is None, log.read_text()
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.1)
    pytest.fail(f"nothing answers on port {port}: {log.read_text()}")
