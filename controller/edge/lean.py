"""What do the libraries bring along that this program never uses?

Measured (x86-64, Python 3.11, resident memory of the daemon): the standard library's HTTP client 1.8 MiB, which the
MQTT client asks for a proxy where PySocks is installed; a search of every installed package for plugins 0.9 MiB and
17 ms; the drawings of a terminal library 3.6 MiB; the nearest word, sought after a slip of the pen only, 0.2 MiB.
"""

from __future__ import annotations

import contextlib
import importlib
import sys
import types
from collections.abc import Iterator
from typing import Any


def lean() -> None:
    """Leave these out. Call it before the libraries are imported; what is loaded already stays as it is."""
    later("urllib.request")
    later("difflib")
    _no_plugins()


def later(name: str) -> None:
    """Load a module when something in it is asked for, not when it is imported."""
    if name in sys.modules:
        return
    package, _, last = name.rpartition(".")
    site = types.ModuleType(name)

    def ask(attribute: str) -> Any:
        if attribute.startswith("__"):  # who looks through all modules, as tracebacks do, loads nothing
            raise AttributeError(attribute)
        if sys.modules.get(name) is site:
            del sys.modules[name]
        return getattr(importlib.import_module(name), attribute)

    vars(site)["__getattr__"] = ask
    sys.modules[name] = site
    if package:
        setattr(importlib.import_module(package), last, site)


def _no_plugins() -> None:
    """Pydantic would load what any installed package names as its plugin; a control process wants none."""
    none = types.ModuleType("pydantic.plugin._loader")
    vars(none)["get_plugins"] = tuple
    sys.modules.setdefault(none.__name__, none)


@contextlib.contextmanager
def without(name: str) -> Iterator[None]:
    """Within, a package counts as not installed, unless it is loaded already."""
    hidden = name not in sys.modules
    if hidden:
        sys.modules[name] = None  # type: ignore[assignment]  # what the import statement takes for "not there"
    try:
        yield
    finally:
        if hidden:
            del sys.modules[name]
