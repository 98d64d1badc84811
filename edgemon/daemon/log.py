"""Events to log lines: one line each, quiet, and no line can be forged by what a message says."""

import logging
import os
import sys

_PRIORITY = {logging.DEBUG: 7, logging.INFO: 6, logging.WARNING: 4, logging.ERROR: 3, logging.CRITICAL: 2}
"""Source: sd-daemon(3), the levels of syslog(3)."""


class LineFormatter(logging.Formatter):
    """One line a record, control characters escaped; under systemd a priority prefix instead of a time."""

    def __init__(self, journald: bool) -> None:
        super().__init__("%(asctime)s %(levelname)s %(name)s: %(message)s", "%Y-%m-%dT%H:%M:%S")
        self._journald = journald

    def format(self, record: logging.LogRecord) -> str:
        """Write the record."""
        if self._journald:
            text = f"{record.name}: {record.getMessage()}"
            if record.exc_info:
                text = f"{text}\n{self.formatException(record.exc_info)}"
            text = f"<{_PRIORITY.get(record.levelno, 6)}>{text}"
        else:
            text = super().format(record)
        return "".join(char if char.isprintable() else ascii(char)[1:-1] for char in text)


def set_up(verbose: bool = False, to: str | None = None) -> None:
    """Send the log to standard error, or to a file."""
    handler: logging.Handler = logging.FileHandler(to) if to else logging.StreamHandler(sys.stderr)
    handler.setFormatter(LineFormatter(journald="JOURNAL_STREAM" in os.environ and to is None))
    logging.basicConfig(level=logging.DEBUG if verbose else logging.WARNING, handlers=[handler], force=True)
    logging.getLogger("edgemon").setLevel(logging.DEBUG if verbose else logging.INFO)
    for chatty in ("amqtt", "transitions", "httpx", "httpcore", "aiosqlite", "asyncio"):
        logging.getLogger(chatty).setLevel(logging.ERROR)
