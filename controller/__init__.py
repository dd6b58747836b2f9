"""underback: a rest program becomes a mash that really ran like that."""

__version__ = "0.1.0"
