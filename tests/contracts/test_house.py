"""Rules of the house that hold over all files."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import quintain

SOURCE = Path(quintain.__file__).parent
FILES = sorted(SOURCE.rglob("*.py"))
BANNED = {"utils", "helpers", "misc", "tools", "common", "base", "core"}


def modules():
    return [pytest.param(path, id=str(path.relative_to(SOURCE))) for path in FILES]


@pytest.mark.parametrize("path", modules())
def test_all_is_sorted_and_complete(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    listed = None
    for node in tree.body:
        if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "__all__":
            listed = ast.literal_eval(node.value)
    public = {
        node.name
        for node in tree.body
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_")
    }
    if listed is None:
        assert path.name in {"__init__.py", "__main__.py", "version.py"} or path.stem.startswith("_"), (
            "write __all__"
        )
        return
    assert len(listed) == len(set(listed))
    if path.parent.name in {"numerics", "uncertainty", "domain"} and path.name != "__init__.py":
        assert public <= set(listed), f"not in __all__: {public - set(listed)}"


@pytest.mark.parametrize("path", modules())
def test_no_module_is_named_after_nothing(path):
    assert path.stem not in BANNED


@pytest.mark.parametrize("path", [p for p in modules() if "cli" not in p.id])
def test_only_the_command_line_prints(path):
    calls = [
        node
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "print"
    ]
    assert not calls


@pytest.mark.parametrize("path", modules())
def test_no_global_random_state(path):
    source = path.read_text(encoding="utf-8")
    assert "np.random.seed" not in source
    assert "import random" not in source


def test_importing_the_package_stays_light():
    """Help must come at once: heavy libraries load only where they are used."""
    heavy = ("numpy", "scipy", "numba", "pyarrow", "matplotlib", "jinja2", "typst")
    code = f"import sys, quintain, quintain.cli.app; print([m for m in {heavy!r} if m in sys.modules])"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


def test_public_names_exist_and_are_documented():
    for name in quintain.__all__:
        thing = getattr(quintain, name)
        assert isinstance(thing, str) or thing.__doc__, name
