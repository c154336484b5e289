"""The program inside a child that has imported it already."""

from __future__ import annotations

import sys
import traceback
from collections.abc import Callable, Sequence

BUG = 99


def takehold(main: Callable[[], None], words: Sequence[str]) -> int:
    """Be `takehold WORDS`; its exit status, BUG for a traceback. All it printed is flushed."""
    sys.argv = ["takehold", *words]
    try:
        main()
    except SystemExit as end:
        return int(end.code or 0)
    except BaseException:
        traceback.print_exc()
        return BUG
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
    return 0
