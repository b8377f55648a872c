"""The HTTP interface fuzzed from its own description (schemathesis), on a small lab, with a fixed seed."""

from __future__ import annotations

import shutil
from contextlib import nullcontext, suppress

import httpx
import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis.checks import (
    content_type_conformance,
    load_all_checks,
    not_a_server_error,
    response_schema_conformance,
    status_code_conformance,
)

from web_server import serving

EXAMPLES = 2
"""Of each operation, good ones and bad ones; `make fuzz-api MINUTES=10` makes many more."""

load_all_checks()
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
]


@pytest.fixture(scope="module")
def described(small_lab, tmp_path_factory):
    """The description, an address, and what a script sends with every request."""
    folder = tmp_path_factory.mktemp("fuzzed") / "lab"
    shutil.copytree(small_lab, folder)
    with serving(folder) as address, httpx.Client(base_url=address, timeout=60) as client:
        headers = {"X-CSRF-Token": client.get("/api/token").json()["csrf"]}
        headers["Cookie"] = "; ".join(f"{name}={value}" for name, value in client.cookies.items())
        yield schemathesis.openapi.from_dict(client.get("/api/openapi.json").json()), address, headers


@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE])
def test_answers_are_as_described_whatever_is_asked(described, mode):
    schema, address, headers = described
    asked = 0
    for found in schema.get_all_operations():
        operation = found.ok()

        @given(case=operation.as_strategy(generation_mode=mode))
        @settings(
            max_examples=EXAMPLES,
            deadline=None,
            derandomize=True,
            database=None,
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )
        def ask(case):
            nonlocal asked
            asked += 1
            answer = case.call(base_url=address, headers=headers, timeout=60)
            case.validate_response(answer, checks=CHECKS)

        # an operation that takes nothing cannot be asked wrongly
        with suppress(Unsatisfiable) if mode is GenerationMode.NEGATIVE else nullcontext():
            ask()
    assert asked > 40
