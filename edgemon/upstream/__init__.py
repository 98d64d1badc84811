"""Door to the systems above. Not furnished yet."""
