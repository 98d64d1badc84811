"""One file a command; exit codes 0 fine, 1 failed at run time, 2 bad usage or configuration."""
