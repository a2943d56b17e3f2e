"""The prices of a day as a table with a bar, and a rate sheet's check report."""

from __future__ import annotations

from datetime import date, datetime

from chargeplan.clock import local_datetimes
from chargeplan.output.words import WIDTH, day_text
from chargeplan.tariff import Run, Tariff


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
    seasons = {run.season for run in runs} - {"all year"}
    about = ", ".join([day_text(datetime.combine(day, datetime.min.time())), *sorted(seasons), runs[0].day_type])
    lines = [tariff.name, f"{about}; {tariff.currency} per kWh, all included", ""]
    times = [_span_text(tariff, run, day) for run in runs]
    time_width, name_width = max(map(len, times)), max(len(run.period) for run in runs)
    prices = [f"{run.price_per_kwh:.4f}" for run in runs]
    price_width = max(map(len, prices))
    room = max(10, WIDTH - time_width - name_width - price_width - 6)
    room = min(room, 38)
    dearest = max(run.price_per_kwh for run in runs)
    for time, run, price in zip(times, runs, prices, strict=True):
        length = round(room * run.price_per_kwh / dearest) if dearest > 0 else 0
        bar = "#" * max(length, 0)
        lines.append(f"{time:<{time_width}}  {run.period:<{name_width}}  {price:>{price_width}}  {bar}".rstrip())
    hours = (runs[-1].end_s - runs[0].start_s) / 3600
    if hours != 24:
        lines += ["", f"The clock changes on this day: it has {hours:g} hours."]
    return "\n".join(lines)


def _span_text(tariff: Tariff, run: Run, day: date) -> str:
    start, end = local_datetimes(tariff.timezone, [run.start_s, run.end_s])
    last = "24:00" if end.date() > day and (end.hour, end.minute) == (0, 0) else f"{end:%H:%M}"
    return f"{start:%H:%M}-{last}"
