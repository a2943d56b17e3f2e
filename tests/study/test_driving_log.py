"""A log of journeys: weeks by hand, clock changes, what is written is read, and every mistake at once."""

import os
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chargeplan.clock import local_datetimes, wall_s
from chargeplan.errors import FileError, InputError
from chargeplan.household.habits import ByDay, Habits
from chargeplan.study.cold import Cold, MonthlyMeans
from chargeplan.study.driving import Away, Driving, LongTrips
from chargeplan.study.driving_log import read_driving_log

MANY = settings(deadline=None, max_examples=int(os.environ.get("CHARGEPLAN_EXAMPLES", "40")))
DENVER = "America/Denver"


def written(tmp_path, *lines, name="log.csv"):
    file = tmp_path / name
    file.write_text("\n".join(lines), encoding="utf-8")
    return file


def rows(journeys):
    return [
        (f"{leave:%a %d %b %H:%M}", f"{back:%a %d %b %H:%M}", round(float(km), 3))
        for leave, back, km in zip(
            local_datetimes(journeys.timezone, journeys.leave_s),
            local_datetimes(journeys.timezone, journeys.back_s),
            journeys.distance_km,
            strict=True,
        )
    ]


# -------------------------------------------------------------------------------------------------------- by hand


WEEK = (
    "leave,back,distance,who",
    "2026-03-02 07:15,2026-03-02 18:15,29 mi,",
    "2026-03-02 19:00,2026-03-02 22:30,12 km,both",
    "2026-03-04T07:15-07:00,2026-03-04T18:15-07:00,29 mi,",
    "2026-03-06 17:00,2026-03-08 20:00,500 km,away",
)


def test_a_week(tmp_path):
    """Two journeys on Monday, and one from Friday to Sunday over the spring change; 29 mi are 46.671 km."""
    log = read_driving_log(written(tmp_path, *WEEK), DENVER)
    assert rows(log) == [
        ("Mon 02 Mar 07:15", "Mon 02 Mar 18:15", 46.671),
        ("Mon 02 Mar 19:00", "Mon 02 Mar 22:30", 12.0),
        ("Wed 04 Mar 07:15", "Wed 04 Mar 18:15", 46.671),
        ("Fri 06 Mar 17:00", "Sun 08 Mar 20:00", 500.0),
    ]
    assert (log.first, log.days) == (date(2026, 3, 2), 7)
    assert (log.back_s[-1] - log.leave_s[-1]) / 3600 == 50, "an hour less than the clock says"
    assert log.factor.tolist() == [1, 1, 1, 1]
    assert not log.kind.any()


@pytest.mark.parametrize(
    ("header", "cell"),
    [("distance_km", "100"), ("Distance [km]", "100.0"), ("distance_mi", "62.137119"),
     ("distance (miles)", "62.137119"), ("distance_m", "100000"), ("distance", "100 km"), ("distance", "62.137119mi")],
)  # fmt: skip
def test_units(tmp_path, header, cell):
    """In the name of the column or in the cell."""
    file = written(tmp_path, f"Leave;Back;{header}", f"2026-03-02 07:15;2026-03-02 18:15;{cell}")
    assert read_driving_log(file, DENVER).distance_km == pytest.approx([100.0], rel=1e-6)


def test_rows_in_any_order(tmp_path):
    """Many cars write the newest journey first."""
    there = read_driving_log(written(tmp_path, *WEEK), DENVER)
    back = read_driving_log(written(tmp_path, WEEK[0], *reversed(WEEK[1:])), DENVER)
    assert rows(there) == rows(back)


def test_drives_without_any_time_at_home_are_one_journey(tmp_path):
    """The car that leaves at the very time of its return was not plugged in."""
    lines = ("2026-03-02 07:00,2026-03-02 08:00,30", "2026-03-02 08:00,2026-03-02 09:00,20")
    log = read_driving_log(
        written(tmp_path, "leave,back,distance_km", *lines, "2026-03-02 09:01,2026-03-02 10:00,5"), DENVER
    )
    assert rows(log) == [("Mon 02 Mar 07:00", "Mon 02 Mar 09:00", 50.0), ("Mon 02 Mar 09:01", "Mon 02 Mar 10:00", 5.0)]


def test_a_span_of_its_own(tmp_path):
    """Journeys outside are left out; of one under way at the beginning the rest is there, without its distance."""
    file = written(tmp_path, *WEEK)
    later = read_driving_log(file, DENVER, first=date(2026, 3, 7), days=10)
    assert rows(later) == [("Sat 07 Mar 00:00", "Sun 08 Mar 20:00", 0.0)]
    assert (later.first, later.days) == (date(2026, 3, 7), 10)
    until = read_driving_log(file, DENVER, days=2)
    assert len(until) == 2
    over_the_end = read_driving_log(file, DENVER, days=5)
    assert over_the_end.back_s[-1] > over_the_end.end_s
    with pytest.raises(
        InputError, match=r"no journey in the 30 days from 2026-04-01; it goes from 2026-03-02 to 2026-03-06"
    ):
        read_driving_log(file, DENVER, first=date(2026, 4, 1), days=30)
    with pytest.raises(InputError, match="a span of 0 days"):
        read_driving_log(file, DENVER, days=0)
    with pytest.raises(InputError, match="is not a time zone"):
        read_driving_log(file, "America/Dever")


def test_back_at_midnight(tmp_path):
    """The return at 24:00 is one of the day that ends."""
    log = read_driving_log(written(tmp_path, "leave,back,distance_km", "2026-03-02 19:00,2026-03-03 00:00,10"), DENVER)
    assert log.days == 1


def test_clock_changes(tmp_path):
    """On 1 November 2026 in Denver 01:30 comes twice: the first is meant, unless the offset says otherwise."""
    lines = ("2026-11-01 00:30,2026-11-01 01:30,10", "2026-11-01T01:10-07:00,2026-11-01 03:00,10")
    log = read_driving_log(written(tmp_path, "leave,back,distance_km", *lines), DENVER)
    assert ((log.back_s - log.leave_s) / 60).tolist() == [60, 110]
    assert (log.leave_s[1] - log.back_s[0]) / 60 == 40
    wrong = written(tmp_path, "leave,back,distance_km", "2026-11-01 01:40,2026-11-01 01:10,10")
    with pytest.raises(
        FileError, match=r"log.csv:2:18: the car is back at .* 01:10, but it leaves .* with their offsets"
    ):
        read_driving_log(wrong, DENVER)
    skipped = written(tmp_path, "leave,back,distance_km", "2026-03-08 02:30,2026-03-08 04:00,10")
    with pytest.raises(
        FileError, match=r"log.csv:2:1: 2026-03-08 02:30 is skipped that day, when the clock goes forward"
    ):
        read_driving_log(skipped, DENVER)
    assert len(read_driving_log(skipped, "America/Phoenix")) == 1, "there it is not"


def test_the_cold(tmp_path):
    """A journey in the cold has its factor."""
    cold = Cold(MonthlyMeans((-10.0,) * 12), ((20.0, 1.0), (-10.0, 1.4)))
    assert read_driving_log(written(tmp_path, *WEEK), DENVER, cold=cold).factor == pytest.approx([1.4] * 4)


def test_a_parquet_file(tmp_path):
    """As pandas writes it, with zone-aware stamps."""
    pd = pytest.importorskip("pandas")
    pytest.importorskip("pyarrow")
    leave = pd.DatetimeIndex(["2026-03-02 07:15", "2026-03-04 07:15"], tz=DENVER, name="leave")
    frame = pd.DataFrame({"back": leave + pd.Timedelta(hours=11), "distance_km": [47.0, 48.5]}, index=leave)
    frame.to_parquet(tmp_path / "log.parquet")
    assert rows(read_driving_log(tmp_path / "log.parquet", DENVER)) == [
        ("Mon 02 Mar 07:15", "Mon 02 Mar 18:15", 47.0),
        ("Wed 04 Mar 07:15", "Wed 04 Mar 18:15", 48.5),
    ]


# ------------------------------------------------------------------------------------- what is written is read


@MANY
@given(
    st.sampled_from([DENVER, "Europe/Berlin", "Australia/Lord_Howe", "UTC"]),
    st.dates(date(2025, 1, 1), date(2028, 3, 1)),
    st.integers(1, 400),
    st.integers(0, 1000),
    st.sampled_from(["local", "offset", "utc"]),
    st.randoms(use_true_random=False),
)
def test_what_is_written_is_read(tmp_path_factory, timezone, first, days, seed, stamps, random):
    """Drawn journeys, written on the wall clock or with an offset, in any order, come back as they were."""
    usual = Habits(ByDay((1095,) * 7), ByDay((435, 435, 435, 435, 435, 570, 570)), ByDay((47.0,) * 7), 0.8)
    away = (Away(date(2026, 7, 8), date(2026, 7, 20), 900.0),)
    driving = Driving(spread=0.7, stays_home=0.1, long_trips=LongTrips(6, 400.0), away=away)
    drawn = driving.journeys(usual, timezone, first, days, seed=seed)
    if not len(drawn) or drawn.leave_s[0] == drawn.start_s:
        return

    def stamp(second):
        if stamps == "utc":
            return f"{datetime.fromtimestamp(second, UTC):%Y-%m-%dT%H:%MZ}"
        moment = local_datetimes(timezone, [second])[0]
        return moment.isoformat() if stamps == "offset" else f"{moment:%Y-%m-%d %H:%M}"

    lines = [
        f"{stamp(leave_s)},{stamp(back_s)},{km!r}"
        for leave_s, back_s, km in zip(
            drawn.leave_s.tolist(),
            drawn.back_s.tolist(),
            np.minimum(drawn.distance_km, 2000).round(3).tolist(),
            strict=True,
        )
    ]
    random.shuffle(lines)
    file = written(tmp_path_factory.mktemp("log"), "leave,back,distance_km", *lines)
    read = read_driving_log(file, timezone, first=first, days=days)
    for name in ("day", "leave_s", "back_s"):
        assert np.array_equal(getattr(read, name), getattr(drawn, name))
    assert read.distance_km == pytest.approx(np.minimum(drawn.distance_km, 2000), abs=6e-4)
    alone = read_driving_log(file, timezone)
    assert alone.first == local_datetimes(timezone, drawn.leave_s[:1])[0].date()
    assert wall_s(timezone, alone.first + timedelta(days=alone.days), 0) >= drawn.back_s[-1]
    assert wall_s(timezone, alone.first + timedelta(days=alone.days - 1), 0) < drawn.back_s[-1]


# ------------------------------------------------------------------------------------------------------- mistakes


def test_every_mistake_at_once(tmp_path):
    """Each with line, column and remedy."""
    file = written(
        tmp_path,
        "leave,back,distance",
        "2026-03-02 07:15,2026-03-02 18:15,29",
        ",2026-03-03 18:15,29 mi",
        "2026-03-04,2026-03-04 18:15,29 mi",
        "2026-03-05 18:15,2026-03-05 07:15,29 mi",
        "2026-03-06 07:15,2026-03-06 18:15,",
        "2026-03-07 07:15,2026-03-07 18:15,-3 mi",
        "2026-03-08 02:15,2026-03-08 18:15,29 mi",
        "2026-03-09 07:15,2026-03-09 18:15,29 mi",
        "2026-03-09 18:00,2026-03-09 19:15,29 mi",
        "2026-03-10 07:15,2026-03-10 07:15,0 km",
        "2026-03-11 07:15,2026-03-11 08:15,29000 km",
    )
    with pytest.raises(FileError) as error:
        read_driving_log(file, DENVER)
    text = str(error.value).replace(str(file), "log.csv")
    example = "write for example 2026-03-08 18:30 or 2026-03-08T18:30-06:00; years 1971 to 2199"
    later = "put the later time here; if the clock goes back in between, write both times with their offsets"
    assert text.splitlines() == [
        "log.csv:2:35: '29' has no unit; write for example 29 mi or 47 km, "
        "or name the column `distance_km` or `distance_mi`",
        "log.csv:3:1: `leave` is missing; a journey needs a departure and a return",
        f"log.csv:4:1: `2026-03-04` is not a date and time; {example}",
        f"log.csv:5:18: the car is back at 2026-03-05 07:15, but it leaves at 2026-03-05 18:15; {later}",
        "log.csv:6:35: `distance` is missing; write 0 if nothing was driven",
        "log.csv:7:35: '-3 mi' is no distance that can be used; write a number of 0 or more, like 29 mi or 47 km",
        "log.csv:8:1: 2026-03-08 02:15 is skipped that day, when the clock goes forward; "
        "write a time that the clock in America/Denver shows, or the offset with it",
        "log.csv:10:1: the car leaves before it is back from the journey of line 9; "
        "correct one of the times, or take one of the two away",
        f"log.csv:11:18: the car is back at 2026-03-10 07:15, but it leaves at 2026-03-10 07:15; {later}",
        "log.csv:12:35: `29000 km` is more than 250 km/h on the whole journey; are the unit and the times right?",
    ]


def test_a_long_journey_holds_several_others(tmp_path):
    """Each of them names the line of the journey it falls into, also when another lies between."""
    lines = (
        "2026-03-01 07:00,2026-03-09 07:00,900",
        "2026-03-02 07:00,2026-03-02 08:00,9",
        "2026-03-05 07:00,2026-03-05 08:00,9",
    )
    with pytest.raises(FileError) as error:
        read_driving_log(written(tmp_path, "leave,back,distance_km", *lines), DENVER)
    assert [str(mistake).count("journey of line 2") for mistake in error.value.mistakes] == [1, 1]


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        (("leave,back,distance",), r"log.csv:1:1: the file has no rows; write a line `leave,back,distance_km`"),
        (("leaves,back,distance_km", "a,b,1"), "there is no column `leave`; is it `leaves`?"),
        (("leave,back,way", "a,b,1"), "there is no column `distance_km`; write a line"),
        (("leave,back,distance_km,distance_mi", "a,b,1,1"), "the columns `distance_km` and `distance_mi`; keep one"),
        (("leave,leave,back,distance_km", "a,a,b,1"), "the columns `leave` and `leave`"),
        (("leave,back,distance_km", "2026-03-02 07:15,2026-03-02 18:15,29 mi"), "`29 mi` is not a number; .* in km"),
        (("leave,back,distance", "2026-03-02 07:15,2026-03-02 18:15,29 parsec"), "'parsec' is not a unit of distance"),
        (("leave,back,distance_km", "2026-03-02 07:15,2026-03-02 18:15,nan"), "`distance_km` is missing"),
        (("leave,back,distance_km", "1900-03-02 07:15,2026-03-02 18:15,1"), "`1900-03-02 07:15` is not a date"),
        (("leave,back,distance_km", "02.03.2026 07:15,2026-03-02 18:15,1"), "`02.03.2026 07:15` is not a date"),
        (("leave,back,distance_km", "2026-03-02 07:15,2026-03-02 18:15"), "the row has 2 cells"),
    ],
)  # fmt: skip
def test_mistakes_of_a_file(tmp_path, lines, message):
    """One at a time."""
    with pytest.raises(FileError, match=message):
        read_driving_log(written(tmp_path, *lines), DENVER)
