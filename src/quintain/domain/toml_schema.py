"""
Turn TOML text into frozen dataclasses, with errors that name the line.

A field's metadata may hold ``unit`` (for messages), ``above``, ``at_least``, ``at_most`` and
``choices``. Unknown keys are errors and the known ones are listed: a typo must not pass silently.
"""

from __future__ import annotations

import dataclasses
import difflib
import functools
import re
import tomllib
import types
import typing
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any, TypeVar

from quintain.errors import QuintainError

__all__ = ["parse_toml", "read_toml"]

T = TypeVar("T")


def parse_toml(text: str, kind: type[T], *, origin: str, error: type[QuintainError]) -> T:
    """
    Build ``kind`` from TOML text.

    Parameters
    ----------
    text : str
        The file's text.
    kind : type
        A frozen dataclass whose fields are the keys; nested dataclasses are tables, tuples of
        dataclasses are arrays of tables.
    origin : str
        File name for messages.
    error : type of QuintainError
        What to raise.

    Raises
    ------
    QuintainError
        Of the given type: broken syntax, an unknown or missing key, a value of the wrong type or out
        of range. The message names file, line, key and the remedy.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise error(f"{origin}: not valid TOML: {problem}; mend that line") from None
    return typing.cast(T, _build(data, kind, (), _Source(text, origin, error)))


def read_toml(path: str | Path, kind: type[T], *, what: str, error: type[QuintainError]) -> T:
    """
    Read a TOML file into ``kind``; as :func:`parse_toml`, ``what`` is the file's name in messages.

    Raises
    ------
    QuintainError
        Of the given type, also if the file cannot be read.
    """
    try:
        text = Path(path).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as problem:
        reason = getattr(problem, "strerror", None) or "it is not UTF-8 text"
        raise error(f"{path}: cannot read the {what} file: {reason}") from None
    return parse_toml(text, kind, origin=str(path), error=error)


@dataclasses.dataclass(frozen=True)
class _Source:
    text: str
    origin: str
    error: type[QuintainError]

    def fail(self, path: Sequence[str | int], message: str) -> QuintainError:
        name = ".".join(str(p) for p in path if isinstance(p, str))
        where = f"{self.origin}, line {_line_of(self.text, path)}"
        return self.error(f"{where}: {name}: {message}" if name else f"{where}: {message}")


def _line_of(text: str, path: Sequence[str | int]) -> int:
    """Line (from 1) where a key stands; of its table when the key itself is not written."""
    want = [p for p in path if isinstance(p, str)]
    index = next((p for p in path if isinstance(p, int)), 0)
    table: list[str] = []
    seen: dict[str, int] = {}
    best, best_depth = 1, 0
    for number, line in enumerate(text.splitlines(), 1):
        head = re.match(r"\s*(\[\[?)\s*([^\]]+?)\s*\]\]?\s*(#.*)?$", line)
        if head:
            table = [part.strip().strip("\"'") for part in head.group(2).split(".")]
            if head.group(1) == "[[":
                seen[head.group(2)] = seen.get(head.group(2), -1) + 1
            full = table
        else:
            key = re.match(r"\s*([\w\-.\"']+)\s*=", line)
            if not key:
                continue
            full = table + [part.strip().strip("\"'") for part in key.group(1).split(".")]
        if seen.get(".".join(table), index) != index:
            continue
        depth = next((i for i, (a, b) in enumerate(zip(full, want, strict=False)) if a != b), None)
        depth = min(len(full), len(want)) if depth is None else 0
        if depth > best_depth:
            best, best_depth = number, depth
    return best


_hints = functools.cache(typing.get_type_hints)


def _build(data: Mapping[str, Any], kind: Any, path: tuple[str | int, ...], source: _Source) -> Any:
    hints = _hints(kind)
    fields = {f.name: f for f in dataclasses.fields(kind) if f.init}
    for key in data:
        if key not in fields:
            close = difflib.get_close_matches(key, fields, n=1)
            hint = f"did you mean {close[0]!r}?" if close else f"known here: {', '.join(fields)}"
            raise source.fail((*path, key), f"no such entry; {hint}")
    values = {}
    for name, field in fields.items():
        if name in data:
            values[name] = _value(data[name], hints[name], field, (*path, name), source)
        elif field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING:
            raise source.fail((*path, name), f"is missing; write {name} = ... here")
    try:
        return kind(**values)
    except ValueError as problem:
        raise source.fail(path, str(problem)) from None


def _value(
    value: Any, hint: Any, field: dataclasses.Field[Any], path: tuple[str | int, ...], source: _Source
) -> Any:
    origin = typing.get_origin(hint)
    if origin in (types.UnionType, typing.Union):
        hint = next(a for a in typing.get_args(hint) if a is not type(None))
        origin = typing.get_origin(hint)
    if origin is tuple:
        item = typing.get_args(hint)[0]
        if not isinstance(value, list):
            raise source.fail(path, f"expected a list, got {value!r}")
        return tuple(_value(v, item, field, (*path, i), source) for i, v in enumerate(value))
    if dataclasses.is_dataclass(hint):
        if not isinstance(value, dict):
            raise source.fail(path, f"expected a table [{path[-1]}], got {value!r}")
        return _build(value, hint, path, source)
    return _scalar(value, hint, field.metadata, path, source)


def _scalar(
    value: Any, hint: Any, limits: Mapping[str, Any], path: tuple[str | int, ...], source: _Source
) -> Any:
    unit = f" {limits['unit']}" if "unit" in limits else ""
    if hint is float and isinstance(value, int) and not isinstance(value, bool):
        value = float(value)
    if not isinstance(value, hint) or (hint is int and isinstance(value, bool)):
        wanted = {float: "a number", int: "a whole number", str: "text in quotes", bool: "true or false"}
        wanted[date] = "a date such as 2026-11-25"
        in_unit = f" in{unit}" if unit else ""
        raise source.fail(path, f"expected {wanted.get(hint, hint.__name__)}{in_unit}, got {value!r}")
    if "choices" in limits and value not in limits["choices"]:
        raise source.fail(path, f"got {value!r}; choose one of: {', '.join(map(str, limits['choices']))}")
    if isinstance(value, float) and value != value:
        raise source.fail(path, "expected a number, got nan")
    broken: dict[str, Callable[[float], bool]] = {
        "above": lambda limit: value <= limit,
        "at_least": lambda limit: value < limit,
        "at_most": lambda limit: value > limit,
    }
    for rule, is_broken in broken.items():
        if rule in limits and is_broken(limits[rule]):
            words = rule.replace("_", " ")
            raise source.fail(path, f"must be {words} {limits[rule]:g}{unit}, got {value:g}{unit}")
    return value
