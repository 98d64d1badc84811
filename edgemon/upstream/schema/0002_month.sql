-- Version 2: make_month asks the catalogue after it has its lock. What to_regclass remembers is not refreshed by such a lock, so
-- that of two gateways that come at once to a new month, one stumbled over the table that the other had made. Who may call it
-- stays as it is.

CREATE OR REPLACE FUNCTION {schema}.make_month(parent text, moment timestamptz) RETURNS boolean
LANGUAGE plpgsql SECURITY DEFINER SET search_path = {schema}, pg_temp SET timezone = 'UTC' AS $$
DECLARE
    starts CONSTANT timestamptz := date_trunc('month', moment);
    ends CONSTANT timestamptz := starts + interval '1 month';
    child CONSTANT text := parent || to_char(starts, '_YYYY_MM');
    rest CONSTANT text := parent || '_default';
BEGIN
    IF parent NOT IN ('readings', 'captures', 'journal', 'findings') THEN
        RAISE EXCEPTION 'no such table: %', parent USING ERRCODE = 'undefined_table';
    END IF;
    IF moment < now() - interval '10 years' OR moment >= now() + interval '1 month' THEN
        RETURN false;
    END IF;
    IF (SELECT relkind FROM pg_class WHERE oid = parent::regclass) <> 'p' THEN
        RETURN false;
    END IF;
    IF to_regclass(child) IS NOT NULL THEN
        RETURN true;
    END IF;
    PERFORM pg_advisory_xact_lock(hashtext('edgemon'), hashtext(parent::regclass::oid::text));
    -- Asked of the catalogue itself: a lock of this kind does not refresh what to_regclass remembers.
    IF EXISTS (
        SELECT FROM pg_class
        WHERE relname = child AND relnamespace = (SELECT relnamespace FROM pg_class WHERE oid = parent::regclass)
    ) THEN
        RETURN true;
    END IF;
    EXECUTE format('CREATE TABLE %I (LIKE %I INCLUDING ALL)', child, parent);
    IF to_regclass(rest) IS NOT NULL THEN
        EXECUTE format('LOCK TABLE %I IN ACCESS EXCLUSIVE MODE', rest);
        EXECUTE format(
            'WITH moved AS (DELETE FROM %I WHERE t >= $1 AND t < $2 RETURNING *) INSERT INTO %I SELECT * FROM moved', rest, child
        ) USING starts, ends;
    END IF;
    EXECUTE format('ALTER TABLE %I ATTACH PARTITION %I FOR VALUES FROM (%L) TO (%L)', parent, child, starts, ends);
    RETURN true;
END
$$;

INSERT INTO {schema}.edgemon_schema (version) VALUES (2) ON CONFLICT DO NOTHING;
