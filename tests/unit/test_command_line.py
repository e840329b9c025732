"""What she types on the command line, before any book is read."""

from __future__ import annotations

from pathlib import Path

import pytest

from costbook import cli


@pytest.mark.parametrize("place", [".", "/", "", ".."])
@pytest.mark.parametrize("command", ["price", "changed", "accept", "next", "record", "count", "takeback", "post", "shops", "explain", "lot"])
def test_a_folder_in_the_place_of_a_book_is_told(command: str, place: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main([command, place, *(["x"] if command in ("explain", "lot") else [])]) == 4
    assert capsys.readouterr().err.endswith("is not a file. Name a workbook, not a folder.\n")


@pytest.mark.parametrize(("command", "missing"), [("post", "book"), ("record", "book"), ("excel", "DO")])
def test_only_what_must_be_there_is_asked_for(command: str, missing: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="2"):
        cli.main([command])
    assert capsys.readouterr().err.endswith(f"the following arguments are required: {missing}\n")


def test_nothing_typed_lists_the_commands(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main([]) == 2
    listed = capsys.readouterr().err
    assert all(f"    {command} " in listed for command in cli.COMMANDS)


@pytest.mark.parametrize("command", cli.COMMANDS)
def test_every_command_says_what_it_does(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="0"):
        cli.main([command, "--help"])
    says = cli.COMMANDS[command][0]
    assert " ".join(f"{says[0].upper()}{says[1:]}.".split()) in " ".join(capsys.readouterr().out.split())


def test_a_name_with_blanks_is_said_as_it_must_be_typed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    book = tmp_path / "Preis buch ä.xlsx"
    assert cli.main(["blank", str(book)]) == 0
    assert capsys.readouterr().out.endswith(f'costbook price "{book}"\n')
    assert cli.main(["blank", str(tmp_path / "prices.xlsx")]) == 0
    assert capsys.readouterr().out.endswith(f"costbook price {tmp_path / 'prices.xlsx'}\n")
