"""The calendar of a rate sheet, slowly and obviously, by the words of the language alone: standard library only.

It reads the plain data of a sheet (what the YAML says), never anything of the package.
"""

import math
import re
from datetime import date, datetime, timedelta
from fractions import Fraction
from functools import cache, lru_cache
from zoneinfo import ZoneInfo

MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
ORDINALS = ("first", "second", "third", "fourth", "fifth")
ONE_DAY = timedelta(days=1)


def number(value):
    return Fraction(str(value))


def percent(text):
    return number(text.split("%")[0].strip()) / 100


def names(text):
    return re.split(r", | and ", text)


def month_day(text, year):
    """``Jun 4`` as a date; Feb 29 is the last day of February."""
    month, day = text.split()
    first = date(year, MONTHS.index(month[:3].lower()) + 1, 1)
    return (first + timedelta(days=int(day) - 1)) if text != "Feb 29" else date(year, 3, 1) - ONE_DAY


@lru_cache(maxsize=10_000)
def rule_date(text, year):
    """Find the date of a rule in a year; None if it has none."""
    if re.fullmatch(r"\d{4}-\d\d-\d\d", text):
        return date.fromisoformat(text) if int(text[:4]) == year else None
    if match := re.fullmatch(r"day (before|after) (.+)", text):
        return rule_date(match[2], year) + (ONE_DAY if match[1] == "after" else -ONE_DAY)
    if match := re.fullmatch(r"(\w+) (before|after|on or before|on or after) (.+)", text):
        weekday = DAYS.index(match[1][:3].lower())
        step = ONE_DAY if "after" in match[2] else -ONE_DAY
        day = rule_date(match[3], year) + (timedelta() if match[2].startswith("on") else step)
        while day.weekday() != weekday:
            day += step
        return day
    if match := re.fullmatch(r"(first|second|third|fourth|fifth|last) (\w+) of (\w+)", text):
        month = MONTHS.index(match[3][:3].lower()) + 1
        days = [date(year, month, 1) + timedelta(days=n) for n in range(31)]
        days = [day for day in days if day.month == month and day.weekday() == DAYS.index(match[2][:3].lower())]
        return days[-1] if match[1] == "last" else days[ORDINALS.index(match[1])]
    if text == "Good Friday":
        # Anonymous Gregorian computus (Nature, 20 April 1876), from memory.
        a, b, c = year % 19, year // 100, year % 100
        h = (19 * a + b - b // 4 - (b - (b + 8) // 25 + 1) // 3 + 15) % 30
        k = (32 + 2 * (b % 4) + 2 * (c // 4) - h - c % 4) % 7
        m = (a + 11 * h + 22 * k) // 451
        return date(year, (h + k - 7 * m + 114) // 31, (h + k - 7 * m + 114) % 31 + 1) - 2 * ONE_DAY
    return month_day(text, year)


def season_end(text, year, last):
    if text.lower()[:3] in MONTHS and " " not in text:
        month = MONTHS.index(text.lower()[:3]) + 1
        return (date(year + month // 12, month % 12 + 1, 1) - ONE_DAY) if last else date(year, month, 1)
    return rule_date(text, year)


def is_daylight(zone, day):
    offsets = [datetime(day.year, day.month, day.day, 12, tzinfo=zone).utcoffset()]
    offsets += [datetime(day.year, month, 1, tzinfo=zone).utcoffset() for month in (1, 7)]
    return offsets[0] > min(offsets)


@lru_cache(maxsize=100_000)
def in_season(text, day, zone):
    if text in ("daylight time", "standard time"):
        return is_daylight(zone, day) == (text == "daylight time")
    first, last = text.split(" - ")
    begin, end = season_end(first, day.year, last=False), season_end(last, day.year, last=True)
    return begin <= day <= end if begin <= end else (day <= end or day >= begin)


class CalendarOracle:
    """A sheet as plain data, and what holds in any minute."""

    def __init__(self, sheet):
        self.sheet = sheet
        self.zone = ZoneInfo(sheet["timezone"])
        self.billing = {"reading_day": 1, "rounding": "each line", "decimals": 2, "proration": "days"}
        self.billing |= sheet.get("billing", {})
        self.scale = Fraction(1, 100) if sheet.get("price_unit") == "cents" else 1
        self.days = {}
        self.period_of = {}

    # ------------------------------------------------------------------------------------------------- the calendar

    def standard(self, year):
        return min(datetime(year, month, 1, tzinfo=self.zone).utcoffset() for month in (1, 7))

    def clock(self, instant):
        """What the sheet's clock shows, as a naive datetime."""
        clock = self.sheet.get("clock", "wall")
        if clock == "wall":
            return instant.astimezone(self.zone).replace(tzinfo=None)
        plain = instant.replace(tzinfo=None)
        if isinstance(clock, str) and clock.startswith("UTC"):
            match = re.fullmatch(r"UTC(?:([+-])(\d+)(?::(\d+))?)?", clock)
            offset = timedelta(hours=int(match[2] or 0), minutes=int(match[3] or 0))
            return plain + (-offset if match[1] == "-" else offset)
        local = plain + self.standard(instant.year)
        if clock == "standard":
            return local
        forward, back = (rule_date(clock[end], local.year) for end in ("forward", "back"))
        begin = datetime(forward.year, forward.month, forward.day, 2)
        end = datetime(back.year, back.month, back.day, 1)  # 02:00 on the meter's own clock
        ahead = begin <= local < end if begin < end else not end <= local < begin
        return local + timedelta(hours=int(ahead))

    def terms(self, day):
        """What holds on a day: the sheet, its versions so far, and an override."""
        if day not in self.days:
            found, version = dict(self.sheet), ""
            changes = [
                version for version in self.sheet.get("versions", ()) if date.fromisoformat(version["from"]) <= day
            ]
            for override in self.sheet.get("overrides", ()):
                first = date.fromisoformat(override["from"])
                last = (
                    date.fromisoformat(override["to"]) if "to" in override else first + (override["days"] - 1) * ONE_DAY
                )
                changes += [override] if first <= day <= last else []
            for change in changes:
                if "prices" in change or "components" in change:
                    found.pop("prices", None), found.pop("components", None)
                found |= change
                version = change["from"]
            self.days[day] = found, version
        return self.days[day][0]

    def version(self, day):
        self.terms(day)
        return self.days[day][1]

    def first_of_version(self, day):
        """Find the first day of the version in force, whatever overrides it."""
        firsts = [version["from"] for version in self.sheet.get("versions", ())]
        return max((first for first in firsts if first <= day.isoformat()), default="")

    @cache  # noqa: B019 - an oracle lives as long as its test
    def is_holiday(self, day):
        holidays = self.sheet.get("holidays", [])
        holidays = {"days": holidays} if isinstance(holidays, list) else holidays
        rules = [(text, rule_date(text, day.year + n)) for text in holidays.get("days", ()) for n in (-1, 0, 1)]
        taken = {named for _, named in rules if named}
        for text, named in sorted((pair for pair in rules if pair[1]), key=lambda pair: pair[1]):
            observed = {named} if text[0] == "2" else self.shifted(named, holidays.get("shift", "never"), taken)
            if day in observed:
                return True
            taken |= observed
        return False

    @staticmethod
    def shifted(day, shift, taken):
        saturday, sunday = day.weekday() == 5, day.weekday() == 6
        if shift == "sunday to monday" and sunday:
            return {day + ONE_DAY}
        if shift == "sunday adds monday" and sunday:
            return {day, day + ONE_DAY}
        if shift == "nearest weekday" and (saturday or sunday):
            return {day - ONE_DAY if saturday else day + ONE_DAY}
        if shift == "next free weekday" and (saturday or sunday):
            day += ONE_DAY
            while day.weekday() > 4 or day in taken:
                day += ONE_DAY
        return {day}

    def grid(self):
        """Find minutes that divide every time of day that the sheet says anywhere, as text."""
        minutes = [int(time) for time in re.findall(r"\b\d\d:(\d\d)\b", repr(self.sheet))]
        return math.gcd(60, *minutes)

    def season(self, seasons, day):
        """Find the season of a day; the empty name where there are none."""
        for name, text in (seasons or {}).items():
            if text != "rest" and in_season(text, day, self.zone):
                return name
        return next((name for name, text in (seasons or {}).items() if text == "rest"), "")

    def price_season(self, day, own=None):
        if own is not None:
            return self.season(own, day)
        terms = self.terms(day)
        if terms.get("price_season_by") == "bill":
            day += ONE_DAY
            while day.day != self.billing["reading_day"]:
                day += ONE_DAY
        return self.season(terms.get("price_seasons", terms.get("seasons")), day)

    def covers(self, days, day):
        holiday = self.is_holiday(day)
        weekday = day.weekday()
        holidays = self.sheet.get("holidays", [])
        if holiday and isinstance(holidays, dict) and "as" in holidays:
            weekday = DAYS.index(holidays["as"][:3].lower())
        for word in names(days):
            first, _, last = (part[:3].lower() for part in word.partition("-"))
            if (
                (word == "weekdays" and weekday < 5)
                or (word == "weekends" and weekday > 4)
                or (word == "holidays" and holiday)
                or (word == "critical" and day.isoformat() in self.sheet["called"]["critical"]["days"])
                or (first in DAYS and DAYS.index(first) <= weekday <= DAYS.index(last or first))
            ):
                return True
        return False

    def in_window(self, text, day, minute, seasons):
        """Whether a minute of a day lies in ``16:00-21:00 on weekdays except holidays in summer``."""
        parts = re.fullmatch(r"(\S+?)-(\S+?)(?: (on|starting) (.+?))?(?: except (.+?))?(?: in (.+))?", text)
        first, last = (60 * int(part[:2]) + int(part[3:]) for part in parts.groups()[:2])
        own = {}
        for offset in (0, 1):
            of = day - offset * ONE_DAY
            own[offset] = (not parts[4] or self.covers(parts[4], of)) and not (parts[5] and self.covers(parts[5], of))
            own[offset] = own[offset] and (not parts[6] or self.season(seasons, of) in names(parts[6]))
        if first < (last or 1440):
            return own[0] and first <= minute < (last or 1440)
        if parts[3] == "starting":
            return (own[0] and minute >= first) or (own[1] and minute < last)
        return own[0] and (minute >= first or minute < last)

    def period(self, periods, day, minute, seasons):
        """Find the period of a minute in a table of hours; the empty name where there is no table."""
        key = id(periods), id(seasons), day, minute
        if key not in self.period_of:
            found = next((name for name, text in (periods or {}).items() if text == "rest"), "")
            for name, windows in (periods or {}).items():
                for window in windows if isinstance(windows, list) else [windows]:
                    if window != "rest" and self.in_window(window, day, minute, seasons):
                        found = name
            self.period_of[key] = found
        return self.period_of[key]

    def sheet_period(self, day, minute):
        terms = self.terms(day)
        return terms.get("period") or self.period(terms.get("periods"), day, minute, terms.get("seasons"))

    # ------------------------------------------------------------------------------------------- months and amounts

    def months(self, start, end):
        """Count the months of a bill; ``end`` is its last day. Months run from any day to the one before it."""
        days = (end - start).days + 1
        if "whole_month" in self.billing and 27 <= days <= 34:
            return Fraction(1)
        count = 0
        while self.months_later(start, count + 1) <= end + ONE_DAY:
            count += 1
        rest = self.months_later(start, count)
        days = (end + ONE_DAY - rest).days
        if days and self.billing["proration"] == "none":
            return Fraction(count + 1)
        length = 30 if self.billing["proration"] == "30 days" else self.month_length(rest)
        return count + Fraction(days, length)

    @staticmethod
    def month_length(day):
        return ((day.replace(day=1) + 32 * ONE_DAY).replace(day=1) - day.replace(day=1)).days

    def months_later(self, day, count):
        month = (day.month - 1 + count) % 12 + 1
        first = date(day.year + (day.month - 1 + count) // 12, month, 1)
        return first.replace(day=min(day.day, self.month_length(first)))
