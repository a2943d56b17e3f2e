"""Random rate sheets and loads for Hypothesis, for people who write tariffs or read them.

`sheets` draws what a YAML file may say, as plain data; JSON is YAML, so `json.dumps` of it can be read. `loads` draws
use of electricity to bill by such a sheet, rather often near what may go wrong: clock changes, new versions, holidays.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Any, Final

from hypothesis import strategies as st

from chargeplan.errors import InputError
from chargeplan.testing.load_strategies import days_drawn, loads, midnight, one_in

__all__ = ["FEATURES", "ZONES", "loads", "midnight", "sheets"]

Plain = dict[str, Any]

#: What `sheets` can put into a sheet besides name, zone and prices.
FEATURES: Final = (
    *("periods", "seasons", "price seasons", "holidays", "versions", "overrides", "called", "clock", "cents"),
    *("components", "adders", "own hours", "own periods", "tiers", "all units", "cases", "losses", "line rounding"),
    *("fixed", "demand", "minimum", "credits", "taxes", "export", "net metering", "billing"),
)
ZONES: Final = (
    *("America/Denver", "America/New_York", "Europe/Berlin", "Australia/Sydney", "America/Phoenix"),
    *("Asia/Kathmandu", "Pacific/Chatham", "America/Sao_Paulo"),
)
#: Zones that change their clock every year.
_CHANGING: Final = ZONES[:4]
_DAY_PHRASES = ("", " on weekdays", " on Mon-Thu", " on weekends", " on Tue, Fri and Sun")
_HOLIDAY_PHRASES = (" on weekdays except holidays", " on weekends and holidays", " on holidays")
_CALLED_PHRASES = (" on critical", " on weekdays except critical")
_SEASONS: Final = (
    {"summer": "Jun 1 - Sep 30", "winter": "rest"},
    {"winter": "Nov 16 - Mar 14", "summer": "rest"},
    {"summer": "Jun - Aug", "autumn": "Sep 1 - Nov 15", "winter": "Nov 16 - May 31"},
    {"summer": "Mar 1 - Oct 31", "winter": "Nov 1 - Feb 29"},
    {"summer": "first Sunday of May - last Saturday of October", "winter": "rest"},
    {"cold": "fourth Monday of November - Mar 31", "warm": "rest"},
)
_HOLIDAYS: Final = (
    *("Jan 1", "Jul 4", "Dec 25", "Nov 11", "last Monday of May", "first Monday of September", "Good Friday"),
    *("2026-03-09", "2027-06-30", "Monday before May 25", "day after fourth Thursday of November", "Dec 26"),
)
_CLOCKS: Final = (
    *("standard", "UTC", "UTC+10", "UTC-5", "UTC+5:30"),
    {"forward": "first Sunday of April", "back": "last Sunday of October"},
)
_PER: Final = ("", "", " per day", " per 30 days", " per year", " kWh")
_SCALE: Final = {" per day": 0.04, " per year": 10}


def _amounts(most: int = 500) -> st.SearchStrategy[float]:
    """Amounts of three decimals, such as a price per kWh up to 0.5."""
    return st.integers(1, most).map(lambda n: n / 1000)


def _tier_text(draw: st.DrawFn, limits: Sequence[float], per: str, prices: st.SearchStrategy[float]) -> Any:
    steps = [f"{draw(prices)} up to {limit:g}{per}" for limit in limits]
    return " then ".join([*steps, f"{draw(prices)}"]) if steps else draw(prices)


def _row(draw: st.DrawFn, periods: Sequence[str], per: str | None) -> Any:
    """One cell, or cells by period; the cells have the same limits as far as they go, none without ``per``."""
    limits: list[float] = []
    if per is not None:
        found = sorted(draw(st.sets(st.integers(20, 600), min_size=1, max_size=3)))
        limits = [round(limit * _SCALE.get(per, 1.0), 2) for limit in found]
    per, prices = per or "", _amounts()
    if len(periods) < 2 or one_in(draw, 5):
        return _tier_text(draw, limits, per, prices)
    row: Plain = {}
    for number, period in enumerate(periods):
        fewer = limits if number == 0 or not one_in(draw, 5) else limits[: draw(st.integers(0, len(limits)))]
        row[period] = _tier_text(draw, fewer, per, prices)
        if number and one_in(draw, 9):
            row[period] = f"{draw(st.integers(10, 150))} % of {periods[0]}"
    return row


def _table(draw: st.DrawFn, seasons: Sequence[str], periods: Sequence[str], tiered: bool = False) -> Any:
    """One price, or prices by season, by period, or by both."""
    per = draw(st.sampled_from(_PER)) if tiered else None
    if seasons and one_in(draw, 2):
        return {season: _row(draw, periods, None if one_in(draw, 3) else per) for season in seasons}
    return _row(draw, periods, per)


class _Sheet:
    """What has been decided of a sheet: names that its lines may use."""

    def __init__(self, draw: st.DrawFn, features: Sequence[str], grid_min: int | None) -> None:
        self.draw = draw
        self.features = frozenset(features)
        self.net = self.has("net metering")
        # Demand is measured in whole intervals, so its hours begin with one.
        drawn = st.just(60) if "demand" in self.features else st.sampled_from([60, 60, 30, 15, 5])
        self.grid = grid_min or draw(drawn)
        self.seasons: tuple[str, ...] = ()
        self.price_seasons: tuple[str, ...] = ()
        self.periods: tuple[str, ...] = ()
        self.holidays = self.called = False

    def has(self, feature: str, cases: int = 2) -> bool:
        return feature in self.features and one_in(self.draw, cases)

    def window(self, span: str) -> str:
        phrases = [*_DAY_PHRASES, *_HOLIDAY_PHRASES * self.holidays, *_CALLED_PHRASES * self.called]
        days = self.draw(st.sampled_from(phrases))
        if days and span[:5] > span[6:] and one_in(self.draw, 3):
            days = days.replace(" on ", " starting ")
        where = f" in {self.draw(st.sampled_from(self.seasons))}" if self.seasons and one_in(self.draw, 3) else ""
        return span + days + where

    def hours(self, names: Sequence[str]) -> Plain:
        """Hours of periods, each a piece of the day; the last is the rest."""
        draw = self.draw
        cuts = sorted(draw(st.sets(st.integers(0, 1440 // self.grid - 1), min_size=4, max_size=4)))
        text = [f"{cut * self.grid // 60:02}:{cut * self.grid % 60:02}" for cut in cuts]
        first, second = f"{text[0]}-{text[1]}", f"{text[2]}-{text[3]}"
        if one_in(draw, 3) and cuts[0] > 0:
            second = f"{text[3]}-{text[0]}"
        found: Plain = {names[0]: self.window(first)}
        if len(names) > 2 and one_in(draw, 3):
            found = {names[0]: [f"{first} on weekdays", f"{second} on Sat"], names[1]: f"{first} on weekends"}
        elif len(names) > 2:
            found[names[1]] = self.window(second)
        return found | {names[-1]: "rest"}

    def calendar(self, sheet: Plain) -> None:
        draw = self.draw
        if self.has("holidays"):
            self.holidays = True
            sheet["holidays"] = draw(st.lists(st.sampled_from(_HOLIDAYS), min_size=1, max_size=5, unique=True))
            if one_in(draw, 2):
                shifts = ["never", "sunday to monday", "sunday adds monday", "nearest weekday", "next free weekday"]
                sheet["holidays"] = {"days": sheet["holidays"], "shift": draw(st.sampled_from(shifts))}
                if one_in(draw, 3):
                    sheet["holidays"]["as"] = draw(st.sampled_from(["Sunday", "Sat", "Wed"]))
        changing = [{"summer": "daylight time", "winter": "standard time"}] if sheet["timezone"] in _CHANGING else []
        if self.has("seasons"):
            sheet["seasons"] = dict(draw(st.sampled_from([*_SEASONS, *changing])))
        self.seasons = self.price_seasons = tuple(sheet.get("seasons", ()))
        if self.has("price seasons", 3):
            sheet["price_seasons"] = {"dear": draw(st.sampled_from(["May - Sep", "Dec 10 - Jan 20"])), "cheap": "rest"}
            self.price_seasons = ("dear", "cheap")
        if self.has("price seasons", 3) and self.price_seasons:
            sheet["price_season_by"] = "bill"
        if self.has("called", 3):
            self.called = True
            days = draw(st.lists(days_drawn(), min_size=1, max_size=6, unique=True))
            sheet["called"] = {"critical": {"days": [day.isoformat() for day in sorted(days)]}}
        if self.has("periods"):
            self.periods = draw(st.sampled_from([("peak", "off-peak"), ("peak", "shoulder", "off-peak")]))
            sheet["periods"] = self.hours(self.periods)

    def line(self, name: str) -> Any:
        """One component: plain, tiered, or in its long form."""
        draw = self.draw
        tiered = self.has("tiers") and not (self.net and self.periods)
        if self.has("own hours", 5):
            line: Plain = {"price": _table(draw, (), (), tiered), "hours": self.window(*self.span())}
        elif self.has("own periods", 5):
            names = ("day", "night")
            line = {
                "periods": self.hours(names),
                "prices": _table(draw, self.price_seasons, names, tiered and not self.net),
            }
        elif self.has("cases", 5) and not self.net:
            row = st.sampled_from([None, "" if "tiers" in self.features else None])
            limits = sorted(draw(st.sets(st.integers(30, 900), min_size=1, max_size=2)))
            steps: list[Plain] = [*({"up_to": limit} for limit in limits), {}]
            line = {"cases": [step | {"prices": _row(draw, self.periods, draw(row))} for step in steps]}
        else:
            line = {"prices": _table(draw, self.price_seasons, self.periods, tiered)}
        if self.has("losses", 3) and not self.net:
            line["counts"] = draw(st.sampled_from(["use with losses", "losses", "use"]))
        if self.net and self.has("losses", 5):
            line["counts"] = "bought"
        if " up to " in str(line) and self.has("all units", 4) and "cases" not in line and not self.net:
            line["tiers"] = "all units"
        if self.has("line rounding", 6):
            line["rounding"] = draw(st.sampled_from(["half up", "down", "none"]))
        return line["prices"] if list(line) == ["prices"] and one_in(draw, 2) else line

    def span(self) -> tuple[str]:
        first, last = self.draw(st.lists(st.integers(0, 23), min_size=2, max_size=2, unique=True))
        return (f"{first:02}:00-{last:02}:00",)

    def adder(self) -> Any:
        price = self.draw(st.integers(-40, 60)) / 1000
        if "own hours" in self.features and one_in(self.draw, 3):
            return {"price": price, "hours": self.window(*self.span())}
        return price

    def energy(self) -> Plain:
        """Draw prices, or components."""
        draw = self.draw
        if self.has("components"):
            names = ["delivery", "supply", "grid"][: draw(st.integers(1, 3))]
            return {"components": {name: self.line(name) for name in names}}
        tiered = self.has("tiers") and not (self.net and self.periods)
        return {"prices": _table(draw, self.price_seasons, self.periods, tiered)}

    def fixed(self) -> Any:
        draw = self.draw
        amount = _amounts(20_000)
        steps = f"{draw(amount)} up to 50 then {draw(amount)} up to {draw(st.integers(60, 800))} then {draw(amount)}"
        kinds: tuple[Any, ...] = (
            *(f"{draw(amount)} per {per}" for per in ("day", "month", "year")),
            *(f"{draw(amount)} per {unit}" for unit in ("A per month", "kW per month", "kVA per day", "kW and month")),
            {"charge": f"{draw(amount)} per kW per month", "contracted": "3 kW", "unused": "50 %"},
            {"by_use": steps, "per": "month"},
        )
        if one_in(draw, 5):
            return kinds[draw(st.integers(0, 2))]
        chosen = draw(st.lists(st.sampled_from(range(len(kinds))), min_size=1, max_size=3, unique=True))
        return {name: kinds[n] for name, n in zip(("service", "meter", "access"), chosen, strict=False)}

    def demand(self) -> Plain:
        draw = self.draw
        found: Plain = {}
        for name in ("on-peak demand", "any demand")[: draw(st.integers(1, 2))]:
            price = _amounts(9000)
            text = _tier_text(draw, sorted(draw(st.sets(st.integers(1, 9), max_size=2))), "", price)
            line: Plain = {"price": text}
            form = draw(st.sampled_from(["price", "hours", "prices", "periods"]))
            if form == "hours":
                line["hours"] = self.window(*self.span())
            elif form == "prices":
                line = {"prices": _table(draw, self.price_seasons, self.periods)}
            elif form == "periods":
                line = {"prices": _table(draw, (), ("day", "night")), "periods": self.hours(("day", "night"))}
            options = {
                "interval": st.sampled_from(["15 min", "30 min", "60 min"]),
                "measure": st.sampled_from(["highest", "mean of daily highest"]),
                "per": st.sampled_from(["month", "day", "year"]),
                "unit": st.sampled_from(["kW", "kVA"]),
                "or_share_of_kva": st.integers(80, 99).map(lambda share: f"{share} %"),
                "at_least": st.integers(1, 8).map(lambda power_kw: f"{power_kw} kW"),
            }
            line |= {key: draw(option) for key, option in options.items() if one_in(draw, 3)}
            if line.get("unit") == "kVA":
                line.pop("or_share_of_kva", None)
            found[name] = line
        return found

    def others(self, sheet: Plain) -> None:
        """Add what is neither calendar nor a price per kWh bought."""
        draw = self.draw
        lines = [*sheet.get("components", ("energy",)), *sheet.get("adders", ())]
        if self.has("fixed"):
            fixed = sheet["fixed"] = self.fixed()
            lines += fixed if isinstance(fixed, dict) else ["fixed"]
        if self.has("demand"):
            sheet["demand"] = self.demand()
            lines += sheet["demand"]
        if self.has("minimum", 3):
            sheet["minimum"] = charge = f"{draw(_amounts(90_000))} per {draw(st.sampled_from(['month', 'day']))}"
            if one_in(draw, 2):
                of = draw(st.lists(st.sampled_from(lines), min_size=1, max_size=2, unique=True))
                sheet["minimum"] = {"charge": charge, "of": of}
            lines.append("minimum")
        if self.has("export") and not self.net:
            sheet["export"] = _table(draw, self.price_seasons, self.periods)
            if one_in(draw, 3):
                sheet["export_components"] = {"feed-in": sheet.pop("export")}
            lines.append("feed-in" if "export_components" in sheet else "export")
        if self.has("credits", 3):
            of = draw(st.lists(st.sampled_from(lines), min_size=1, max_size=2, unique=True))
            months = draw(st.sampled_from(["Apr and Oct", "Jan, Mar, May, Jul, Sep and Nov", "Jun"]))
            kinds = (f"{draw(_amounts(9000))} in {months}", "2.5 per month", f"12.5 % of {' and '.join(of)}")
            names = draw(st.lists(st.sampled_from(range(3)), min_size=1, unique=True))
            sheet["credits"] = {name: kinds[n] for name, n in zip(("bonus", "rebate", "help"), names, strict=False)}
            lines += sheet["credits"]
        if self.has("taxes"):
            sheet["taxes"] = {}
            for name in ("city tax", "sales tax", "levy")[: draw(st.integers(1, 3))]:
                of = draw(st.lists(st.sampled_from([*lines, "charges"]), max_size=3, unique=True))
                listed = ", ".join(of[:-1]) + (" and " if of[:-1] else "") + of[-1] if of else ""
                sheet["taxes"][name] = f"{draw(st.integers(-20, 250)) / 10} %" + (f" of {listed}" if of else "")
                lines.append(name)

    def changes(self, sheet: Plain) -> None:
        """Add versions and overrides, of the prices per kWh or of one other line."""
        draw = self.draw
        if self.has("versions"):
            firsts = sorted(draw(st.sets(days_drawn(), min_size=1, max_size=2)))
            sheet["versions"] = [{"from": first.isoformat(), **self.change(sheet)} for first in firsts]
        if self.has("overrides", 3):
            first = draw(days_drawn())
            days = draw(st.integers(1, 45))
            last = first + timedelta(days=days - 1)
            ends: Plain = {"days": days} if one_in(draw, 2) else {"to": last.isoformat()}
            what: Plain = {"period": draw(st.sampled_from(self.periods))} if self.periods and one_in(draw, 2) else {}
            sheet["overrides"] = [{"from": first.isoformat(), **ends, **(what or self.change(sheet))}]

    def change(self, sheet: Plain) -> Plain:
        if "fixed" in sheet and isinstance(sheet["fixed"], str) and one_in(self.draw, 3):
            return {"fixed": f"{self.draw(_amounts(9000))} per {self.draw(st.sampled_from(['day', 'month']))}"}
        if "losses" in sheet and one_in(self.draw, 3):
            return {"losses": f"{self.draw(st.integers(1, 120)) / 10} %"}
        if "prices" in sheet:
            return {"prices": _table(self.draw, self.price_seasons, self.periods, self.has("tiers") and not self.net)}
        return {"components": {name: self.line(name) for name in sheet["components"]}}


@st.composite
def sheets(draw: st.DrawFn, features: Sequence[str] = FEATURES, *, grid_min: int | None = None) -> dict[str, Any]:
    """Draw rate sheets as plain data.

    Parameters
    ----------
    features : sequence of str
        What may occur, from `FEATURES`. Fewer make sheets that are easier to read.
    grid_min : int, optional
        Minutes that divide every time of day of the periods, a divisor of 60; drawn without.

    Returns
    -------
    strategy of dict
        A sheet that is valid: its `json.dumps` can be read with `chargeplan.tariff.read_tariff`.

    Examples
    --------
    >>> import json
    >>> from hypothesis import given, settings
    >>> from chargeplan.tariff import read_tariff
    >>> @settings(max_examples=5, deadline=None)
    ... @given(sheets(features=["periods", "seasons"]))
    ... def every_sheet_has_a_price(sheet):
    ...     assert read_tariff(json.dumps(sheet)).prices("2026-07-01", "2026-07-02").notna().all()
    >>> every_sheet_has_a_price()
    """
    if unknown := sorted(set(features) - set(FEATURES)):
        raise InputError(f"`{unknown[0]}` is not a feature of sheets; known are {', '.join(FEATURES)}")
    made = _Sheet(draw, features, grid_min)
    zone = draw(st.sampled_from(ZONES))
    sheet: Plain = {"name": "Drawn", "currency": "USD", "timezone": zone}
    if made.has("cents", 4):
        sheet["price_unit"] = "cents"
    if made.has("clock", 3):
        sheet["clock"] = draw(st.sampled_from(_CLOCKS))
    if made.has("billing"):
        options = {
            "reading_day": st.integers(1, 28),
            "rounding": st.sampled_from(["each line", "total", "none"]),
            "decimals": st.sampled_from([2, 2, 0, 3]),
            "proration": st.sampled_from(["days", "30 days", "none"]),
            "whole_month": st.just("27-34 days"),
        }
        sheet["billing"] = {key: draw(option) for key, option in options.items() if one_in(draw, 2)}
    if "losses" in made.features:
        sheet["losses"] = "3.76 %"
    if made.features & {"fixed", "demand"}:
        sheet |= {"contracted": {"power": "4.5 kW", "current": "40 A"}, "power_factor": 0.8}
    made.calendar(sheet)
    sheet |= made.energy()
    if made.has("adders"):
        sheet["adders"] = {name: made.adder() for name in ("rider", "fund")[: draw(st.integers(1, 2))]}
    made.others(sheet)
    made.changes(sheet)
    if made.net:
        options = {"carry": st.sampled_from(["money", "nothing"]), "true_up": st.sampled_from(["Mar", "Dec", "Jul"])}
        sheet["net_metering"] = {
            "surplus": draw(st.sampled_from(["lost", "paid", 0.03][: 2 + ("price_unit" not in sheet)]))
        }
        sheet["net_metering"] |= {key: draw(option) for key, option in options.items()}
    return sheet
