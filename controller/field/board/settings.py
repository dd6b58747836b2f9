"""What hangs on this board, and is it fit to run? Read from the board's own file, `board_config.py`, by name.

Every figure is checked before anything is switched; what is wrong is said in a sentence, and the output stays off.
"""

from controller.field.lease import (
    CEILING_S,
    CONTACTOR_REST_S,
    OUTLET_GAP_K,
    OUTLET_LIMIT_C,
    OUTLET_TRIP_C,
    NodeSettings,
)

MYPY = False  # true for the type checker alone
if MYPY:
    from typing import Any

DEFAULTS: "dict[str, Any]" = {
    "NODE": "",  # "heater" or "probe"
    "WIFI": ("", ""),  # name, password
    "HOST": "",
    "PORT": 1883,
    "USER": "",
    "PASSWORD": "",
    "CA": "",  # the authority's certificate, a file on the board: the connection is encrypted then
    "BASE": "",  # such as underback/gannet
    "POWER_W": 0,
    "KIND": "ssr",  # "ssr" or "contactor"
    "OUTPUT": None,
    "THERMOMETER": None,  # the pin of the 1-wire line
    "WINDOW_S": 2.0,  # a share as on and off within it
    "LIMIT_C": OUTLET_LIMIT_C,
    "TRIP_C": OUTLET_TRIP_C,
    "GAP_K": OUTLET_GAP_K,  # it must fall by so much before heat returns
    "LEVEL": None,
    "FLOW": None,
    "RESET": None,  # a button that closes to ground
    "PROBES": {},  # probe node: topic by the sensor's serial number in hex, or "any" for the only one
    "FIRST": "",  # probe node: of which of these topics does its last will tell?
}
KINDS = ("ssr", "contactor")


class Unfit(ValueError):
    """The board's file is wrong, in a sentence."""


def read(module: object) -> "dict[str, Any]":
    """The settings of the board's file with what it leaves out. Raises Unfit with everything that is wrong."""
    found = {name: getattr(module, name, default) for name, default in DEFAULTS.items()}
    wrong = [name + ": no such setting" for name in dir(module) if name.isupper() and name not in DEFAULTS]
    wrong += _common(found) + (_heater(found) if found["NODE"] == "heater" else _probe(found))
    if wrong:
        raise Unfit("; ".join(wrong))
    return found


def _common(found: "dict[str, Any]") -> list[str]:
    wrong = []
    if found["NODE"] not in ("heater", "probe"):
        wrong.append("NODE: wanted 'heater' or 'probe'")
    if not found["HOST"]:
        wrong.append("HOST: wanted the broker's address")
    if found["THERMOMETER"] is None:
        wrong.append("THERMOMETER: wanted the pin of the 1-wire line")
    return wrong


def _heater(found: "dict[str, Any]") -> list[str]:
    wrong = []
    if not found["BASE"]:
        wrong.append("BASE: wanted the tun's topic, such as 'underback/gannet'")
    if not found["POWER_W"] > 0:
        wrong.append("POWER_W: wanted what the heater's plate says")
    if found["KIND"] not in KINDS:
        wrong.append("KIND: wanted 'ssr' or 'contactor'")
    pins = [found[name] for name in ("OUTPUT", "THERMOMETER", "LEVEL", "FLOW", "RESET") if found[name] is not None]
    if found["OUTPUT"] is None:
        wrong.append("OUTPUT: wanted the pin of the relay")
    if len(set(pins)) != len(pins):
        wrong.append("a pin is named twice")
    if not 40 <= found["LIMIT_C"] < found["TRIP_C"] <= 100:
        wrong.append("LIMIT_C, TRIP_C: wanted 40 to 100, the trip above the limit")
    if not 0.5 <= found["GAP_K"] <= 20:
        wrong.append("GAP_K: wanted 0.5 to 20")
    if not 1 <= found["WINDOW_S"] <= 60 or (found["KIND"] == "contactor" and found["WINDOW_S"] < 30):
        wrong.append("WINDOW_S: wanted 1 to 60, with a contactor 30 at least")
    return wrong


def _probe(found: "dict[str, Any]") -> list[str]:
    probes = found["PROBES"]
    if not probes:
        return ["PROBES: wanted the topic of each sensor, by its serial number"]
    if "any" in probes and len(probes) > 1:
        return ["PROBES: 'any' is for a single sensor"]
    return [] if found["FIRST"] in probes.values() else ["FIRST: wanted one of the topics in PROBES"]


def node(found: "dict[str, Any]", boot: str) -> NodeSettings:
    """The figures of the node's contract."""
    return NodeSettings(
        found["POWER_W"],
        boot,
        ceiling_s=CEILING_S,
        min_off_s=CONTACTOR_REST_S if found["KIND"] == "contactor" else 0.0,
        window_s=found["WINDOW_S"],
        outlet=True,
        level=found["LEVEL"] is not None,
        flow=found["FLOW"] is not None,
        outlet_limit_c=found["LIMIT_C"],
        outlet_trip_c=found["TRIP_C"],
        outlet_gap_k=found["GAP_K"],
    )
