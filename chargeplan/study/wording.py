"""What goes wrong with the parts of a study file, in its own words: its keys, quantities with units."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from chargeplan.errors import Mistake
from chargeplan.household.attempts import Attempts
from chargeplan.household.wording import in_file_words
from chargeplan.reading import KeyPath

#: By the parameter that is out of range: the key it was read from, and what would be right there.
_RANGES: Final = {
    "lifetime_years of ": ("lifetime", "write for example 12 years, or leave it out"),
    "spread is ": ("spread", "write 0 % to 500 %, like 40 %"),
    "per_year is ": ("per_year", "write how many a year, like 6"),
    "factor is ": ("consumption", "write above 0 % and up to 1000 %, like 140 %"),
    "a temperature is ": ("", "write a mean of a day or month, -90 °C to 60 °C"),
    "discount_rate is ": ("discount_rate", "write -100 % to 100 %, like 5 %"),
    "price_growth is ": ("price_growth", "write -100 % to 100 %, like 2 %"),
    "work_growth is ": ("work_growth", "write -100 % to 100 %, like 2 %"),
    "price_per_l of ": ("price", "write for example 3.60 per gal"),
    "l_per_100km of ": ("consumption", "write for example 31 mi/gal"),
}
#: By a pattern of other complaints: the key, what is wrong, and what would be right.
_OTHERS: Final = (
    (r"years is ([\d.e+-]+), ", "horizon", r"a horizon of \1 years cannot be", "write whole years from 1 to 100"),
    (r"(the rebate .* has \w+ a share \w+ an amount)", "", r"\1", "write one, like `share: 30 %` or `amount: 250`"),
    (r"(the rebate .* names \w+ twice)", "of", r"\1", "name it once"),
    (
        r"week(day|end)_km is .*, (but by .*); say",
        r"week\1s",
        r"`week\1s` is a distance, \2",
        "say in the household file when it leaves",
    ),
    (r"(two times away share \S+);", "away", r"\1", "make one of them, or change a date"),
    (r"(\d+ has \d+ days for \S+ long trips);", "long_trips", r"\1", "ask for fewer, or for other days"),
    (r"(days that are called) ", "days", r"\1 cannot be days of long trips", "name days of the week or holidays"),
    (r"(the sheet .* (?:begins|ends) on .*)", "", r"\1", "change `from` and `to`, or take another sheet"),
    (r"(there is no temperature for .*);", "cold", r"\1", "add the days that are missing"),
)


@dataclass
class StudyAttempts(Attempts):
    """What is wrong with a study file, so far, and what its owner should know.

    Parameters
    ----------
    warnings : list of Mistake
        What can be reckoned, but may not be meant.
    """

    warnings: list[Mistake] = field(default_factory=list)

    def warn(self, path: KeyPath, what: str, remedy: str) -> None:
        """Note something that may not be meant."""
        warning = self.document.mistake(path, what, remedy)
        if warning not in self.warnings:
            self.warnings.append(warning)

    def in_words(self, complaint: str) -> tuple[str, str, str]:
        """Say a complaint in the words of the file: the key, what is wrong, what would be right."""
        return in_study_words(complaint)

    @property
    def folder(self) -> Path:
        """Where the files are that it names."""
        return Path(self.document.file).parent

    def value(self, path: KeyPath) -> Any:
        """Give what the file says at a path, whether it could be read or not; None if it says nothing."""
        found = self.document.data
        for part in path:
            try:
                found = found[part]
            except (LookupError, TypeError):
                return None
        return found


def in_study_words(complaint: str) -> tuple[str, str, str]:
    """Say a complaint of what a study is made of in the words of a study file.

    Parameters
    ----------
    complaint : str
        Text of an `InputError`; any that is not known here stays as it is.

    Returns
    -------
    key, what, remedy : str
        The key that is wrong, empty if no single one is; what is wrong; what would be right.

    Examples
    --------
    >>> in_study_words("weekday_km is 30, but by the habits the car stays at home; say in the habits when it leaves")[1]
    '`weekdays` is a distance, but by the habits the car stays at home'
    """
    for start, (key, remedy) in _RANGES.items():
        if complaint.startswith(start):
            name = key or start.removesuffix(" is ")
            return key, f"{name} is out of range", remedy
    for pattern, key, what, remedy in _OTHERS:
        if match := re.match(pattern, complaint):
            return match.expand(key), match.expand(what), remedy
    return in_file_words(complaint)
