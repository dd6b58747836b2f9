"""A 1-wire line on a pin."""


class OneWire:
    def __init__(self, pin: object) -> None:
        self.pin = pin
