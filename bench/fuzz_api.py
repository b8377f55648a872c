"""
Ask a server everything that the description of its HTTP interface allows, and what it does not allow.

``python -m bench.fuzz_api MINUTES`` makes a lab of the demo's, serves a copy of it and lets schemathesis ask;
failures end with what repeats them. The test of the suite does the same for seconds.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

import httpx

from bench.served import demo_lab, started

CHECKS = (
    "not_a_server_error,status_code_conformance,content_type_conformance,response_schema_conformance,"
    "negative_data_rejection"
)


def main(minutes: float) -> int:
    """Fuzz for some minutes; return what schemathesis returns."""
    with (
        tempfile.TemporaryDirectory() as folder,
        started(demo_lab(Path(folder))) as served,
        httpx.Client(base_url=served.address) as client,
    ):
        token = client.get("/api/token").json()["csrf"]
        cookie = "; ".join(f"{name}={value}" for name, value in client.cookies.items())
        program = Path(sys.executable).with_name("schemathesis")
        return subprocess.run(
            [
                program, "run", f"{served.address}/api/openapi.json", "-H", f"Cookie: {cookie}",
                "-H", f"X-CSRF-Token: {token}", "-c", CHECKS, "--phases", "coverage,fuzzing,stateful",
                "--max-time", str(round(60 * minutes)), "--continue-on-failure",
            ],
            cwd=folder,
            check=False,
        ).returncode  # fmt: skip


if __name__ == "__main__":
    sys.exit(main(float(sys.argv[1]) if len(sys.argv) > 1 else 3.0))
