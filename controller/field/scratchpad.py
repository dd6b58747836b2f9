"""What do the nine bytes of a 1-wire thermometer say: a temperature, or why there is none?

Plain Python without an import, so that a small board's interpreter runs this same file.
"""

NOT_CONVERTED = 0x0C  # scratchpad byte 6 after power-up; 0x10 minus the low digit of the raw value after a conversion
# The three raw values: data sheet of the DS18B20 (register after power-up) and the driver's own result check,
# drivers/w1/slaves/w1_therm.c: 85.00 with byte 6 = 0x0C, and 127.94.
POWER_ON, NO_POWER, PULLED_HIGH = 0x0550, 0x07FF, 0xFFFF
SIXTEENTH_C = 0.0625  # one step at 12 bits (its data sheet)


def fault(scratch: bytes) -> str:
    """Why may the nine bytes not be believed? Empty if they may. All zero passes the checksum, hence comes first."""
    if not any(scratch):
        return "the data line is held low (all nine bytes zero): short circuit, or wires swapped"
    if all(byte == 0xFF for byte in scratch):
        return "nobody answers on the data line (all nine bytes 0xff): sensor unplugged, or wire broken"
    if crc8(scratch[:8]) != scratch[8]:
        return "the checksum is wrong: noise on the cable, cable too long, or weak pull-up"
    raw = scratch[0] | scratch[1] << 8
    if raw == POWER_ON and scratch[6] == NOT_CONVERTED:
        return "85 °C straight from power-up, no measurement: the sensor's supply dips, check plug and cable"
    if raw == NO_POWER:
        return "127.94 °C means that the sensor has no supply: check its supply wire"
    if raw == PULLED_HIGH:
        return "-0.0625 °C means that the data line was pulled high: check plug and cable"
    return ""


def celsius(scratch: bytes) -> float:
    """Which temperature do bytes without a fault give, °C?"""
    raw = scratch[0] | scratch[1] << 8
    return (raw - 0x10000 if raw & 0x8000 else raw) * SIXTEENTH_C


def crc8(data: bytes) -> int:
    """What is the 1-wire checksum, x⁸ + x⁵ + x⁴ + 1, lowest bit first? (Maxim application note 27.)"""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0x8C if crc & 1 else 0)
    return crc
