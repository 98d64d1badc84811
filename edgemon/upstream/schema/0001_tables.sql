-- Everything a gateway sends, with its key; a key comes once, however often it is sent. Any number of gateways share these tables.
-- Partitioned by month on t. What no month is there for goes to the default partition: see make_month.
-- Later versions only add, so that a gateway that is not updated yet goes on writing.

CREATE TABLE IF NOT EXISTS {schema}.readings (
    key text COLLATE "C" NOT NULL,
    t timestamptz NOT NULL,
    site text NOT NULL,
    gateway text NOT NULL,
    sim boolean NOT NULL,
    machine text,
    point text,
    sensor text,
    name text NOT NULL,
    value double precision NOT NULL,
    unit text NOT NULL,
    fit boolean NOT NULL,
    PRIMARY KEY (key, t)
) PARTITION BY RANGE (t);
CREATE TABLE IF NOT EXISTS {schema}.readings_default PARTITION OF {schema}.readings DEFAULT;
CREATE INDEX IF NOT EXISTS readings_by_point ON {schema}.readings (site, machine, point, name, t) WHERE machine IS NOT NULL;
CREATE INDEX IF NOT EXISTS readings_by_sensor ON {schema}.readings (site, sensor, name, t) WHERE sensor IS NOT NULL;
COMMENT ON TABLE {schema}.readings IS 'Values over time: levels of points, and what sensors say of themselves. SI units, see unit.';
COMMENT ON COLUMN {schema}.readings.key IS 'The same however often and by whichever way it was sent.';
COMMENT ON COLUMN {schema}.readings.t IS 'When it was measured.';
COMMENT ON COLUMN {schema}.readings.sim IS 'Simulated or replayed: no measurement of the plant. Leave it out of every figure.';
COMMENT ON COLUMN {schema}.readings.fit IS 'False: from a capture unfit for judgement (clipped, incomplete, ...).';

CREATE TABLE IF NOT EXISTS {schema}.captures (
    key text COLLATE "C" NOT NULL,
    t timestamptz NOT NULL,
    site text NOT NULL,
    gateway text NOT NULL,
    sim boolean NOT NULL,
    sensor text NOT NULL,
    id text NOT NULL,
    fs double precision NOT NULL,
    unit text NOT NULL,
    scale double precision NOT NULL,
    rpm double precision,
    spectrum boolean NOT NULL,
    missing_parts integer[] NOT NULL,
    axes text[] NOT NULL,
    samples bytea[] NOT NULL,
    PRIMARY KEY (key, t)
) PARTITION BY RANGE (t);
CREATE TABLE IF NOT EXISTS {schema}.captures_default PARTITION OF {schema}.captures DEFAULT;
CREATE INDEX IF NOT EXISTS captures_by_sensor ON {schema}.captures (site, sensor, t);
COMMENT ON TABLE {schema}.captures IS 'Waveforms, and spectra that sensors sent.';
COMMENT ON COLUMN {schema}.captures.t IS 'Time of the first sample.';
COMMENT ON COLUMN {schema}.captures.fs IS 'Sample rate, Hz.';
COMMENT ON COLUMN {schema}.captures.scale IS 'One count in unit.';
COMMENT ON COLUMN {schema}.captures.rpm IS 'Speed of the shaft, r/min.';
COMMENT ON COLUMN {schema}.captures.samples IS 'Little-endian 16-bit counts as they came, one element for each of axes.';

CREATE TABLE IF NOT EXISTS {schema}.journal (
    key text COLLATE "C" NOT NULL,
    t timestamptz NOT NULL,
    site text NOT NULL,
    gateway text NOT NULL,
    sim boolean NOT NULL,
    seq bigint NOT NULL,
    event_at timestamptz NOT NULL,
    kind text NOT NULL,
    machine text,
    point text,
    event jsonb NOT NULL,
    hash text NOT NULL,
    PRIMARY KEY (key, t)
) PARTITION BY RANGE (t);
CREATE TABLE IF NOT EXISTS {schema}.journal_default PARTITION OF {schema}.journal DEFAULT;
CREATE INDEX IF NOT EXISTS journal_in_order ON {schema}.journal (site, gateway, seq);
CREATE INDEX IF NOT EXISTS journal_by_machine ON {schema}.journal (site, machine, t) WHERE machine IS NOT NULL;
COMMENT ON TABLE {schema}.journal IS 'Everything that happened, as each gateway recorded it.';
COMMENT ON COLUMN {schema}.journal.t IS 'When it was recorded.';
COMMENT ON COLUMN {schema}.journal.event_at IS 'When it happened.';
COMMENT ON COLUMN {schema}.journal.hash IS 'Of the chain of the journal.';

CREATE TABLE IF NOT EXISTS {schema}.findings (
    key text COLLATE "C" NOT NULL,
    t timestamptz NOT NULL,
    site text NOT NULL,
    gateway text NOT NULL,
    sim boolean NOT NULL,
    seq bigint NOT NULL,
    event_at timestamptz NOT NULL,
    machine text NOT NULL,
    point text NOT NULL,
    capture text NOT NULL,
    verdict text NOT NULL,
    fault text,
    confidence double precision,
    diagnosis jsonb NOT NULL,
    PRIMARY KEY (key, t)
) PARTITION BY RANGE (t);
CREATE TABLE IF NOT EXISTS {schema}.findings_default PARTITION OF {schema}.findings DEFAULT;
CREATE INDEX IF NOT EXISTS findings_by_point ON {schema}.findings (site, machine, point, t);
COMMENT ON TABLE {schema}.findings IS 'Diagnoses: hypotheses with their evidence, for a qualified analyst to confirm.';
COMMENT ON COLUMN {schema}.findings.t IS 'When it was recorded.';
COMMENT ON COLUMN {schema}.findings.event_at IS 'When the capture was taken.';
COMMENT ON COLUMN {schema}.findings.fault IS 'The likeliest; all of them, with evidence, are in diagnosis.';

-- Makes the partition of a month; gives whether there is one. Gateways call it, so they need no right to make tables.
-- Months from ten years back to one month ahead of the server's clock get one: a sensor whose clock is wrong by years makes no
-- tables, its rows stay in the default partition. What lies in the default partition moves when its month gets one.
-- Where the table is not partitioned in this way (somebody else's way of partitioning), nothing is made.
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
    IF to_regclass(child) IS NOT NULL THEN
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
REVOKE ALL ON FUNCTION {schema}.make_month(text, timestamptz) FROM PUBLIC;

CREATE TABLE IF NOT EXISTS {schema}.edgemon_schema (version integer PRIMARY KEY, made_at timestamptz NOT NULL DEFAULT now());
INSERT INTO {schema}.edgemon_schema (version) VALUES (1) ON CONFLICT DO NOTHING;
