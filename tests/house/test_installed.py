"""What is installed beside Fletchbook: its licences stand in DEVELOPERS.md, each package is locked by its digests."""

import importlib.metadata as installed
import json
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from clubdesk.desk import demo
from clubdesk.errors import Refused

HOUSE = Path(__file__).resolve().parent.parent.parent
PROJECT = tomllib.loads((HOUSE / "pyproject.toml").read_text())["project"]
LOCKS = {"site": (), "demo": ("demo",), "test": ("demo", "test")}
"""Each file of `.lock/` and the extras that it holds besides."""
UNSAID = {"axe-playwright-python": "MIT"}
"""Packages that declare none, and what the licence is that lies in them."""


def pinned(name):
    """The packages of a lock and their versions."""
    found = re.findall(r"^([\w.-]+)==(\S+)", (HOUSE / ".lock" / f"{name}.txt").read_text(), re.MULTILINE)
    return {canonicalize_name(package): version for package, version in found}


def licence_of(package):
    """As the package declares it: an expression, or else its classifiers, or else a line of words."""
    told = installed.metadata(package)
    if expression := told.get("License-Expression"):
        return expression
    listed = [each for each in told.get_all("Classifier") or [] if each.startswith("License ::")]
    words = (told.get("License") or "").strip().splitlines()
    return ", ".join(each.split(" :: ")[-1] for each in listed) or (words or [UNSAID.get(package, "")])[0]


def in_developers():
    """The licence of each package, by the table in DEVELOPERS.md."""
    part = (HOUSE / "DEVELOPERS.md").read_text().partition("## Licences")[2].partition("\n## ")[0]
    rows = re.findall(r"^\| ([^|]+) \| ([^|]+) \|$", part, re.MULTILINE)[1:]
    return {package: licence for licence, packages in rows for package in packages.split(", ")}


def here():
    """The packages of the locks that are installed as they are locked: some are for other systems than this one."""
    locked = pinned("test") | pinned("site")
    return {
        name
        for name, version in locked.items()
        for each in installed.distributions(name=name)
        if each.version == version
    }


def test_every_packages_licence_stands_in_developers_as_it_declares_it():
    told = in_developers()
    assert len(here()) > 60
    assert {name: told.get(name) for name in here()} == {name: licence_of(name) for name in here()}
    assert told.keys() <= pinned("test").keys() | pinned("site").keys()


def test_fletchbooks_own_is_one_under_which_all_of_it_may_be_given_on():
    assert PROJECT["license"] == "GPL-3.0-or-later"
    assert "GPL-3.0-only" in in_developers().values()
    assert "version 3 or\nlater" in (HOUSE / "README.md").read_text()
    text = (HOUSE / "clubdesk" / "LICENSE").read_text()
    assert "GNU GENERAL PUBLIC LICENSE\n                       Version 3, 29 June 2007" in text
    assert "END OF TERMS AND CONDITIONS" in text


@pytest.mark.parametrize("name", LOCKS)
def test_a_lock_holds_what_the_project_asks_for(name):
    asked = [
        *PROJECT["dependencies"],
        *(each for extra in LOCKS[name] for each in PROJECT["optional-dependencies"][extra]),
    ]
    locked = pinned(name)
    versions = [(each, locked.get(canonicalize_name(each.name), "")) for each in map(Requirement, asked)]
    assert [str(each) for each, version in versions if not (version and each.specifier.contains(version))] == []


@pytest.mark.parametrize("name", [*LOCKS, "audit"])
def test_each_package_of_a_lock_has_digests_and_no_address(name):
    text = (HOUSE / ".lock" / f"{name}.txt").read_text()
    assert "://" not in text
    packages = re.split(r"^(?=[\w.-]+==)", text, flags=re.MULTILINE)[1:]
    assert packages
    assert [each.split("==")[0] for each in packages if "--hash=sha256:" not in each] == []
    assert "-index" not in text


def test_what_runs_the_site_is_locked_alike_everywhere():
    site = pinned("site").items()
    assert site <= pinned("demo").items()
    assert site <= pinned("test").items()


def test_the_two_commands_of_the_readme_install_by_digests_alone():
    commands = re.findall(r"^python3 -m venv .*$", (HOUSE / "README.md").read_text(), re.MULTILINE)
    assert [re.findall(r"--require-hashes -r (\S+)", each) for each in commands] == [
        [".lock/demo.txt"],
        [".lock/test.txt"],
    ]
    assert all("--no-deps --no-build-isolation -e ." in each for each in commands)


def test_a_clubs_own_site_does_without_what_the_demo_needs(monkeypatch, db):
    assert "faker" not in pinned("site")
    monkeypatch.setitem(sys.modules, "faker", None)
    with pytest.raises(Refused, match="The demo invents its people with Faker"):
        demo.invented_people()


SOUND = {"name": "a", "version": "1", "vulns": []}


@pytest.mark.parametrize(
    ("told", "status", "sentence"),
    [
        ([], 0, "could not be had"),
        ([{"name": "a", "skip_reason": "not found"}], 0, "could not be had"),
        (
            [{"name": "a", "version": "1", "vulns": []}, {"name": "b", "skip_reason": "x"}],
            0,
            "Nothing could be had about b",
        ),
        (
            [{"name": "a", "version": "1", "vulns": [{"id": "CVE-1", "fix_versions": ["2"]}]}],
            1,
            "a 1 CVE-1 mended in 2",
        ),
    ],
)
def test_the_gate_stops_for_a_known_vulnerability_alone(tmp_path, told, status, sentence):
    found = tmp_path / "audit.json"
    if told:
        found.write_text(json.dumps({"dependencies": told}))
    done = subprocess.run(
        [sys.executable, HOUSE / ".ci" / "audited", found], capture_output=True, text=True, check=False
    )
    assert done.returncode == status, done.stderr
    assert sentence in done.stdout
