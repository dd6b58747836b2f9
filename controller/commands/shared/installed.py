"""Are the packages `controller` and `sim` that run here really underback's?

Their names are plain words, and an installer lays the files of two distributions over each other without a word. The
list of files with checksums that every installed distribution carries (RECORD) tells.
"""

from __future__ import annotations

import base64
import hashlib
from importlib.metadata import Distribution, PackageNotFoundError, PackagePath, distribution, packages_distributions
from pathlib import Path

NAME, PACKAGES = "underback", ("controller", "sim")


def strangers() -> list[str]:
    """Which other distributions on this Python's path hold a package of one of our names?"""
    owners = packages_distributions()
    return sorted({owner for package in PACKAGES for owner in owners.get(package, ())} - {NAME})


def own() -> Distribution | None:
    """Our own distribution; None where the source runs from its folder without being installed."""
    try:
        return distribution(NAME)
    except PackageNotFoundError:
        return None


def overwritten(ours: Distribution) -> list[str]:
    """Which of our installed files are not what the list of files says, or are gone? Files without a checksum pass."""
    return [str(path) for path in ours.files or () if path.parts[0] in PACKAGES and not _as_listed(path)]


def _as_listed(path: PackagePath) -> bool:
    if path.hash is None:
        return True
    try:
        content = Path(str(path.locate())).read_bytes()
    except OSError:
        return False
    digest = base64.urlsafe_b64encode(hashlib.new(path.hash.mode, content).digest())
    return digest.rstrip(b"=").decode() == path.hash.value
