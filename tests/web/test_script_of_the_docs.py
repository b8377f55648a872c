"""The script of docs/howto/script-the-lab.md does what the page says."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from quintain.store.lab import Lab
from quintain.store.queries import count_strikes
from quintain.store.queries_filter import StrikeFilter
from quintain.web.security.roles import Role
from web_server import PASSPHRASES, access, serving

PAGE = Path(__file__).parents[2] / "docs" / "howto" / "script-the-lab.md"


@pytest.mark.parametrize("asks", [False, True])
def test_script_accepts_what_is_without_doubt(small_lab, tmp_path, asks):
    lab = tmp_path / "lab"
    shutil.copytree(small_lab, lab)
    (script,) = re.findall(r"```python\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.S)
    waiting = StrikeFilter(states=("waiting",), unflagged=True)
    with Lab.open(lab) as opened:
        before = count_strikes(opened, StrikeFilter(states=("accepted",)))
        doubtless = count_strikes(opened, waiting)
    with serving(lab, access() if asks else None) as address:
        more = {"LAB": address} | ({"PASSPHRASE": PASSPHRASES[Role.OPERATOR]} if asks else {})
        done = subprocess.run(
            [sys.executable, "-c", script], env=os.environ | more, capture_output=True, text=True, timeout=120
        )
    assert done.returncode == 0, done.stderr
    assert " N s over " in done.stdout
    with Lab.open(lab) as opened:
        assert count_strikes(opened, waiting) == 0
        assert count_strikes(opened, StrikeFilter(states=("accepted",))) == before + doubtless
