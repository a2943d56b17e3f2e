"""A bar for a terminal, and nothing elsewhere."""

import contextlib
import io
import os
import pty
import re
import subprocess
import sys
import termios

import pytest

from chargeplan.study.progress import progress_bar

SCRIPT = """
import sys, time
from chargeplan.study.progress import progress_bar
with progress_bar() as progress:
    if progress is None:
        sys.exit("none")
    progress(500, 1000)
    for done in range(500, 1001, 50):
        time.sleep(0.2)
        progress(done, 1000)
print("done")
"""


class Terminal(io.StringIO):
    """Says that it is one."""

    def isatty(self):
        return True


def on_a_terminal(**environment):
    """What a process writes to a real terminal, as standard error."""
    reader, writer = pty.openpty()
    termios.tcsetwinsize(writer, (24, 80))
    run = subprocess.Popen(
        [sys.executable, "-c", SCRIPT], stderr=writer, stdout=subprocess.PIPE, env=os.environ | environment
    )
    os.close(writer)
    drawn = b""
    while True:
        try:
            piece = os.read(reader, 4096)
        except OSError:  # the other end is closed
            break
        if not piece:
            break
        drawn += piece
    os.close(reader)
    out, _ = run.communicate()
    assert (run.returncode, out) == (0, b"done\n")
    return drawn.decode()


@pytest.mark.parametrize("environment", [{}, {"NO_COLOR": "1"}, {"TERM": "dumb"}], ids=str)
def test_a_terminal_shows_how_far_it_is(environment):
    """Percent, years and the time left, without colors; the bar is gone in the end."""
    drawn = on_a_terminal(**environment)
    shown = re.findall(r"(\d+) % \|[^\r]*\| (\d+) of 1000 years, (\d\d:\d\d|\?) left", drawn)
    assert len(shown) >= 3
    done = [int(years) for _, years, _ in shown]
    assert done == sorted(done)
    assert all(int(percent) == round(years / 10) for (percent, _, _), years in zip(shown, done, strict=True))
    # 50 years in 0.2 s: from the middle on there are 2 s left, not more, as if the first half had taken time too.
    assert {left for _, _, left in shown} <= {"?", "00:00", "00:01", "00:02", "00:03"}
    assert re.search(r"\x1b\[[0-9;]*m", drawn) is None
    assert drawn.rstrip("\r\n ").rsplit("\r", 1)[-1].strip() == "" or drawn.endswith("\r")


def test_nothing_in_a_pipe():
    """Nor in a timed job: not a byte."""
    run = subprocess.run([sys.executable, "-c", SCRIPT], capture_output=True, text=True, check=False)
    assert (run.returncode, run.stdout, run.stderr) == (1, "", "none\n")


def test_a_bar_that_is_broken_off_is_taken_away():
    """The message of what went wrong begins on a line of its own."""
    stream = Terminal()
    with contextlib.suppress(ValueError), progress_bar(stream) as progress:
        progress(0, 10)
        raise ValueError("wrong")
    assert "0 of 10 years" in stream.getvalue()
    assert stream.getvalue().rsplit("\r", 1)[-1].strip() == ""


def test_the_bar_is_not_imported_for_nothing():
    """Only a terminal needs it."""
    code = "import sys, chargeplan.study.run, chargeplan.study.progress; print('tqdm' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, check=True).stdout == b"False\n"
