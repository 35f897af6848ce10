"""Nobody but the desk's own page gets an answer, and no answer may be shown or run elsewhere."""

import json

import pytest
from running_desk import PAGE_FILES, RunningDesk

from tint.desk.gate import cookie_name

STOP = "work/stop"  # any route that changes something


@pytest.fixture(scope="module")
def fresh(tmp_path_factory):
    running = RunningDesk(tmp_path_factory.mktemp("empty"))
    yield running
    running.end()


def test_the_link_works_once(fresh):
    path = fresh.link.removeprefix(fresh.origin)
    assert fresh.raw("GET", "/open?key=wrong")[0] == 403
    status, headers, _ = fresh.raw("GET", path)
    assert status == 303 and headers["location"] == "/"
    for word in ("HttpOnly", "SameSite=strict", "Path=/"):
        assert word in headers["set-cookie"]
    status, _, said = fresh.raw("GET", path)
    assert status == 403 and b"once" in said


def test_the_address_is_on_this_computer_only(fresh):
    assert fresh.link.startswith("http://127.0.0.1:")
    listening = open(f"/proc/{fresh.process.pid}/net/tcp").read() if fresh.process.pid else ""
    addresses = [
        line.split()[1]
        for line in listening.splitlines()[1:]
        if line.split()[1].endswith(f":{fresh.port:04X}") and line.split()[3] == "0A"
    ]
    assert addresses == [f"0100007F:{fresh.port:04X}"]


@pytest.mark.parametrize(
    "path", ["/", "/static/desk.js", "/api/state", "/api/schema", "/api/fetch?file=x", "/elsewhere"]
)
def test_without_the_cookie_nothing_is_told(desk, path):
    status, _, said = desk.raw("GET", path, {"x-tint-desk": desk.token})
    assert status == 403 and b"locked" in said


@pytest.mark.parametrize(
    "change",
    [
        {"x-tint-desk": ""},
        {"x-tint-desk": "guess"},
        {"cookie": "tint_desk_{port}=guess"},
        {"x-tint-desk": "é".encode()},
    ],
)
def test_every_call_needs_cookie_and_token(desk, change):
    assert desk.raw("GET", "/api/state", desk.own)[0] == 200
    change = {
        name: value if isinstance(value, bytes) else value.format(port=desk.port) for name, value in change.items()
    }
    assert desk.raw("GET", "/api/state", {**desk.own, **change})[0] == 403


def test_two_desks_in_one_browser_keep_their_own_cookies(desk, fresh):
    other = desk.own | {"cookie": f"{desk.cookie}; {cookie_name(fresh.port)}=of-the-other-desk"}
    assert desk.raw("GET", "/api/state", other)[0] == 200
    assert desk.cookie.startswith(f"{cookie_name(desk.port)}=") and cookie_name(desk.port) != cookie_name(fresh.port)


@pytest.mark.parametrize(
    "host", ["localhost", "evil.example", "127.0.0.1", "127.0.0.1:1", "[::1]", "evil.example:{port}", "0.0.0.0:{port}"]
)
def test_another_host_is_not_answered(desk, host):
    headers = {**desk.own, "host": host.format(port=desk.port)}
    for path in ("/", "/open?key=x", "/api/state", "/static/desk.js"):
        assert desk.raw("GET", path, headers)[0] == 421


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "http://127.0.0.1", "https://127.0.0.1:{port}", "http://localhost:{port}"]
)
def test_another_origin_is_not_answered(desk, origin):
    headers = {**desk.own, "origin": origin.format(port=desk.port), "content-type": "application/json"}
    assert desk.raw("GET", "/api/state", headers)[0] == 403
    assert desk.raw("POST", f"/api/{STOP}", headers, json.dumps({"work": "work-1"}))[0] == 403


def test_a_change_without_origin_is_refused(desk):
    headers = {name: value for name, value in desk.own.items() if name != "origin"} | {
        "content-type": "application/json"
    }
    assert desk.raw("POST", f"/api/{STOP}", headers, json.dumps({"work": "work-1"}))[0] == 403


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_a_page_of_another_site_is_not_answered(desk, site):
    assert desk.raw("GET", "/static/desk.js", {**desk.own, "sec-fetch-site": site})[0] == 403


def test_a_form_of_another_page_cannot_post(desk):
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data"):
        status, answer = desk.ask("POST", "work/stop", json.dumps({"work": "work-1"}), kind)
        assert status == 400 and "application/json" in answer["error"]


@pytest.mark.parametrize("path", ["/", "/static/desk.js", "/api/state", "/nothing", "/open?key=x"])
def test_every_answer_carries_the_strict_headers(desk, path):
    _, headers, _ = desk.raw("GET", path, desk.own)
    policy = dict(part.strip().split(" ", 1) for part in headers["content-security-policy"].split(";"))
    assert (
        policy["default-src"] == "'none'" and policy["script-src"] == "'self'" and policy["frame-ancestors"] == "'none'"
    )
    assert "unsafe" not in headers["content-security-policy"] and "data:" not in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff" and headers["cache-control"] == "no-store"
    assert headers["referrer-policy"] == "no-referrer" and headers["cross-origin-resource-policy"] == "same-origin"


@pytest.mark.parametrize(
    "name",
    [
        "../gate.py",
        "..%2fgate.py",
        "%2e%2e%2fgate.py",
        "....//gate.py",
        "/etc/passwd",
        "..%5cgate.py",
        "index.html",
        "%00",
    ],
)
def test_static_files_are_those_of_the_page_only(desk, name):
    assert desk.raw("GET", f"/static/{name}", desk.own)[0] in (403, 404)


def test_the_page_names_no_other_place(desk):
    names = ["/", *(f"/static/{name}" for name in PAGE_FILES)]
    assert {"/static/desk.css", "/static/desk.js", "/static/check.js"} < set(names)
    weight = 0
    for name in names:
        status, _, data = desk.raw("GET", name, desk.own)
        assert status == 200
        weight += len(data)
        text = data.decode().replace("http://www.w3.org/2000/svg", "")
        assert "http:" not in text and "https:" not in text and "innerHTML" not in text and "eval(" not in text
    assert weight <= 500_000
