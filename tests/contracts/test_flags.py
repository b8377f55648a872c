"""Every flag code is raised somewhere, and nothing raises a code that is not documented."""

from __future__ import annotations

import re
from pathlib import Path

import quintain
from quintain.domain.flags import FLAGS
from quintain.quantities import GLOSSARY

SOURCE = Path(quintain.__file__).parent


def test_every_code_is_raised_somewhere():
    rest = "\n".join(
        path.read_text(encoding="utf-8") for path in SOURCE.rglob("*.py") if path.name != "flags.py"
    )
    unused = [code for code in FLAGS if f'"{code}"' not in rest]
    assert not unused


def test_codes_are_plain_words():
    assert all(re.fullmatch(r"[a-z]+(-[a-z]+)*", code) for code in FLAGS)


def test_meanings_are_sentences():
    for row in FLAGS.values():
        assert row.meaning.endswith("."), row.code
        assert row.remedy.endswith("."), row.code
        assert set(row.withholds) | set(row.doubts) <= set(GLOSSARY), row.code
