"""A value for every day of the week, as a household file writes what is usual."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Generic, TypeVar

from chargeplan.errors import InputError
from chargeplan.tariff.dates import WEEKDAYS
from chargeplan.tariff.windows import DaySet

ValueT = TypeVar("ValueT", int, float)


@dataclass(frozen=True)
class ByDay(Generic[ValueT]):
    """A value for every day of the week, and perhaps another for holidays.

    Parameters
    ----------
    week : tuple of seven values
        Monday to Sunday.
    holiday : value, optional
        The value on holidays, whatever day they fall on.

    Examples
    --------
    >>> ByDay.parse({"weekdays": 435, "weekends": 570}).on(5)
    570
    """

    week: tuple[ValueT, ...]
    holiday: ValueT | None = None

    @classmethod
    def parse(cls, given: ValueT | Mapping[str, ValueT]) -> ByDay[ValueT]:
        """Take one value for all days, or one per set of days.

        Raises
        ------
        InputError
            If a day has no value, or two.
        """
        if not isinstance(given, Mapping):
            return cls((given,) * 7)
        week: dict[int, ValueT] = {}
        holiday: ValueT | None = None
        for words, value in given.items():
            days = DaySet.parse(words)
            for weekday in sorted(days.weekdays):
                if weekday in week:
                    raise InputError(f"{WEEKDAYS[weekday].capitalize()} is given twice; name each day once")
                week[weekday] = value
            if days.holidays:
                holiday = value
        missing = [WEEKDAYS[weekday].capitalize() for weekday in range(7) if weekday not in week]
        if missing:
            raise InputError(f"nothing is said for {', '.join(missing)}; add a line for {missing[0]}")
        return cls(tuple(week[weekday] for weekday in range(7)), holiday)

    def on(self, weekday: int, holiday: bool = False) -> ValueT:
        """Give the value of a day."""
        return self.holiday if holiday and self.holiday is not None else self.week[weekday]
