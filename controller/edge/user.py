"""Who sits at this machine, where nobody says?"""

from __future__ import annotations

import getpass

NOBODY = "somebody"


def login() -> str:
    """The login name; `somebody` where the machine knows none (a container's user without an entry, a service)."""
    try:
        return getpass.getuser()
    except (KeyError, OSError, ImportError):
        return NOBODY
