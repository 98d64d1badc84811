-- Version 11: an alarm record says on which side of its limit a value is bad; one that does not is of an upper limit.
-- Those of low limits are found by what the journal said of them last, which told the side ever since there are low limits.

UPDATE point_states SET body = json_patch(body, low.sides)
FROM (
    SELECT states.number, json_object('alarms', json_group_object(record.key, json_object('side', 'below'))) AS sides
    FROM (
        SELECT number, machine, point, sim, CASE WHEN json_valid(body) THEN body END AS body FROM point_states
    ) AS states, json_each(states.body, '$.alarms') AS record, (
        SELECT machine, point, sim, json_extract(body, '$.alarm[2]') AS level, json_extract(body, '$.side') AS side, max(seq)
        FROM (
            SELECT seq, machine, point, sim, CASE WHEN json_valid(body) THEN body END AS body
            FROM journal WHERE kind = 'alarm-changed'
        )
        GROUP BY machine, point, sim, level
    ) AS told
    WHERE told.side = 'below' AND told.level = record.key
        AND told.machine = states.machine AND told.point = states.point AND told.sim = states.sim
    GROUP BY states.number
) AS low
WHERE low.number = point_states.number;
