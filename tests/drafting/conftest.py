"""Let the tests of this folder import what they share."""

import sys
from pathlib import Path

from hypothesis import settings

sys.path.insert(0, str(Path(__file__).parent))
settings.register_profile("drafting", deadline=None, print_blob=True)
settings.load_profile("drafting")
