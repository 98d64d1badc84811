"""The way upstream: a transport for each protocol behind one port, and what is sent next."""
