"""Door to the terminal: the board, a process of its own that knows the daemon only through its API."""
