CREATE INDEX signs ON journal (seq) WHERE kind IN ('point-signed-off', 'sign-off-withdrawn');
