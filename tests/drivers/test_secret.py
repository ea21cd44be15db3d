"""Secrets in files of their own."""

from __future__ import annotations

from pathlib import Path

import pytest

from roomlink.drivers.port import DeviceFault
from roomlink.drivers.secret import SECRET_BYTES_MAX, read_secret


@pytest.mark.parametrize("data", [b"plover-3", b"plover-3\n", b"plover-3\r\n", b"plover-3\nsecond line\n"])
def test_a_secret_is_the_first_line(tmp_path: Path, data: bytes) -> None:
    """However the editor ended it."""
    file = tmp_path / "secret"
    file.write_bytes(data)
    assert read_secret(str(file)) == "plover-3"


@pytest.mark.parametrize("data", [b"", b"\nplover-3", b"plover\xff", b"x" * (SECRET_BYTES_MAX + 1)])
def test_a_file_without_a_secret_is_named_and_not_quoted(tmp_path: Path, data: bytes) -> None:
    """What is wrong, and nothing of what is in it."""
    file = tmp_path / "secret"
    file.write_bytes(data)
    with pytest.raises(DeviceFault, match=str(file)) as caught:
        read_secret(str(file))
    assert "plover" not in str(caught.value)


def test_a_missing_file_and_a_folder_are_told(tmp_path: Path) -> None:
    """Neither is a file."""
    for path in (tmp_path, tmp_path / "none"):
        with pytest.raises(DeviceFault, match="no password file"):
            read_secret(str(path))
