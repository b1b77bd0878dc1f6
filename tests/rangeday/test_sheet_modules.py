"""What the sheet's modules think, under Node's own test runner; what they draw the browser's tests see."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

HERE = Path(__file__).parent / "sheet"
SHEET = Path(__file__).parents[2] / "clubdesk/desk/static/desk/sheet"


def test_the_sheets_modules_hold_under_node(tmp_path):
    node = shutil.which("node") or shutil.which("nodejs")
    if node is None:
        if os.environ.get("CI"):
            pytest.fail("Node is missing; the gate installs it")
        pytest.skip("Node is not on this machine")
    shutil.copytree(SHEET, tmp_path / "sheet")
    shutil.copytree(HERE, tmp_path / "tests")
    (tmp_path / "package.json").write_text('{"type": "module"}')
    tests = sorted((tmp_path / "tests").glob("*.test.js"))
    told = subprocess.run([node, "--test", *tests], capture_output=True, text=True, timeout=60, check=False)
    assert told.returncode == 0, told.stdout[-6000:]
    assert len(tests) == 6
