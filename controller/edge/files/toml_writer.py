"""How is a value written in a TOML file?"""

from __future__ import annotations

import json


def value(plain: object) -> str:
    """Text, a number, yes or no, or a list of texts: written in TOML as in JSON, but for the delete character."""
    return json.dumps(plain, ensure_ascii=False, allow_nan=False).replace("\x7f", "\\u007f")
