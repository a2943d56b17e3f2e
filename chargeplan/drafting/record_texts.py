"""What a record says in words: who may have the rate, comments, amounts that are not figures, what is not billed."""

from __future__ import annotations

import re
from typing import Any, Final

from chargeplan.drafting.fields import Fields
from chargeplan.drafting.writing import clean_line, clean_text

#: Texts that a sheet carries along, with what to call them.
_TEXTS: Final = {
    "description": "Description",
    "basicinformationcomments": "Comment",
    "energycomments": "Comment on energy",
    "demandcomments": "Comment on demand",
}
_ATTRIBUTES: Final = {"energyattrs": "energy", "demandattrs": "demand", "fixedattrs": "fixed charges"}
#: Who may have the rate; no bill depends on it.
_ELIGIBILITY: Final = (
    *("phasewiring", "voltagecategory", "voltageminimum", "voltagemaximum", "peakkwcapacitymin", "peakkwcapacitymax"),
    *("peakkwcapacityhistory", "peakkwhusagemin", "peakkwhusagemax", "peakkwhusagehistory"),
)
_IGNORED: Final = (
    *("label", "uri", "utility", "name", "sector", "country", "source", "sourceparent", "eiaid", "revisions"),
    *("supersedes", "is_default", "latest_update", "demandunits", "version", "startdate", "enddate", "approved"),
    *("servicetype", "dgrules", "usenetmetering", "energyratestructure", "energyweekdayschedule"),
    *("energyweekendschedule", "demandratestructure", "demandweekdayschedule", "demandweekendschedule"),
    *("flatdemandstructure", "flatdemandmonths", "demandrateunit", "flatdemandunit", "demandwindow"),
    *("demandratchetpercentage", "fixedchargefirstmeter", "fixedchargeunits", "fixedmonthlycharge", "mincharge"),
    *("minchargeunits", "minmonthlycharge", "annualmincharge", "fueladjustmentsmonthly", "coincidentrateunit"),
    *("bundled", "usurdb_id", "page"),
)
_NOT_BILLED: Final = {
    "fixedchargeeaaddl": "a fixed charge for each further meter",
    "demandreactivepowercharge": "a charge for reactive power",
    "coincidentratestructure": "a charge for the demand at the time of the utility's own peak",
    "coincidentrateschedule": "",
    "coincidentschedule": "",
    "realtimepricing": "hourly prices of another program",
}
_ADJUSTMENT: Final = re.compile(
    r"adjust|rider|surcharge|\btax|\bfuel\b|power cost|cost recovery|\bfees?\b|minimum charge|minimum bill",
    re.IGNORECASE,
)


def note_what_is_missing(fields: Fields) -> None:
    """Note what a reader should doubt, and what is not billed."""
    if fields.flag("approved") is not True:
        says = "was not approved" if fields.has("approved") else "does not say that it was approved"
        fields.note("unclear", (), f"the record {says} by the database's reviewers")
    service = fields.text("servicetype")
    if not service:
        fields.note("unclear", (), "the record does not say whether delivery and supply are both in it")
    elif service.strip().lower() != "bundled":
        text = f"its service is `{clean_line(service, 60)}`, so the prices may be a part of what is paid only"
        fields.note("unclear", (), text)
    for key, what in _NOT_BILLED.items():
        if what and fields.has(key) and fields.get(key) not in (0, [], ""):
            fields.note("left out", (), f"{what} (`{key}`) is not billed")
    known = {*_IGNORED, *_TEXTS, *_ATTRIBUTES, *_ELIGIBILITY, *_NOT_BILLED}
    unknown = sorted(clean_line(key, 40) for key in fields.raw.data if key not in known and fields.has(key))
    if unknown:
        more = f" and {len(unknown) - 12} more" if len(unknown) > 12 else ""
        fields.note("left out", (), f"fields that are not known: {', '.join(unknown[:12])}{more}")


def read_texts(fields: Fields) -> dict[str, str]:
    """Collect the texts; they say what the figures do not."""
    found = {label: clean_text(fields.text(key)) for key, label in _TEXTS.items()}
    speaking = [label.lower() for label, text in found.items() if _ADJUSTMENT.search(text)]
    if speaking:
        text = f"the {' and the '.join(speaking)} of the record may speak of amounts that are not in the prices"
        fields.note("unclear", ("notes",), text)
    for key, label in _ATTRIBUTES.items():
        pairs = _pairs(fields, key)
        if pairs:
            found[f"Given as text for {label}"] = "; ".join(pairs)
            fields.note(
                "left out", ("notes",), f"amounts given as text for {label}, such as {clean_line(pairs[0], 80)}"
            )
    found["For customers with"] = "; ".join(
        f"{key} {clean_line(str(fields.get(key)), 40)}" for key in _ELIGIBILITY if fields.has(key)
    )
    return {label: text for label, text in found.items() if text}


def _pairs(fields: Fields, key: str) -> list[str]:
    value: Any = fields.get(key)
    if value is None:
        return []
    if isinstance(value, str):
        return [clean_line(value)] if value.strip() else []
    items = value if isinstance(value, list) else [value]
    mappings = fields.mappings((key,), items)
    pairs = [f"{clean_line(name, 80)}: {clean_line(str(text), 80)}" for item in mappings for name, text in item.items()]
    return pairs[:60]
