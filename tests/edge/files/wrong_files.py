"""Wrong files, one slip each (some with several), and what a person must be told: the place and the mend."""

from __future__ import annotations

from typing import NamedTuple

LINNET, PLOVER, SERVICE, ADVICE = "programs/linnet.toml", "tuns/plover.toml", "service.toml", "advice.toml"


class Slip(NamedTuple):
    """One wrong file: which, what is replaced by what (`old` None: the whole content), what must be said."""

    name: str
    file: str
    old: str | None
    new: str | bytes
    says: tuple[str, ...]


def program(name: str, old: str, new: str, *says: str) -> Slip:
    return Slip(name, LINNET, old, new, says)


def tun(name: str, old: str, new: str, *says: str) -> Slip:
    return Slip(name, PLOVER, old, new, says)


def service(name: str, old: str, new: str, *says: str) -> Slip:
    return Slip(name, SERVICE, old, new, says)


def whole(name: str, new: str | bytes, *says: str, file: str = LINNET) -> Slip:
    return Slip(name, file, None, new, says)


T66 = 'temperature = "66 °C"'
T77 = 'temperature = "77 °C"'
H60 = 'time = "60 min"'
STEP = '[[step]] 1 "conversion": '
MINUTE = 'name = "more"\ntemperature = "66 °C"\ntime = "1 min"\n[[step]]\n'
MASH = 'name = "mash-out"\nkind = "mash_out"'


def added(name: str, kind: str, added_at: str, temperature: str, *says: str) -> Slip:
    """A step more before the mash-out."""
    key = "added_at" if kind == "infusion" else "returned_at"
    step = f'name = "more"\nkind = "{kind}"\n{key} = "{added_at}"\ntemperature = "{temperature}"\n[[step]]\n'
    return program(name, MASH, step + MASH, *says)


NUMBERS = (
    program("bare number in quotes", T66, 'temperature = "66"', STEP + "temperature", '"66"', "66 °C"),
    program("bare number", T66, "temperature = 66", STEP + "temperature", "found 66", '"66 °C"'),
    program("bare float", T66, "temperature = 66.5", "found 66.5", '"66.5 °C"'),
    program("fahrenheit without its unit", T66, 'temperature = "152"', STEP + "temperature", "152 °F"),
    program("fahrenheit taken for celsius", T66, 'temperature = "152 °C"', STEP, "Fahrenheit", "66.7 °C"),
    program("celsius taken for fahrenheit", T66, 'temperature = "66 °F"', STEP, "Celsius", '"66 °C"'),
    program(
        "too hot in fahrenheit", T77, 'temperature = "176.5 °F"', '[[step]] 2 "mash-out"', "found 80.28 °C", "78 °C"
    ),
    program("87 for 78", T77, 'temperature = "87 °C"', '[[step]] 2 "mash-out"', "78 °C", "hard limit"),
    program("79 under a limit of 80", T77, 'temperature = "79 °C"', '[[step]] 2 "mash-out"', "at most 78 °C"),
    program("negative temperature", T66, 'temperature = "-5 °C"', STEP + "temperature", "20 °C to 100 °C"),
    program("zero temperature", T66, 'temperature = "0 °C"', STEP + "temperature", "20 °C"),
    program("kelvin as a temperature", T66, 'temperature = "339 K"', STEP, "K is for differences"),
    program("not a number", T66, 'temperature = "nan °C"', STEP, '"nan °C"', "66 °C"),
    program("TOML nan", T66, "temperature = nan", STEP, "found nan", "66 °C"),
    program("TOML infinity", T66, "temperature = inf", STEP, "found inf", "66 °C"),
    program("true for a temperature", T66, "temperature = true", STEP, "found true", "66 °C"),
    program("a list for a temperature", T66, 'temperature = ["66 °C"]', STEP, "a list", "66 °C"),
    program("a table for a temperature", T66, "temperature = { c = 66 }", STEP, "a table", "66 °C"),
    program("empty text", T66, 'temperature = ""', STEP, '""', "66 °C"),
    program("unit alone", T66, 'temperature = "°C"', STEP, '"°C"', "66 °C"),
    program("two numbers", T66, 'temperature = "66 77 °C"', STEP, "66 °C"),
    program("decimal comma", T66, 'temperature = "66,5 °C"', STEP, "point for decimals"),
    program("decimal comma is mended", T66, 'temperature = "66,5 °C"', STEP, 'such as "66.5 °C"'),
    program("decimal comma without unit", T66, 'temperature = "66,5"', STEP, 'such as "66.5 °C"'),
    program("comma between thousands", T66, 'temperature = "1,500 °C"', STEP, 'such as "66 °C"'),
    program("two commas", T66, 'temperature = "1,500,5 °C"', STEP, 'such as "66 °C"'),
    program("degrees of neither scale", T66, 'temperature = "66 °"', STEP, 'after the number, such as "66 °C"'),
    program("an exponent", T66, 'temperature = "6.6e1 °C"', STEP, "plain digits", "66 °C"),
    program("an exponent out of the world", H60, 'time = "1e308 min"', STEP, "plain digits", "35 min"),
    program("digits without end", H60, 'time = "99999999999999999999 h"', STEP, "at most 12 before the point"),
    program("a nought too many", T66, 'temperature = "660 °C"', STEP, 'did you mean "66 °C"?'),
    program("a point too early", T66, 'temperature = "6.6 °C"', STEP, 'did you mean "66 °C"?'),
    program("underscore", T66, 'temperature = "6_6 °C"', STEP, "66 °C"),
    program("digits of another script", T66, 'temperature = "٦٦ °C"', STEP, "66 °C"),
    program("exponent", T66, 'temperature = "6.6e1 °C"', STEP, "66 °C"),
    program("endless digits", T66, f'temperature = "{"6" * 500} °C"', STEP, "66 °C"),
    program("volume for a temperature", T66, 'temperature = "66 L"', STEP, "°C or °F"),
    program("a word for a temperature", T66, 'temperature = "warm"', STEP, '"warm"', "66 °C"),
)

TIMES = (
    program("ten hours", H60, 'time = "10 h"', STEP + "time", "10 h", "from 1 min to 4 h", "12 h with long = true"),
    program("ten hours in minutes", H60, 'time = "600 min"', STEP + "time", "10 h", "4 h"),
    program("thirteen hours marked long", H60, 'time = "13 h"\nlong = true', STEP + "time", "13 h", "12 h"),
    program(
        "zero time", H60, 'time = "0 min"', STEP + "time", '"0 min"', "from 1 min to 4 h, or to 12 h with long = true"
    ),
    program("seconds for minutes", H60, 'time = "30 s"', STEP + "time", "30 s", "1 min"),
    program("negative time", H60, 'time = "-60 min"', STEP + "time", '"-60 min"'),
    program("time without unit", H60, 'time = "60"', STEP + "time", '"60 min"'),
    program("number for a time", H60, "time = 60", STEP + "time", "found 60", '"60 min"'),
    program("a time of day", H60, "time = 06:00:00", STEP + "time", "35 min"),
    program("m for min", H60, 'time = "60 m"', STEP + "time", "s, min, h or d"),
    program("minutes before hours", H60, 'time = "10 min 1 h"', STEP + "time", "1 h 10 min"),
    program("a billion minutes", H60, 'time = "1000000000 min"', STEP + "time", "from 1 min to 4 h, or"),
    program(
        "no time", H60 + "             # counted in band, not from when heat came on", "", STEP + "time", "nothing"
    ),
    program("keep for five hours", 'time = "2 h"', 'time = "5 h"', '[[step]] 3 "keep": time', "5 h", "2 h"),
    program("keep for a second", 'time = "2 h"', 'time = "1 s"', '[[step]] 3 "keep": time', "1 s", "1 min"),
    program("over twelve hours in all", H60, 'time = "12 h"\nlong = true', "in all", "at most 12 h"),
)

KEYS = (
    program("unknown key in a step", T66, 'temprature = "66 °C"', STEP, 'unknown key "temprature"', '"temperature"'),
    program("unknown key at the top", 'title = "Linnet pale ale"', 'titel = "x"', 'unknown key "titel"', '"title"'),
    program("unknown table", "[liquor]", "[liqour]", 'unknown key "liqour"', '"liquor"'),
    program("key with a unit suffix", T66, 'temperature_c = "66 °C"', 'unknown key "temperature_c"', '"temperature"'),
    program("capital key", T66, 'Temperature = "66 °C"', 'unknown key "Temperature"', '"temperature"'),
    program("key of another kind of step", T66, T66 + '\naway = "30 min"', STEP + "away", "kind rest"),
    program("ask_after without iodine", H60, H60 + '\nask_after = "30 min"', STEP + "ask_after", 'by = "iodine"'),
    program("ask_after beyond the rest", H60, H60 + '\nby = "iodine"\nask_after = "90 min"', STEP, "1 h"),
    program("unknown kind", 'kind = "rest"', 'kind = "rset"', STEP + "kind", '"rset"', 'did you mean "rest"?'),
    program("unknown way to end", H60, H60 + '\nby = "iodin"', STEP + "by", 'did you mean "iodine"?'),
    program(
        "unknown grist kind", 'kind = "malt"', 'kind = "wheatmalt"', '[[grist]] 1 "Pale malt": kind', '"wheat malt"'
    ),
    program("unknown aim", 'aim = "balanced"', 'aim = "drier"', "aim", '"drier"', '"dry"'),
    program("no title", 'title = "Linnet pale ale"', "", "title", "nothing"),
    program("name against the file's", 'tun = "plover"', 'tun = "plover"\nname = "robin"', '"robin"', '"linnet"'),
    program("text for a list", "[[grist]]", "[grist]", "grist", "a table", "a list, in TOML [[grist]] with double"),
    program("text for true", H60, H60 + '\nlong = "yes"', STEP + "long", '"yes"', "true or false"),
    program("overrule of no rule", 'tun = "plover"', 'tun = "plover"\noverrule = { A99 = "x" }', "A99", "A5"),
    program("overrule of a stop", 'tun = "plover"', 'tun = "plover"\noverrule = { A3 = "x" }', "A3", "only advises"),
    program("overrule without a reason", 'tun = "plover"', 'tun = "plover"\noverrule = { A5 = "" }', "A5", "few words"),
)

SENSE = (
    program("same name twice", MASH, MASH.replace("mash-out", "Conversion"), "[[step]] 2", "a name of its own"),
    program("keep in the middle", 'kind = "mash_out"', 'kind = "keep"', '[[step]] 2 "mash-out": kind', "last step"),
    program("keep first", 'kind = "rest"', 'kind = "keep"', STEP + "kind", "a rest as the first step"),
    program("infusion first", 'kind = "rest"', 'kind = "infusion"', STEP, "a rest as the first step"),
    program("mass and volume", 'mass = "15 kg"', 'mass = "15 kg"\nvolume = "15 L"', "liquor", "both", "either"),
    program("neither mass nor volume", 'mass = "15 kg"', "", "liquor", "nothing", "60 kg"),
    program(
        "no liquor at all",
        "[liquor]                    # water in",
        "[[step]]\n#",
        "liquor",
        "nothing",
        "a block [liquor]",
    ),
    program("overfull", 'mass = "15 kg"', 'mass = "45 kg"', "48.4 L of mash", "at most 28.5 L"),
    program(
        "grain that does not fit", '"5.0 kg"', '"50 kg"', ":9: grist", "50 kg of grain does not fit", "about 7.8 kg"
    ),
    program("a little too much grain", '"15 kg"', '"27 kg"', ":19: liquor", "with this liquor at most about 2.2 kg"),
    program("hot strike is worked out", '"5.0 kg"', '"14 kg"', "worked out as 79.4 °C at 1.1 L/kg", "use less grain"),
    program("heater not covered", 'mass = "15 kg"', 'mass = "5 kg"', "5.0 L", "at least 8 L"),
    program("negative mass", 'mass = "5.0 kg"', 'mass = "-5.0 kg"', '[[grist]] 1 "Pale malt": mass', '"-5.0 kg"'),
    program("litres of malt", 'mass = "5.0 kg"', 'mass = "5.0 L"', '[[grist]] 1 "Pale malt": mass', "kg, g, lb or oz"),
    program("moisture of 42 %", 'moisture = "4.2 %"', 'moisture = "42 %"', "moisture", "0 % to 20 %"),
    program("share as a part of one", 'kolbach = "42 %"', 'kolbach = "0.34"', "kolbach", '"0.34"', '"34 %"'),
    program("share without its sign", 'kolbach = "42 %"', "kolbach = 42", "kolbach", "42 %"),
    program("ramp of 10 K/min", 'ramp = "1.0 K/min"', 'ramp = "10 K/min"', '[[step]] 2 "mash-out": ramp', "5 K/min"),
    program("ramp of zero", 'ramp = "1.0 K/min"', 'ramp = "0 K/min"', '[[step]] 2 "mash-out": ramp', "0.05 K/min"),
    program("ramp in K", 'ramp = "1.0 K/min"', 'ramp = "1.0 K"', '[[step]] 2 "mash-out": ramp', "K/min"),
    program("strike over the limit", 'strike = "auto"', 'strike = "85 °C"', "dough_in: strike", "at most 78 °C"),
    program("strike that lands too hot", 'strike = "auto"', 'strike = "76 °C"', "lands the mash at 70.6", '"auto"'),
    program("thick mash needs a hot strike", 'mass = "5.0 kg"', 'mass = "14 kg"', "dough_in: strike", "more liquor"),
    program("liquor over strike", 'temperature = "12 °C"', 'temperature = "80 °C"', "liquor: temperature", "70.8 °C"),
    program("frozen liquor", 'temperature = "12 °C"', 'temperature = "-12 °C"', "liquor: temperature", "1 °C"),
    program(
        "grain in fahrenheit", 'grist_temperature = "18 °C"', 'grist_temperature = "64 °C"', "dough_in", "Fahrenheit"
    ),
    added("infusion without heat for it", "infusion", "60 °C", "70 °C", '2 "more": added_at', "more than the target"),
    added("infusion downwards", "infusion", "95 °C", "60 °C", '2 "more": temperature', "more than the 66 °C before it"),
    added("infusion that overfills", "infusion", "75 °C", "72 °C", "with what is added later", "less liquor"),
    added("decoction that bares the heater", "decoction", "78 °C", "75 °C", '2 "more": amount', "heater stays covered"),
    program("several at once", T66, 'temprature = "66"\nramp = "3 K"', "temprature", '"3 K"', STEP),
)

FORM = (
    whole("empty file", "", "title", "liquor", "step"),
    whole("not TOML", "this is no TOML", ":1", "TOML"),
    whole("JSON under the wrong name", '{"title": "x"}', ":1", "TOML"),
    whole("not UTF-8", b'title = "caf\xe9"\n', ":1", "0xe9", "UTF-8"),
    whole("UTF-16", 'title = "x"'.encode("utf-16"), "UTF-8"),
    whole("ten megabytes", b"# " + b"x" * 10_000_000, "10.0 MB", "at most 256 kB"),
    whole("binary", bytes(range(256)), "UTF-8"),
    whole("NUL bytes", b'title = "a\x00b"\n', ":1", "TOML"),
    whole("nested without end", "a = " + "[" * 5000 + "]" * 5000, "nested too deeply"),
    whole("a key of a thousand parts", ".".join(["a"] * 1000) + " = 1", "nested too deeply"),
    program(
        "a title that colours the screen", "Linnet pale ale", r"Linnet\u001b[31m", 'title: found "Linnet\\u001b[31m"'
    ),
    program("a title for an old terminal", "Linnet pale ale", "Linnet\x9b31m", 'title: found "Linnet\\u009b31m"'),
    program("a name with a bell", '"conversion"', r'"con\u0007"', "[[step]] 1", "without control characters"),
    program("a step a second", MASH, MINUTE * 38 + MASH, "step: found 41 entries, wanted at most 40"),
    whole("number of five thousand digits", "a = " + "9" * 5000, "TOML"),
    whole("no steps", 'title = "x"\nstep = []\n[liquor]\nmass = "20 kg"\n', "step", "an empty list", "at least one"),
    whole(
        "steps as text", 'title = "x"\nstep = ["rest"]\n[liquor]\nmass = "20 kg"\n', "[[step]] 1", '"rest"', "a table"
    ),
    whole("steps as a number", 'title = "x"\nstep = 3\n[liquor]\nmass = "20 kg"\n', "step", "found 3", "a list"),
    whole("key twice", 'title = "x"\ntitle = "y"\n', ":2", '"title" a second time', "title once"),
    whole("curly quotes", "title = “x”\n", ":1", "straight quotes"),
    whole("two steps in single brackets", "[step]\na = 1\n[step]\na = 2\n", ":1", "[[step]], with double"),
    whole("a tun as a program", '[heater]\nkind = "ssr"\n[probes]\n', "a tun file", "--tun linnet"),
    whole("quote left open", 'title = "x\n', ":1", "a closing quote"),
    whole("quote left open at the end", 'title = "x', "a closing quote"),
    whole("table twice", "[liquor]\n[liquor]\n", ":2", "[liquor] a second time", "one block [liquor]"),
    whole("tun file is empty", "", "volume", "heater", "probes", "mixing", file=PLOVER),
    whole("service file is a list", "[[broker]]\n", "broker", "a list", "a table", file=SERVICE),
    whole("advice for no rule", "[B7]\nlevel = 'off'\n", "B7", "no such rule", "A1 to A39", file=ADVICE),
    whole("advice that silences a stop", "[A3]\nlevel = 'off'\n", "A3", "guards people", file=ADVICE),
    whole("advice of an unknown level", "[A5]\nlevel = 'loud'\n", "A5: level", "'loud'", '"off"', file=ADVICE),
    whole("advice that is no table", "A5 = 3\n", "A5", "found 3", "a table", file=ADVICE),
)

GRIST = '[[grist]]\nname = "Pale malt"'
FIRST = '[[step]]\nname = "conversion"'
BLOCKS = (  # one slip, one line: a header that is missing or has too few brackets, a quote that is not closed
    program("grist without its header", GRIST, GRIST[10:], ":9: name, lot, mass", "above all blocks", "[[grist]] on"),
    program("first step without its header", FIRST, FIRST[9:], ":27: name, kind", "in [dough_in]", "[[step]] on the"),
    program(
        "later step without its header", "[[step]]\n" + MASH, MASH, ":34", '"name" twice', "[[step]] missing above"
    ),
    program("liquor without its header", "[liquor]  ", "#", ":20", '"mass" twice', "is [liquor] missing above line 20"),
    program("first step in single brackets", FIRST, FIRST[1:].replace("]]", "]"), ":27", "'[step]'", "[[step]], with"),
    program("no closing quote", T66, T66[:-1], ":30", "a closing quote as well"),
    program("no opening quote", T66, T66.replace('"', "", 1), ":30", "an opening quote as well"),
)

TUNS = (
    tun("unknown key", 'volume = "30 L"', 'volum = "30 L"', 'unknown key "volum"', '"volume"'),
    tun("no volume", 'volume = "30 L"', "", "volume", "nothing", '"60 L"'),
    tun("hard limit of 95 °C", 'hard_limit = "80 °C"', 'hard_limit = "95 °C"', "guard: hard_limit", "60 °C to 85 °C"),
    tun("hard limit of 176 °C", 'hard_limit = "80 °C"', 'hard_limit = "176 °C"', "guard: hard_limit", "Fahrenheit"),
    tun("lease of a minute", 'lease = "5 s"', 'lease = "60 s"', "heater: lease", "3 s to 10 s"),
    tun("power in horses", 'power = "2.4 kW"', 'power = "3 hp"', "heater: power", "kW"),
    tun("power without unit", 'power = "2.4 kW"', "power = 2400", "heater: power", "found 2400", '"2400 W"'),
    tun("unknown heater", 'kind = "ssr"', 'kind = "triac"', "heater: kind", '"triac"', '"ssr"'),
    tun("relay without a window", 'window = "2 s"', "", "heater: window", "2 s"),
    tun("minimum times beyond the window", 'min_on = "0.2 s"', 'min_on = "5 s"', "heater: min_on", "the window, 2 s"),
    tun("nothing that mixes", 'mixing = "pump"', 'mixing = "none"', "mixing", "scorches"),
    tun("no pump", "[pump]", "[stirrer]", "pump", "nothing", "[pump]"),
    tun("no flow switch", "[flow]  ", "[level]  ", "flow", "nothing", "flow switch"),
    tun("no pump flow", 'flow_rate = "6 L/min"', "", "flow_rate", "nothing", "6 L/min"),
    tun(
        "trickle at the heater",
        'flow_rate = "6 L/min"',
        'flow_rate = "1 L/min"',
        "leaving the heater at",
        "slower ramp",
    ),
    tun("topic with a wildcard", "plover/probe/mash", "plover/probe/#", "probes: mash: topic", "without + and #"),
    tun("two probes on one topic", "plover/probe/outlet", "plover/probe/mash", "probes: outlet: topic", "of its own"),
    tun("ice point of 32 °F", "raw_boil =", 'raw_ice = "32 °C"\nraw_boil =', "probes: mash: raw_ice", "-3 °C to 3 °C"),
    tun(
        "calibration on no day",
        'place = "bed outlet"',
        'place = "bed outlet"\ncalibrated_on = "last week"',
        "calibrated_on",
        "2026-03-31",
    ),
    tun("outlet trip under its limit", 'outlet_trip = "92 °C"', 'outlet_trip = "80 °C"', "outlet_trip", "85 °C"),
    tun("more liquor than the tun holds", 'min_liquor = "8 L"', 'min_liquor = "40 L"', "min_liquor", "30 L"),
    tun("loss of nothing", 'loss = "2 W/K"', 'loss = "0 W/K"', "loss", "0.05 W/K"),
    tun("capacity in kJ", 'metal = "3.0 kJ/K"', 'metal = "3.0 kJ"', "metal", "kJ/K"),
    tun("a heater too weak", 'power = "2.4 kW"', 'power = "110 W"', "less than 73 °C", "makes up for the loss"),
)

SERVICES = (
    service("port of 99999", "port = 1883", "port = 99999", "broker: port", "1 to 65535"),
    service("port as text", "port = 1883", 'port = "1883"', "broker: port", "a plain number"),
    service("version 4", "version = 5 ", "version = 4 ", "broker: version", "3 or 5"),
    service(
        "password in the file", 'password_file = ""', 'password = "x"', 'unknown key "password"', '"password_file"'
    ),
    service("a pace of its own", "resume_minutes", 'tick = "1 s"\nresume_minutes', 'unknown key "tick"', "delete it"),
    service("nothing kept", "keep_runs = 50", "keep_runs = 0", "keep_runs", "1 to 100000"),
    service("resume after two hours", "resume_minutes = 30", "resume_minutes = 120", "resume_minutes", "0 to 60"),
    service("prefix with a wildcard", 'prefix = "underback"', 'prefix = "under/+"', "prefix", "without + and #"),
    service("tls as text", "tls = false", 'tls = "no"', "broker: tls", "true or false"),
)

ALL = (*NUMBERS, *TIMES, *KEYS, *SENSE, *FORM, *BLOCKS, *TUNS, *SERVICES)
