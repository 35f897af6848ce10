"""Bytes and text are read up to a limit."""

import os
import threading

import pytest

from tint.errors import FileError
from tint.files.text import file_bytes, read_text


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes of POSIX")
def test_a_pipe_is_read_up_to_the_limit(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    for size in (10, 11):
        child = threading.Thread(target=(tmp_path / "pipe").write_bytes, args=(b"x" * size,))
        child.start()
        if size == 10:
            assert file_bytes(tmp_path / "pipe", 10, "no more.") == b"x" * 10
        else:
            with pytest.raises(FileError, match="has more than"):
                file_bytes(tmp_path / "pipe", 10, "no more.")
        child.join()


def test_text_beyond_the_limit_is_not_read(tmp_path, monkeypatch):
    monkeypatch.setattr("tint.files.text.MAX_TEXT_BYTES", 10)
    (tmp_path / "big.csv").write_text("x" * 11)
    with pytest.raises(FileError, match="tint reads up to"):
        read_text(tmp_path / "big.csv")
