"""`tint desk` refuses in one line what it cannot serve; what it serves is tested in tests/desk."""

import socket

from calling import one_line, tint


def test_a_folder_that_is_not_there_is_refused(tmp_path):
    assert "is not a folder" in one_line(tint("desk", tmp_path / "nowhere", "--no-browser"), 2)


def test_a_port_that_is_taken_is_refused(tmp_path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen(1)
        port = taken.getsockname()[1]
        assert f"port {port} of this computer cannot be used" in one_line(
            tint("desk", tmp_path, "--port", port, "--no-browser"), 2
        )


def test_the_missing_libraries_of_the_page_are_named(tmp_path, monkeypatch):
    import sys

    monkeypatch.setitem(sys.modules, "uvicorn", None)
    assert "pip install 'tint[desk]'" in one_line(tint("desk", tmp_path, "--no-browser"), 2)
