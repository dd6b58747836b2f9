"""The words of gpiod 2 that the nodes use."""

from __future__ import annotations

from enum import Enum


class Value(Enum):
    INACTIVE = 0
    ACTIVE = 1


class Direction(Enum):
    AS_IS = 1
    INPUT = 2
    OUTPUT = 3


class Bias(Enum):
    AS_IS = 1
    UNKNOWN = 2
    DISABLED = 3
    PULL_UP = 4
    PULL_DOWN = 5
