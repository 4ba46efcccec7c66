-- What must never be lost.
CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
-- area: folded; with the date it gives the first change. heads: 32 bytes each, sorted. max_op: the highest counter of any operation.
-- aside: a hash of what waits and is withdrawn, empty if nothing.
CREATE TABLE day (
    n INTEGER PRIMARY KEY,
    id TEXT NOT NULL UNIQUE,
    date TEXT NOT NULL,
    area TEXT NOT NULL,
    heads BLOB NOT NULL,
    max_op INTEGER NOT NULL,
    aside BLOB NOT NULL
);
-- Who wrote: 24 bytes; the last of its changes that counts; bytes of them all; head: no other change depends on that last one.
-- broken_at: the smallest number of a change that the actor signed twice.
CREATE TABLE actor (
    n INTEGER PRIMARY KEY,
    day INTEGER NOT NULL REFERENCES day,
    actor BLOB NOT NULL,
    seq INTEGER NOT NULL,
    hash BLOB NOT NULL,
    max_op INTEGER NOT NULL,
    bytes INTEGER NOT NULL,
    head INTEGER NOT NULL,
    broken_at INTEGER
);
CREATE UNIQUE INDEX actor_day ON actor (day, actor);
CREATE INDEX actor_head ON actor (day, actor) WHERE head;
-- The changes that count, but for the first of each day, which follows from date and area.
CREATE TABLE change (
    n INTEGER PRIMARY KEY,
    actor INTEGER NOT NULL REFERENCES actor,
    seq INTEGER NOT NULL,
    hash BLOB NOT NULL,
    bytes BLOB NOT NULL
);
CREATE UNIQUE INDEX change_place ON change (actor, seq);
-- Changes of closed days, deflated, in place of their rows: those of one actor from number first on; hashes: 32 bytes each.
CREATE TABLE folded (
    n INTEGER PRIMARY KEY,
    actor INTEGER NOT NULL REFERENCES actor,
    first INTEGER NOT NULL,
    hashes BLOB NOT NULL,
    bytes BLOB NOT NULL
);
CREATE INDEX folded_actor ON folded (actor);
-- Covering signatures. tips: 32 bytes each, sorted. pending: not all tips have come.
CREATE TABLE cover (
    n INTEGER PRIMARY KEY,
    day TEXT NOT NULL,
    device BLOB NOT NULL,
    key BLOB NOT NULL,
    tips BLOB NOT NULL,
    signature BLOB NOT NULL,
    pending INTEGER NOT NULL
);
CREATE INDEX cover_device ON cover (day, device);
-- Changes that do not count: those that wait for others or for a signature, and those withdrawn.
CREATE TABLE aside (
    n INTEGER PRIMARY KEY,
    day TEXT NOT NULL,
    device BLOB NOT NULL,
    hash BLOB NOT NULL,
    withdrawn INTEGER NOT NULL,
    bytes BLOB NOT NULL
);
CREATE UNIQUE INDEX aside_hash ON aside (day, hash);
CREATE TABLE crew_record (id BLOB PRIMARY KEY, bytes BLOB NOT NULL) WITHOUT ROWID;

-- Rows: they follow from the changes, and are made anew when this program's version of them is another one.
-- One row an entry. id: the 16 bytes of the ULID. actor and seq: the change of its body. json: the entry with its amendments. clock_device and clock: where `at` was amended.
CREATE TABLE entry (
    n INTEGER PRIMARY KEY,
    day INTEGER NOT NULL,
    id BLOB NOT NULL,
    kind TEXT NOT NULL,
    at_ms INTEGER,
    utc_offset_min INTEGER,
    actor INTEGER NOT NULL,
    seq INTEGER NOT NULL,
    json TEXT NOT NULL,
    opaque INTEGER NOT NULL,
    bodies INTEGER NOT NULL,
    void TEXT,
    unsettled TEXT,
    clock_device BLOB,
    clock TEXT
);
CREATE UNIQUE INDEX entry_id ON entry (day, id);
CREATE INDEX entry_kind ON entry (day, kind, at_ms);
-- Every value of every register, replaced ones too; and of entries that are not as they were first written, the bodies.
CREATE TABLE register (
    n INTEGER PRIMARY KEY,
    day INTEGER NOT NULL,
    key TEXT NOT NULL,
    counter INTEGER NOT NULL,
    actor INTEGER NOT NULL,
    hash BLOB NOT NULL,
    text TEXT NOT NULL
);
CREATE INDEX register_key ON register (day, key);
CREATE TABLE kept (
    day INTEGER NOT NULL,
    question TEXT NOT NULL,
    made_from BLOB NOT NULL,
    rows BLOB NOT NULL
);
CREATE UNIQUE INDEX kept_question ON kept (day, question);

-- Views, for people who open the store with another program: one a kind, one column a field. day is day.n.
CREATE VIEW "person" AS SELECT
    day,
    at_ms,
    json ->> '$.id' AS "id",
    json ->> '$.at' AS "at",
    json ->> '$.by' AS "by",
    json ->> '$.drill' AS "drill",
    json ->> '$.target' AS "target",
    json ->> '$.x_m' AS "x_m",
    json ->> '$.y_m' AS "y_m",
    json ->> '$.lat' AS "lat",
    json ->> '$.lon' AS "lon",
    json ->> '$.accuracy_m' AS "accuracy_m",
    json ->> '$.note' AS "note",
    json ->> '$.clock' AS "clock",
    json ->> '$.call_sign' AS "call_sign",
    json ->> '$.team' AS "team",
    json ->> '$.role' AS "role",
    json ->> '$.joined_at' AS "joined_at",
    json ->> '$.left_at' AS "left_at",
    json ->> '$.member' AS "member",
    void,
    unsettled
FROM entry WHERE kind = 'person' AND NOT opaque;
CREATE VIEW "check" AS SELECT
    day,
    at_ms,
    json ->> '$.id' AS "id",
    json ->> '$.at' AS "at",
    json ->> '$.by' AS "by",
    json ->> '$.drill' AS "drill",
    json ->> '$.target' AS "target",
    json ->> '$.x_m' AS "x_m",
    json ->> '$.y_m' AS "y_m",
    json ->> '$.lat' AS "lat",
    json ->> '$.lon' AS "lon",
    json ->> '$.accuracy_m' AS "accuracy_m",
    json ->> '$.note' AS "note",
    json ->> '$.clock' AS "clock",
    json ->> '$.person' AS "person",
    json ->> '$.transmits' AS "transmits",
    json ->> '$.receives' AS "receives",
    json ->> '$.battery_pct' AS "battery_pct",
    json ->> '$.nearest_electronics_cm' AS "nearest_electronics_cm",
    json ->> '$.fault' AS "fault",
    void,
    unsettled
FROM entry WHERE kind = 'check' AND NOT opaque;
CREATE VIEW "kit" AS SELECT
    day,
    at_ms,
    json ->> '$.id' AS "id",
    json ->> '$.at' AS "at",
    json ->> '$.by' AS "by",
    json ->> '$.drill' AS "drill",
    json ->> '$.target' AS "target",
    json ->> '$.x_m' AS "x_m",
    json ->> '$.y_m' AS "y_m",
    json ->> '$.lat' AS "lat",
    json ->> '$.lon' AS "lon",
    json ->> '$.accuracy_m' AS "accuracy_m",
    json ->> '$.note' AS "note",
    json ->> '$.clock' AS "clock",
    json ->> '$.item' AS "item",
    json ->> '$.step' AS "step",
    json ->> '$.what' AS "what",
    json ->> '$.battery_pct' AS "battery_pct",
    void,
    unsettled
FROM entry WHERE kind = 'kit' AND NOT opaque;
CREATE VIEW "drill" AS SELECT
    day,
    at_ms,
    json ->> '$.id' AS "id",
    json ->> '$.at' AS "at",
    json ->> '$.by' AS "by",
    json ->> '$.drill' AS "drill",
    json ->> '$.target' AS "target",
    json ->> '$.x_m' AS "x_m",
    json ->> '$.y_m' AS "y_m",
    json ->> '$.lat' AS "lat",
    json ->> '$.lon' AS "lon",
    json ->> '$.accuracy_m' AS "accuracy_m",
    json ->> '$.note' AS "note",
    json ->> '$.clock' AS "clock",
    json ->> '$.label' AS "label",
    json ->> '$.form' AS "form",
    json ->> '$.team' AS "team",
    json ->> '$.instructor' AS "instructor",
    json ->> '$.like' AS "like",
    json ->> '$.slope_deg' AS "slope_deg",
    json ->> '$.length_m' AS "length_m",
    json ->> '$.width_m' AS "width_m",
    json ->> '$.outline' AS "outline",
    json ->> '$.origin_lat' AS "origin_lat",
    json ->> '$.origin_lon' AS "origin_lon",
    json ->> '$.downhill_deg' AS "downhill_deg",
    json ->> '$.limit_s' AS "limit_s",
    json ->> '$.stops_at' AS "stops_at",
    json ->> '$.snow_kg_m3' AS "snow_kg_m3",
    void,
    unsettled
FROM entry WHERE kind = 'drill' AND NOT opaque;
CREATE VIEW "target" AS SELECT
    day,
    at_ms,
    json ->> '$.id' AS "id",
    json ->> '$.at' AS "at",
    json ->> '$.by' AS "by",
    json ->> '$.drill' AS "drill",
    json ->> '$.target' AS "target",
    json ->> '$.x_m' AS "x_m",
    json ->> '$.y_m' AS "y_m",
    json ->> '$.lat' AS "lat",
    json ->> '$.lon' AS "lon",
    json ->> '$.accuracy_m' AS "accuracy_m",
    json ->> '$.note' AS "note",
    json ->> '$.clock' AS "clock",
    json ->> '$.label' AS "label",
    json ->> '$.item' AS "item",
    json ->> '$.set_depth_cm' AS "set_depth_cm",
    json ->> '$.direction' AS "direction",
    json ->> '$.orientation' AS "orientation",
    json ->> '$.tilt_deg' AS "tilt_deg",
    json ->> '$.transmits' AS "transmits",
    void,
    unsettled
FROM entry WHERE kind = 'target' AND NOT opaque;
CREATE VIEW "moment" AS SELECT
    day,
    at_ms,
    json ->> '$.id' AS "id",
    json ->> '$.at' AS "at",
    json ->> '$.by' AS "by",
    json ->> '$.drill' AS "drill",
    json ->> '$.target' AS "target",
    json ->> '$.x_m' AS "x_m",
    json ->> '$.y_m' AS "y_m",
    json ->> '$.lat' AS "lat",
    json ->> '$.lon' AS "lon",
    json ->> '$.accuracy_m' AS "accuracy_m",
    json ->> '$.note' AS "note",
    json ->> '$.clock' AS "clock",
    json ->> '$.step' AS "step",
    json ->> '$.why' AS "why",
    json ->> '$.person' AS "person",
    json ->> '$.reading_m' AS "reading_m",
    void,
    unsettled
FROM entry WHERE kind = 'moment' AND NOT opaque;
CREATE VIEW "strike" AS SELECT
    day,
    at_ms,
    json ->> '$.id' AS "id",
    json ->> '$.at' AS "at",
    json ->> '$.by' AS "by",
    json ->> '$.drill' AS "drill",
    json ->> '$.target' AS "target",
    json ->> '$.x_m' AS "x_m",
    json ->> '$.y_m' AS "y_m",
    json ->> '$.lat' AS "lat",
    json ->> '$.lon' AS "lon",
    json ->> '$.accuracy_m' AS "accuracy_m",
    json ->> '$.note' AS "note",
    json ->> '$.clock' AS "clock",
    json ->> '$.depth_cm' AS "depth_cm",
    json ->> '$.outcome' AS "outcome",
    json ->> '$.person' AS "person",
    json ->> '$.direction' AS "direction",
    json ->> '$.lowest_reading_m' AS "lowest_reading_m",
    json ->> '$.from_mark_cm' AS "from_mark_cm",
    json ->> '$.holes' AS "holes",
    void,
    unsettled
FROM entry WHERE kind = 'strike' AND NOT opaque;
CREATE VIEW "depth" AS SELECT
    day,
    at_ms,
    json ->> '$.id' AS "id",
    json ->> '$.at' AS "at",
    json ->> '$.by' AS "by",
    json ->> '$.drill' AS "drill",
    json ->> '$.target' AS "target",
    json ->> '$.x_m' AS "x_m",
    json ->> '$.y_m' AS "y_m",
    json ->> '$.lat' AS "lat",
    json ->> '$.lon' AS "lon",
    json ->> '$.accuracy_m' AS "accuracy_m",
    json ->> '$.note' AS "note",
    json ->> '$.clock' AS "clock",
    json ->> '$.depth_cm' AS "depth_cm",
    json ->> '$.method' AS "method",
    json ->> '$.datum' AS "datum",
    json ->> '$.direction' AS "direction",
    void,
    unsettled
FROM entry WHERE kind = 'depth' AND NOT opaque;
CREATE VIEW "rotation" AS SELECT
    day,
    at_ms,
    json ->> '$.id' AS "id",
    json ->> '$.at' AS "at",
    json ->> '$.by' AS "by",
    json ->> '$.drill' AS "drill",
    json ->> '$.target' AS "target",
    json ->> '$.x_m' AS "x_m",
    json ->> '$.y_m' AS "y_m",
    json ->> '$.lat' AS "lat",
    json ->> '$.lon' AS "lon",
    json ->> '$.accuracy_m' AS "accuracy_m",
    json ->> '$.note' AS "note",
    json ->> '$.clock' AS "clock",
    json ->> '$.front' AS "front",
    json ->> '$.shovellers' AS "shovellers",
    json ->> '$.ended_at' AS "ended_at",
    json ->> '$.hole_width_cm' AS "hole_width_cm",
    json ->> '$.manner' AS "manner",
    json ->> '$.start_downhill_cm' AS "start_downhill_cm",
    void,
    unsettled
FROM entry WHERE kind = 'rotation' AND NOT opaque;
CREATE VIEW "interference" AS SELECT
    day,
    at_ms,
    json ->> '$.id' AS "id",
    json ->> '$.at' AS "at",
    json ->> '$.by' AS "by",
    json ->> '$.drill' AS "drill",
    json ->> '$.target' AS "target",
    json ->> '$.x_m' AS "x_m",
    json ->> '$.y_m' AS "y_m",
    json ->> '$.lat' AS "lat",
    json ->> '$.lon' AS "lon",
    json ->> '$.accuracy_m' AS "accuracy_m",
    json ->> '$.note' AS "note",
    json ->> '$.clock' AS "clock",
    json ->> '$.source' AS "source",
    json ->> '$.mode' AS "mode",
    json ->> '$.effect' AS "effect",
    json ->> '$.person' AS "person",
    json ->> '$.distance_cm' AS "distance_cm",
    json ->> '$.lost_s' AS "lost_s",
    json ->> '$.remedy' AS "remedy",
    void,
    unsettled
FROM entry WHERE kind = 'interference' AND NOT opaque;
CREATE VIEW "track" AS SELECT
    day,
    at_ms,
    json ->> '$.id' AS "id",
    json ->> '$.at' AS "at",
    json ->> '$.by' AS "by",
    json ->> '$.drill' AS "drill",
    json ->> '$.target' AS "target",
    json ->> '$.x_m' AS "x_m",
    json ->> '$.y_m' AS "y_m",
    json ->> '$.lat' AS "lat",
    json ->> '$.lon' AS "lon",
    json ->> '$.accuracy_m' AS "accuracy_m",
    json ->> '$.note' AS "note",
    json ->> '$.clock' AS "clock",
    json ->> '$.person' AS "person",
    json ->> '$.points' AS "points",
    json ->> '$.frame' AS "frame",
    json ->> '$.source' AS "source",
    void,
    unsettled
FROM entry WHERE kind = 'track' AND NOT opaque;
CREATE VIEW "probe_pass" AS SELECT
    day,
    at_ms,
    json ->> '$.id' AS "id",
    json ->> '$.at' AS "at",
    json ->> '$.by' AS "by",
    json ->> '$.drill' AS "drill",
    json ->> '$.target' AS "target",
    json ->> '$.x_m' AS "x_m",
    json ->> '$.y_m' AS "y_m",
    json ->> '$.lat' AS "lat",
    json ->> '$.lon' AS "lon",
    json ->> '$.accuracy_m' AS "accuracy_m",
    json ->> '$.note' AS "note",
    json ->> '$.clock' AS "clock",
    json ->> '$.across_cm' AS "across_cm",
    json ->> '$.along_cm' AS "along_cm",
    json ->> '$.probers' AS "probers",
    json ->> '$.length_m' AS "length_m",
    json ->> '$.width_m' AS "width_m",
    json ->> '$.depth_cm' AS "depth_cm",
    json ->> '$.holes' AS "holes",
    json ->> '$.ended_at' AS "ended_at",
    void,
    unsettled
FROM entry WHERE kind = 'probe_pass' AND NOT opaque;
CREATE VIEW "clock_mark" AS SELECT
    day,
    at_ms,
    json ->> '$.id' AS "id",
    json ->> '$.at' AS "at",
    json ->> '$.by' AS "by",
    json ->> '$.drill' AS "drill",
    json ->> '$.target' AS "target",
    json ->> '$.x_m' AS "x_m",
    json ->> '$.y_m' AS "y_m",
    json ->> '$.lat' AS "lat",
    json ->> '$.lon' AS "lon",
    json ->> '$.accuracy_m' AS "accuracy_m",
    json ->> '$.note' AS "note",
    json ->> '$.clock' AS "clock",
    json ->> '$.label' AS "label",
    json ->> '$.shows' AS "shows",
    void,
    unsettled
FROM entry WHERE kind = 'clock_mark' AND NOT opaque;
CREATE VIEW "clock" AS SELECT
    day,
    at_ms,
    json ->> '$.id' AS "id",
    json ->> '$.at' AS "at",
    json ->> '$.by' AS "by",
    json ->> '$.drill' AS "drill",
    json ->> '$.target' AS "target",
    json ->> '$.x_m' AS "x_m",
    json ->> '$.y_m' AS "y_m",
    json ->> '$.lat' AS "lat",
    json ->> '$.lon' AS "lon",
    json ->> '$.accuracy_m' AS "accuracy_m",
    json ->> '$.note' AS "note",
    json ->> '$.clock' AS "clock",
    json ->> '$.device' AS "device",
    json ->> '$.of' AS "of",
    json ->> '$.base' AS "base",
    json ->> '$.offset_ms' AS "offset_ms",
    json ->> '$.uncertainty_ms' AS "uncertainty_ms",
    void,
    unsettled
FROM entry WHERE kind = 'clock' AND NOT opaque;
CREATE VIEW "note" AS SELECT
    day,
    at_ms,
    json ->> '$.id' AS "id",
    json ->> '$.at' AS "at",
    json ->> '$.by' AS "by",
    json ->> '$.drill' AS "drill",
    json ->> '$.target' AS "target",
    json ->> '$.x_m' AS "x_m",
    json ->> '$.y_m' AS "y_m",
    json ->> '$.lat' AS "lat",
    json ->> '$.lon' AS "lon",
    json ->> '$.accuracy_m' AS "accuracy_m",
    json ->> '$.note' AS "note",
    json ->> '$.clock' AS "clock",
    json ->> '$.topic' AS "topic",
    json ->> '$.person' AS "person",
    json ->> '$.file_name' AS "file_name",
    json ->> '$.file_sha256' AS "file_sha256",
    void,
    unsettled
FROM entry WHERE kind = 'note' AND NOT opaque;
