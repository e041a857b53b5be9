"""Calling the command line as a player does."""

import sys

import pytest

from gracewright.cli import main


@pytest.fixture
def run(monkeypatch, capsys):
    """Call the command line with these words; gives exit code, output and errors."""

    def call(*words):
        monkeypatch.setattr(sys, "argv", ["gracewright", *map(str, words)])
        code = 0
        try:
            main()
        except SystemExit as stop:
            code = int(stop.code or 0)
        out, err = capsys.readouterr()
        return code, out, err

    return call
