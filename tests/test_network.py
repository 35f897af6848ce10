"""tint speaks to no other computer by itself: only the desk listens, on this computer, and only a cluster that is asked for is called."""

import ast
import socket
from pathlib import Path

import pytest
from click.testing import CliRunner

import tint
from tint.cli import main

ROOT = Path(tint.__file__).parent
NETWORK = {"aiohttp", "asyncio", "distributed", "ftplib", "http", "httpx", "requests", "smtplib", "socket", "socketserver", "ssl", "telnetlib",
           "urllib.request", "urllib3", "uvicorn", "websockets", "xmlrpc"}  # fmt: skip
MAY = {"desk/app.py", "desk/serve.py", "batch/cluster.py"}


def opened(path):
    """Modules for the network that a file imports."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
        if isinstance(node, ast.ImportFrom):
            names = [node.module or "", *(f"{node.module}.{alias.name}" for alias in node.names)]
        yield from (name for name in names if name in NETWORK or name.split(".")[0] in NETWORK)


def test_only_the_desk_and_the_cluster_open_the_network():
    found = {path.relative_to(ROOT).as_posix(): set(opened(path)) for path in ROOT.rglob("*.py")}
    assert {name for name, modules in found.items() if modules} <= MAY
    assert "socket" in found["desk/serve.py"] and "distributed" in found["batch/cluster.py"]


@pytest.fixture
def no_network(monkeypatch):
    def refuse(*words):
        raise AssertionError(f"a connection was tried: {words[1:]}")

    for name in ("connect", "connect_ex", "bind", "sendto"):
        monkeypatch.setattr(socket.socket, name, refuse)
    monkeypatch.setattr(socket, "getaddrinfo", refuse)


def test_a_job_is_made_without_any_connection(no_network, shop, tmp_path):
    def done(*words):
        ran = CliRunner().invoke(main, [str(word) for word in words], catch_exceptions=False)
        assert ran.exit_code == 0, ran.output

    sign = tmp_path / "sign"
    done("separate", shop / "artwork" / "kingfisher.svg", shop / "simulated" / "palette.json", "-o", sign)
    done("job", sign, shop / "simulated" / "machine.toml", "-o", tmp_path / "job")
    done("predict", shop / "simulated" / "model.json", "--settings", tmp_path / "job" / "settings.csv")
