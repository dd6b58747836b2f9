"""How many sheets of paper does a page take?"""

from __future__ import annotations

import re


def sheets(pdf: bytes) -> int:
    """How many pages has a PDF? Counted from its page objects."""
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf))
