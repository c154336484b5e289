"""From signed manifests back to facts: what a lost catalogue knew, as far as they tell it.

Rules of this file:
1. Of each day the newest revision counts for files and copies; every revision stays in the chain.
2. What a manifest does not tell is left unknown, never made up: a card that comes back is read
   again where that matters.
3. A finding that stood in the manifest must not vanish by the rebuild: what it told of a file is
   taken from it.
"""

from __future__ import annotations

