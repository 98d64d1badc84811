"""The analyst's report for a reader who is not a vibration specialist: what it says, and how it looks on each medium."""
