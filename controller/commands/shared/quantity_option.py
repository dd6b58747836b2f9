"""How much was said, where an option takes a number with its unit?"""

from __future__ import annotations

from controller.brewing.units import Kind, quantity
from controller.commands.shared.exit_codes import Wrong


def asked(kind: Kind, option: str, text: str) -> float:
    """In base units. Raises Wrong with the option's name."""
    try:
        return quantity(kind, text)
    except ValueError as why:
        raise Wrong(f"{option}: found {text!r}, wanted {why}") from None
