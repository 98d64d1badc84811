"""Joins decode, analysis, limits and alarm states; pure.

For a batch of messages the daemon calls, in this order: `analyse.decode_all` (a worker thread), `analyse.questions`
(what to ask the store about repeats), `analyse.analyse` (a worker thread), `judge.judge` (quick), and adopts the
memory that `judge` gave only after the commit. `judge.tick` (silence) and `judge.command` (people) are committed and
adopted in the same way; `views` shows what is remembered.
"""
