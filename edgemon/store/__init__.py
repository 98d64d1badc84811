"""Door to SQLite: what was measured, what happened, what state it left."""
