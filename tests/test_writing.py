"""Files that are there whole or not at all."""

import os

import pytest

from chargeplan.errors import InputError
from chargeplan.writing import write_whole


def test_a_file_is_replaced_as_a_whole(tmp_path):
    """The new content is there, readable as the umask says, and nothing else is left."""
    file = tmp_path / "prices.csv"
    file.write_text("old")
    write_whole(file, b"new")
    assert file.read_text() == "new"
    umask = os.umask(0)
    os.umask(umask)
    assert file.stat().st_mode & 0o777 == 0o666 & ~umask
    assert list(tmp_path.iterdir()) == [file]


@pytest.mark.parametrize("name", ["missing/prices.csv", "a\0b.csv", "x" * 300])
def test_what_cannot_be_written(tmp_path, name):
    """One message, and nothing is left behind."""
    with pytest.raises(InputError, match=r"cannot write .*; choose another place"):
        write_whole(tmp_path / name, b"new")
    assert list(tmp_path.iterdir()) == []


def test_a_folder_of_that_name_stays(tmp_path):
    """What cannot be replaced stays as it was."""
    (tmp_path / "prices.csv").mkdir()
    with pytest.raises(InputError, match="cannot write"):
        write_whole(tmp_path / "prices.csv", b"new")
    assert [file.name for file in tmp_path.iterdir()] == ["prices.csv"]
