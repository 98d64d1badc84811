CREATE INDEX collections ON journal (seq) WHERE kind IN ('fast-collection-started', 'fast-collection-ended');
