"""Door to people and programs: HTTP and server-sent events, the local socket first."""
