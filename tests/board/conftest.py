import pytest


@pytest.fixture(autouse=True)
def terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """One terminal for all: true colour, whoever runs the tests."""
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.setenv("COLORTERM", "truecolor")
    for name in ("NO_COLOR", "TEXTUAL_ANIMATIONS", "TEXTUAL_COLOR_SYSTEM"):
        monkeypatch.delenv(name, raising=False)


@pytest.fixture(autouse=True)
def pauses(monkeypatch: pytest.MonkeyPatch) -> None:
    """Look for idleness every 2 ms instead of every 20: a key pressed by the pilot waits for it several times."""
    monkeypatch.setattr("textual._wait.SLEEP_GRANULARITY", 0.002)
