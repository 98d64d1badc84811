"""Door to the plant network. Not furnished yet."""
