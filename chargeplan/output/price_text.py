"""The prices of a day as a table with a bar."""

from __future__ import annotations

from datetime import date, datetime
from textwrap import shorten

from chargeplan.clock import local_datetimes
from chargeplan.errors import InputError
from chargeplan.output.words import WIDTH, day_text, plain_text, shown_twice, time_text, wrapped
from chargeplan.tariff import Run, Tariff

#: Longer names of periods are cut, so that times, prices and a bar fit beside them.
_LONGEST_NAME = 32


def day_prices_text(tariff: Tariff, day: date) -> str:
    """Write the prices of a local day.

    Parameters
    ----------
    tariff : Tariff
        The rate.
    day : datetime.date
        The date on its wall clock.

    Returns
    -------
    str
        One line for every run of equal price, with a bar as long as the price is high.

    Examples
    --------
    >>> from chargeplan.tariff import load_tariff
    >>> print(day_prices_text(load_tariff("two-period"), date(2026, 11, 25)))
    Ridgeline Valley two-period
    Wed 25 Nov 2026, weekday; USD per kWh, all included
    <BLANKLINE>
    00:00-07:00  off-peak  0.1495  ##################
    07:00-21:00  peak      0.3180  ######################################
    21:00-24:00  off-peak  0.1495  ##################
    """
    runs = tariff.day(day)
    if not runs:
        raise InputError(f"the clock of {tariff.timezone} skipped {day}; choose another date")
    hours = (runs[-1].end_s - runs[0].start_s) / 3600
    seasons = {run.season for run in runs} - {"all year"}
    about = ", ".join([day_text(datetime.combine(day, datetime.min.time())), *sorted(seasons), runs[0].day_type])
    lines = [*wrapped(tariff.name), *wrapped(f"{about}; {tariff.currency} per kWh, all included"), ""]
    times = [_span_text(tariff, run, day) for run in runs]
    names = [shorten(plain_text(run.period), _LONGEST_NAME, placeholder="...") for run in runs]
    prices = [f"{round(run.price_per_kwh, 4) + 0.0:.4f}" for run in runs]
    time_width, name_width, price_width = (max(map(len, column)) for column in (times, names, prices))
    room = min(WIDTH - time_width - name_width - price_width - 6, 38)
    dearest = max(run.price_per_kwh for run in runs)
    for time, name, run, price in zip(times, names, runs, prices, strict=True):
        length = round(room * run.price_per_kwh / dearest) if dearest > 0 else 0
        bar = "#" * max(length, 0)
        lines.append(f"{time:<{time_width}}  {name:<{name_width}}  {price:>{price_width}}  {bar}".rstrip())
    if hours != 24:
        lines += ["", f"The clock changes on this day: it has {hours:g} hours."]
    return "\n".join(lines)


def _span_text(tariff: Tariff, run: Run, day: date) -> str:
    start, end = local_datetimes(tariff.timezone, [run.start_s, run.end_s])
    first, last = (time_text(moment, with_zone=shown_twice(moment)) for moment in (start, end))
    return f"{first}-24:00" if end.date() > day else f"{first}-{last}"
