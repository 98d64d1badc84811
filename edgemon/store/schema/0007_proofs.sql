CREATE INDEX proofs ON journal (seq) WHERE kind IN ('proof-started', 'proof-ended');
