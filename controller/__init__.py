"""underback: a rest program becomes a mash that really ran like that."""

__version__ = "0.1.0"
DISTRIBUTION = "underback"  # `cli.py` asks for it: another distribution may have laid its own `controller` over ours
