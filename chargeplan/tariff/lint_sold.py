"""A price for what is sold beside net metering, which counts it against what is bought already."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any, Final

from chargeplan.reading import Document
from chargeplan.tariff.lint_finding import Finding
from chargeplan.tariff.stretches import stretches

_POSITIVE: Final = re.compile(r"(?<![\d.-])(?=[\d.]*[1-9])[\d.]+")


def sold_twice(document: Document) -> Iterator[Finding]:
    """Find prices above nothing for what is sold, in sheets with net metering.

    Parameters
    ----------
    document : Document
        The file of a sheet.

    Yields
    ------
    Finding
        ``sold twice``, one for each time; charges for what is sold, below nothing, are not told.
    """
    if "net_metering" not in document.data:
        return
    for stretch in stretches(document):
        for key in ("export", "export_components"):
            if _earns(stretch.terms.get(key)):
                what = f"`{key}` pays for what is sold, which `net_metering` takes off what is bought already"
                remedy = f"take one of the two out, or accept this if `{key}` is a premium on top"
                yield Finding("sold twice", stretch.path(key), what, remedy)


def _earns(value: Any) -> bool:
    if isinstance(value, dict):
        return any(_earns(inner) for key, inner in value.items() if key not in ("hours", "periods", "seasons"))
    if isinstance(value, list):
        return any(map(_earns, value))
    if isinstance(value, int | float):
        return value > 0
    return isinstance(value, str) and _POSITIVE.match(value.strip()) is not None
