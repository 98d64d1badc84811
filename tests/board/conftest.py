import pytest


@pytest.fixture(autouse=True)
def terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """One terminal for all: true colour, whoever runs the tests."""
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.setenv("COLORTERM", "truecolor")
    for name in ("NO_COLOR", "TEXTUAL_ANIMATIONS", "TEXTUAL_COLOR_SYSTEM"):
        monkeypatch.delenv(name, raising=False)
