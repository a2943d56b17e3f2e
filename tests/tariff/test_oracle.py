"""Random valid sheets, against a slow reading of their plain data, minute by minute.

The sheets are made so that every minute is in one period: days are divided into groups, and the hours of each group
into pieces with a name each. The slow reading looks at the groups and pieces, never at the text that the sheet was
written as; it uses the standard library only.
"""

import json
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from chargeplan.tariff import read_tariff

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
ZONES = (
    *("America/Denver", "America/New_York", "Europe/Dublin", "Australia/Lord_Howe", "Asia/Kathmandu"),
    *("America/Havana", "Africa/Casablanca", "America/Phoenix", "Pacific/Chatham", "America/Nuuk"),
)
PERIODS = ("peak", "mid-peak", "off-peak")


def clock(minute):
    return f"{minute // 60:02}:{minute % 60:02}"


@dataclass
class Terms:
    """One version of a sheet, as plain data."""

    groups: list  # of weekdays; together all seven
    holiday_group: bool  # whether holidays are a group of their own
    seasonal: bool  # whether each season has its own pieces
    pieces: dict  # (season or None, group or "holidays") -> list of (first minute, name)
    night: tuple | None  # (first minute, last minute, weekdays, also on holidays)
    prices: dict  # (season, period) -> amount
    form: str
    adders: list = field(default_factory=list)  # of (name, amount, None or (first, last, weekdays))
    taxes: list = field(default_factory=list)  # of (name, percent, bases)


@dataclass
class Plan:
    """A whole sheet, as plain data."""

    zone: str
    cents: bool
    season_cuts: list  # of (month, day), rising; the last season runs on past New Year
    rest_season: bool
    holidays: list  # of (month, day)
    shift: str
    as_day: int | None
    versions: list  # of (first date or None, Terms)

    def seasons(self):
        return [f"season {n}" for n in range(len(self.season_cuts))]

    # -------------------------------------------------------------------------------------------- the slow reading

    def is_holiday(self, day):
        for year in (day.year - 1, day.year, day.year + 1):
            for month, number in self.holidays:
                named = date(year, month, number)
                observed = {named}
                if self.shift == "sunday to monday" and named.isoweekday() == 7:
                    observed = {named + timedelta(days=1)}
                elif self.shift == "sunday adds monday" and named.isoweekday() == 7:
                    observed = {named, named + timedelta(days=1)}
                elif self.shift == "nearest weekday" and named.isoweekday() == 7:
                    observed = {named + timedelta(days=1)}
                elif self.shift == "nearest weekday" and named.isoweekday() == 6:
                    observed = {named - timedelta(days=1)}
                if day in observed:
                    return True
        return False

    def season(self, day):
        if not self.season_cuts:
            return None
        begun = [n for n, cut in enumerate(self.season_cuts) if cut <= (day.month, day.day)]
        return begun[-1] if begun else len(self.season_cuts) - 1

    def kind(self, day):
        """Weekday whose hours count, and whether it is a holiday."""
        holiday = self.is_holiday(day)
        return (self.as_day if holiday and self.as_day is not None else day.weekday()), holiday

    def price(self, local):
        """What a minute of the wall clock costs, everything included."""
        day, minute = local.date(), 60 * local.hour + local.minute
        terms = [terms for first, terms in self.versions if first is None or first <= day][-1]
        weekday, holiday = self.kind(day)
        season = self.season(day)
        period = self.period(terms, day, minute, weekday, holiday, season)
        lines = {"energy": terms.prices[season, period]}
        for name, amount, hours in terms.adders:
            applies = hours is None
            if hours is not None and weekday in hours[2]:
                first, last = hours[:2]
                applies = first <= minute < last if first < last else (minute >= first or minute < last)
            lines[name] = amount if applies else 0.0
        without_taxes = list(lines)
        for name, percent, bases in terms.taxes:
            lines[name] = percent / 100 * sum(lines[base] for base in (bases or without_taxes))
        return sum(lines.values()) / (100 if self.cents else 1)

    def period(self, terms, day, minute, weekday, holiday, season):
        if terms.night is not None:
            first, last, weekdays, also_holidays = terms.night

            def begins(of):
                its_weekday, its_holiday = self.kind(of)
                return its_weekday in weekdays or (also_holidays and its_holiday)

            if (minute >= first and begins(day)) or (minute < last and begins(day - timedelta(days=1))):
                return "night"
            if not last <= minute < first:
                return "rest"
        group = "holidays" if holiday and terms.holiday_group else None
        if group is None:
            group = next(n for n, days in enumerate(terms.groups) if weekday in days)
        pieces = terms.pieces[season if terms.seasonal else None, group]
        return [name for begin, name in pieces if begin <= minute][-1]

    # -------------------------------------------------------------------------------------------- the sheet itself

    def text(self):
        """The same as a rate sheet; JSON is YAML."""
        sheet = {"name": "Random", "currency": "USD", "timezone": self.zone}
        if self.cents:
            sheet["price_unit"] = "cents"
        if self.holidays:
            days = [f"{MONTHS[month - 1]} {number}" for month, number in self.holidays]
            sheet["holidays"] = {"days": days, "shift": self.shift}
            if self.as_day is not None:
                sheet["holidays"]["as"] = DAYS[self.as_day]
        if self.season_cuts:
            sheet["seasons"] = {}
            for n, name in enumerate(self.seasons()):
                begin = date(2023, *self.season_cuts[n])
                end = date(2023, *self.season_cuts[(n + 1) % len(self.season_cuts)]) - timedelta(days=1)
                last_of_february = "Feb 29" if (end.month, end.day) == (2, 28) else f"{MONTHS[end.month - 1]} {end.day}"
                sheet["seasons"][name] = f"{MONTHS[begin.month - 1]} {begin.day} - {last_of_february}"
            if self.rest_season:
                sheet["seasons"][self.seasons()[-1]] = "rest"
        sheet |= self.terms_text(self.versions[0][1])
        sheet["versions"] = [
            {"from": first.isoformat(), **self.terms_text(terms)} for first, terms in self.versions[1:]
        ]
        return json.dumps(sheet)

    def terms_text(self, terms):
        windows = {}
        for (season, group), pieces in terms.pieces.items():
            if group == "holidays":
                days = " on holidays"
            else:
                days = " on " + " and ".join(DAYS[day] for day in sorted(terms.groups[group]))
                days += " except holidays" if terms.holiday_group else ""
            where = f" in season {season}" if season is not None else ""
            low, high = (0, 1440) if terms.night is None else (terms.night[1], terms.night[0])
            ends = [begin for begin, _ in pieces[1:]] + [1440]
            for (begin, name), end in zip(pieces, ends, strict=True):
                first, last = max(begin, low), min(end, high)
                if first < last and name != "rest":
                    windows.setdefault(name, []).append(f"{clock(first)}-{clock(last)}{days}{where}")
        if terms.night is not None:
            first, last, weekdays, also_holidays = terms.night
            days = ", ".join([DAYS[day] for day in sorted(weekdays)] + ["holidays"] * also_holidays)
            windows["night"] = f"{clock(first)}-{clock(last)} starting {days}"
        windows["rest"] = "rest"
        periods = [*windows]
        if terms.form == "flat":
            prices = terms.prices[self.season(date(2026, 1, 1)), "rest"]
        elif terms.form == "by period":
            prices = {name: terms.prices[self.season(date(2026, 1, 1)), name] for name in periods}
        elif terms.form == "by season":
            prices = {name: terms.prices[n, "rest"] for n, name in enumerate(self.seasons())}
        else:
            prices = {
                name: {period: terms.prices[n, period] for period in periods} for n, name in enumerate(self.seasons())
            }
        adders = {}
        for name, amount, hours in terms.adders:
            adders[name] = amount
            if hours is not None:
                days = ", ".join(DAYS[day] for day in sorted(hours[2]))
                adders[name] = {"price": amount, "hours": f"{clock(hours[0])}-{clock(hours[1])} on {days}"}
        taxes = {
            name: f"{percent} %" + (f" of {', '.join(bases)}" if bases else "") for name, percent, bases in terms.taxes
        }
        return {"periods": windows, "prices": prices, "adders": adders, "taxes": taxes}


AMOUNTS = st.integers(-50, 200).map(lambda n: n / 8)
WEEKDAY_SETS = st.frozensets(st.integers(0, 6), min_size=1)


@st.composite
def terms_of(draw, season_count, with_holidays):
    grain = draw(st.sampled_from([1, 5, 15, 30, 60]))
    minutes = st.integers(0, 1440 // grain - 1).map(lambda n: n * grain)
    colours = draw(st.lists(st.integers(0, 2), min_size=7, max_size=7))
    groups = [frozenset(day for day in range(7) if colours[day] == colour) for colour in sorted(set(colours))]
    holiday_group = with_holidays and draw(st.booleans())
    seasonal = season_count > 0 and draw(st.booleans())
    names = st.sampled_from([*PERIODS, "rest"])
    pieces = {}
    for season in range(season_count) if seasonal else [None]:
        for group in [*range(len(groups)), *(["holidays"] if holiday_group else [])]:
            cuts = sorted({0, *draw(st.lists(minutes, max_size=4))})
            pieces[season, group] = [(cut, draw(names)) for cut in cuts]
    night = None
    if draw(st.booleans()):
        last = draw(st.integers(1, 600 // grain)) * grain
        first = draw(st.integers(660 // grain + 1, 1440 // grain - 1)) * grain
        night = (first, last, draw(WEEKDAY_SETS), with_holidays and draw(st.booleans()))
    form = draw(st.sampled_from(["flat", "by period"] + ["by season", "by both"] * (season_count > 0)))
    prices = {}
    everything = [*PERIODS, "night", "rest"]
    for season in range(season_count) if season_count else [None]:
        for period in everything:
            same_season = None if not season_count else 0
            key = {
                "flat": (same_season, PERIODS[0]),
                "by period": (same_season, period),
                "by season": (season, PERIODS[0]),
            }.get(form)
            prices[season, period] = prices[key] if key in prices else draw(AMOUNTS)
    adders, taxes = [], []
    for n in range(draw(st.integers(0, 2))):
        hours = None
        if draw(st.booleans()):
            first, last = draw(minutes), draw(minutes)
            hours = (first, last, draw(WEEKDAY_SETS)) if first != last else None
        adders.append((f"adder {n}", draw(AMOUNTS), hours))
    lines = ["energy", *(name for name, *_ in adders)]
    for n in range(draw(st.integers(0, 2))):
        bases = draw(st.lists(st.sampled_from(lines), unique=True, max_size=3))
        taxes.append((f"tax {n}", draw(st.integers(-10, 25)), bases))
        lines.append(f"tax {n}")
    return Terms(groups, holiday_group, seasonal, pieces, night, prices, form, adders, taxes)


@st.composite
def plans(draw):
    count = draw(st.sampled_from([0, 0, 2, 3]))
    days = st.dates(date(2023, 1, 1), date(2023, 12, 31)).map(lambda day: (day.month, day.day))
    cuts = sorted(draw(st.lists(days, min_size=count, max_size=count, unique=True)))
    # No holidays in the months of Easter and Whitsun, which no rule moves.
    holiday = st.tuples(st.sampled_from([1, 2, 7, 8, 9, 10, 11, 12]), st.integers(1, 28))
    holidays = draw(st.lists(holiday, max_size=4, unique=True))
    shift = draw(st.sampled_from(["never", "sunday to monday", "sunday adds monday", "nearest weekday"]))
    as_day = draw(st.none() | st.integers(0, 6))
    versions = [(None, draw(terms_of(count, bool(holidays))))]
    if draw(st.booleans()):
        first = date(2026, 1, 1) + timedelta(days=draw(st.integers(0, 729)))
        versions.append((first, draw(terms_of(count, bool(holidays)))))
    return Plan(
        draw(st.sampled_from(ZONES)), draw(st.booleans()), cuts, draw(st.booleans()), holidays, shift, as_day, versions
    )


@st.composite
def starts(draw, plan):
    """A start on a whole minute, often near what may go wrong."""
    year = draw(st.sampled_from([2026, 2027]))
    near = [date(year, month, number) for month, number in (*plan.holidays, *plan.season_cuts, (12, 31))]
    near += [first for first, _ in plan.versions if first is not None]
    zone = ZoneInfo(plan.zone)
    noons = [datetime(2026, 1, 1, 12, tzinfo=zone) + timedelta(days=n) for n in range(730)]
    near += [b.date() for a, b in pairwise(noons) if a.utcoffset() != b.utcoffset()]
    day = (
        draw(st.sampled_from(near))
        if draw(st.booleans())
        else date(year, 1, 1) + timedelta(days=draw(st.integers(0, 364)))
    )
    moment = datetime(day.year, day.month, day.day, tzinfo=zone) - timedelta(minutes=draw(st.integers(0, 1440)))
    return int(moment.timestamp()) // 60 * 60


@settings(max_examples=250, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(plans(), st.data(), st.sampled_from([1, 5, 15, 20, 30, 60, 120, 360, 1440]))
def test_random_sheets(plan, data, step_min):
    """Prices of any slots of any sheet are the means of what the slow reading finds for their minutes."""
    tariff = read_tariff(plan.text())
    first = data.draw(starts(plan))
    count = data.draw(st.integers(1, max(1, min(24, 2880 // step_min))))
    zone = ZoneInfo(plan.zone)
    minutes = [plan.price(datetime.fromtimestamp(first + 60 * n, zone)) for n in range(count * step_min)]
    expected = np.array(minutes).reshape(count, step_min).mean(axis=1)
    found = tariff.price_array(first + 60 * step_min * np.arange(count), 60 * step_min)
    assert found == pytest.approx(expected, abs=1e-9)
    event(f"{len(plan.season_cuts)} seasons, night: {plan.versions[0][1].night is not None}")


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(plans(), st.data())
def test_frames_of_random_sheets(plan, data):
    """The frame of any sheet agrees with the slow reading: price, season, holidays, and parts that add up."""
    tariff = read_tariff(plan.text())
    first = data.draw(starts(plan))
    zone = ZoneInfo(plan.zone)
    begin, end = (datetime.fromtimestamp(first + hours * 3600, zone) for hours in (0, 30))
    frame = tariff.frame(begin, end, 30)
    locals_ = [datetime.fromtimestamp(first + 1800 * n, zone) for n in range(60)]
    assert [start.to_pydatetime().astimezone(zone) for start in frame.index] == locals_
    names = plan.seasons() or ["all year"]
    assert list(frame["season"]) == [names[plan.season(local.date()) or 0] for local in locals_]
    kinds = ["holiday" if plan.is_holiday(local.date()) else plan.kind(local.date())[0] // 5 for local in locals_]
    words = {"holiday": "holiday", 0: "weekday", 1: "weekend"}
    assert list(frame["day_type"]) == [words[kind] for kind in kinds]
    for n, local in enumerate(locals_):
        terms = [terms for when, terms in plan.versions if when is None or when <= local.date()][-1]
        weekday, holiday = plan.kind(local.date())
        minute = 60 * local.hour + local.minute
        period = plan.period(terms, local.date(), minute, weekday, holiday, plan.season(local.date()))
        assert frame["period"].iloc[n] == period
    parts = [name for name in frame.columns if name.startswith(("energy", "adder", "tax"))]
    assert list(frame[parts].sum(axis=1)) == pytest.approx(list(frame["price_per_kwh"]), abs=1e-9)
