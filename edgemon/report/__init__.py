"""The analyst's report. Not furnished yet."""
