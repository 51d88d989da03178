-- Every entry is one row of record and one row of the table of its kind; what
-- it lists is in the tables named kind_list. Entries are never changed or
-- deleted: a strike says that an earlier one no longer counts. id is taken
-- from the content, so that the same entry is the same in every journal.
CREATE TABLE journal (
	one        INTEGER PRIMARY KEY CHECK (one = 1),
	id         TEXT NOT NULL,
	created_at TEXT NOT NULL
) STRICT;

CREATE TABLE record (
	seq     INTEGER PRIMARY KEY,
	id      TEXT NOT NULL UNIQUE CHECK (length(id) = 32),
	kind    TEXT NOT NULL CHECK (kind IN ('setting', 'session', 'advice', 'outcome', 'evidence', 'strike')),
	at      TEXT NOT NULL CHECK (at GLOB '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]T[0-9][0-9]:[0-9][0-9]:[0-9][0-9].[0-9][0-9][0-9]Z'), -- RFC 3339, UTC
	journal TEXT NOT NULL, -- where it was first written
	kart    TEXT NOT NULL
) STRICT;
CREATE INDEX record_at ON record (at);
CREATE INDEX record_kind_kart_at ON record (kind, kart, at);

-- What the kart's adjusters stand at, and what was measured.
CREATE TABLE setting (
	record    INTEGER PRIMARY KEY REFERENCES record (seq),
	advice_id TEXT REFERENCES record (id) DEFERRABLE INITIALLY DEFERRED, -- carried out with this setting
	note      TEXT NOT NULL
) STRICT;
CREATE INDEX setting_advice ON setting (advice_id) WHERE advice_id IS NOT NULL;

CREATE TABLE setting_position (
	record   INTEGER NOT NULL REFERENCES setting (record),
	n        INTEGER NOT NULL,
	side     TEXT NOT NULL CHECK (side IN ('left', 'right')),
	adjuster TEXT NOT NULL,
	position REAL NOT NULL, -- from standard, in the adjuster's own steps: turns, notches, shims
	text     TEXT NOT NULL, -- the same as the adjuster's kind says it
	gauge_mm REAL,
	PRIMARY KEY (record, n)
) STRICT, WITHOUT ROWID;

CREATE TABLE setting_figure (
	record     INTEGER NOT NULL REFERENCES setting (record),
	n          INTEGER NOT NULL,
	side       TEXT NOT NULL CHECK (side IN ('left', 'right')),
	caster_deg REAL NOT NULL,
	kpi_deg    REAL NOT NULL,
	camber_deg REAL NOT NULL,
	toe_deg    REAL NOT NULL,
	PRIMARY KEY (record, n)
) STRICT, WITHOUT ROWID;

CREATE TABLE setting_reading (
	record       INTEGER NOT NULL REFERENCES setting (record),
	n            INTEGER NOT NULL,
	side         TEXT NOT NULL CHECK (side IN ('left', 'right', 'kart')),
	what         TEXT NOT NULL,
	angle_deg    REAL,
	angle_pm_deg REAL,
	length_mm    REAL,
	length_pm_mm REAL,
	PRIMARY KEY (record, n)
) STRICT, WITHOUT ROWID;

CREATE TABLE session (
	record     INTEGER PRIMARY KEY REFERENCES record (seq),
	setting_id TEXT REFERENCES record (id) DEFERRABLE INITIALLY DEFERRED,
	driver     TEXT NOT NULL,
	place      TEXT NOT NULL, -- the track as its user names it
	track      TEXT NOT NULL, -- its kind, a word of the rules
	grip       TEXT NOT NULL,
	tyres      TEXT NOT NULL,
	wet        TEXT NOT NULL CHECK (wet IN ('', 'yes', 'no')),
	weather    TEXT NOT NULL,
	tyre_set   TEXT NOT NULL,
	tyre_laps  INTEGER,       -- on the set before the session
	complaint  TEXT NOT NULL, -- in the driver's words
	note       TEXT NOT NULL
) STRICT;

CREATE INDEX session_tyre_set ON session (tyre_set) WHERE tyre_set <> '';

CREATE TABLE session_lap (
	record  INTEGER NOT NULL REFERENCES session (record),
	n       INTEGER NOT NULL,
	time_ms INTEGER NOT NULL CHECK (time_ms > 0),
	flag    TEXT NOT NULL CHECK (flag IN ('', 'out', 'in', 'spoiled')),
	PRIMARY KEY (record, n)
) STRICT, WITHOUT ROWID;

CREATE TABLE session_symptom (
	record  INTEGER NOT NULL REFERENCES session (record),
	n       INTEGER NOT NULL,
	symptom TEXT NOT NULL,
	PRIMARY KEY (record, n)
) STRICT, WITHOUT ROWID;

CREATE TABLE advice (
	record     INTEGER PRIMARY KEY REFERENCES record (seq),
	session_id TEXT REFERENCES record (id) DEFERRABLE INITIALLY DEFERRED,
	status     TEXT NOT NULL,
	move       TEXT NOT NULL, -- '' when there was none to try
	direction  TEXT NOT NULL CHECK (direction IN ('', 'increase', 'decrease')),
	title      TEXT NOT NULL,
	amount     REAL NOT NULL, -- in unit
	unit       TEXT NOT NULL,
	track      TEXT NOT NULL,
	grip       TEXT NOT NULL,
	tyres      TEXT NOT NULL,
	wet        TEXT NOT NULL CHECK (wet IN ('', 'yes', 'no')),
	trace      TEXT NOT NULL CHECK (json_valid(trace)) -- the whole answer
) STRICT;
CREATE INDEX advice_session ON advice (session_id) WHERE session_id IS NOT NULL;

CREATE TABLE advice_symptom (
	record  INTEGER NOT NULL REFERENCES advice (record),
	n       INTEGER NOT NULL,
	symptom TEXT NOT NULL,
	PRIMARY KEY (record, n)
) STRICT, WITHOUT ROWID;

-- The rules that spoke for the move and counted.
CREATE TABLE advice_rule (
	record  INTEGER NOT NULL REFERENCES advice (record),
	n       INTEGER NOT NULL,
	rule    TEXT NOT NULL,
	support REAL NOT NULL,
	PRIMARY KEY (record, n)
) STRICT, WITHOUT ROWID;

CREATE TABLE outcome (
	record      INTEGER PRIMARY KEY REFERENCES record (seq),
	advice_id   TEXT NOT NULL REFERENCES record (id) DEFERRABLE INITIALLY DEFERRED,
	session_id  TEXT REFERENCES record (id) DEFERRABLE INITIALLY DEFERRED, -- the run after
	followed    INTEGER NOT NULL CHECK (followed IN (0, 1)), -- the advice was carried out
	instead     TEXT NOT NULL,                               -- what was done if not
	helped      REAL NOT NULL CHECK (helped BETWEEN 0 AND 1),
	effect_s    REAL, -- on the lap time, drift taken out; below 0 is faster
	effect_se_s REAL,
	effect_df   REAL,
	note        TEXT NOT NULL
) STRICT;
CREATE INDEX outcome_advice ON outcome (advice_id);

CREATE TABLE outcome_symptom (
	record  INTEGER NOT NULL REFERENCES outcome (record),
	n       INTEGER NOT NULL,
	symptom TEXT NOT NULL,
	verdict TEXT NOT NULL CHECK (verdict IN ('better', 'same', 'worse')),
	PRIMARY KEY (record, n)
) STRICT, WITHOUT ROWID;

-- Outcomes of other people, without anything that says whose.
CREATE TABLE evidence (
	record     INTEGER PRIMARY KEY REFERENCES record (seq),
	outcome_id TEXT NOT NULL, -- in their journal
	rule       TEXT NOT NULL,
	day        TEXT NOT NULL CHECK (day GLOB '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
	helped     REAL NOT NULL CHECK (helped BETWEEN 0 AND 1)
) STRICT;

CREATE TABLE strike (
	record INTEGER PRIMARY KEY REFERENCES record (seq),
	of_id  TEXT NOT NULL REFERENCES record (id) DEFERRABLE INITIALLY DEFERRED,
	why    TEXT NOT NULL
) STRICT;
CREATE INDEX strike_of ON strike (of_id);

-- What the outcomes that count say of each rule, kept up to date with every
-- entry so that advice need not read them all. It follows from the entries and
-- is never exported.
CREATE TABLE tally (
	rule        TEXT NOT NULL,
	kart        TEXT NOT NULL,
	day         TEXT NOT NULL,
	times       INTEGER NOT NULL,
	helped_nano INTEGER NOT NULL, -- billionths of an outcome
	PRIMARY KEY (rule, kart, day)
) STRICT, WITHOUT ROWID;

CREATE VIEW standing AS -- entries that count
	SELECT * FROM record WHERE kind <> 'strike' AND NOT EXISTS (SELECT 1 FROM strike WHERE strike.of_id = record.id);
