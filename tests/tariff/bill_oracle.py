"""A slow and obvious bill, by the words of the language alone: standard library only, exact fractions.

It reads the plain data of a sheet (what the YAML says), never anything of the package. Use is walked through in time
order in pieces so short that nothing changes within one. The result are cells: an exact amount for every line,
version, season, period and tier; `Oracle.settle` works out from items the lines that depend on others.
"""

import math
import re
from collections import defaultdict
from datetime import UTC, date, timedelta
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

from calendar_oracle import MONTHS, ONE_DAY, CalendarOracle, names, number, percent

CHARGES = ("energy", "fixed", "demand", "minimum")


class Cell(NamedTuple):
    """Where an amount belongs."""

    name: str
    kind: str
    period: str = ""
    season: str = ""
    tier: int = 0
    version: str = ""
    price: Fraction = Fraction(0)
    rounding: str = ""


@lru_cache(maxsize=10_000)
def tiers_of(text):
    """``0.1 up to 50 per day then 0.2``: prices, limits, and what the limits are for."""
    *steps, last = str(text).split(" then ")
    found = [re.fullmatch(r"(\S+) up to (\S+)(?: kWh)?(?: per (.+))?", step).groups() for step in steps]
    limits = tuple(number(limit) for _, limit, _ in found)
    return (*(number(price) for price, *_ in found), number(last)), limits, (found[0][2] or "month") if found else ""


def charge(text):
    """``8 per A per month``: amount, what for, and per what time."""
    amount, *rest = re.split(r" per | and ", text)
    return number(amount), rest[0] if len(rest) > 1 else "", rest[-1]


class Oracle(CalendarOracle):
    """A sheet as plain data, and how it bills."""

    def times(self, per, days):
        """How often something per day, month ... counts for some days of the bill: a share by their number."""
        share = Fraction(len(days), self.count)
        return {
            "day": len(days),
            "30 days": Fraction(len(days), 30),
            "month": self.month_count * share,
            "year": self.year_count * share,
        }[per]

    # -------------------------------------------------------------------------------------------------- prices per kWh

    @staticmethod
    def rows(table, season):
        return table[season] if isinstance(table, dict) and season in table else table

    def cell(self, table, season, period):
        """Prices and limits of a cell; a percentage is of another period of the row."""
        row = self.rows(table, season)
        value = row[period] if isinstance(row, dict) else row
        if isinstance(value, str) and "%" in value:
            prices, limits, per = tiers_of(row[value.split(" of ")[1]])
            return tuple(price * percent(value) for price in prices), limits, per
        return tiers_of(value)

    def limits(self, table, season):
        """All the limits of a season: those of the cell with the most."""
        row = self.rows(table, season)
        cells = [self.cell(table, season, period) for period in (row if isinstance(row, dict) else ("",))]
        return max((cell[1:] for cell in cells), key=lambda found: len(found[0]))

    def lines(self, terms):
        """Every line per kWh in one form: (name, kind) to a mapping."""
        found = {}
        parts = terms.get("components") or {"energy": terms["prices"]}
        export = terms.get("export_components") or ({"export": terms["export"]} if "export" in terms else {})
        for group, kind in ((parts, "energy"), (terms.get("adders") or {}, "energy"), (export, "export")):
            for name, value in group.items():
                long = isinstance(value, dict) and {"prices", "price", "cases"} & set(value)
                found[name, kind] = value if long else {"prices": value}
        return found

    def energy(self, pieces):
        """Charge every line; pieces are (day, minute, kWh bought, kWh sold) in time order."""
        cells = defaultdict(Fraction)
        dates = [self.start + n * ONE_DAY for n in range(self.count)]
        for key in dict.fromkeys(key for day in dates for key in self.lines(self.terms(day))):
            use = {}  # day -> list of (period, kWh, kWh with losses), in time order
            for day, minute, bought, sold in pieces:
                terms, line = self.terms(day), self.lines(self.terms(day)).get(key)
                if line is None:
                    continue
                own = line.get("seasons", terms.get("seasons"))
                if "hours" in line and not self.in_window(line["hours"], day, minute, own):
                    continue
                period = (
                    self.period(line["periods"], day, minute, own)
                    if "periods" in line
                    else self.sheet_period(day, minute)
                )
                kwh = sold if key[1] == "export" else bought
                if "net_metering" in self.sheet and line.get("counts", "use") == "use" and key[1] == "energy":
                    kwh -= sold
                factor = 1 + percent(terms.get("losses", "0 %"))
                use.setdefault(day, []).append((period, kwh, kwh * factor))
            self.line(cells, key, dates, use)
        return cells

    def line(self, cells, key, dates, use):
        """Charge one line: days with the same limits share one running total."""
        parts = {}
        for day in dates:
            line = self.lines(self.terms(day)).get(key)
            if line is not None:
                cases = tuple(case.get("up_to") for case in line.get("cases", ()))
                parts.setdefault((line.get("counts", "use"), cases), []).append(day)
        for (counts, cases), days in parts.items():
            columns = {"use with losses": ((2, 1),), "losses": ((2, 1), (1, -1))}.get(counts, ((1, 1),))
            for column, sign in columns:
                total = sum(piece[column] for day in days for piece in use.get(day, ()))
                bounds = [number(up_to) * self.times("month", days) for up_to in cases[:-1]]
                reached = sum(total > bound for bound in bounds)
                tables = {}
                for day in days:
                    line = self.lines(self.terms(day))[key]
                    table = line["cases"][reached] if cases else line
                    table = table.get("prices", table.get("price"))
                    season = self.price_season(day, line.get("seasons"))
                    form = (*self.limits(table, season), line.get("tiers", "marginal"))
                    tables.setdefault(form, []).append((day, table, season))
                for (limits, per, form), those in tables.items():
                    scaled = [limit * self.times(per, [day for day, *_ in those]) for limit in limits]
                    self.charge(cells, key, sign, scaled, form, self.walk(those, use, column))

    @staticmethod
    def walk(those, use, column):
        return [
            (day, table, season, piece[0], piece[column]) for day, table, season in those for piece in use.get(day, ())
        ]

    def charge(self, cells, key, sign, limits, form, pieces):
        """Charge kWh that share one running total."""
        total = sum(piece[4] for piece in pieces)
        bounds = [*limits, math.inf]
        reached = next(n for n, bound in enumerate(bounds) if total <= bound)
        so_far = Fraction(0)
        sign *= self.scale * (-1 if key[1] == "export" else 1)
        for day, table, season, period, kwh in pieces:
            prices = self.cell(table, season, period)[0]
            for tier, (low, high) in enumerate(pairwise([Fraction(0), *bounds])):
                inside = max(Fraction(0), min(so_far + kwh, high) - max(so_far, low)) if kwh > 0 else Fraction(0)
                if form == "all units" or self.sells or self.in_proportion:
                    # The net total decides: shared among the pieces; a surplus is at the price of the first tier.
                    share = max(Fraction(0), min(total, high) - low) / total if total > 0 else Fraction(tier == 0)
                    inside = kwh * (Fraction(tier == reached) if form == "all units" else share)
                if inside:
                    price = prices[min(tier, len(prices) - 1)]
                    number_ = tier + 1 if limits else 0
                    rounding = self.lines(self.terms(day))[key].get("rounding", "")
                    cell = Cell(*key, period, season, number_, self.version(day), price * self.scale, rounding)
                    cells[cell] += sign * inside * price
            so_far += kwh

    # ------------------------------------------------------------------------------------- fixed charges and demand

    def contracted(self, terms, unit, power=None):
        given = terms.get("contracted", {})
        power_kw = number((power or given.get("power", "0 kW")).split()[0])
        current_a = number(given.get("current", "0 A").split()[0])
        return {"kW": power_kw, "kVA": power_kw / number(terms.get("power_factor", 1)), "A": current_a, "": 1}[unit]

    def spans(self, key):
        """Group the days of the bill by what they say under a key: (terms, days)."""
        groups = {}
        for n in range(self.count):
            day = self.start + n * ONE_DAY
            value = self.terms(day).get(key)
            if value is not None:
                groups.setdefault(str(value), []).append(day)
        return [(self.terms(days[0]), days) for days in groups.values()]

    def fixed(self, cells, bought):
        for terms, days in self.spans("fixed"):
            values = terms["fixed"]
            simple = not isinstance(values, dict) or {"charge", "by_use"} & set(values)
            for name, value in ({"fixed": values} if simple else values).items():
                if isinstance(value, dict) and "by_use" in value:
                    amounts, limits, _ = tiers_of(value["by_use"])
                    reached = sum(bought > limit * self.month_count for limit in limits)
                    price = amounts[reached]
                    amount = price * self.times(value["per"], days)
                else:
                    long = value if isinstance(value, dict) else {"charge": value}
                    price, unit, per = charge(long["charge"])
                    amount = price * self.contracted(terms, unit, long.get("contracted")) * self.times(per, days)
                    amount *= percent(long["unused"]) if "unused" in long and bought == 0 else 1
                cells[Cell(name, "fixed", version=self.version(days[0]), price=price)] += amount

    def demand(self, cells, rows, step_min):
        """Charge the highest powers: each season has its own, and each dated change of what the line says."""
        parts = {}
        for n in range(self.count):
            day = self.start + n * ONE_DAY
            terms = self.terms(day)
            for name, line in terms.get("demand", {}).items():
                season = self.price_season(day, line.get("seasons"))
                says = str(line), terms.get("power_factor"), tuple(terms.get("periods") or ())
                parts.setdefault((name, season, says), []).append(day)
        for (name, season, _), days in parts.items():
            self.one_demand(cells, name, self.terms(days[0])["demand"][name], season, days, rows, step_min)

    def one_demand(self, cells, name, line, season, days, rows, step_min):
        terms = self.terms(days[0])
        table = line.get("prices", line.get("price"))
        keys = (
            {*table, *(key for row in table.values() if isinstance(row, dict) for key in row)}
            if isinstance(table, dict)
            else set()
        )
        by_period = bool(keys & set(terms.get("periods") or ()))
        length = max(step_min, int(line.get("interval", "60 min").split()[0]))
        energy = defaultdict(lambda: defaultdict(Fraction))  # period -> interval -> kWh
        for instant, bought, _ in rows:
            local = self.clock(instant)
            day, minute = local.date(), 60 * local.hour + local.minute
            if day not in days:
                continue
            seasons = line.get("seasons", terms.get("seasons"))
            period = self.sheet_period(day, minute) if by_period else ""
            if "periods" in line:
                period = self.period(line["periods"], day, minute, seasons)
            if "hours" in line and not self.in_window(line["hours"], day, minute, seasons):
                continue
            offset = local - instant.replace(tzinfo=None)
            energy[period][day, offset, minute // length] += bought
        for period, found in energy.items():
            power = {key: kwh * 60 / length for key, kwh in found.items()}
            highest = {}
            for (day, *_), kw in power.items():
                highest[day] = max(highest.get(day, 0), kw)
            kw = max(highest.values(), default=Fraction(0))
            if line.get("measure") == "mean of daily highest" and highest:
                kw = sum(highest.values()) / len(highest)
            kva = kw / number(terms.get("power_factor", 1))
            if "or_share_of_kva" in line:
                kw = max(kw, percent(line["or_share_of_kva"]) * kva)
            kw = kva if line.get("unit") == "kVA" else kw
            kw = max(kw, self.least_demand(name, line.get("at_least", "0 kW"), terms))
            self.billed_kw[name] = max(self.billed_kw.get(name, Fraction(0)), kw)
            prices, limits, _ = self.cell(table, season, period)
            for tier, (low, high) in enumerate(pairwise([0, *limits, math.inf])):
                inside = max(0, min(kw, high) - low)
                amount = prices[tier] * inside * self.times(line.get("per", "month"), days)
                number_ = tier + 1 if limits else 0
                cells[Cell(name, "demand", period, season, number_, self.version(days[0]), prices[tier])] += amount

    def least_demand(self, name, text, terms):
        """Read ``5 kW``, or ``65 % of the last 12 months in winter`` of the billed demands before."""
        if "%" not in text:
            return number(text.split()[0])
        _, _, only = text.partition(" in ")
        past = [
            kw for end, kw in self.past_kw.get(name, ()) if not only or self.season(terms.get("seasons"), end) == only
        ]
        return percent(text) * max(past, default=Fraction(0))

    # --------------------------------------------------------------------------------------------------- the bill

    def cells(self, rows, step_min, grid_min, start, end, past_kw=(), in_proportion=False):
        """Work out all lines that depend on no other line.

        ``rows`` are (instant in UTC, kWh bought, kWh sold); ``grid_min`` divides every boundary of the sheet;
        ``past_kw`` are the last days and billed demands of up to twelve bills before, by name; ``in_proportion`` says
        that the order of time is not known within the bill, so that each tier is shared among all.
        """
        self.past_kw, self.billed_kw, self.in_proportion = dict(past_kw), {}, in_proportion
        self.sells = "net_metering" in self.sheet and any(row[2] for row in rows)
        self.start, self.end = start, end
        dates = [start + n * ONE_DAY for n in range((end - start).days + 1)]
        self.count, self.month_count = len(dates), self.months(start, end)
        self.year_count = sum(Fraction(1, (date(day.year + 1, 1, 1) - date(day.year, 1, 1)).days) for day in dates)
        part_min = math.gcd(step_min, grid_min)
        parts = step_min // part_min
        pieces = []
        for instant, bought, sold in rows:
            for n in range(parts):
                local = self.clock(instant + timedelta(minutes=n * part_min))
                pieces.append((local.date(), 60 * local.hour + local.minute, bought / parts, sold / parts))
        assert {piece[0] for piece in pieces} == {start + n * ONE_DAY for n in range(self.count)}
        cells = self.energy(pieces)
        self.fixed(cells, sum(row[1] for row in rows))
        self.demand(cells, rows, step_min)
        self.surplus = sum(row[2] - row[1] for row in rows)
        return cells

    def rounded(self, amount, rounding="", total=False):
        """Round an item as the sheet says."""
        way = rounding or {"each line": "half up"}.get(self.billing["rounding"], "none")
        if total:  # money has no smaller coins, even where a line is left unrounded
            way = "none" if self.billing["rounding"] == "none" else "half up"
        unit = Fraction(1, 10 ** self.billing["decimals"])
        if way == "none":
            return amount
        if way == "down":
            return math.trunc(amount / unit) * unit
        self.ties.append(abs(abs(amount) / unit % 1 - Fraction(1, 2)) * unit)
        return (math.floor(abs(amount) / unit + Fraction(1, 2)) * unit) * (1 if amount >= 0 else -1)

    def settle(self, items, credit=Fraction(0)):
        """Work out the lines that depend on others; items are (name, kind, exact amount, own rounding)."""
        self.ties = []
        kinds, sums = {}, defaultdict(Fraction)
        for name, kind, amount, rounding in items:
            kinds[name] = kind
            sums[name] += self.rounded(amount, rounding)
        terms = self.terms(self.end)
        if "net_metering" in self.sheet:
            self.carry(sums, kinds, credit)
        if any("minimum" in self.terms(self.start + n * ONE_DAY) for n in range(self.count)):
            self.minimum(kinds, sums)
        taxes, credits_ = terms.get("taxes", {}), terms.get("credits", {})

        def amount_of(name):
            if name == "charges":
                # Taxes are due on what is left after a credit is carried on, or was carried here.
                return sum(sums[line] for line, kind in kinds.items() if kind in CHARGES) + sums["carried"]
            if name in taxes and name not in sums:
                rate, _, of = taxes[name].partition(" of ")
                sums[name] = self.rounded(percent(rate) * sum(map(amount_of, names(of or "charges"))))
            if name in credits_ and name not in sums:
                sums[name] = self.rounded(-self.credit(credits_[name], amount_of))
            return sums[name]

        for name in (*credits_, *taxes):
            amount_of(name)
        return sums, self.rounded(sum(sums.values()), total=True)

    def minimum(self, kinds, sums):
        least, of = Fraction(0), None
        for terms, days in self.spans("minimum"):
            long = terms["minimum"] if isinstance(terms["minimum"], dict) else {"charge": terms["minimum"]}
            price, _, per = charge(long["charge"])
            least, of = least + price * self.times(per, days), long.get("of")
        counted = [name for name, kind in kinds.items() if (name in of if of else kind in CHARGES)]
        counted += [] if of else ["carried"]
        kinds["minimum"] = "minimum"
        sums["minimum"] = self.rounded(max(Fraction(0), least - sum(sums[name] for name in counted)))

    def credit(self, text, amount_of):
        if "%" in text:
            return percent(text) * sum(map(amount_of, names(text.split(" of ")[1])))
        if " in " in text:
            months = [MONTHS.index(month[:3].lower()) + 1 for month in names(text.split(" in ")[1])]
            dates = [self.start + n * ONE_DAY for n in range(self.count)]
            ends = [day for day in dates if day == self.end or (day + ONE_DAY).day == self.billing["reading_day"]]
            ends = ends if self.count > 45 else [self.end]  # a longer bill counts as several
            return number(text.split()[0]) * sum(day.month in months for day in ends)
        price, _, per = charge(text)
        return price * self.times(per, range(self.count))

    def carry(self, sums, kinds, credit):
        """Add what is carried into the bill or out of it, from lines that count what was bought less what was sold."""
        way = {"carry": "money", "true_up": "Dec", "surplus": "lost"} | self.sheet["net_metering"]
        lines = self.lines(self.terms(self.end))
        counted = [
            name for name, kind in kinds.items() if kind == "energy" and lines[name, kind].get("counts", "use") == "use"
        ]
        net = sum(sums[name] for name in counted)
        sums["carried"] = self.rounded(-min(credit, net) if net >= 0 else -net)
        self.left = credit + sums["carried"] if way["carry"] == "money" else Fraction(0)
        # A bill that ends within a billing month is followed by another one that may end in the same month.
        is_last = (self.end + ONE_DAY).day == self.billing["reading_day"]
        if MONTHS[self.end.month - 1] == way["true_up"].lower() and is_last:
            due = self.left if way["surplus"] == "paid" else Fraction(0)
            if way["surplus"] not in ("paid", "lost"):
                due = max(Fraction(0), self.surplus) * number(way["surplus"])
            sums["surplus"] = self.rounded(-due)
            self.left = self.surplus = Fraction(0)


def rows_of(load, export=None):
    """Turn series of kWh into rows for `Oracle.cells`."""
    sold = export.tolist() if export is not None else [0] * len(load)
    return [
        (start.to_pydatetime().astimezone(UTC), Fraction(kwh), Fraction(out))
        for start, kwh, out in zip(load.index, load.tolist(), sold, strict=True)
    ]
