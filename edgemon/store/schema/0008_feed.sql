-- Version 8: whoever writes a trend gives the feed its values in one go (store/feeding.py). The triggers did it row by row, and
-- asked at each row whether anybody reads.

DROP TRIGGER trend_feeds;
DROP TRIGGER trend_feeds_better;
