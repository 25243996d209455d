-- A store of the first revision, as `sqlite3 .dump` writes it. Kept as it is: newer versions must upgrade it.
BEGIN TRANSACTION;
CREATE TABLE accounts (
	account_id VARCHAR(30) NOT NULL, 
	name VARCHAR(200) NOT NULL, 
	created_at DATETIME NOT NULL, 
	CONSTRAINT pk_accounts PRIMARY KEY (account_id)
);
INSERT INTO "accounts" VALUES('acc_local','local','2026-11-25 15:37:57.796295');
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('2026_11_25_first_tables');
CREATE TABLE fits (
	fit_id VARCHAR(30) NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	station_id VARCHAR(30) NOT NULL, 
	state VARCHAR(10) NOT NULL, 
	runner_id VARCHAR(30) NOT NULL, 
	lease_until DATETIME NOT NULL, 
	record_sha256 VARCHAR(64) NOT NULL, 
	record_bytes INTEGER NOT NULL, 
	options JSON NOT NULL, 
	problem JSON, 
	report JSON, 
	model JSON, 
	adopted_version INTEGER, 
	created_at DATETIME NOT NULL, 
	started_at DATETIME, 
	finished_at DATETIME, 
	CONSTRAINT pk_fits PRIMARY KEY (fit_id), 
	CONSTRAINT fk_fits_account_id_station_id_stations FOREIGN KEY(account_id, station_id) REFERENCES stations (account_id, station_id), 
	CONSTRAINT fk_fits_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id)
);
INSERT INTO "fits" VALUES('fit_01m89nphrr67pqpp9mg7v3sw3e','acc_local','stn_01m89nphmc9hh0r83937tqaq87','failed','run_0','2026-06-01 00:00:00.000000','0000000000000000000000000000000000000000000000000000000000000000',10,'{"format": "csv"}','{"error": "FitInterrupted", "detail": "stopped", "faults": []}',NULL,NULL,NULL,'2026-06-01 00:00:00.000000',NULL,'2026-06-01 00:00:01.000000');
CREATE TABLE mark_versions (
	mark_id VARCHAR(30) NOT NULL, 
	version INTEGER NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	document JSON NOT NULL, 
	created_at DATETIME NOT NULL, 
	CONSTRAINT pk_mark_versions PRIMARY KEY (mark_id, version), 
	CONSTRAINT fk_mark_versions_account_id_mark_id_marks FOREIGN KEY(account_id, mark_id) REFERENCES marks (account_id, mark_id), 
	CONSTRAINT fk_mark_versions_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id)
);
INSERT INTO "mark_versions" VALUES('mrk_01m89nphq57xnfdjsn1hevk8n0',1,'acc_local','{"name": "Pellwick Long Beach", "latitude": 51.23, "longitude": -20.37, "time_zone": "Etc/UTC", "station": "stn_01m89nphktfvhsqq9x4shf461n", "kind": "open_beach", "beds": ["clean_sand"], "slack_lags": {"after_hw_min": 25.0, "after_lw_min": 35.0}, "notes": "Invented."}','2026-11-25 15:37:58.757168');
INSERT INTO "mark_versions" VALUES('mrk_01m89nphrmffp4wzkzrxph3y47',1,'acc_local','{"name": "Pellwick Long Beach", "latitude": 51.23, "longitude": -20.37, "time_zone": "Etc/UTC", "station": "stn_01m89nphmc9hh0r83937tqaq87", "kind": "open_beach", "beds": ["clean_sand"], "slack_lags": null, "notes": "Invented."}','2026-11-25 15:37:58.804079');
CREATE TABLE marks (
	mark_id VARCHAR(30) NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	external_ref VARCHAR(200), 
	station_id VARCHAR(30) NOT NULL, 
	version INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	updated_at DATETIME NOT NULL, 
	CONSTRAINT pk_marks PRIMARY KEY (mark_id), 
	CONSTRAINT fk_marks_account_id_station_id_stations FOREIGN KEY(account_id, station_id) REFERENCES stations (account_id, station_id), 
	CONSTRAINT fk_marks_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT uq_marks_account_id_external_ref UNIQUE (account_id, external_ref), 
	CONSTRAINT uq_marks_account_id_mark_id UNIQUE (account_id, mark_id)
);
INSERT INTO "marks" VALUES('mrk_01m89nphq57xnfdjsn1hevk8n0','acc_local','pellwick-long-beach','stn_01m89nphktfvhsqq9x4shf461n',1,'2026-11-25 15:37:58.757168','2026-11-25 15:37:58.757168');
INSERT INTO "marks" VALUES('mrk_01m89nphrmffp4wzkzrxph3y47','acc_local','hollow-ledge','stn_01m89nphmc9hh0r83937tqaq87',1,'2026-11-25 15:37:58.804079','2026-11-25 15:37:58.804079');
CREATE TABLE species_rule_versions (
	rule_id VARCHAR(30) NOT NULL, 
	version INTEGER NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	document JSON NOT NULL, 
	created_at DATETIME NOT NULL, 
	CONSTRAINT pk_species_rule_versions PRIMARY KEY (rule_id, version), 
	CONSTRAINT fk_species_rule_versions_account_id_rule_id_species_rules FOREIGN KEY(account_id, rule_id) REFERENCES species_rules (account_id, rule_id), 
	CONSTRAINT fk_species_rule_versions_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id)
);
INSERT INTO "species_rule_versions" VALUES('rul_01m89nphr71hg68c9pa4vg39ew',1,'acc_local','{"name": "Bass over the flood", "species": {"scientific_name": "Dicentrarchus labrax", "fao_code": "BSS", "local_name": "bass"}, "require": [{"factor": "hours_from_lw", "shape": {"kind": "trapezoid", "from": -0.5, "full_from": 0.5, "full_to": 3.0, "to": 4.0}, "unknown": "exclude"}], "prefer": [{"factor": "light", "shape": {"kind": "set", "values": ["night", "nautical_twilight"]}, "unknown": "ignore", "weight": 2.0, "floor": 0.1}, {"factor": "flow_strength", "shape": {"kind": "trapezoid", "from": 0.2, "full_from": 0.6, "full_to": null, "to": null}, "unknown": "ignore", "weight": 1.0, "floor": 0.1}, {"factor": "wave_height", "shape": {"kind": "trapezoid", "from": 0.3, "full_from": 0.5, "full_to": null, "to": null}, "unknown": "ignore", "weight": 1.0, "floor": 0.1}], "threshold": 0.5, "minimum_duration_min": 30.0, "beds": [], "notes": "", "provenance": "common practice"}','2026-11-25 15:37:58.791955');
CREATE TABLE species_rules (
	rule_id VARCHAR(30) NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	external_ref VARCHAR(200), 
	version INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	updated_at DATETIME NOT NULL, 
	CONSTRAINT pk_species_rules PRIMARY KEY (rule_id), 
	CONSTRAINT fk_species_rules_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT uq_species_rules_account_id_external_ref UNIQUE (account_id, external_ref), 
	CONSTRAINT uq_species_rules_account_id_rule_id UNIQUE (account_id, rule_id)
);
INSERT INTO "species_rules" VALUES('rul_01m89nphr71hg68c9pa4vg39ew','acc_local','bass-over-the-flood',1,'2026-11-25 15:37:58.791955','2026-11-25 15:37:58.791955');
CREATE TABLE station_versions (
	station_id VARCHAR(30) NOT NULL, 
	version INTEGER NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	source VARCHAR(20) NOT NULL, 
	fit_id VARCHAR(30), 
	datum VARCHAR(200) NOT NULL, 
	input_hash VARCHAR(100) NOT NULL, 
	numerics INTEGER NOT NULL, 
	code_version VARCHAR(40) NOT NULL, 
	document JSON NOT NULL, 
	created_at DATETIME NOT NULL, 
	CONSTRAINT pk_station_versions PRIMARY KEY (station_id, version), 
	CONSTRAINT fk_station_versions_account_id_station_id_stations FOREIGN KEY(account_id, station_id) REFERENCES stations (account_id, station_id), 
	CONSTRAINT fk_station_versions_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id)
);
INSERT INTO "station_versions" VALUES('stn_01m89nphktfvhsqq9x4shf461n',1,'acc_local','constituents',NULL,'gauge zero','ff63faa7018defa6a091883ff2a1a311f70cbe2a2ef69f256dc24637f108783d',1,'0.1.0','{"format": "ebbmark tide model 1", "station": "Pellwick Roads", "datum": "gauge zero", "harmonics": {"names": ["M2", "S2", "N2", "K1", "O1", "M4"], "amplitude_m": [2.1, 0.74, 0.41, 0.08, 0.06, 0.12], "phase_deg": [141.0, 187.0, 120.0, 95.0, 340.0, 30.0], "latitude": 51.2, "mean_level_m": 3.1, "convention": "utide", "nodal": "exact", "nodal_at_us": null}, "flow_normaliser_m_per_h": 1.483059837331326, "mean_spring_range_m": 5.868473235720442, "diagnostics": null, "input_hash": "ff63faa7018defa6a091883ff2a1a311f70cbe2a2ef69f256dc24637f108783d", "numerics": 1, "code_version": "0.1.0"}','2026-11-25 15:37:58.653170');
CREATE TABLE stations (
	station_id VARCHAR(30) NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	external_ref VARCHAR(200), 
	name VARCHAR(200) NOT NULL, 
	latitude FLOAT NOT NULL, 
	longitude FLOAT, 
	time_zone VARCHAR(200) NOT NULL, 
	version INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	updated_at DATETIME NOT NULL, 
	CONSTRAINT pk_stations PRIMARY KEY (station_id), 
	CONSTRAINT fk_stations_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT uq_stations_account_id_external_ref UNIQUE (account_id, external_ref), 
	CONSTRAINT uq_stations_account_id_station_id UNIQUE (account_id, station_id)
);
INSERT INTO "stations" VALUES('stn_01m89nphktfvhsqq9x4shf461n','acc_local','pellwick-roads','Pellwick Roads',51.2,-20.4,'Etc/UTC',1,'2026-11-25 15:37:58.649139','2026-11-25 15:37:58.653170');
INSERT INTO "stations" VALUES('stn_01m89nphmc9hh0r83937tqaq87','acc_local',NULL,'Hollow Point',51.0,NULL,'Etc/UTC',0,'2026-11-25 15:37:58.668652','2026-11-25 15:37:58.668652');
CREATE INDEX ix_fits_account_id_station_id ON fits (account_id, station_id);
CREATE INDEX ix_fits_state ON fits (state);
CREATE INDEX ix_marks_account_id_station_id ON marks (account_id, station_id);
CREATE INDEX ix_species_rule_versions_account_id ON species_rule_versions (account_id);
CREATE INDEX ix_station_versions_account_id ON station_versions (account_id);
CREATE INDEX ix_mark_versions_account_id ON mark_versions (account_id);
COMMIT;
