"""A Wi-Fi that is there."""

STA_IF = 0


class WLAN:
    def __init__(self, which: int) -> None:
        self.which = which

    def active(self, on: bool) -> None:
        pass

    def isconnected(self) -> bool:
        return True
