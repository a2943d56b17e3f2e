"""Which lines of a sheet are written otherwise in another, whatever they are about."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

#: What a sheet is called is no change of its terms.
_NOT_TERMS: Final = ("name",)


@dataclass(frozen=True)
class LineChange:
    """A line that is written otherwise.

    Parameters
    ----------
    line : str
        Its keys from the top, ``fixed / service``.
    old, new : str or None
        What is written; None where the line is not there.
    """

    line: str
    old: str | None
    new: str | None


def changed_lines(old: Mapping[str, Any], new: Mapping[str, Any]) -> tuple[LineChange, ...]:
    """Compare the terms of two sheets as they are written.

    Parameters
    ----------
    old, new : mapping
        Plain data of the sheets.

    Returns
    -------
    tuple of LineChange
        In the order of the new sheet, then what is gone. Numbers are compared as numbers, texts
        without regard to spaces.

    Examples
    --------
    >>> changed_lines({"fixed": {"service": "0.42 per day"}}, {"fixed": {"service": "0.45 per  day"}})
    (LineChange(line='fixed / service', old='0.42 per day', new='0.45 per day'),)
    """
    kept = [{key: value for key, value in terms.items() if key not in _NOT_TERMS} for terms in (old, new)]
    return tuple(_changes(kept[0], kept[1], ()))


def _changes(old: Mapping[str, Any], new: Mapping[str, Any], above: tuple[str, ...]) -> Iterator[LineChange]:
    for key in dict.fromkeys((*new, *old)):
        was, now = old.get(key), new.get(key)
        here = (*above, str(key))
        if not above:  # a whole part that is new or gone is told line by line
            was, now = (
                {} if one is None and isinstance(other, dict) else one for one, other in ((was, now), (now, was))
            )
        if isinstance(was, dict) and isinstance(now, dict):
            yield from _changes(was, now, here)
        elif _plain(was) != _plain(now):
            yield LineChange(" / ".join(here), _text(was), _text(now))


def _plain(value: Any) -> Any:
    if isinstance(value, bool) or value is None:
        return value
    if isinstance(value, int | float):
        return float(value)
    if isinstance(value, list):
        return [_plain(item) for item in value] if len(value) != 1 else _plain(value[0])
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    return " ".join(str(value).split())


def _text(value: Any) -> str | None:
    if value is None:
        return None
    if isinstance(value, dict):
        items = ((key, f"{{{_text(item)}}}" if isinstance(item, dict) else _text(item)) for key, item in value.items())
        return ", ".join(f"{key}: {text}" for key, text in items)
    if isinstance(value, list):
        return "; ".join(str(_text(item)) for item in value)
    if isinstance(value, bool):
        return str(value).lower()
    return f"{value:.10g}" if isinstance(value, float) else " ".join(str(value).split())
