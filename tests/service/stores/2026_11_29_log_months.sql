-- A store as the first plans, feeds and logs left it, as `sqlite3 .dump` writes it. Kept as it is: newer versions must upgrade it.
BEGIN TRANSACTION;
CREATE TABLE accounts (
	account_id VARCHAR(30) NOT NULL, 
	name VARCHAR(200) NOT NULL, 
	created_at DATETIME NOT NULL, change_number BIGINT DEFAULT '0' NOT NULL, 
	CONSTRAINT pk_accounts PRIMARY KEY (account_id)
);
INSERT INTO "accounts" VALUES('acc_local','local','2026-11-29 09:08:07.785065',13);
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('2026_11_29_log_months');
CREATE TABLE answers (
	account_id VARCHAR(30) NOT NULL, 
	idempotency_key VARCHAR(255) NOT NULL, 
	fingerprint VARCHAR(64) NOT NULL, 
	status INTEGER NOT NULL, 
	headers JSON NOT NULL, 
	content BLOB NOT NULL, 
	created_at DATETIME NOT NULL, 
	CONSTRAINT pk_answers PRIMARY KEY (account_id, idempotency_key), 
	CONSTRAINT fk_answers_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id)
);
CREATE TABLE api_keys (
	key_id VARCHAR(30) NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	name VARCHAR(200) NOT NULL, 
	prefix VARCHAR(20) NOT NULL, 
	secret_hash VARCHAR(64) NOT NULL, 
	scopes VARCHAR(40) NOT NULL, 
	created_at DATETIME NOT NULL, 
	expires_at DATETIME, 
	revoked_at DATETIME, 
	CONSTRAINT pk_api_keys PRIMARY KEY (key_id), 
	CONSTRAINT fk_api_keys_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT uq_api_keys_prefix UNIQUE (prefix)
);
CREATE TABLE changes (
	account_id VARCHAR(30) NOT NULL, 
	number BIGINT NOT NULL, 
	kind VARCHAR(20) NOT NULL, 
	thing_id VARCHAR(30) NOT NULL, 
	change VARCHAR(10) NOT NULL, 
	version INTEGER, 
	changed_at DATETIME NOT NULL, 
	CONSTRAINT pk_changes PRIMARY KEY (account_id, number), 
	CONSTRAINT fk_changes_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT uq_changes_account_id_kind_thing_id UNIQUE (account_id, kind, thing_id)
);
INSERT INTO "changes" VALUES('acc_local',1,'station','stn_01m8k8zmpt35t51vk91p2xh480','created',1,'2026-11-29 09:08:09.579242');
INSERT INTO "changes" VALUES('acc_local',2,'station','stn_01m8k8zmt0mqtgsjwe7hyfgq4m','created',NULL,'2026-11-29 09:08:09.664233');
INSERT INTO "changes" VALUES('acc_local',3,'mark','mrk_01m8k8znh3ra9vg5n1j0pgw980','created',1,'2026-11-29 09:08:10.403165');
INSERT INTO "changes" VALUES('acc_local',4,'species_rule','rul_01m8k8znqxh8cmbzajj68xc85z','created',1,'2026-11-29 09:08:10.620947');
INSERT INTO "changes" VALUES('acc_local',5,'mark','mrk_01m8k8zns4ch27ehssxmjsymhs','created',1,'2026-11-29 09:08:10.660737');
INSERT INTO "changes" VALUES('acc_local',6,'method','mth_01m8k8znvwpr7f8rjygr6p68f1','created',1,'2026-11-29 09:08:10.748094');
INSERT INTO "changes" VALUES('acc_local',7,'regulation','reg_01m8k8zp1xz3gfbcb4s06dsefx','created',1,'2026-11-29 09:08:10.941290');
INSERT INTO "changes" VALUES('acc_local',8,'condition','cnd_01m8k8zp3v2ndw1agf230vg4nq','created',1,'2026-11-29 09:08:11.003112');
INSERT INTO "changes" VALUES('acc_local',9,'trip','trp_01m8k8zp7p7wbdkhe5jvvedsb4','created',1,'2026-11-29 09:08:11.126025');
INSERT INTO "changes" VALUES('acc_local',10,'diary_row','dia_01m8k8zpqn9kgcjq6a3p2wqrs6','created',1,'2026-11-29 09:08:11.637747');
INSERT INTO "changes" VALUES('acc_local',12,'plan','pln_01m8k8zpz62c6p7rpk876bk1rv','updated',2,'2026-11-29 09:08:23.587272');
INSERT INTO "changes" VALUES('acc_local',13,'safety_thresholds','sft_01m8k902mrj5pf9hw69ch14g68','created',1,'2026-11-29 09:08:23.832424');
CREATE TABLE condition_issues (
	condition_id VARCHAR(30) NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	mark_id VARCHAR(30), 
	area VARCHAR(200), 
	ends_at DATETIME, 
	content_hash VARCHAR(64) NOT NULL, 
	kind VARCHAR(20) NOT NULL, 
	source VARCHAR(200) NOT NULL, 
	issued_at DATETIME NOT NULL, 
	valid_until DATETIME, 
	starts_at DATETIME NOT NULL, 
	points INTEGER NOT NULL, 
	summary JSON NOT NULL, 
	document JSON NOT NULL, 
	created_at DATETIME NOT NULL, 
	CONSTRAINT pk_condition_issues PRIMARY KEY (condition_id), 
	CONSTRAINT ck_condition_issues_one_place CHECK ((mark_id IS NULL) <> (area IS NULL)), 
	CONSTRAINT fk_condition_issues_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT fk_condition_issues_account_id_mark_id_marks FOREIGN KEY(account_id, mark_id) REFERENCES marks (account_id, mark_id), 
	CONSTRAINT uq_condition_issues_account_id_condition_id UNIQUE (account_id, condition_id)
);
INSERT INTO "condition_issues" VALUES('cnd_01m8k8zp3v2ndw1agf230vg4nq','acc_local','mrk_01m8k8znh3ra9vg5n1j0pgw980',NULL,'2026-05-04 00:00:00.000000','cf8e11b4d61d41ef5463c5ba7325f220c5ff5caa41cb136add58693079c55d6b','forecast','invented office','2026-05-02 00:00:00.000000',NULL,'2026-05-02 00:00:00.000000',4,'{"variables":["wave_height_m","wind_speed_m_per_s"],"waves_at":"at_mark"}','{"kind":"forecast","source":"invented office","issued_at":"2026-05-02T00:00:00Z","valid_until":null,"waves_at":"at_mark","wave_period_kind":"peak","times":["2026-05-02T00:00:00Z","2026-05-04T00:00:00Z"],"values":{"wave_height_m":[0.5,1.0],"wind_speed_m_per_s":[3.0,8.0]}}','2026-11-29 09:08:11.003112');
CREATE TABLE diary_row_versions (
	diary_row_id VARCHAR(30) NOT NULL, 
	version INTEGER NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	document JSON NOT NULL, 
	created_at DATETIME NOT NULL, 
	CONSTRAINT pk_diary_row_versions PRIMARY KEY (diary_row_id, version), 
	CONSTRAINT fk_diary_row_versions_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT fk_diary_row_versions_account_id_diary_row_id_diary_rows FOREIGN KEY(account_id, diary_row_id) REFERENCES diary_rows (account_id, diary_row_id)
);
INSERT INTO "diary_row_versions" VALUES('dia_01m8k8zpqn9kgcjq6a3p2wqrs6',1,'acc_local','{"date":"2019-11-16","mark":"mrk_01m8k8znh3ra9vg5n1j0pgw980","hours":null,"tide":{"event":"high_water","from_h":-2.0,"to_h":2.0,"which":"second"},"rods":2,"caught":[{"species":{"scientific_name":"Merlangius merlangus","fao_code":"WHG","local_name":null},"count":4}],"outcome":"fished","why_not":null,"notes":""}','2026-11-29 09:08:11.637747');
CREATE TABLE "diary_rows" (
	diary_row_id VARCHAR(30) NOT NULL, 
	mark_id VARCHAR(30) NOT NULL, 
	local_day DATE NOT NULL, 
	outcome VARCHAR(12) NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	external_ref VARCHAR(200), 
	version INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	updated_at DATETIME NOT NULL, 
	why_not VARCHAR(12), 
	coarse_us BIGINT, 
	caught TEXT DEFAULT '' NOT NULL, 
	CONSTRAINT pk_diary_rows PRIMARY KEY (diary_row_id), 
	CONSTRAINT fk_diary_rows_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT uq_diary_rows_account_id_diary_row_id UNIQUE (account_id, diary_row_id), 
	CONSTRAINT fk_diary_rows_account_id_mark_id_marks FOREIGN KEY(account_id, mark_id) REFERENCES marks (account_id, mark_id), 
	CONSTRAINT uq_diary_rows_account_id_external_ref UNIQUE (account_id, external_ref)
);
INSERT INTO "diary_rows" VALUES('dia_01m8k8zpqn9kgcjq6a3p2wqrs6','mrk_01m8k8znh3ra9vg5n1j0pgw980','2019-11-16','fished','acc_local','diary-2019-11-16',1,'2026-11-29 09:08:11.637747','2026-11-29 09:08:11.637747',NULL,28800000000,'[["Merlangius merlangus","WHG",null,4,0,0]]');
CREATE TABLE feeds (
	feed_id VARCHAR(30) NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	name VARCHAR(200) NOT NULL, 
	series VARCHAR(200) NOT NULL, 
	selection JSON NOT NULL, 
	prefix VARCHAR(20) NOT NULL, 
	secret_hash VARCHAR(64) NOT NULL, 
	created_at DATETIME NOT NULL, 
	last_used_at DATETIME, 
	CONSTRAINT pk_feeds PRIMARY KEY (feed_id), 
	CONSTRAINT fk_feeds_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT uq_feeds_prefix UNIQUE (prefix)
);
INSERT INTO "feeds" VALUES('fed_01m8k902m3d9cy2w6q8wmrn7ex','acc_local','Pellwick','627883bf2bd69c4744a8d1ec54ef39b221032f02bbaf1beb051391c12d8bccce','{"mark_ids":null,"rule_ids":null,"safe":null,"fishable":null,"most":200}','j52j1b8tzk','8b510d319d21083e9ca4b131d14908f6bfe556225843e1a2218bf8fc4b777daf','2026-11-29 09:08:23.811368',NULL);
CREATE TABLE "fits" (
	fit_id VARCHAR(30) NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	station_id VARCHAR(30) NOT NULL, 
	record_sha256 VARCHAR(64) NOT NULL, 
	record_bytes INTEGER NOT NULL, 
	options JSON NOT NULL, 
	report JSON, 
	model JSON, 
	adopted_version INTEGER, 
	created_at DATETIME NOT NULL, 
	job_id VARCHAR(30) NOT NULL, 
	CONSTRAINT pk_fits PRIMARY KEY (fit_id), 
	CONSTRAINT fk_fits_account_id_station_id_stations FOREIGN KEY(account_id, station_id) REFERENCES stations (account_id, station_id), 
	CONSTRAINT fk_fits_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT fk_fits_account_id_job_id_jobs FOREIGN KEY(account_id, job_id) REFERENCES jobs (account_id, job_id)
);
CREATE TABLE import_rows (
	import_id VARCHAR(30) NOT NULL, 
	"row" INTEGER NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	client_ref VARCHAR(200), 
	status VARCHAR(10) NOT NULL, 
	thing_id VARCHAR(30), 
	faults JSON, 
	told VARCHAR(200), 
	CONSTRAINT pk_import_rows PRIMARY KEY (import_id, "row"), 
	CONSTRAINT fk_import_rows_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT fk_import_rows_account_id_import_id_imports FOREIGN KEY(account_id, import_id) REFERENCES imports (account_id, import_id)
);
CREATE TABLE imports (
	import_id VARCHAR(30) NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	job_id VARCHAR(30) NOT NULL, 
	kind VARCHAR(20) NOT NULL, 
	format VARCHAR(20) NOT NULL, 
	dry_run BOOLEAN NOT NULL, 
	body_sha256 VARCHAR(64) NOT NULL, 
	body_bytes BIGINT NOT NULL, 
	rows INTEGER NOT NULL, 
	created INTEGER NOT NULL, 
	unchanged INTEGER NOT NULL, 
	"conflict" INTEGER NOT NULL, 
	invalid INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	CONSTRAINT pk_imports PRIMARY KEY (import_id), 
	CONSTRAINT fk_imports_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT fk_imports_account_id_job_id_jobs FOREIGN KEY(account_id, job_id) REFERENCES jobs (account_id, job_id), 
	CONSTRAINT uq_imports_account_id_import_id UNIQUE (account_id, import_id)
);
CREATE TABLE jobs (
	job_id VARCHAR(30) NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	kind VARCHAR(40) NOT NULL, 
	state VARCHAR(10) NOT NULL, 
	input_hash VARCHAR(64) NOT NULL, 
	input JSON NOT NULL, 
	progress JSON, 
	attempts INTEGER NOT NULL, 
	runner_id VARCHAR(30), 
	lease_until DATETIME, 
	cancel_requested BOOLEAN NOT NULL, 
	result JSON, 
	problem JSON, 
	created_at DATETIME NOT NULL, 
	started_at DATETIME, 
	finished_at DATETIME, 
	updated_at DATETIME NOT NULL, 
	CONSTRAINT pk_jobs PRIMARY KEY (job_id), 
	CONSTRAINT fk_jobs_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT uq_jobs_account_id_job_id UNIQUE (account_id, job_id)
);
INSERT INTO "jobs" VALUES('job_01m8k8zp8dz9yeat7b0wjtrzpx','acc_local','join','done','join','{}','{"done":1,"total":null,"note":"trips joined"}',1,'run_01m8k8zjb8aqcqaw887tww6v5c',NULL,0,'{"trips":1,"stuck":false}',NULL,'2026-11-29 09:08:11.148815','2026-11-29 09:08:11.278226','2026-11-29 09:08:23.191167','2026-11-29 09:08:23.191167');
INSERT INTO "jobs" VALUES('job_01m8k8zpz75ykjcb58erwfv14t','acc_local','plan','done','3d6b527d30c82334bee514af4ee6a397db5149f6137cf46d21be4080b8dcdc19','{"plan_id":"pln_01m8k8zpz62c6p7rpk876bk1rv"}','{"done":1,"total":1,"note":"marks"}',1,'run_01m8k8zjb8aqcqaw887tww6v5c',NULL,0,'{"plan_id":"pln_01m8k8zpz62c6p7rpk876bk1rv","marks":1,"computed":1,"reused":0,"failed":0}',NULL,'2026-11-29 09:08:11.879946','2026-11-29 09:08:23.214914','2026-11-29 09:08:23.628297','2026-11-29 09:08:23.628297');
CREATE TABLE log_months (
	account_id VARCHAR(30) NOT NULL, 
	part VARCHAR(12) NOT NULL, 
	month INTEGER NOT NULL, 
	version BIGINT NOT NULL, 
	CONSTRAINT pk_log_months PRIMARY KEY (account_id, part, month), 
	CONSTRAINT fk_log_months_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id)
);
INSERT INTO "log_months" VALUES('acc_local','trips',202605,1);
INSERT INTO "log_months" VALUES('acc_local','trip_joins',0,2);
INSERT INTO "log_months" VALUES('acc_local','diary_rows',201911,1);
INSERT INTO "log_months" VALUES('acc_local','trip_facts',202605,1);
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
INSERT INTO "mark_versions" VALUES('mrk_01m8k8znh3ra9vg5n1j0pgw980',1,'acc_local','{"name":"Pellwick Long Beach","latitude":51.23,"longitude":-20.37,"time_zone":"Etc/UTC","station":"stn_01m8k8zmpt35t51vk91p2xh480","kind":"open_beach","beds":["clean_sand"],"offsets":null,"slack_lags":{"after_hw_min":25.0,"after_lw_min":35.0},"stream_rates":null,"notes":"Invented.","facing_degree":null,"exposure":null,"conditions_area":null,"ground_datum":null,"profile":[],"beach_slope":null,"peg":null,"ledge_height_m":null,"cliff":[],"species":[],"access":[],"regulation_areas":[],"facilities":[],"phone_signal":null,"way_back":[]}','2026-11-29 09:08:10.403165');
INSERT INTO "mark_versions" VALUES('mrk_01m8k8zns4ch27ehssxmjsymhs',1,'acc_local','{"name":"Pellwick Long Beach","latitude":51.23,"longitude":-20.37,"time_zone":"Etc/UTC","station":"stn_01m8k8zmt0mqtgsjwe7hyfgq4m","kind":"open_beach","beds":["clean_sand"],"offsets":null,"slack_lags":null,"stream_rates":null,"notes":"Invented.","facing_degree":null,"exposure":null,"conditions_area":null,"ground_datum":null,"profile":[],"beach_slope":null,"peg":null,"ledge_height_m":null,"cliff":[],"species":[],"access":[],"regulation_areas":[],"facilities":[],"phone_signal":null,"way_back":[]}','2026-11-29 09:08:10.660737');
CREATE TABLE "marks" (
	mark_id VARCHAR(30) NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	external_ref VARCHAR(200), 
	station_id VARCHAR(30) NOT NULL, 
	version INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	updated_at DATETIME NOT NULL, 
	CONSTRAINT pk_marks PRIMARY KEY (mark_id), 
	CONSTRAINT uq_marks_account_id_mark_id UNIQUE (account_id, mark_id), 
	CONSTRAINT fk_marks_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT uq_marks_account_id_external_ref UNIQUE (account_id, external_ref), 
	CONSTRAINT fk_marks_station_id_stations FOREIGN KEY(station_id) REFERENCES stations (station_id)
);
INSERT INTO "marks" VALUES('mrk_01m8k8znh3ra9vg5n1j0pgw980','acc_local','pellwick-long-beach','stn_01m8k8zmpt35t51vk91p2xh480',1,'2026-11-29 09:08:10.403165','2026-11-29 09:08:10.403165');
INSERT INTO "marks" VALUES('mrk_01m8k8zns4ch27ehssxmjsymhs','acc_local','hollow-ledge','stn_01m8k8zmt0mqtgsjwe7hyfgq4m',1,'2026-11-29 09:08:10.660737','2026-11-29 09:08:10.660737');
CREATE TABLE method_versions (
	method_id VARCHAR(30) NOT NULL, 
	version INTEGER NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	document JSON NOT NULL, 
	created_at DATETIME NOT NULL, 
	CONSTRAINT pk_method_versions PRIMARY KEY (method_id, version), 
	CONSTRAINT fk_method_versions_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT fk_method_versions_account_id_method_id_methods FOREIGN KEY(account_id, method_id) REFERENCES methods (account_id, method_id)
);
INSERT INTO "method_versions" VALUES('mth_01m8k8znvwpr7f8rjygr6p68f1',1,'acc_local','{"name":"Rough water, streamlined","species":[{"scientific_name":"Dicentrarchus labrax","fao_code":"BSS","local_name":"bass"}],"rig":"one hook clipped down","style":"clipped","hooks":[{"pattern":"wide gape","size":"2/0","number":1}],"snoods":[{"length_m":0.6,"strength_lb":30.0}],"baits":[{"name":"lugworm","kind":"worm","cocktail":"squid strip","size":"large","grams":30.0,"per_change":null},{"name":"peeler crab","kind":"crab","cocktail":null,"size":"large","grams":30.0,"per_change":null}],"reach":{"band":"middle","from_m":40.0,"to_m":90.0},"lead":{"grams":150.0,"type":"grip"},"main_line":{"material":"mono","diameter_mm":0.4,"strength_lb":20.0},"leader":{"strength_lb":70.0,"rod_lengths":2.0,"turns":7.0},"wading_depth_m":null,"rods":1,"beds":[],"suits":[{"factor":"wave_height","shape":{"kind":"trapezoid","from":0.6,"full_from":1.0,"full_to":null,"to":null},"unknown":"ignore","weight":3.0,"floor":0.1},{"any":[{"factor":"light","shape":{"kind":"set","values":["night"]},"unknown":"exclude"},{"factor":"clarity","shape":{"kind":"set","values":["coloured"]},"unknown":"exclude"}],"unknown":"ignore","weight":1.0,"floor":0.1}],"notes":"Tip high.","provenance":"common practice"}','2026-11-29 09:08:10.748094');
CREATE TABLE methods (
	method_id VARCHAR(30) NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	external_ref VARCHAR(200), 
	version INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	updated_at DATETIME NOT NULL, 
	CONSTRAINT pk_methods PRIMARY KEY (method_id), 
	CONSTRAINT fk_methods_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT uq_methods_account_id_external_ref UNIQUE (account_id, external_ref), 
	CONSTRAINT uq_methods_account_id_method_id UNIQUE (account_id, method_id)
);
INSERT INTO "methods" VALUES('mth_01m8k8znvwpr7f8rjygr6p68f1','acc_local','rough-streamlined',1,'2026-11-29 09:08:10.748094','2026-11-29 09:08:10.748094');
CREATE TABLE official_warnings (
	warning_id VARCHAR(30) NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	mark_id VARCHAR(30), 
	area VARCHAR(200), 
	ends_at DATETIME, 
	content_hash VARCHAR(64) NOT NULL, 
	identifier VARCHAR(200) NOT NULL, 
	sender VARCHAR(200) NOT NULL, 
	sent_at DATETIME NOT NULL, 
	summary JSON NOT NULL, 
	document JSON NOT NULL, 
	created_at DATETIME NOT NULL, 
	CONSTRAINT pk_official_warnings PRIMARY KEY (warning_id), 
	CONSTRAINT ck_official_warnings_one_place CHECK ((mark_id IS NULL) OR (area IS NULL)), 
	CONSTRAINT fk_official_warnings_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT fk_official_warnings_account_id_mark_id_marks FOREIGN KEY(account_id, mark_id) REFERENCES marks (account_id, mark_id), 
	CONSTRAINT uq_official_warnings_account_id_warning_id UNIQUE (account_id, warning_id)
);
CREATE TABLE plan_marks (
	plan_id VARCHAR(30) NOT NULL, 
	mark_id VARCHAR(30) NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	input_hash VARCHAR(64) NOT NULL, 
	result_hash VARCHAR(64), 
	reused BOOLEAN NOT NULL, 
	found INTEGER NOT NULL, 
	sessions JSON NOT NULL, 
	changes JSON, 
	problem JSON, 
	computed_at DATETIME NOT NULL, 
	CONSTRAINT pk_plan_marks PRIMARY KEY (plan_id, mark_id), 
	CONSTRAINT fk_plan_marks_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT fk_plan_marks_account_id_plan_id_plans FOREIGN KEY(account_id, plan_id) REFERENCES plans (account_id, plan_id), 
	CONSTRAINT fk_plan_marks_account_id_mark_id_marks FOREIGN KEY(account_id, mark_id) REFERENCES marks (account_id, mark_id), 
	CONSTRAINT fk_plan_marks_account_id_result_hash_plan_results FOREIGN KEY(account_id, result_hash) REFERENCES plan_results (account_id, input_hash)
);
INSERT INTO "plan_marks" VALUES('pln_01m8k8zpz62c6p7rpk876bk1rv','mrk_01m8k8znh3ra9vg5n1j0pgw980','acc_local','fde7c22f96d0c00ab6c85b0eacdf9b1b49d8c35100c3d58aafb8d0c7e4bcd8f7','fde7c22f96d0c00ab6c85b0eacdf9b1b49d8c35100c3d58aafb8d0c7e4bcd8f7',0,2,'[["20260502T0001",0,29628001,1.986],["20260503T0035",0,29629475,2.014]]',NULL,NULL,'2026-11-29 09:08:23.557631');
CREATE TABLE plan_results (
	account_id VARCHAR(30) NOT NULL, 
	input_hash VARCHAR(64) NOT NULL, 
	content BLOB NOT NULL, 
	created_at DATETIME NOT NULL, 
	CONSTRAINT pk_plan_results PRIMARY KEY (account_id, input_hash), 
	CONSTRAINT fk_plan_results_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id)
);
INSERT INTO "plan_results" VALUES('acc_local','fde7c22f96d0c00ab6c85b0eacdf9b1b49d8c35100c3d58aafb8d0c7e4bcd8f7',X'7801ED5ADB6EDB4610FD950581BE2906495D22334F6DFAD09716051A20408A8058912B72237257D95D5ABEC0FFDE334B52942CD94EEAD85583007E10B9B7993333676786BE098CB0CEA65A05C94D5073B34A2F84B1929EA351601D77F89DCA3C48F0A0D230AAE7ABF975BD76E3A99B4617ABF3681D5F969379180CB3777770250E287595DB61E3701498A6123648FEBE09FCD678ECB7569F2FCB79562FAEF9A74FB3F965369F5E63EB61CBDB8FA320D32A979D60B44B90A9BC5FBF1E5FC42ADF44BC58C6E3F0A298A8CF01966CB8515215D08416E0856A6A616486A7C928C8B96B6AA858F0A610EC5A184DEA7092EDEFC00ACE94768C5B2BF097B3A5D1358BC378F62A9CBE0AE377619884E107E6F4F072D2BD4CB092496B1BC1324D4A30E9DE30570A66792D985EB28D5479F0F176142C75835F490CD1B42B216B2B6756E96C9566255785470CA29318B04A8B9FE16AE5574107916232AFA0C8201D14A904BF1069A96BB137E2458C92E9F907CCE1C6C88B07C6E109C61D2C8F67DD7241A2EF9CFA2E8C93493FE8CFBF333C4EC2FEE805878247A4DB99E21AA3529A1724AAA92A80252D41949650FD6C3C1EC3C0DAB8929EA3B3F3F96C142CE0D7D8B531E4D8C7A48F923822BB41F963D26F076BC1556A336D804E88BDCF71161C5AA46439BD099225AFAC800161DE5C660E66C1817C4960C29269EF363887A4E68B8A461AB5527AA3E8A510B9B7F68D8F8A36D61E0D887DA9E653046B256B04054059F2CC69E81D2C2BBD49AD334215AE0C6E21E31077F4EB0BCFF2CA7B2CA19B879782B055BF73C2AFD8ECB823CD93E9EBFB4CB175A4BB4ABF1E056BC157BD75A233308B7FE1E481AF47C9F8753299D3198F0205ED4A7ECD8DE78A9B6045219A04BCD24A607961787EC4B8C77C0CC4D07BF9A18FEDF8F705AF1A6CD9FA76A324451A4EDA92673F64E1CF199D9DE9BAD68AAD0D4C2DF10673C525ADFA432F747E05769139DB94024C63D8956E58A199979F2DAE989245E9460CEB0DB8856943338DF0B4E4640EAA6A9C05372D13E64455310BE6F0BBB6D3683B8EE95CF92394DF7F233171211805E959703BDAA29681FB532ECDCB01978BE2ED83E07DD252394FBC2C2B496ED8575C1219C76118113DF777564BF5B5A8B5B91A307E0B9540EA7B9742C2A023E0AAD7C2E032013C042B36F650D1F5E1E3FD109A0D68FB94C0B9D7B37ED31BDC61D0DCDF5EB81381400782570DCEC25702F71B5B42753F5328DD14E5F08C44E0AE77342E85A3BD9C733CE818A419E54083A97F1120548A070A875EDD9ED1A171B780E55AB4FEE003865E6FF8D56130E4EDE627CD20BF42C6D6EF29AF8928AD0989AA463EE0D5117E41B6623D6E1E20B1A12520898459D1924A6128B721EAC909150107119E35E842248FE949692F3CDA5527EB1AEF915459C69D7782B5285A3EA4688686484E4011C819A1E86EEEB8E33225278F0185EBA5AC5A36C5A3ADF45AB4192279E2E05816C8B5FC0BDE2607EB17D26F248715CEC515A472FB869508D525071D61889259A236FADDD9A19224F802F9A87FEB93DF7E4A29E872D88FEC3DAB200E642679957619F589D8A7170B71E7137DDC5F8A11B023F6B6BD2B7F0642941EB13F8D761AFCC4A2B37888F4F7DD65C91585BA57B1DFCB331D76D3B87B7B0EE8288FDB95C79037AED446BAAD7717B8638A3DE050469C0856E40ADB12CAB202893F25A25D06F1D7D172C77341EBBD14BD19B78E21A5B15D34BF61B9C82875882714FD93392BBB91963678C12580550808D419BCDA43C695608797BC047F226DFB4BFE20B7BA038F4F737AA7F258BD017AF7A45FEF5A557A2F196E0A84F616374423A8A1AB073D7952BEBA07C985B472212B38D4CBF94CFD35A83C06C4EF120ED231D5B2E203A30C9010CE839EC847CD96B87C854DE3C818C0A0F4CBB32131D7A807B74FA890ADEFD55928D9FB549DB2902EF9F43FFB640B177A97766C6F645F7D8F823EF677E8AD0DDCC1490799A9B150696D8512D429C0D34A5CA5644C2A8BF0C85D4A752855842DB1A6E832A0608D51A0FAE2CC679E5457CE26286650CB172245FE2835BD9B4FE654AC808F91D8FBA41D16DAF85ADEB3346DD6960CFEA5AF7C907E4A9DA738BF1BC109A95DA3C64CEB1483774608E81409B3115DF9713BEA4B535261F7346A52A044F5ED06549BC7DB0D634878BCDD30A676C3789A8C7DC57DD86ED81F3F28A6304CD57AB7FC4E3185C17112F78307ED063FBC3DFA68BB617FCAD7B41BE2B3304207E9E17683977E3A39DE6EC0609C6C07F76BDCF373EC7D7AED86191A2E8F56D170A5A7B71B3CBCDFB2DDE04D01479A8C8FB41BBC1B6C1D69DF14F3D9F44BDB0DDEA2E12C09672FD86EC0A13B01762C42B621F0A3DD0042DDB6489F08DCF7DD6E786E70EECDA44EA4DDF044FD1F4DA94EA9DDF09CBADE6BE7BD76C378DAB51BC6D3D36F373C275C7DC64BFED336767FB41B7C5D0F40BEB47BF69CF6E9CB84BE45F07F6F373C2756E4CBFFA2DD806CC5177EDBB2F9BF6B373C119DEFB4DDF044547EB41BC0653D8F7C8376C34D70F7AB270CB45316F75F31F13D582B5D4BFCA3409A73FF097AE84DB44D0330EC35DA97DDA76D7C0C6DDB0DA5A8D0E6683F773FD0DC880E9B1B542F1E343730ED949A1B1F6FFF01D4523240','2026-11-29 09:08:23.557631');
CREATE TABLE plans (
	plan_id VARCHAR(30) NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	job_id VARCHAR(30) NOT NULL, 
	series VARCHAR(200) NOT NULL, 
	starts_at DATETIME NOT NULL, 
	ends_at DATETIME NOT NULL, 
	asked JSON NOT NULL, 
	rules JSON, 
	supersedes VARCHAR(30), 
	ranking BLOB, 
	created_at DATETIME NOT NULL, 
	finished_at DATETIME, 
	CONSTRAINT pk_plans PRIMARY KEY (plan_id), 
	CONSTRAINT fk_plans_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT fk_plans_account_id_job_id_jobs FOREIGN KEY(account_id, job_id) REFERENCES jobs (account_id, job_id), 
	CONSTRAINT uq_plans_account_id_plan_id UNIQUE (account_id, plan_id)
);
INSERT INTO "plans" VALUES('pln_01m8k8zpz62c6p7rpk876bk1rv','acc_local','job_01m8k8zpz75ykjcb58erwfv14t','627883bf2bd69c4744a8d1ec54ef39b221032f02bbaf1beb051391c12d8bccce','2026-05-02 00:00:00.000000','2026-05-04 00:00:00.000000','{"mark_ids":["mrk_01m8k8znh3ra9vg5n1j0pgw980"],"rule_ids":null,"options":{"least_h":3.0,"most_h":5.0,"set_up_min":25.0,"pack_up_min":15.0,"lull_min":75.0,"least_leg_min":45.0},"free_time":null,"travel_min":0.0,"facts":{"alone":null,"first_visit":null,"party":null,"wading":null,"bathers":null,"surge_m":null,"pace":1.0,"gathering":false},"include_dangerous":false,"most_per_mark":31,"diverse":true}','[{"id":"rul_01m8k8znqxh8cmbzajj68xc85z","version":1,"name":"Bass over the flood","species":"Dicentrarchus labrax"}]',NULL,X'0000000001000000231CC40160E5004000000000000000006116C4013F35FE3F','2026-11-29 09:08:11.878298','2026-11-29 09:08:23.587272');
CREATE TABLE regulation_versions (
	regulation_id VARCHAR(30) NOT NULL, 
	version INTEGER NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	document JSON NOT NULL, 
	created_at DATETIME NOT NULL, 
	CONSTRAINT pk_regulation_versions PRIMARY KEY (regulation_id, version), 
	CONSTRAINT fk_regulation_versions_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT fk_regulation_versions_account_id_regulation_id_regulations FOREIGN KEY(account_id, regulation_id) REFERENCES regulations (account_id, regulation_id)
);
INSERT INTO "regulation_versions" VALUES('reg_01m8k8zp1xz3gfbcb4s06dsefx',1,'acc_local','{"area":"Pellwick district","source":"Pellwick district order 7, invented","dated":"2026-02-01","species":{"scientific_name":"Dicentrarchus labrax","fao_code":"BSS","local_name":"bass"},"sizes":[{"kind":"total","min_cm":42.0,"max_cm":null}],"bag":2,"release_only":[{"from":"02-01","to":"03-31"}],"banned":[],"always_banned":false,"no_fishing":[],"most_rods":null,"most_hooks":null,"permit":null,"gathering":"","notes":""}','2026-11-29 09:08:10.941290');
CREATE TABLE regulations (
	regulation_id VARCHAR(30) NOT NULL, 
	area VARCHAR(200) NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	external_ref VARCHAR(200), 
	version INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	updated_at DATETIME NOT NULL, 
	CONSTRAINT pk_regulations PRIMARY KEY (regulation_id), 
	CONSTRAINT fk_regulations_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT uq_regulations_account_id_external_ref UNIQUE (account_id, external_ref), 
	CONSTRAINT uq_regulations_account_id_regulation_id UNIQUE (account_id, regulation_id)
);
INSERT INTO "regulations" VALUES('reg_01m8k8zp1xz3gfbcb4s06dsefx','Pellwick district','acc_local','pellwick-bass',1,'2026-11-29 09:08:10.941290','2026-11-29 09:08:10.941290');
CREATE TABLE safety_threshold_versions (
	thresholds_id VARCHAR(30) NOT NULL, 
	version INTEGER NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	document JSON NOT NULL, 
	created_at DATETIME NOT NULL, 
	CONSTRAINT pk_safety_threshold_versions PRIMARY KEY (thresholds_id, version), 
	CONSTRAINT fk_safety_threshold_versions_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT fk_safety_threshold_versions_thresholds FOREIGN KEY(account_id, thresholds_id) REFERENCES safety_thresholds (account_id, thresholds_id)
);
INSERT INTO "safety_threshold_versions" VALUES('sft_01m8k902mrj5pf9hw69ch14g68',1,'acc_local','{"peg_caution_m":0.17,"peg_danger_m":0.38,"ledge_long_period_s":12.0,"ledge_long_period_height_m":1.0,"ledge_height_any_period_m":1.5,"deck_caution_m":0.5,"deck_danger_m":0.0,"pressure_surge_caution_m":0.2,"gust_caution_m_per_s":12.0,"gust_danger_m_per_s":20.0,"shore_break_height_m":1.2,"shore_break_period_s":8.0,"knee_m":0.5,"sill_margin_m":0.3,"spare_min":10.0,"sill_survey_days":92.0,"sill_big_sea_m":2.5,"thunder_caution_percent":30.0,"visibility_danger_m":500.0,"flats_from_shore_m":300.0,"cliff_rain_mm":20.0,"wind_chill_caution_c":-10.0,"wind_chill_danger_c":-28.0,"cold_shock_sea_c":15.0,"cold_hands_sea_c":10.0}','2026-11-29 09:08:23.832424');
CREATE TABLE safety_thresholds (
	thresholds_id VARCHAR(30) NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	external_ref VARCHAR(200), 
	version INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	updated_at DATETIME NOT NULL, 
	CONSTRAINT pk_safety_thresholds PRIMARY KEY (thresholds_id), 
	CONSTRAINT fk_safety_thresholds_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT uq_safety_thresholds_account_id_external_ref UNIQUE (account_id, external_ref), 
	CONSTRAINT uq_safety_thresholds_account_id_thresholds_id UNIQUE (account_id, thresholds_id)
);
INSERT INTO "safety_thresholds" VALUES('sft_01m8k902mrj5pf9hw69ch14g68','acc_local','account',1,'2026-11-29 09:08:23.832424','2026-11-29 09:08:23.832424');
CREATE TABLE slack_note_versions (
	note_id VARCHAR(30) NOT NULL, 
	version INTEGER NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	document JSON NOT NULL, 
	created_at DATETIME NOT NULL, 
	CONSTRAINT pk_slack_note_versions PRIMARY KEY (note_id, version), 
	CONSTRAINT fk_slack_note_versions_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT fk_slack_note_versions_account_id_note_id_slack_notes FOREIGN KEY(account_id, note_id) REFERENCES slack_notes (account_id, note_id)
);
CREATE TABLE slack_notes (
	note_id VARCHAR(30) NOT NULL, 
	mark_id VARCHAR(30) NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	external_ref VARCHAR(200), 
	version INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	updated_at DATETIME NOT NULL, 
	CONSTRAINT pk_slack_notes PRIMARY KEY (note_id), 
	CONSTRAINT fk_slack_notes_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT fk_slack_notes_account_id_mark_id_marks FOREIGN KEY(account_id, mark_id) REFERENCES marks (account_id, mark_id), 
	CONSTRAINT uq_slack_notes_account_id_external_ref UNIQUE (account_id, external_ref), 
	CONSTRAINT uq_slack_notes_account_id_note_id UNIQUE (account_id, note_id)
);
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
INSERT INTO "species_rule_versions" VALUES('rul_01m8k8znqxh8cmbzajj68xc85z',1,'acc_local','{"name":"Bass over the flood","species":{"scientific_name":"Dicentrarchus labrax","fao_code":"BSS","local_name":"bass"},"require":[{"factor":"hours_from_lw","shape":{"kind":"trapezoid","from":-0.5,"full_from":0.5,"full_to":3.0,"to":4.0},"unknown":"exclude"}],"prefer":[{"factor":"light","shape":{"kind":"set","values":["night","nautical_twilight"]},"unknown":"ignore","weight":2.0,"floor":0.1},{"factor":"flow_strength","shape":{"kind":"trapezoid","from":0.2,"full_from":0.6,"full_to":null,"to":null},"unknown":"ignore","weight":1.0,"floor":0.1},{"factor":"wave_height","shape":{"kind":"trapezoid","from":0.3,"full_from":0.5,"full_to":null,"to":null},"unknown":"ignore","weight":1.0,"floor":0.1}],"threshold":0.5,"minimum_duration_min":30.0,"beds":[],"closed_seasons":[],"release_only_seasons":[],"notes":"","provenance":"common practice"}','2026-11-29 09:08:10.620947');
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
INSERT INTO "species_rules" VALUES('rul_01m8k8znqxh8cmbzajj68xc85z','acc_local','bass-over-the-flood',1,'2026-11-29 09:08:10.620947','2026-11-29 09:08:10.620947');
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
INSERT INTO "station_versions" VALUES('stn_01m8k8zmpt35t51vk91p2xh480',1,'acc_local','constituents',NULL,'gauge zero','ff63faa7018defa6a091883ff2a1a311f70cbe2a2ef69f256dc24637f108783d',4,'0.1.0','{"format":"ebbmark tide model 1","station":"Pellwick Roads","datum":"gauge zero","harmonics":{"names":["M2","S2","N2","K1","O1","M4"],"amplitude_m":[2.1,0.74,0.41,0.08,0.06,0.12],"phase_deg":[141.0,187.0,120.0,95.0,340.0,30.0],"latitude":51.2,"mean_level_m":3.1,"convention":"utide","nodal":"exact","nodal_at_us":null},"flow_normaliser_m_per_h":1.483059837331161,"mean_spring_range_m":5.868473235720958,"diagnostics":null,"calibration":null,"input_hash":"ff63faa7018defa6a091883ff2a1a311f70cbe2a2ef69f256dc24637f108783d","numerics":4,"code_version":"0.1.0"}','2026-11-29 09:08:09.579242');
CREATE TABLE "stations" (
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
	public BOOLEAN DEFAULT 0 NOT NULL, 
	CONSTRAINT pk_stations PRIMARY KEY (station_id), 
	CONSTRAINT fk_stations_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT uq_stations_account_id_station_id UNIQUE (account_id, station_id), 
	CONSTRAINT uq_stations_account_id_external_ref UNIQUE (account_id, external_ref)
);
INSERT INTO "stations" VALUES('stn_01m8k8zmpt35t51vk91p2xh480','acc_local','pellwick-roads','Pellwick Roads',51.2,-20.4,'Etc/UTC',1,'2026-11-29 09:08:09.562145','2026-11-29 09:08:09.579242',0);
INSERT INTO "stations" VALUES('stn_01m8k8zmt0mqtgsjwe7hyfgq4m','acc_local',NULL,'Hollow Point',51.0,NULL,'Etc/UTC',0,'2026-11-29 09:08:09.664233','2026-11-29 09:08:09.664233',0);
CREATE TABLE trip_facts (
	account_id VARCHAR(30) NOT NULL, 
	factor VARCHAR(40) NOT NULL, 
	local_day DATE NOT NULL, 
	trip_id VARCHAR(30) NOT NULL, 
	mark_id VARCHAR(30) NOT NULL, 
	purpose VARCHAR(10) NOT NULL, 
	rods BOOLEAN NOT NULL, 
	effort BLOB NOT NULL, 
	caught BLOB NOT NULL, 
	CONSTRAINT pk_trip_facts PRIMARY KEY (account_id, factor, local_day, trip_id), 
	CONSTRAINT fk_trip_facts_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT fk_trip_facts_account_id_trip_id_trips FOREIGN KEY(account_id, trip_id) REFERENCES trips (account_id, trip_id)
)
 WITHOUT ROWID

;
INSERT INTO "trip_facts" VALUES('acc_local','clarity','2026-05-02','trp_01m8k8zp7p7wbdkhe5jvvedsb4','mrk_01m8k8znh3ra9vg5n1j0pgw980','pleasure',1,X'0400000000000000001E392B0500000000F38ABD0000000000ECBA8302000000',X'040000000000000005E60080D0A5280AE445DF1531D6D13B0100000000000000');
INSERT INTO "trip_facts" VALUES('acc_local','days_from_springs','2026-05-02','trp_01m8k8zp7p7wbdkhe5jvvedsb4','mrk_01m8k8znh3ra9vg5n1j0pgw980','pleasure',1,X'0300000000000000001E392B0500000000F38ABD0000000000ECBA8302000000',X'030000000000000005E60080D0A5280AE445DF1531D6D13B0100000000000000');
INSERT INTO "trip_facts" VALUES('acc_local','direction','2026-05-02','trp_01m8k8zp7p7wbdkhe5jvvedsb4','mrk_01m8k8znh3ra9vg5n1j0pgw980','pleasure',1,X'0000000000000000042A5DD9000000000279605E0000000002F2CC5A0000000001000000000000000C55ED9703000000862A33020000000086AAF6CB010000000200000000000000F09EEEB900000000784FF75C00000000784FF75C00000000',X'010000000000000005E60080D0A5280AE445DF1531D6D13B0100000000000000');
INSERT INTO "trip_facts" VALUES('acc_local','flow_strength','2026-05-02','trp_01m8k8zp7p7wbdkhe5jvvedsb4','mrk_01m8k8znh3ra9vg5n1j0pgw980','pleasure',1,X'0000000000000000F2BD68D701000000EF3B8C9900000000F95EB4EB00000000010000000000000022C7D93A0100000011B7FE230000000091408B8B0000000002000000000000003A0F48250100000000000000000000009D07A492000000000300000000000000B289AEF3000000000000000000000000D944D77900000000',X'000000000000000005E60080D0A5280AE445DF1531D6D13B0100000000000000');
INSERT INTO "trip_facts" VALUES('acc_local','hours_from_hw','2026-05-02','trp_01m8k8zp7p7wbdkhe5jvvedsb4','mrk_01m8k8znh3ra9vg5n1j0pgw980','pleasure',1,X'050000000000000058932B8200000000ACC9154100000000AC26342F000000000600000000000000004827AD010000005429757C0000000000A493D6000000000700000000000000884D27AD010000000000000000000000C4A693D600000000080000000000000020F5BE4E010000000000000000000000907A5FA700000000',X'060000000000000005E60080D0A5280AE445DF1531D6D13B0100000000000000');
INSERT INTO "trip_facts" VALUES('acc_local','hours_from_lw','2026-05-02','trp_01m8k8zp7p7wbdkhe5jvvedsb4','mrk_01m8k8znh3ra9vg5n1j0pgw980','pleasure',1,X'000000000000000017D64DCE0100000000F38ABD00000000649EABD9000000000100000000000000004827AD01000000000000000000000000A493D60000000002000000000000003853F7A60100000000000000000000009CA97BD3000000000B00000000000000B1ACCC080000000000000000000000000000000000000000',X'000000000000000005E60080D0A5280AE445DF1531D6D13B0100000000000000');
INSERT INTO "trip_facts" VALUES('acc_local','hours_since_sea_peak','2026-05-02','trp_01m8k8zp7p7wbdkhe5jvvedsb4','mrk_01m8k8znh3ra9vg5n1j0pgw980','pleasure',1,X'0500000000000000001E392B0500000000F38ABD0000000000ECBA8302000000',X'050000000000000005E60080D0A5280AE445DF1531D6D13B0100000000000000');
INSERT INTO "trip_facts" VALUES('acc_local','illuminated_fraction','2026-05-02','trp_01m8k8zp7p7wbdkhe5jvvedsb4','mrk_01m8k8znh3ra9vg5n1j0pgw980','pleasure',1,X'0300000000000000001E392B0500000000F38ABD0000000000ECBA8302000000',X'030000000000000005E60080D0A5280AE445DF1531D6D13B0100000000000000');
INSERT INTO "trip_facts" VALUES('acc_local','light','2026-05-02','trp_01m8k8zp7p7wbdkhe5jvvedsb4','mrk_01m8k8znh3ra9vg5n1j0pgw980','pleasure',1,X'00000000000000003A2C3B0B0500000000F38ABD000000001DF3BB73020000000100000000000000C6F1FD1F000000000000000000000000E3F8FE0F00000000',X'000000000000000005E60080D0A5280AE445DF1531D6D13B0100000000000000');
INSERT INTO "trip_facts" VALUES('acc_local','making','2026-05-02','trp_01m8k8zp7p7wbdkhe5jvvedsb4','mrk_01m8k8znh3ra9vg5n1j0pgw980','pleasure',1,X'0100000000000000001E392B0500000000F38ABD0000000000ECBA8302000000',X'010000000000000005E60080D0A5280AE445DF1531D6D13B0100000000000000');
INSERT INTO "trip_facts" VALUES('acc_local','month','2026-05-02','trp_01m8k8zp7p7wbdkhe5jvvedsb4','mrk_01m8k8znh3ra9vg5n1j0pgw980','pleasure',1,X'0400000000000000001E392B0500000000F38ABD0000000000ECBA8302000000',X'040000000000000005E60080D0A5280AE445DF1531D6D13B0100000000000000');
INSERT INTO "trip_facts" VALUES('acc_local','named_phase','2026-05-02','trp_01m8k8zp7p7wbdkhe5jvvedsb4','mrk_01m8k8znh3ra9vg5n1j0pgw980','pleasure',1,X'020000000000000058DB522F0200000000F38ABD00000000ACCAC70501000000030000000000000000A6F75F02000000000000000000000000D3FB2F010000000400000000000000A89CEE9B000000000000000000000000544EF74D00000000',X'020000000000000005E60080D0A5280AE445DF1531D6D13B0100000000000000');
INSERT INTO "trip_facts" VALUES('acc_local','range_ratio','2026-05-02','trp_01m8k8zp7p7wbdkhe5jvvedsb4','mrk_01m8k8znh3ra9vg5n1j0pgw980','pleasure',1,X'0300000000000000001E392B0500000000F38ABD0000000000ECBA8302000000',X'030000000000000005E60080D0A5280AE445DF1531D6D13B0100000000000000');
INSERT INTO "trip_facts" VALUES('acc_local','sea_temperature','2026-05-02','trp_01m8k8zp7p7wbdkhe5jvvedsb4','mrk_01m8k8znh3ra9vg5n1j0pgw980','pleasure',1,X'0600000000000000001E392B0500000000F38ABD0000000000ECBA8302000000',X'060000000000000005E60080D0A5280AE445DF1531D6D13B0100000000000000');
INSERT INTO "trip_facts" VALUES('acc_local','sea_trend','2026-05-02','trp_01m8k8zp7p7wbdkhe5jvvedsb4','mrk_01m8k8znh3ra9vg5n1j0pgw980','pleasure',1,X'0300000000000000001E392B0500000000F38ABD0000000000ECBA8302000000',X'030000000000000005E60080D0A5280AE445DF1531D6D13B0100000000000000');
INSERT INTO "trip_facts" VALUES('acc_local','wave_height','2026-05-02','trp_01m8k8zp7p7wbdkhe5jvvedsb4','mrk_01m8k8znh3ra9vg5n1j0pgw980','pleasure',1,X'0500000000000000001E392B0500000000F38ABD0000000000ECBA8302000000',X'050000000000000005E60080D0A5280AE445DF1531D6D13B0100000000000000');
INSERT INTO "trip_facts" VALUES('acc_local','wave_peak_period','2026-05-02','trp_01m8k8zp7p7wbdkhe5jvvedsb4','mrk_01m8k8znh3ra9vg5n1j0pgw980','pleasure',1,X'0400000000000000001E392B0500000000F38ABD0000000000ECBA8302000000',X'040000000000000005E60080D0A5280AE445DF1531D6D13B0100000000000000');
INSERT INTO "trip_facts" VALUES('acc_local','weed_risk','2026-05-02','trp_01m8k8zp7p7wbdkhe5jvvedsb4','mrk_01m8k8znh3ra9vg5n1j0pgw980','pleasure',1,X'0300000000000000001E392B0500000000F38ABD0000000000ECBA8302000000',X'030000000000000005E60080D0A5280AE445DF1531D6D13B0100000000000000');
INSERT INTO "trip_facts" VALUES('acc_local','wind_onshore','2026-05-02','trp_01m8k8zp7p7wbdkhe5jvvedsb4','mrk_01m8k8znh3ra9vg5n1j0pgw980','pleasure',1,X'0500000000000000001E392B0500000000F38ABD0000000000ECBA8302000000',X'050000000000000005E60080D0A5280AE445DF1531D6D13B0100000000000000');
INSERT INTO "trip_facts" VALUES('acc_local','wind_speed','2026-05-02','trp_01m8k8zp7p7wbdkhe5jvvedsb4','mrk_01m8k8znh3ra9vg5n1j0pgw980','pleasure',1,X'0400000000000000001E392B0500000000F38ABD0000000000ECBA8302000000',X'040000000000000005E60080D0A5280AE445DF1531D6D13B0100000000000000');
CREATE TABLE trip_joins (
	trip_id VARCHAR(30) NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	trip_version INTEGER NOT NULL, 
	mark_id VARCHAR(30) NOT NULL, 
	mark_version INTEGER NOT NULL, 
	station_id VARCHAR(30) NOT NULL, 
	station_version INTEGER NOT NULL, 
	stamp VARCHAR(20) NOT NULL, 
	conditions INTEGER NOT NULL, 
	conditions_hash VARCHAR(64) NOT NULL, 
	stale BOOLEAN NOT NULL, 
	started_at DATETIME NOT NULL, 
	ended_at DATETIME NOT NULL, 
	joined_at DATETIME NOT NULL, 
	problem JSON, 
	document BLOB NOT NULL, 
	CONSTRAINT pk_trip_joins PRIMARY KEY (trip_id), 
	CONSTRAINT fk_trip_joins_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT fk_trip_joins_account_id_trip_id_trips FOREIGN KEY(account_id, trip_id) REFERENCES trips (account_id, trip_id), 
	CONSTRAINT uq_trip_joins_account_id_trip_id UNIQUE (account_id, trip_id)
);
INSERT INTO "trip_joins" VALUES('trp_01m8k8zp7p7wbdkhe5jvvedsb4','acc_local',1,'mrk_01m8k8znh3ra9vg5n1j0pgw980',1,'stn_01m8k8zmpt35t51vk91p2xh480',1,'4.1',1,'4c8d5fb6cd23571cbfca4c84e41f0446311704cdeedb9440ce1d7ba480801124',0,'2026-05-02 17:30:00.000000','2026-05-02 21:15:00.000000','2026-11-29 09:08:22.848835',NULL,X'789CED58E96EA33C147D958ADF0DF2BEF465909B380D2A810A48AB6AD477FFAED94D2859409DD1A7CE8F4EB89873175FFB1CFB4FB0B36F49F679B46959044F7F82D49ADCFDBF4FB28FA828739BBE94076748AC29CAE009850861AE1E83A335A97B640421068F59FD562946F963909B8FE854019ED29DCD1F504878F04435674C08CEE963E02C6188423013CD30E61A71E9CC95553A331388104A95766609760C46C418E61882F87A0C9E4D5C46593AE1897029300CA5D8F32410A0712EF4177CBD8B73BB2DE32C1DA4979E92A4CDADF99DF5F63E2B284FB60337D8C587248582D8E7E7E0494A2C34928243498AC46C5F8327CCB996180BA4CE226E50A09E3E0A9DC100904376CA8B689F67C7E8F031087E8342AAA0BC530990502A28DA30870D86AA0036D55833A10973A57235A60235FF1E0318433A8B44102109430A780A29C40915E759B5B8688C4B90826F28A436CA22F1B21021A618A9A92CDC2B87376EAF0DCC2D83F926124B0DF96F60C237CCCF64C3C0069153CE14D2755CFCC1A4BB87ECDD42CF632605C5447DD758CE07C5AAC17319A4E66877D1DBC114F68E162AB3B728DB47E5C14665BC0304A6FB82EDE3BC28DBD7554FB89E6F5339C6BBDA88296A2B3A0EFA0CDE8F3D37E98B8D7203FDEFAD6EC594EBBB76752BA6111DAC6EA629192601A66A6A31666D786791B463FC0076E6B399FDE22D8FD397C20B832886D8541561C381AD428DFBF84208CD103F82A37905BFF7CC5CF52154773FEF7538CE779DC42F87F20ECF5034E712D607B4AA76CB791BBFC749547EC40D24110AD624D2FA2C9AEA5B3F8C38494EC7383525B4F13E37E3CD10855A0924FA6ED04A0EB67AAD94D07E33486F41CDF6843774343159EA710E0FD154712A73EF1D96BC98775A8FF07D7D98771B1DEC9DF3714A5FD3EC239D77DB0D9AF0FC66CD2BFCC963C7033FEB3E4E77B0F4ACFD2B8EB3B43864F93DDBE612D7853551698F506F539E7EDC7B4D78459C6E6DE4227173FF370A009AEEA7E77C9B983C2E3F7FBAD3A0B9A33C2E7EBACA67DB090D09A839D9FA65A192DAA9DA761F1304EB21AD8E1D7D39D4FDCDC21CC4F642614ED710E62B696DCC9768ED0BBA192640EBDB74B35C57365F90C4083346A602DCD0F6DD9428A682834E7002F15A513C15D7DA4297AE28746F14B3D817B3935A16A9EF56FC15C255233D79749911AEF3FED691A9F33E96E9519898DBF5E89DFA930E4E232040B99813A0170ABB4466CE43AFA52AAFF0B29682BCE06A1DB57885933594E1BC9B3555E0BCA7D515DF15892D5677F33ED6507217BA6015D57661622E2B348624BF49A139535CDA2A8E673C29D5DE4D72B29554C3D41113BC1F08B703C4543D724C615B2B0E26B7674A0D87E84C4F35B08D086A60EBD2D498F5EF1EB0554B219A94455D984E13AA2E4C2AA853906D98C0C66EC3EF516B15740E9A0C41418450265D692B547864F5655F0D0BCF44546A669CFEA64F7E2447DAF4C73AE38A429C4993C6C34850740501C940705710F7D4D7C33D11BF1E6A589149DDD021C309C269B4B6D42076750F4D09C8ED2174AB1CC2D14556578A9EFAAFA9C2502884FE05558BE898FE0AA85A1084B3B74B5DCEC0DFEE72B1C919C85D8B3E677839EA2E9FDB43FFAAA801ADC8BA02AC7ED560D5CF1EA961F070EAFEA781A9D3BA986DBFDD84DF5EE92C44F4787705AC01BD2E439B60D16580DF91E50A61B69CB80C6A407D0B2762C8700B8B36EE5C1E724E38E91601277084EF17029702C90160CD5B5B536E0FB583ED05E6C2C8B1644B5C42F0C192C58CB843F4EDC4E58E7857245F9D04817804E6B83BF2034B51D87AE7894C7844C67D2293F71219F6898C8C880CFDDB4486F590C8B0F299EC7E222312F5C8945031E0484A1117FF4722934A0E894C0D794C6AF64B64BF44F64B6437121993A2DBA3DC31A17AEA880C637711EC11D9D77FC5BCD99E');
CREATE TABLE trip_versions (
	trip_id VARCHAR(30) NOT NULL, 
	version INTEGER NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	document JSON NOT NULL, 
	created_at DATETIME NOT NULL, 
	CONSTRAINT pk_trip_versions PRIMARY KEY (trip_id, version), 
	CONSTRAINT fk_trip_versions_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT fk_trip_versions_account_id_trip_id_trips FOREIGN KEY(account_id, trip_id) REFERENCES trips (account_id, trip_id)
);
INSERT INTO "trip_versions" VALUES('trp_01m8k8zp7p7wbdkhe5jvvedsb4',1,'acc_local','{"trip":{"mark":"mrk_01m8k8znh3ra9vg5n1j0pgw980","start":"2026-05-02T17:30:00Z","end":"2026-05-02T21:15:00Z","time_precision_min":5,"purpose":"pleasure","drawn_peg":null,"place":"","target":[{"scientific_name":"Dicentrarchus labrax","fao_code":"BSS","local_name":"bass"}],"party":1,"others_rods":null,"others_fish":"","sea_seen":null,"clarity_seen":"tinge","weed_seen":"odd_strand","slack_seen":[],"why_left":"The ebb had run off.","outcome":"fished","why_not":null,"notes":""},"deployments":[{"ref":"near","rod":"first","start":"2026-05-02T17:40:00Z","end":"2026-05-02T20:50:00Z","method":"surf-short","aim":null,"changes":[],"reach":{"metres":60.0,"known":"guessed"},"line":null,"tangles":0,"snags":0,"gear_lost":"","casts":[{"out":"2026-05-02T17:45:00Z","in":"2026-05-02T18:10:00Z","bait_back":"crabbed"},{"out":"2026-05-02T18:14:00Z","in":"2026-05-02T18:42:00Z","bait_back":"stripped"}]},{"ref":"far","rod":"second","start":"2026-05-02T17:50:00Z","end":"2026-05-02T20:50:00Z","method":null,"aim":null,"changes":[],"reach":null,"line":null,"tangles":0,"snags":0,"gear_lost":"","casts":[]}],"bites":[{"ref":"b1","at":"2026-05-02T18:30:00Z","precision_min":5,"deployment":"near","kind":"slack_line","outcome":"missed"}],"catches":[{"ref":"c1","at":"2026-05-02T18:42:00Z","precision_min":5,"deployment":"near","species":{"scientific_name":"Dicentrarchus labrax","fao_code":"BSS","local_name":"bass"},"length":{"cm":47.0,"kind":"total","precision_cm":1.0},"weight":null,"hook_position":null,"fate":"returned","condition":"alive","notes":""}],"corrections":[]}','2026-11-29 09:08:11.126025');
CREATE TABLE "trips" (
	trip_id VARCHAR(30) NOT NULL, 
	mark_id VARCHAR(30) NOT NULL, 
	started_at DATETIME NOT NULL, 
	ended_at DATETIME, 
	local_day DATE NOT NULL, 
	outcome VARCHAR(12) NOT NULL, 
	method_ids TEXT NOT NULL, 
	account_id VARCHAR(30) NOT NULL, 
	external_ref VARCHAR(200), 
	version INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	updated_at DATETIME NOT NULL, 
	purpose VARCHAR(10) DEFAULT 'pleasure' NOT NULL, 
	why_not VARCHAR(12), 
	raw_us BIGINT, 
	bait_on_us BIGINT, 
	uncast_us BIGINT, 
	caught TEXT DEFAULT '' NOT NULL, 
	bests TEXT DEFAULT '' NOT NULL, 
	CONSTRAINT pk_trips PRIMARY KEY (trip_id), 
	CONSTRAINT fk_trips_account_id_mark_id_marks FOREIGN KEY(account_id, mark_id) REFERENCES marks (account_id, mark_id), 
	CONSTRAINT fk_trips_account_id_accounts FOREIGN KEY(account_id) REFERENCES accounts (account_id), 
	CONSTRAINT uq_trips_account_id_trip_id UNIQUE (account_id, trip_id), 
	CONSTRAINT uq_trips_account_id_external_ref UNIQUE (account_id, external_ref)
);
INSERT INTO "trips" VALUES('trp_01m8k8zp7p7wbdkhe5jvvedsb4','mrk_01m8k8znh3ra9vg5n1j0pgw980','2026-05-02 17:30:00.000000','2026-05-02 21:15:00.000000','2026-05-02','fished','','acc_local','trip-2026-05-02',1,'2026-11-29 09:08:11.126025','2026-11-29 09:08:11.126025','pleasure',NULL,22200000000,3180000000,10800000000,'[["Dicentrarchus labrax","BSS","bass",1,0,1]]','[["Dicentrarchus labrax","BSS","bass",47.0,"total",1.0,1777747320000000]]');
CREATE INDEX ix_species_rule_versions_account_id ON species_rule_versions (account_id);
CREATE INDEX ix_station_versions_account_id ON station_versions (account_id);
CREATE INDEX ix_mark_versions_account_id ON mark_versions (account_id);
CREATE INDEX ix_api_keys_account_id ON api_keys (account_id);
CREATE INDEX ix_jobs_state_job_id ON jobs (state, job_id);
CREATE UNIQUE INDEX uq_jobs_active ON jobs (account_id, kind, input_hash) WHERE state IN ('queued', 'running');
CREATE INDEX ix_fits_account_id_station_id ON fits (account_id, station_id);
CREATE INDEX ix_fits_account_id_job_id ON fits (account_id, job_id);
CREATE INDEX ix_marks_account_id_station_id ON marks (account_id, station_id);
CREATE INDEX ix_answers_account_id_created_at ON answers (account_id, created_at);
CREATE INDEX ix_imports_account_id_job_id ON imports (account_id, job_id);
CREATE INDEX ix_import_rows_told ON import_rows (import_id, client_ref) WHERE told IS NOT NULL;
CREATE INDEX ix_slack_notes_account_id_mark_id ON slack_notes (account_id, mark_id);
CREATE INDEX ix_slack_note_versions_account_id ON slack_note_versions (account_id);
CREATE INDEX ix_condition_issues_account_id_mark_id_ends_at ON condition_issues (account_id, mark_id, ends_at);
CREATE INDEX ix_condition_issues_account_id_area_ends_at ON condition_issues (account_id, area, ends_at);
CREATE INDEX ix_official_warnings_account_id_mark_id_ends_at ON official_warnings (account_id, mark_id, ends_at);
CREATE INDEX ix_official_warnings_account_id_area_ends_at ON official_warnings (account_id, area, ends_at);
CREATE INDEX ix_method_versions_account_id ON method_versions (account_id);
CREATE INDEX ix_safety_threshold_versions_account_id ON safety_threshold_versions (account_id);
CREATE INDEX ix_trip_versions_account_id ON trip_versions (account_id);
CREATE INDEX ix_diary_row_versions_account_id ON diary_row_versions (account_id);
CREATE INDEX ix_regulations_account_id_area ON regulations (account_id, area);
CREATE INDEX ix_regulation_versions_account_id ON regulation_versions (account_id);
CREATE INDEX ix_trips_account_id_started_at ON trips (account_id, started_at);
CREATE INDEX ix_trips_account_id_mark_id_started_at ON trips (account_id, mark_id, started_at);
CREATE INDEX ix_diary_rows_account_id_mark_id_local_day ON diary_rows (account_id, mark_id, local_day);
CREATE INDEX ix_trip_joins_rests_on ON trip_joins (account_id, mark_id, mark_version, station_id, station_version, stamp, stale);
CREATE INDEX ix_trip_joins_account_id_ended_at ON trip_joins (account_id, ended_at);
CREATE INDEX ix_trip_facts_account_id_trip_id ON trip_facts (account_id, trip_id);
CREATE INDEX ix_plans_account_id_job_id ON plans (account_id, job_id);
CREATE INDEX ix_plans_account_id_series ON plans (account_id, series);
CREATE INDEX ix_plan_marks_account_id_mark_id ON plan_marks (account_id, mark_id);
CREATE INDEX ix_plan_marks_account_id_result_hash ON plan_marks (account_id, result_hash);
CREATE INDEX ix_feeds_account_id ON feeds (account_id);
COMMIT;
