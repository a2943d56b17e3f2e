"""Hours of the day as rate sheets print them."""

import re
from contextlib import suppress

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from chargeplan.errors import InputError
from chargeplan.tariff import read_tariff
from chargeplan.tariff.windows import DaySet, Window
from chargeplan.units import clock_text

ALL = frozenset(range(7))


@pytest.mark.parametrize(
    ("text", "weekdays", "holidays"),
    [
        ("weekdays", {0, 1, 2, 3, 4}, False),
        ("weekends", {5, 6}, False),
        ("Weekends and holidays", {5, 6}, True),
        ("holidays", set(), True),
        ("every day", ALL, False),
        ("all days", ALL, False),
        ("daily", ALL, False),
        ("Mon-Fri", {0, 1, 2, 3, 4}, False),
        ("Mon - Fri", {0, 1, 2, 3, 4}, False),
        ("Mon–Fri", {0, 1, 2, 3, 4}, False),
        ("Monday to Thursday", {0, 1, 2, 3}, False),
        ("Fri-Mon", {4, 5, 6, 0}, False),  # past the end of the week
        ("Sun-Sat", ALL, False),
        ("Sat-Sat", {5}, False),
        ("Sat", {5}, False),
        ("Saturdays, Sundays", {5, 6}, False),
        ("Mon, Wed and Fri", {0, 2, 4}, False),
        ("Mon, and Wed", {0, 2}, False),
        ("weekdays and Sat", {0, 1, 2, 3, 4, 5}, False),
    ],
)
def test_days(text, weekdays, holidays):
    """The words rate sheets use for days (common practice, no source)."""
    assert DaySet.parse(text) == DaySet(frozenset(weekdays), holidays)


@pytest.mark.parametrize(
    ("text", "own", "after"),
    [
        ("16:00-21:00", [(960, 1260)], []),
        ("16:00 – 21:00", [(960, 1260)], []),
        ("16:00 to 21:00", [(960, 1260)], []),
        ("6:30-9:30", [(390, 570)], []),
        ("00:00-24:00", [(0, 1440)], []),
        ("all day", [(0, 1440)], []),
        ("All Hours on Mon", [(0, 1440)], []),
        ("always", [(0, 1440)], []),
        ("22:00-24:00", [(1320, 1440)], []),
        ("22:00-00:00", [(1320, 1440)], []),
        ("24:00-06:00", [(0, 360)], []),
        ("22:00-06:00", [(0, 360), (1320, 1440)], []),
        ("22:00-06:00 on Fri", [(0, 360), (1320, 1440)], []),
        ("22:00-06:00 starting Fri", [(1320, 1440)], [(0, 360)]),
        ("22:00-00:00 starting Fri", [(1320, 1440)], []),
        ("07:00-19:00 starting Fri", [(420, 1140)], []),
        ("06:00-05:00 starting Fri", [(360, 1440)], [(0, 300)]),
        ("23:59-00:01", [(0, 1), (1439, 1440)], []),
        ("07:00-11:00, 17:00-19:00", [(420, 660), (1020, 1140)], []),
        ("07:00-11:00 and 17:00-19:00", [(420, 660), (1020, 1140)], []),
    ],
)
def test_hours(text, own, after):
    """`on` means hours of the calendar day, `starting` a night that begins that day; 24:00 is the end of the day."""
    found_own, found_after = Window.parse(text).minutes()
    assert (sorted(found_own), found_after) == (own, after)


def test_the_parts_may_come_in_any_order_and_case():
    """`on`, `except` and `in` are found wherever they stand."""
    one = Window.parse("16:00-21:00 on weekdays except holidays in summer, late summer")
    other = Window.parse("16:00-21:00  In summer and late summer   EXCEPT holidays On Mon-Fri")
    assert one.seasons == other.seasons == ("summer", "late summer")
    assert one.on == other.on
    assert one.except_ == other.except_ == DaySet(frozenset(), holidays=True)
    assert one.covers_day(0, holiday=False, season="summer")
    assert not one.covers_day(0, holiday=True, season="summer")
    assert not one.covers_day(5, holiday=False, season="summer")
    assert not one.covers_day(0, holiday=False, season="winter")


SPAN = "is not a span of hours; write for example 16:00-21:00 on weekdays"
DAY = "is not a day; write Mon, Tue ... Sun, weekdays, weekends or holidays"
TIME = "is not a time of day; write 00:00 to 24:00"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("16:00-25:00", f"25:00 {TIME}"),
        ("16:60-17:00", f"16:60 {TIME}"),
        ("16-21", f"16 {TIME}"),
        ("16:00-", f"`16:00-` {SPAN}"),
        ("4pm-9pm", f"`4pm-9pm` {SPAN}"),
        ("16:00", f"`16:00` {SPAN}"),
        ("", f"`` {SPAN}"),
        ("16:00-21:00 weekdays", f"`16:00-21:00 weekdays` {SPAN}"),
        ("16:00-21:00,", f"`` {SPAN}"),
        ("16:00-21:00 on", f"`16:00-21:00 on` {SPAN}"),
        ("16:00-21:00 ın summer", f"`16:00-21:00 ın summer` {SPAN}"),  # a Turkish dotless i
        ("06:00-06:00", "`06:00-06:00` is empty; write `all day` or 00:00-24:00 for a whole day"),
        ("24:00-24:00", "`24:00-24:00` is empty; write `all day` or 00:00-24:00 for a whole day"),
        ("00:00-00:00", "`00:00-00:00` is empty; write `all day` or 00:00-24:00 for a whole day"),
        ("06:00-07:00 on Mon-Fri-Sun", f"`mon-fri-sun` {DAY}"),
        ("06:00-07:00 on Mon,", f"`` {DAY}"),
        (
            "06:00-07:00 on Mon on Tue",
            "`on` comes twice in `06:00-07:00 on Mon on Tue`; write one window per line of a list",
        ),
        (
            "06:00-07:00 on Mon starting Tue",
            "`starting` comes twice in `06:00-07:00 on Mon starting Tue`; write one window per line of a list",
        ),
    ],
)
def test_each_mistake(text, message):
    """Each mistake has one sentence with a remedy."""
    with pytest.raises(InputError, match=f"^{re.escape(message)}$"):
        Window.parse(text)


@pytest.mark.parametrize(
    ("text", "on", "out"),
    [
        ("06:00-09:00, 16:00-20:00 on critical", {"critical"}, set()),
        ("06:00-09:00 on Critical  Days", {"critical"}, set()),
        ("06:00-09:00 on weekdays except critical, holidays", set(), {"critical"}),
        ("06:00-09:00 on critical and super saver days except saver day", {"critical", "super saver"}, {"saver"}),
        ("06:00-09:00 starting level 2 in winter", {"level 2"}, set()),
        ("06:00-09:00 on weekdays", set(), set()),
    ],
)
def test_kinds_of_called_days(text, on, out):
    """Words that are no days are kept as kinds of called days, with or without `days`, in any case."""
    window = Window.parse(text)
    assert (window.on.called, window.except_.called) == (on, out)
    assert window.names_called == on | out
    assert window.unknown_day([name.title() + " days" for name in on | out]) is None


def test_called_days_take_part_like_holidays():
    """A day called critical is still a Wednesday: `on weekdays` covers it unless it is taken out."""
    critical = frozenset({"critical"})
    assert Window.parse("06:00-09:00 on weekdays").covers_day(2, False, None, critical)
    assert not Window.parse("06:00-09:00 on weekdays except critical").covers_day(2, False, None, critical)
    assert Window.parse("06:00-09:00 on weekdays except critical").covers_day(2, False, None)
    assert not Window.parse("06:00-09:00 on critical").covers_day(2, False, None)
    assert Window.parse("06:00-09:00 on critical").covers_day(6, False, None, critical | {"saver"})


@pytest.mark.parametrize(
    ("text", "kinds", "message"),
    [
        ("06:00-07:00 on workdays", (), f"`workdays` {DAY}"),
        ("06:00-07:00 except Critical", (), f"`critical` {DAY}"),
        (
            "06:00-07:00 on critcal",
            ("critical", "saver"),
            f"`critcal` {DAY}, or a kind of called days: critical, saver",
        ),
    ],
)
def test_words_that_are_neither_days_nor_kinds(text, kinds, message):
    """The message is the one for a wrong day, with the kinds of the sheet if it has some."""
    assert Window.parse(text).unknown_day(kinds) == message


@pytest.mark.parametrize("text", ["workdays", "critical", "critical days"])
def test_sets_of_days_without_called_days_refuse_other_words(text):
    """Where no called days can be meant, a wrong word is refused at once."""
    with pytest.raises(InputError, match=f"^`{text}` {DAY}$"):
        DaySet.parse(text)


@given(
    st.one_of(st.text(max_size=40), st.from_regex(r"\A[0-9:, –-]{0,20}( (on|in|except|starting) [A-Za-z, ]{0,10})*\Z"))
)
@example("16:00-21:00 on K")
@example("１６:００-２１:００")
def test_any_text_is_read_or_refused(text):
    """No text brings another kind of error, and what is read lies within the day."""
    with suppress(InputError):
        for start, end in (span for part in Window.parse(text).minutes() for span in part):
            assert 0 <= start < end <= 1440


@given(st.integers(0, 1439), st.integers(1, 1440), st.frozensets(st.integers(0, 6), min_size=1))
def test_a_window_covers_its_minutes_whatever_the_days(start, end, days):
    """`on` covers the minutes of the day between the two times; `starting` as long a run, begun on the day."""
    assume(start != end % 1440)
    names = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
    text = f"{clock_text(start)}-{clock_text(end)} {{}} {', '.join(names[day] for day in sorted(days))}"
    length = (end - start) % 1440 or 1440
    for word in ("on", "starting"):
        window = Window.parse(text.format(word))
        assert window.on.weekdays == days
        assert sum(b - a for part in window.minutes() for a, b in part) == length


def labels(text, start, end, step="30 min"):
    tariff = read_tariff(f"""
name: Window
currency: EUR
timezone: Etc/UTC
periods: {{night: {text}, day: rest}}
prices: {{night: 1, day: 0}}
""")
    return "".join(str(int(price)) for price in tariff.prices(start, end, step))


def test_on_friday_and_starting_friday():
    """2026-11-27 is a Friday. `on Fri` is Friday's early and late hours, `starting Fri` Friday evening and Saturday."""
    thursday, friday, saturday = "2026-11-26", "2026-11-27", "2026-11-28"
    on = "22:00-06:00 on Fri"
    assert labels(on, thursday, friday, "1 h") == "0" * 24
    assert labels(on, friday, saturday, "1 h") == "1" * 6 + "0" * 16 + "1" * 2
    assert labels(on, saturday, "2026-11-29", "1 h") == "0" * 24
    starting = "22:00-06:00 starting Fri"
    assert labels(starting, friday, saturday, "1 h") == "0" * 22 + "1" * 2
    assert labels(starting, saturday, "2026-11-29", "1 h") == "1" * 6 + "0" * 18


def test_half_hours_and_open_ends():
    """A window holds from its first minute up to, not including, its last."""
    assert labels("06:30-09:30", "2026-11-27 06:00", "2026-11-27 10:30") == "011111100"
    assert labels("06:30-09:30", "2026-11-27 09:28", "2026-11-27 09:32", "1 min") == "1100"
    assert labels("06:30-09:30", "2026-11-27 06:28", "2026-11-27 06:32", "1 min") == "0011"
    assert labels("22:00-24:00", "2026-11-27 23:00", "2026-11-28 01:00") == "1100"
    assert labels("00:00-24:00 on Fri", "2026-11-26 23:30", "2026-11-28 00:30") == "0" + "1" * 48 + "0"


@pytest.mark.parametrize(
    "text", ["[22:00-02:00, 12:00-13:00]", "22:00-02:00; 12:00-13:00", "'22:00-02:00, 12:00-13:00'"]
)
def test_several_windows(text):
    """A list, semicolons and commas all join hours."""
    assert labels(text, "2026-11-27", "2026-11-28", "1 h") == "110000000000100000000011"
