"""Drafts of rate sheets as plain data for programs."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from chargeplan.drafting.draft import Draft

DRAFTS_SCHEMA: Final = "chargeplan.drafts/1"


def drafts_data(drafts: Iterable[Draft]) -> dict[str, Any]:
    """Make plain data of drafted sheets.

    Parameters
    ----------
    drafts : iterable of Draft
        The drafts.

    Returns
    -------
    dict
        For each its name, label, the sheet as YAML, and its notes with their place in the sheet.

    Examples
    --------
    >>> drafts_data([])
    {'schema': 'chargeplan.drafts/1', 'drafts': []}
    """
    return {
        "schema": DRAFTS_SCHEMA,
        "drafts": [
            {
                "name": draft.name,
                "label": draft.label or None,
                "sheet": draft.text,
                "notes": [
                    {"kind": note.kind, "place": list(map(str, note.place)), "text": note.text} for note in draft.notes
                ],
            }
            for draft in drafts
        ],
    }
