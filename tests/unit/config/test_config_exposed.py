"""A password that every user of the machine can read is warned of, once, with the cure."""

import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from rimewatch.cli import rimewatch

TOML = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
[broker]
url = "mqtts://127.0.0.1"
username = "shop"
password = "file:broker-password"
cert_file = "us.pem"
key_file = "us.key"
[[unit]]
id = "case-1"
name = "Front display case"
kind = "display-case"
[[probe]]
id = "case-1-air"
unit = "case-1"
measures = "air"
topic = "shop/case-1/air"
format = "number"
"""
FILES = ("shop.toml", "broker-password", "us.pem", "us.key")


EVERYBODYS = Path("/tmp")
"""A folder that every user may enter, as a shop's /etc is; pytest's own are closed to others."""


@pytest.fixture
def folder() -> Iterator[Path]:
    """Return a folder that everybody may enter, with files that the owner alone may read."""
    with tempfile.TemporaryDirectory(dir=EVERYBODYS) as name:
        made = Path(name)
        made.chmod(0o755)
        for file in FILES:
            (made / file).write_text(TOML if file == "shop.toml" else "our-secret")
            (made / file).chmod(0o600)
        yield made


def checked(folder: Path) -> str:
    done = CliRunner().invoke(rimewatch, ["check", "--config", str(folder / "shop.toml")])
    assert done.exit_code == 0, done.output
    return done.output


def test_secrets_for_the_owner_alone_are_not_spoken_of(folder: Path) -> None:
    """The certificate and the configuration itself may be read by anybody: no secret is in them."""
    (folder / "us.pem").chmod(0o644)
    (folder / "shop.toml").chmod(0o644)

    assert "every user" not in checked(folder)


@pytest.mark.parametrize(
    ("name", "key"), [("broker-password", "broker.password"), ("us.key", "broker.key_file")]
)
def test_secret_that_everybody_reads_is_named_with_its_cure(
    folder: Path, name: str, key: str
) -> None:
    """One sentence, with the command to type; never what the file holds."""
    (folder / name).chmod(0o644)

    said = checked(folder)

    assert said.count("every user of this machine can read") == 1
    assert f"Worth a look: {key} is kept in {folder / name}" in said
    assert f"chmod 600 {folder / name}" in said
    assert "our-secret" not in said


def test_folder_that_nobody_else_may_enter_keeps_its_files(folder: Path) -> None:
    """What cannot be reached needs no warning."""
    (folder / "us.key").chmod(0o644)
    folder.chmod(0o700)

    assert "every user" not in checked(folder)


def test_service_says_so_as_it_starts(folder: Path) -> None:
    """Whoever never runs the check reads it in the log, before anything else can fail."""
    (folder / "broker-password").chmod(0o644)
    words = ["--config", str(folder / "shop.toml"), "--journal", str(folder / "none" / "x.db")]

    done = CliRunner().invoke(rimewatch, ["run", *words])

    assert "cannot be written" in str(done.exception)
    assert "broker.password is kept in" in done.output.replace("\n", " ")
