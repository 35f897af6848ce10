"""A running `tint desk`, spoken to as its own page does, or as somebody else would."""

import http.client
import json
import os
import re
import subprocess
import sys
import time
from importlib.resources import files
from urllib.parse import quote, urlencode

# What the page asks for besides itself, by name.
PAGE_FILES = tuple(sorted(one.name for one in (files("tint") / "desk" / "static").iterdir() if one.name != "index.html"))


class RunningDesk:
    """`tint desk` in a process of its own. `get`, `post` and `load` speak as the page does; `raw` says exactly what it is told."""

    def __init__(self, folder, **environment):
        command = [sys.executable, "-m", "tint.cli", "desk", str(folder), "--no-browser"]
        self.process = subprocess.Popen(
            command,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            cwd=folder,
            env={**os.environ, **environment},
        )
        self.link = self.process.stdout.readline().strip()
        self.port = int(re.search(r":(\d+)/", self.link)[1])
        self.origin = f"http://127.0.0.1:{self.port}"
        self.cookie = self.token = ""

    def enter(self):
        """Uses the link up, as the browser does."""
        _, headers, _ = self.raw("GET", self.link.removeprefix(self.origin))
        self.cookie = headers["set-cookie"].split(";")[0]
        _, _, page = self.raw("GET", "/", {"cookie": self.cookie})
        self.token = re.search(rb'desk-token" content="([^"]+)"', page)[1].decode()
        return self

    def raw(self, method, path, headers=None, body=None):
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            connection.request(method, path, body, headers or {})
            answer = connection.getresponse()
            return answer.status, {name.lower(): value for name, value in answer.getheaders()}, answer.read()
        finally:
            connection.close()

    @property
    def own(self):
        """Headers of the desk's own page."""
        return {"cookie": self.cookie, "x-tint-desk": self.token, "origin": self.origin}

    def ask(self, method, path, body=None, kind="application/json"):
        """Status and contents of an answer to the desk's own page."""
        status, headers, data = self.raw(method, f"/api/{path}", {**self.own, "content-type": kind}, body)
        return status, json.loads(data) if headers.get("content-type") == "application/json" else data

    def post(self, path, **values):
        status, answer = self.ask("POST", path, json.dumps(values))
        assert status == 200, answer
        return answer

    def get(self, path, **values):
        status, answer = self.ask("GET", f"{path}?{urlencode(values)}")
        assert status == 200, answer
        return answer

    def load(self, kind, name, data):
        return self.ask("POST", f"load?kind={kind}&name={quote(name)}", data, "application/octet-stream")

    def files(self, kind):
        """Ids of the files of a kind, by name."""
        return {file["name"]: file["id"] for file in self.get("state")["files"] if file["kind"] == kind}

    def finished(self, work):
        """The work, waited for."""
        until = time.monotonic() + 60
        while work["state"] == "running" and time.monotonic() < until:
            time.sleep(0.1)
            work = self.get("work", work=work["id"])
        return work

    def end(self):
        self.process.terminate()
        self.process.communicate(timeout=10)
