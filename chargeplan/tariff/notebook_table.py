"""The prices of a sheet as a table in a notebook."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from chargeplan.tariff.tariff import Tariff


def html_table(tariff: Tariff) -> str:
    """Write the first prices of a sheet's last version by season and period.

    Parameters
    ----------
    tariff : Tariff
        The sheet.

    Returns
    -------
    str
        HTML.
    """
    rates = tariff.versions[-1]
    table = rates.tables[0]
    prices = np.full(table.shape, 0.0)
    for line, factor in zip(rates.lines, rates.factors, strict=False):
        if line.table == 0:
            prices += factor * line.first_price(rates.loss_share)
    seasons = table.seasons if table.seasons != ("",) else ("all year",)
    head = "".join(f"<th>{escape(name)}</th>" for name in table.periods)
    rows = "".join(
        f"<tr><th>{escape(season)}</th>"
        + "".join(f"<td>{'' if np.isnan(price) else f'{price:.4f}'}</td>" for price in row)
        + "</tr>"
        for season, row in zip(seasons, prices, strict=True)
    )
    title = f"{escape(tariff.name)} ({escape(tariff.currency)} per kWh, taxes included, {escape(tariff.timezone)})"
    return f"<table><caption>{title}</caption><tr><th></th>{head}</tr>{rows}</table>"
