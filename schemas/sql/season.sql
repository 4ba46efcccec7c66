-- The season's answers over exported tables: depth, times, methods, interference, with the figures that `firnbook stats` gives.
--
-- Export the days with `firnbook export --format parquet -o season`, make the tables `runs`, `measurements` and `disturbances` known to the
-- engine (the README has the lines for two engines), then run this file. It keeps to what DuckDB and Spark SQL have in common. Views that begin
-- with season_ are answers, the others lead to them.
--
-- The day is an identity, not a number: engines that guess the types of partitions must be told that it is text. Depths are those of targets
-- buried by instructors, not of accident burials. Intervals that need a quantile of Student's t are left to the program.

-- Depth -------------------------------------------------------------------------------------------------------------------------------------

-- One row a target: the median, square to the slope, of the point with most values, of equal ones the one that comes first in reach of a probe.
-- Hits stand for depths only where a target has none by probe or tape, and lowest readings only where it has nothing else.
CREATE OR REPLACE TEMPORARY VIEW target_depths AS
WITH found AS (
    SELECT day, date, drill, target, way, datum, of_strike, slope_normal_cm,
           max(CASE WHEN way <> 'reading' AND NOT of_strike THEN 1 ELSE 0 END) OVER (PARTITION BY day, drill, target) AS measured
    FROM measurements
    WHERE way <> 'set' AND NOT cancelled AND slope_normal_cm IS NOT NULL
),
kept AS (
    SELECT day, date, drill, target, way, datum, slope_normal_cm,
           min(CASE WHEN way = 'reading' THEN 1 ELSE 0 END) OVER (PARTITION BY day, drill, target) AS only_readings
    FROM found
    WHERE way = 'reading' OR NOT of_strike OR measured = 0
),
points AS (
    SELECT day, date, drill, target, datum, count(*) AS n, median(slope_normal_cm) AS depth_cm
    FROM kept
    WHERE way <> 'reading' OR only_readings = 1
    GROUP BY day, date, drill, target, datum
),
placed AS (
    SELECT day, date, drill, target, datum, n, depth_cm,
           row_number() OVER (
               PARTITION BY day, drill, target
               ORDER BY n DESC, CASE datum WHEN 'first_contact' THEN 0 WHEN 'airway' THEN 1 WHEN 'top' THEN 2 ELSE 3 END
           ) AS place
    FROM points
)
SELECT day, date, drill, target, datum, n, depth_cm FROM placed WHERE place = 1;

-- firnbook stats depth. Quantiles by definition 7 of Hyndman and Fan (1996).
CREATE OR REPLACE TEMPORARY VIEW season_depth AS
SELECT count(*) AS n,
       count(DISTINCT day) AS n_days,
       avg(depth_cm) AS mean_cm,
       stddev_samp(depth_cm) AS sd_cm,
       min(depth_cm) AS min_cm,
       max(depth_cm) AS max_cm,
       median(depth_cm) AS median_cm,
       percentile_cont(0.10) WITHIN GROUP (ORDER BY depth_cm) AS p10_cm,
       percentile_cont(0.25) WITHIN GROUP (ORDER BY depth_cm) AS p25_cm,
       percentile_cont(0.75) WITHIN GROUP (ORDER BY depth_cm) AS p75_cm,
       percentile_cont(0.90) WITHIN GROUP (ORDER BY depth_cm) AS p90_cm
FROM target_depths;

-- Times -------------------------------------------------------------------------------------------------------------------------------------

-- Each run and step: when it was reached, whether a later step was, and until when the run was watched. Runs without a start and those that were
-- called off are left out.
CREATE OR REPLACE TEMPORARY VIEW run_steps AS
WITH counted AS (
    SELECT *, coalesce(ended_t_s, limit_s) AS end_s
    FROM runs
    WHERE started_at IS NOT NULL AND coalesce(ended_why, '') <> 'cancelled'
)
SELECT day, drill, target, team, form, end_s, 'signal' AS step, t_signal_s AS t_s,
       coalesce(t_coarse_s, t_fine_s, t_probing_s, t_strike_s, t_digging_s, t_airway_s, t_extricated_s) AS later_s
FROM counted
UNION ALL
SELECT day, drill, target, team, form, end_s, 'coarse', t_coarse_s,
       coalesce(t_fine_s, t_probing_s, t_strike_s, t_digging_s, t_airway_s, t_extricated_s)
FROM counted
UNION ALL
SELECT day, drill, target, team, form, end_s, 'fine', t_fine_s,
       coalesce(t_probing_s, t_strike_s, t_digging_s, t_airway_s, t_extricated_s)
FROM counted
UNION ALL
SELECT day, drill, target, team, form, end_s, 'probing', t_probing_s,
       coalesce(t_strike_s, t_digging_s, t_airway_s, t_extricated_s)
FROM counted
UNION ALL
SELECT day, drill, target, team, form, end_s, 'strike', t_strike_s, coalesce(t_digging_s, t_airway_s, t_extricated_s)
FROM counted
UNION ALL
SELECT day, drill, target, team, form, end_s, 'digging', t_digging_s, coalesce(t_airway_s, t_extricated_s)
FROM counted
UNION ALL
SELECT day, drill, target, team, form, end_s, 'airway', t_airway_s, t_extricated_s
FROM counted
UNION ALL
SELECT day, drill, target, team, form, end_s, 'extricated', t_extricated_s, CAST(NULL AS DOUBLE)
FROM counted;

-- What each run says of each step: reached; ended before it; open, where nobody wrote an end and there is no limit; unwritten, where only a later
-- step was written; or a time before the start.
CREATE OR REPLACE TEMPORARY VIEW watched AS
SELECT day, drill, target, team, form, step,
       CASE WHEN t_s < 0 THEN 'before_start'
            WHEN t_s IS NOT NULL THEN 'reached'
            WHEN later_s IS NOT NULL THEN 'unwritten'
            WHEN end_s < 0 THEN 'before_start'
            WHEN end_s IS NOT NULL THEN 'ended'
            ELSE 'open' END AS seen,
       coalesce(t_s, end_s) AS time_s
FROM run_steps;

-- Kaplan-Meier curves of 'not yet reached', with Greenwood bands on the log-log scale. One row a step and time.
CREATE OR REPLACE TEMPORARY VIEW season_curves AS
WITH leaving AS (
    SELECT step, time_s, sum(CASE WHEN seen = 'reached' THEN 1 ELSE 0 END) AS events, count(*) AS leave
    FROM watched
    WHERE seen IN ('reached', 'ended')
    GROUP BY step, time_s
),
under_way AS (
    SELECT step, time_s, events,
           sum(leave) OVER (PARTITION BY step ORDER BY time_s DESC ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW) AS at_risk
    FROM leaving
),
summed AS (
    SELECT step, time_s, events, at_risk,
           max(CASE WHEN events = at_risk THEN 1 ELSE 0 END)
               OVER (PARTITION BY step ORDER BY time_s ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW) AS all_reached,
           sum(CASE WHEN events < at_risk THEN ln(1e0 - CAST(events AS DOUBLE) / at_risk) ELSE 0e0 END)
               OVER (PARTITION BY step ORDER BY time_s ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW) AS ln_not_yet,
           sum(CASE WHEN events < at_risk THEN CAST(events AS DOUBLE) / (CAST(at_risk AS DOUBLE) * (at_risk - events)) ELSE 0e0 END)
               OVER (PARTITION BY step ORDER BY time_s ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW) AS greenwood
    FROM under_way
),
bands AS (
    SELECT step, time_s, events, at_risk, CASE WHEN all_reached = 1 THEN 0e0 ELSE exp(ln_not_yet) END AS not_yet,
           CASE WHEN all_reached = 1 THEN NULL WHEN ln_not_yet = 0 THEN 1e0
                ELSE exp(1.959963984540054e0 * sqrt(greenwood) / ln_not_yet) END AS stretch
    FROM summed
)
SELECT step, time_s, events, at_risk, not_yet,
       CASE WHEN stretch IS NULL THEN NULL WHEN not_yet = 1 THEN 1e0 ELSE power(not_yet, 1e0 / stretch) END AS lo,
       CASE WHEN stretch IS NULL THEN NULL WHEN not_yet = 1 THEN 1e0 ELSE power(not_yet, stretch) END AS hi
FROM bands;

-- Where the curve and its two bands are at one half; where one stays there, the middle of that stretch.
CREATE OR REPLACE TEMPORARY VIEW half_times AS
WITH heights AS (
    SELECT step, time_s, 'median' AS line, not_yet AS height FROM season_curves
    UNION ALL
    SELECT step, time_s, 'lower', lo FROM season_curves WHERE lo IS NOT NULL
    UNION ALL
    SELECT step, time_s, 'upper', hi FROM season_curves WHERE hi IS NOT NULL
),
firsts AS (
    SELECT step, line, min(time_s) AS first_s FROM heights WHERE height < 0.5e0 + 1.5e-8 GROUP BY step, line
),
reached AS (
    SELECT f.step, f.line, f.first_s, h.height
    FROM firsts f JOIN heights h ON h.step = f.step AND h.line = f.line AND h.time_s = f.first_s
),
nexts AS (
    SELECT r.step, r.line, min(h.time_s) AS next_s
    FROM reached r JOIN heights h ON h.step = r.step AND h.line = r.line AND h.time_s > r.first_s AND h.height < r.height
    GROUP BY r.step, r.line
)
SELECT r.step, r.line,
       CASE WHEN abs(r.height - 0.5e0) < 1.5e-8 THEN (r.first_s + coalesce(n.next_s, r.first_s)) / 2 ELSE r.first_s END AS t_s
FROM reached r LEFT JOIN nexts n ON n.step = r.step AND n.line = r.line;

-- firnbook stats times. The mean is restricted to the last time observed.
CREATE OR REPLACE TEMPORARY VIEW season_times AS
WITH counts AS (
    SELECT step,
           sum(CASE WHEN seen IN ('reached', 'ended') THEN 1 ELSE 0 END) AS n,
           sum(CASE WHEN seen = 'reached' THEN 1 ELSE 0 END) AS events,
           sum(CASE WHEN seen = 'ended' THEN 1 ELSE 0 END) AS censored,
           sum(CASE WHEN seen = 'open' THEN 1 ELSE 0 END) AS still_open,
           sum(CASE WHEN seen = 'unwritten' THEN 1 ELSE 0 END) AS unwritten
    FROM watched
    GROUP BY step
),
stretches AS (
    SELECT step, time_s, not_yet,
           lead(time_s) OVER (PARTITION BY step ORDER BY time_s) AS next_s
    FROM season_curves
),
means AS (
    SELECT step, min(time_s) + sum(coalesce((next_s - time_s) * not_yet, 0e0)) AS restricted_mean_s, max(time_s) AS horizon_s
    FROM stretches
    GROUP BY step
)
SELECT c.step, c.n, c.events, c.censored, c.still_open, c.unwritten,
       m.t_s AS median_s, l.t_s AS median_lower_s, u.t_s AS median_upper_s, a.restricted_mean_s, a.horizon_s
FROM counts c
LEFT JOIN means a ON a.step = c.step
LEFT JOIN half_times m ON m.step = c.step AND m.line = 'median'
LEFT JOIN half_times l ON l.step = c.step AND l.line = 'lower'
LEFT JOIN half_times u ON u.step = c.step AND u.line = 'upper';

-- Methods -----------------------------------------------------------------------------------------------------------------------------------

-- What each way of measuring says of each target and point of it. Hits stand for probe depths only where a target has none.
CREATE OR REPLACE TEMPORARY VIEW target_ways AS
WITH told AS (
    SELECT day, drill, target, way, datum, of_strike, slope_normal_cm,
           max(CASE WHEN way = 'probe' AND NOT of_strike THEN 1 ELSE 0 END) OVER (PARTITION BY day, drill, target) AS probed
    FROM measurements
    WHERE NOT cancelled
),
ways AS (
    SELECT day, drill, target, way, CASE WHEN way IN ('probe', 'tape') THEN datum ELSE 'unknown' END AS point, slope_normal_cm
    FROM told
    WHERE way <> 'unknown' AND slope_normal_cm IS NOT NULL AND NOT (way = 'probe' AND of_strike AND probed = 1)
)
SELECT day, drill, target, way, point,
       CASE way WHEN 'reading' THEN 0 WHEN 'probe' THEN 1 WHEN 'tape' THEN 2 ELSE 3 END AS way_place,
       CASE point WHEN 'first_contact' THEN 0 WHEN 'airway' THEN 1 WHEN 'top' THEN 2 ELSE 3 END AS point_place,
       count(*) AS n, median(slope_normal_cm) AS cm
FROM ways
GROUP BY day, drill, target, way, point;

-- One pair a target: probe and tape at a point that they share, other ways at the point of each with most values.
CREATE OR REPLACE TEMPORARY VIEW target_pairs AS
WITH own AS (
    SELECT day, drill, target, way, way_place, cm,
           row_number() OVER (PARTITION BY day, drill, target, way ORDER BY n DESC, point_place) AS place
    FROM target_ways
),
shared AS (
    SELECT p.day, p.drill, p.target, p.cm AS a_cm, t.cm AS b_cm,
           row_number() OVER (PARTITION BY p.day, p.drill, p.target ORDER BY p.n + t.n DESC, p.point_place) AS place
    FROM target_ways p JOIN target_ways t ON t.day = p.day AND t.drill = p.drill AND t.target = p.target AND t.point = p.point
    WHERE p.way = 'probe' AND t.way = 'tape'
)
SELECT x.day, x.drill, x.target, x.way AS a, y.way AS b, x.cm AS a_cm, y.cm AS b_cm
FROM own x JOIN own y ON y.day = x.day AND y.drill = x.drill AND y.target = x.target AND x.way_place < y.way_place
WHERE x.place = 1 AND y.place = 1 AND NOT (x.way = 'probe' AND y.way = 'tape')
UNION ALL
SELECT day, drill, target, 'probe', 'tape', a_cm, b_cm FROM shared WHERE place = 1;

-- firnbook stats methods: a minus b, limits of agreement (Bland and Altman 1986, with 1.96), concordance (Lin 1989, with 1/n), ratio a / b.
CREATE OR REPLACE TEMPORARY VIEW season_methods AS
WITH figures AS (
    SELECT a, b, count(*) AS n, avg(a_cm - b_cm) AS bias_cm, stddev_samp(a_cm - b_cm) AS sd_cm,
           covar_pop(a_cm, b_cm) AS joint, var_pop(a_cm) AS of_a, var_pop(b_cm) AS of_b, avg(a_cm) AS mean_a, avg(b_cm) AS mean_b,
           median(CASE WHEN b_cm > 0 THEN a_cm / b_cm END) AS ratio
    FROM target_pairs
    GROUP BY a, b
)
SELECT a, b, n, bias_cm, sd_cm, bias_cm - 1.96e0 * sd_cm AS lower_cm, bias_cm + 1.96e0 * sd_cm AS upper_cm,
       CASE WHEN of_a + of_b + (mean_a - mean_b) * (mean_a - mean_b) > 0
            THEN 2 * joint / (of_a + of_b + (mean_a - mean_b) * (mean_a - mean_b)) END AS concordance,
       ratio
FROM figures;

-- Interference ------------------------------------------------------------------------------------------------------------------------------

-- Runs with each source, and runs of drills for which nobody wrote any. 'None written' is not 'none there'.
CREATE OR REPLACE TEMPORARY VIEW disturbed_runs AS
WITH written AS (
    SELECT DISTINCT day, drill, source FROM disturbances WHERE NOT cancelled AND drill IS NOT NULL
),
any_written AS (
    SELECT DISTINCT day, drill FROM written
)
SELECT w.step, d.source, w.seen, w.time_s FROM watched w JOIN written d ON d.day = w.day AND d.drill = w.drill
UNION ALL
SELECT w.step, 'none_written', w.seen, w.time_s
FROM watched w LEFT JOIN any_written d ON d.day = w.day AND d.drill = w.drill
WHERE d.day IS NULL;

-- firnbook stats interference, for every step at once.
CREATE OR REPLACE TEMPORARY VIEW season_interference AS
WITH sources AS (
    SELECT source, count(*) AS n, count(distance_cm) AS distance_n, median(distance_cm) AS median_distance_cm
    FROM disturbances
    WHERE NOT cancelled
    GROUP BY source
),
times AS (
    SELECT step, source,
           sum(CASE WHEN seen = 'reached' THEN 1 ELSE 0 END) AS n,
           sum(CASE WHEN seen = 'ended' THEN 1 ELSE 0 END) AS not_reached,
           median(CASE WHEN seen = 'reached' THEN time_s END) AS median_s
    FROM disturbed_runs
    GROUP BY step, source
),
steps AS (
    SELECT DISTINCT step FROM watched
),
shifts AS (
    SELECT w.step, w.source, median(w.time_s - o.time_s) AS shift_s
    FROM disturbed_runs w JOIN disturbed_runs o ON o.step = w.step
    WHERE w.source <> 'none_written' AND o.source = 'none_written' AND w.seen = 'reached' AND o.seen = 'reached'
    GROUP BY w.step, w.source
)
SELECT p.step, s.source, s.n, s.distance_n, s.median_distance_cm,
       coalesce(t.n, 0) AS with_n, coalesce(t.not_reached, 0) AS with_not_reached, t.median_s AS with_median_s,
       coalesce(o.n, 0) AS none_n, coalesce(o.not_reached, 0) AS none_not_reached, o.median_s AS none_median_s,
       h.shift_s
FROM sources s CROSS JOIN steps p
LEFT JOIN times t ON t.step = p.step AND t.source = s.source
LEFT JOIN times o ON o.step = p.step AND o.source = 'none_written'
LEFT JOIN shifts h ON h.step = p.step AND h.source = s.source;
