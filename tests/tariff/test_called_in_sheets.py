"""What a sheet says of called days: the forms it may take, and where each mistake is told."""

import pytest

from chargeplan.errors import FileError
from chargeplan.tariff import read_tariff

HEAD = "name: A\ncurrency: USD\ntimezone: America/Denver\n"
REST = "periods: {critical: 16:00-21:00 on critical, other: rest}\nprices: {critical: 0.5, other: 0.2}\n"
SEASONS = "seasons: {summer: Jun - Sep, winter: rest}\n"


def sheet(called, seasons="", name="a.yaml"):
    return read_tariff(f"{HEAD}{seasons}called: {{critical: {called}}}\n{REST}", name)


def limits_of(called, seasons=""):
    return sheet(called, seasons).versions[0].tables[0].calendar.called[0].limits


def messages_of(called, seasons="", name="a.yaml"):
    with pytest.raises(FileError) as caught:
        sheet(called, seasons, name)
    return str(caught.value).splitlines()


@pytest.mark.parametrize(
    ("listed", "text"),
    [
        ("only_on: [weekdays, holidays]", "only_on: weekdays and holidays"),
        ("only_on: [weekdays except Fri]", "only_on: weekdays except Fri"),
        ("never_on: [Dec 24, Good Friday]", "never_on: 'Dec 24, Good Friday'"),
        ("never_on: [Dec 24, Good Friday, Jan 1]", "never_on: 'Dec 24, Good Friday and Jan 1'"),
        ("never_on: [Dec 24]", "never_on: Dec 24"),
    ],
)
def test_days_as_text_and_as_a_list(listed, text):
    """`only_on` and `never_on` take either."""
    holidays = "holidays: [Jul 4]\n"
    one, other = (limits_of(f"{{days: [], {form}}}", holidays) for form in (listed, text))
    assert (one.on, one.except_, one.never_on) == (other.on, other.except_, other.never_on)
    assert one != limits_of("{days: []}", holidays)


@pytest.mark.parametrize(
    ("only_in", "days"),
    [("summer", "Jun - Sep"), ("winter", "Oct - May"), ("' summer '", "Jun - Sep"), ("Jul - Aug", "Jul - Aug")],
)
def test_a_season_of_the_sheet_by_its_name(only_in, days):
    """Also the one that is the rest of the year; other text is days, as ever."""
    season = limits_of(f"{{days: [], only_in: {only_in}}}", SEASONS).season
    assert season is not None
    assert season == limits_of(f"{{days: [], only_in: {days}}}").season


def test_a_day_out_of_a_season_that_is_named():
    """The message names the season as the sheet does."""
    assert messages_of("{days: [2026-07-01], only_in: winter}", SEASONS) == [
        "a.yaml:5:28: 2026-07-01 is outside, but `critical` days are called only in winter; "
        "take it out, or change `only_in`"
    ]


@pytest.mark.parametrize(
    ("called", "seasons", "column", "message"),
    [
        (
            "{days: [], only_in: summer}",
            "",
            31,
            "only_in: `summer` is not a month; write Jan, Feb ... or the whole name, or name a season under `seasons:`",
        ),
        (
            "{days: [], only_in: sumer}",
            SEASONS,
            31,
            "only_in: `sumer` is not a month; write Jan, Feb ... or the whole name, "
            "or name a season of the sheet: summer, winter",
        ),
        (
            "{days: [], only_in: rest}",
            "seasons: {light: daylight time, rest: rest}\n",
            31,
            "only_in: the days of `rest` change from year to year, and it is `rest`; "
            "write its days, for example Dec 1 - Mar 31",
        ),
        (
            "{days: [], only_on: workdays}",
            "",
            31,
            "only_on: `workdays` is not a day; write Mon, Tue ... Sun, weekdays, weekends or holidays",
        ),
        (
            "{days: [], only_on: [weekdays except Mon, Sat]}",
            "",
            31,
            "only_on: `except` cannot stand in a list of days; write it as text, like weekdays except holidays",
        ),
        (
            "{days: [], notice: 5pm the day before}",
            "",
            31,
            "`5pm the day before` is no time of notice; write for example 17:00 the day before",
        ),
        (
            "{days: [], at_most: 2 per month}",
            "",
            31,
            "at_most: `2 per month` is no number of days; write for example 33 days, which are those of the calendar "
            "year, or of the season that `only_in` names",
        ),
        (
            "{days: [], only_in: Dec - Mar, at_most: 10 per year}",
            "",
            51,
            "at_most: `10 per year` cannot be counted; write 10 days, which are those of a season, since there is "
            "`only_in`",
        ),
        (
            "{days: [], at_most: 10 days a season}",
            "",
            31,
            "at_most: `10 days a season` cannot be counted; write 10 days, which are those of a calendar year",
        ),
    ],
)
def test_each_limit_is_told_at_its_own_place(called, seasons, column, message):
    """The key is named, and what may stand there."""
    line = 5 if seasons else 4
    assert messages_of(called, seasons) == [f"a.yaml:{line}:{column}: {message}"]


@pytest.mark.parametrize(
    ("text", "at_most"),
    [
        ("at_most: 10 per year", 10),
        ("at_most: 10 days a year", 10),
        ("at_most: 33 days", 33),
        ("at_most: 5", 5),
        ("only_in: Dec - Mar, at_most: 7 per season", 7),
    ],
)
def test_how_many_may_be_called(text, at_most):
    """`per year` and `per season` may stand where that is how days are counted."""
    assert limits_of(f"{{days: [], {text}}}").at_most == at_most


def test_a_season_that_cannot_be_read_is_told_once():
    """`only_in` by the name of such a season brings no message of its own."""
    assert messages_of("{days: [], only_in: summer}", SEASONS.replace("Sep", "Sep 31")) == [
        "a.yaml:4:11: summer: `Sep 31` does not exist; that month has 30 days at most"
    ]


def test_days_of_a_file_that_break_a_rule_are_told_in_the_file(tmp_path, monkeypatch):
    """At the line and column of the CSV file; days of the sheet stay at the sheet; versions do not say it again."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "called.csv").write_text("kind,date\ncritical,2026-07-14\ncritical,2026-07-18\ncritical,2026-07-15\n")
    called = "{days: [2026-07-13, 2026-07-19], file: called.csv, only_on: weekdays, at_most: 1}"
    text = f"{HEAD}called: {{critical: {called}}}\n{REST}versions: [{{from: 2026-05-01, prices: 0.3}}]\n"
    with pytest.raises(FileError) as caught:
        read_tariff(text, "a.yaml")
    only = "but `critical` days are called only on weekdays; take it out, or change `only_on`"
    assert str(caught.value).splitlines() == [
        f"a.yaml:4:40: 2026-07-19 is a Sunday, {only}",
        "called.csv:2:10: 2026-07-14 is day 2 of the `critical` days of 2026, but 1 may be called; "
        "take days out, or change `at_most`",
        f"called.csv:3:10: 2026-07-18 is a Saturday, {only}",
    ]


def test_days_that_cannot_be_read_are_not_called_missing():
    """One bad date is one message; a kind of which nothing is said is another matter."""
    assert messages_of("{days: [2026-07-32], notice: 17:00 the day before}") == [
        "a.yaml:4:28: `2026-07-32` does not exist; write a date such as 2026-12-24"
    ]
    assert messages_of("{notice: 17:00 the day before}") == [
        "a.yaml:4:10: nothing says which days are critical; add `days:` or `file:`"
    ]
