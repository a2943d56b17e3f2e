"""Files that come with chargeplan, by their names."""

from __future__ import annotations

import os


def shipped_path(name: str) -> str:
    """Find the file of what comes with chargeplan and is called by its name."""
    from chargeplan.household.household import example_folder, examples
    from chargeplan.tariff.loading import shipped_folder, shipped_sheets

    if os.path.exists(name):
        return name
    if name in shipped_sheets():
        return str(shipped_folder() / f"{name}.yaml")
    if name in examples():
        return str(example_folder() / f"{name}.yaml")
    from chargeplan.study.file import study_examples, study_folder

    return str(study_folder() / f"{name}.yaml") if name in study_examples() else name
