"""Sessions, limits and passphrases by themselves, on a clock of our own."""

from __future__ import annotations

import os
import socket

import pytest
from typer.testing import CliRunner

from quintain.cli import serve
from quintain.cli.app import app
from quintain.errors import UsageError
from quintain.web.security.origin import Hosts
from quintain.web.security.passphrases import Access, matches
from quintain.web.security.roles import Role
from quintain.web.security.sessions import IDLE, LONGEST, Sessions, Visitor
from quintain.web.security.sign_in_limit import SignInLimit


class Clock:
    def __init__(self):
        self.now = 1000.0

    def __call__(self):
        return self.now


def test_session_ends_when_idle_and_after_its_longest_time():
    clock = Clock()
    sessions = Sessions(clock)
    token = sessions.begin(Visitor(Role.VIEWER, "a"))
    clock.now += IDLE - 1
    assert sessions.find(token) is not None
    clock.now += IDLE + 1
    assert sessions.find(token) is None
    token = sessions.begin(Visitor(Role.VIEWER, "a"))
    for _ in range(int(LONGEST / 3600) + 1):
        clock.now += 3600
        alive = sessions.find(token)
    assert alive is None


def test_sessions_are_bounded():
    sessions = Sessions()
    first = sessions.begin(Visitor(Role.VIEWER, "a"))
    for _ in range(1000):
        sessions.begin(Visitor(Role.VIEWER, "b"))
    assert sessions.find(first) is None


def test_limit_by_address_and_over_all():
    clock = Clock()
    limit = SignInLimit(each=2, overall=5, window=60, clock=clock)
    assert [limit.attempt("a") for _ in range(2)] == [0, 0]
    assert limit.attempt("a") == pytest.approx(60)
    assert limit.attempt("b") == 0
    limit.forgive("b")
    for address in "cde":
        assert limit.attempt(address) == 0
    assert limit.attempt("f") > 0  # five over all in a minute
    clock.now += 61
    assert limit.attempt("a") == 0


def test_addresses_in_mind_are_bounded():
    limit = SignInLimit(clock=Clock())
    for i in range(1000):
        limit.attempt(str(i))
    assert len(limit._attempts) == 30


def test_hosts_on_a_network():
    hosts = Hosts(["lab.example"], network=True)
    assert all(map(hosts.knows, ["lab.example:8421", "192.168.1.5:8421", "[fe80::1]:8421", "LAB.example"]))
    assert not any(map(hosts.knows, ["evil.example", "", "192.168.1.5.evil.example", "lab.example:x"]))


def test_passphrase_command_writes_a_file_of_its_owner_alone(tmp_path):
    file = tmp_path / "access.toml"
    for role in Role:
        done = CliRunner().invoke(
            app, ["passphrase", role.word, "--file", str(file)], input=f"{role.word} herons!\n"
        )
        assert done.exit_code == 0, done.output
    if os.name == "posix":
        assert file.stat().st_mode & 0o777 == 0o600
    assert "herons" not in file.read_text()
    access = Access.load(file)
    access.require_all(file)
    assert matches("operator herons!", access.hashes[Role.OPERATOR])
    assert not matches("operator herons!", access.hashes[Role.VIEWER])
    assert not matches("operator herons!", None)


def test_short_passphrase_is_refused(tmp_path):
    done = CliRunner().invoke(app, ["passphrase", "viewer", "--file", str(tmp_path / "a")], input="short\n")
    assert done.exit_code == 2
    assert not (tmp_path / "a").exists()


def test_file_that_others_may_read_is_refused(tmp_path):
    file = tmp_path / "access.toml"
    file.write_text("")
    file.chmod(0o644)
    with pytest.raises(UsageError, match="chmod 600"):
        Access.load(file)


@pytest.mark.parametrize("text", ["viewer = 'x'", "viewer = 3", "cook = 'x'", "= ="])
def test_damaged_file_is_refused_in_words(tmp_path, text):
    file = tmp_path / "access.toml"
    file.write_text(text)
    file.chmod(0o600)
    with pytest.raises(UsageError, match=r"access\.toml"):
        Access.load(file)


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["--host", "0.0.0.0"], "passphrase"),
        (["--host", "192.168.1.5"], "passphrase"),
        (["--host", "lab.example"], "passphrase"),
        (["--certificate", "x.pem"], "go together"),
        (["--access", "none.toml"], "no access file"),
    ],
)
def test_serve_refuses_in_words(args, words, tmp_path):
    done = CliRunner().invoke(app, ["serve", str(tmp_path), "--no-browser", *args])
    assert done.exit_code == 2
    assert words in done.output


def test_small_packets_do_not_wait():
    """Nagle's algorithm and delayed acknowledgements (RFC 896, RFC 1122) together cost 40 ms a request."""
    with serve._listen("127.0.0.1", 0) as listening:
        listening.listen()
        with socket.create_connection(listening.getsockname()), listening.accept()[0] as accepted:
            assert accepted.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)
