"""How far down is each sheet of paper filled that a page takes?"""

from __future__ import annotations

import re
import zlib

PAGE = re.compile(rb"/Type\s*/Page\b(?!s)")
NUMBER = rb"(-?[\d.]+)"


def filled(pdf: bytes) -> list[float]:
    """How far down does each page of a page's PDF go, as a share of what the margins leave? By its text and its lines.

    As Chromium writes it: one content stream a page, which says its scale, moves to the page's own part and clips it.
    """
    objects = {int(m[1]): m[2] for m in re.finditer(rb"(\d+) 0 obj\n(.*?)\nendobj", pdf, re.S)}
    contents = [re.search(rb"/Contents (\d+)", body) for body in objects.values() if PAGE.search(body)]
    streams = [objects[int(found[1])] for found in contents if found is not None]
    return [_down(zlib.decompress(body[body.index(b"stream\n") + 7 :])) for body in streams]


def _down(drawn: bytes) -> float:
    """The lowest point of one page."""
    clip = re.search(NUMBER + rb" " + NUMBER + rb" " + NUMBER + rb" " + NUMBER + rb" re\nW\* n", drawn)
    moves = re.findall(rb"3\.125 0 0 3\.125 " + NUMBER + rb" " + NUMBER + rb" cm", drawn)
    assert clip is not None and len(moves) > 1, "not written as Chromium writes it"
    top, height, moved = float(clip[2]), float(clip[4]), float(moves[1][1])
    boxes = re.findall(NUMBER + rb" " + NUMBER + rb" " + NUMBER + rb" " + NUMBER + rb" re\nf", drawn)[1:]
    ends = [float(y) + float(tall) for _, y, _, tall in boxes]
    ends += [float(y) for _, y in re.findall(rb"1 0 0 -1 " + NUMBER + rb" " + NUMBER + rb" Tm", drawn)]
    return max((3.125 * y + moved - top) / height for y in ends)
