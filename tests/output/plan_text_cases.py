"""What the tests of printed plans share: presents, states of charge, and the form every report keeps."""

import re
from datetime import datetime, timedelta

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st

REPORT = settings(deadline=None, database=None, suppress_health_check=[HealthCheck.too_slow])
#: Presents all over the year, and around the clock changes of 2026 in North America and Europe.
NOW = st.datetimes(datetime(2026, 1, 3), datetime(2026, 12, 20)) | st.sampled_from(
    [datetime(2026, *day) for day in ((3, 7), (3, 8), (3, 28), (3, 29), (10, 24), (10, 25), (10, 31), (11, 1))]
).flatmap(lambda day: st.datetimes(day, day + timedelta(days=1)))
SOC = st.integers(0, 1000).map(lambda n: f"{n / 10:g} %")
NAMES = st.text(min_size=1, max_size=200) | st.text("ab cd-", min_size=1, max_size=200)


def check_form(text, *, ascii_only=True):
    """At most 80 columns (RFC 5322, 2.1.1 recommends 78 for mail), plain characters, no ragged white space."""
    assert text
    assert not re.search(r"^(Saves)? +-\d", text, re.MULTILINE), "no negative saving"
    for line in text.split("\n"):
        assert len(line) <= 80, line
        assert line.isprintable(), "no escape or other control character"
        assert line.isascii() or not ascii_only
        assert line == line.rstrip(), "trailing white space"
    assert "\n\n\n" not in text
    assert not text.startswith("\n")
    assert not text.endswith("\n")
