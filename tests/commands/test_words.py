"""The words around the commands: a slip in a command's name, and a broker that is not there."""

from __future__ import annotations

import shutil
import socket
from pathlib import Path

import pytest

from controller.cli import main
from tests.places import CONFIG


@pytest.mark.parametrize(("typed", "meant"), [("chek", "check"), ("dry-run", "dryrun"), ("stauts", "status")])
def test_a_slip_in_a_command_is_answered_with_the_nearest(
    typed: str, meant: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """An unknown command ends with 2 and the one that was likely meant; without a near one nothing is guessed."""
    assert main([typed]) == 2
    assert f"no command {typed!r}; did you mean {meant!r}?" in capsys.readouterr().err
    assert main(["xyzzy"]) == 2
    assert "did you mean" not in capsys.readouterr().err


@pytest.mark.parametrize(
    ("command", "said"), [("status", "underback serve --tun plover"), ("calibrate", "need not run")]
)
def test_without_a_broker_the_next_step_is_told(
    command: str, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where nothing listens the command ends with 3 and says what to start."""
    config = Path(shutil.copytree(CONFIG, tmp_path / "config"))
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
        service = config / "service.toml"
        text = service.read_text(encoding="utf-8")
        assert "port = 1883" in text
        service.write_text(text.replace("port = 1883", f"port = {port}"), encoding="utf-8")
        assert main(["--config", str(config), command, "--tun", "plover"]) == 3
    err = capsys.readouterr().err
    assert err.count("\nNext: start the broker") == 1 and said in err
