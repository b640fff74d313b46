-- A journal as version 0001 of the tables wrote it, with a row of each kind. Kept for the upgrades to come; the people in it are invented.
BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0001');
CREATE TABLE batch (
	id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	code VARCHAR(40) NOT NULL, 
	name VARCHAR(120) NOT NULL, 
	started_at_utc DATETIME NOT NULL, 
	started_at_offset_minutes INTEGER NOT NULL, 
	author VARCHAR(80) NOT NULL, 
	recorded_at_utc DATETIME NOT NULL, 
	CONSTRAINT uq_batch_code UNIQUE (code)
);
INSERT INTO "batch" VALUES(1,'Мыло-1','Овсяное <b>oat</b> 🧼','2026-03-01 08:30:00.000000',120,'Ana','2026-03-02 08:00:00.000000');
CREATE TABLE card (
	id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	name VARCHAR(80) NOT NULL, 
	copy_id VARCHAR(80) NOT NULL, 
	toml TEXT NOT NULL, 
	added_at_utc DATETIME NOT NULL
);
INSERT INTO "card" VALUES(1,'window','','size = 1','2026-03-02 08:00:00.000000');
INSERT INTO "card" VALUES(2,'window','A1','size = 2','2026-03-02 08:00:00.000000');
CREATE TABLE entry (
	id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	batch_id INTEGER NOT NULL, 
	kind VARCHAR(40) NOT NULL, 
	at_utc DATETIME NOT NULL, 
	at_offset_minutes INTEGER NOT NULL, 
	author VARCHAR(80) NOT NULL, 
	recorded_at_utc DATETIME NOT NULL, 
	record TEXT NOT NULL, 
	supersedes INTEGER, 
	photo_sha256 VARCHAR(64), 
	CONSTRAINT fk_entry_batch_id_batch FOREIGN KEY(batch_id) REFERENCES batch (id), 
	CONSTRAINT fk_entry_supersedes_entry FOREIGN KEY(supersedes) REFERENCES entry (id), 
	CONSTRAINT fk_entry_photo_sha256_photo FOREIGN KEY(photo_sha256) REFERENCES photo (sha256), 
	CONSTRAINT uq_entry_supersedes UNIQUE (supersedes)
);
INSERT INTO "entry" VALUES(1,1,'recipe','2026-03-01 08:30:00.000000',120,'Ana','2026-03-02 08:00:00.000000','{"oils":[{"key":"olive","grams":700.0,"lot":"L1","certificate_sv":188.0,"certificate_sv_half_width":1.5},{"key":"coconut","grams":300.0,"lot":"","certificate_sv":null,"certificate_sv_half_width":1.0}],"alkalis":[{"kind":"NaOH","grams":140.0,"purity_low_pct":97.0,"purity_high_pct":99.0,"lot":"N7"}],"liquids":[{"name":"water","grams":300.0,"water_fraction":1.0,"fat_fraction":0.0,"lot":""},{"name":"goat milk","grams":50.0,"water_fraction":0.87,"fat_fraction":0.04,"lot":""}],"additives":[{"name":"lavender oil","kind":"fragrance","grams":30.0,"portion":"top","lot":"F2"}]}',NULL,NULL);
INSERT INTO "entry" VALUES(2,1,'portion','2026-03-01 08:30:00.000000',120,'Ana','2026-03-02 08:00:00.000000','{"name":"base","order":0,"intended_lab":[82.0,1.5,14.0],"intended_source":"cured earlier batch","tolerance":2.5,"control":false}',NULL,NULL);
INSERT INTO "entry" VALUES(3,1,'portion','2026-03-01 08:30:00.000000',120,'Ana','2026-03-02 08:00:00.000000','{"name":"top","order":1,"intended_lab":null,"intended_source":null,"tolerance":3.0,"control":true}',NULL,NULL);
INSERT INTO "entry" VALUES(4,1,'event','2026-03-01 08:30:00.000000',120,'Ana','2026-03-02 08:00:00.000000','{"kind":"poured","portion":"","note":"note\nwith \"quotes\"","temperature_c":38.5,"bars":null}',NULL,NULL);
INSERT INTO "entry" VALUES(5,1,'event','2026-03-01 08:30:00.000000',120,'Ana','2026-03-02 08:00:00.000000','{"kind":"cut","portion":"","note":"","temperature_c":null,"bars":12}',NULL,NULL);
INSERT INTO "entry" VALUES(6,1,'colour','2026-03-01 08:30:00.000000',120,'Ana','2026-03-02 08:00:00.000000','{"portion":"base","lab":[80.1,2.25,15.5],"covariance":[[1.0,0.1,0.0],[0.1,0.5,0.0],[0.0,0.0,0.75]],"grade":"measured","reasons":["a reason"],"pixels":12345,"spread":[0.5,0.25,0.75],"card":"window","area":"area 1","corners":[[0.0,0.0],[10.5,0.0],[10.5,10.5],[0.0,10.5]],"model":"affine","software":"0.1.0"}',NULL,'65892be10983370462badce4d0fa9c9dee0cf6f5173e07f5ea53d763c818b826');
INSERT INTO "entry" VALUES(7,1,'photo','2026-03-01 08:30:00.000000',120,'Ana','2026-03-02 08:00:00.000000','{"caption":"cut face","why_no_colour":"the white patch is burnt out"}',NULL,'65892be10983370462badce4d0fa9c9dee0cf6f5173e07f5ea53d763c818b826');
INSERT INTO "entry" VALUES(8,1,'weighing','2026-03-02 08:30:00.000000',120,'Ana','2026-03-02 08:00:00.000000','{"subject":"bar 1","grams":1015.0,"resolution_g":1.0,"tare_g":0.0,"bars":1,"confirmed":false}',NULL,NULL);
INSERT INTO "entry" VALUES(9,1,'weighing','2026-03-02 08:30:00.000000',120,'Ben','2026-03-02 08:00:00.000000','{"subject":"bar 1","grams":101.5,"resolution_g":0.5,"tare_g":2.0,"bars":3,"confirmed":true}',8,NULL);
INSERT INTO "entry" VALUES(10,1,'alkali test','2026-03-01 08:30:00.000000',120,'Ana','2026-03-02 08:00:00.000000','{"method":"titration","ph":null,"half_width":null,"strength_pct":null,"temperature_c":null,"soap_g":5.0,"acid_ml":[0.5,0.55],"acid_mol_l":0.1,"blank_ml":0.05,"bar_weight_g":100.0}',NULL,NULL);
INSERT INTO "entry" VALUES(11,1,'surface','2026-03-01 08:30:00.000000',120,'Ana','2026-03-02 08:00:00.000000','{"look":"ash","count":3,"area_pct":1.5,"note":"edges"}',NULL,NULL);
INSERT INTO "entry" VALUES(12,1,'withdrawn','2026-03-01 08:30:00.000000',120,'Ana','2026-03-02 08:00:00.000000','{"why":"another batch"}',11,NULL);
INSERT INTO "entry" VALUES(13,1,'reading','2026-03-01 08:30:00.000000',120,'Ana','2026-03-02 08:00:00.000000','{"kind":"room humidity","value":55.0}',NULL,NULL);
INSERT INTO "entry" VALUES(14,1,'decision','2026-03-01 08:30:00.000000',120,'Ana','2026-03-02 08:00:00.000000','{"act":"hold","signed_by":"Ana","statement":"held","rules_version":"1","evidence":"{}"}',NULL,NULL);
CREATE TABLE photo (
	sha256 VARCHAR(64) NOT NULL, 
	suffix VARCHAR(8) NOT NULL, 
	size BIGINT NOT NULL, 
	width INTEGER NOT NULL, 
	height INTEGER NOT NULL, 
	taken_at_utc DATETIME, 
	taken_at_offset_minutes INTEGER, 
	taken_from VARCHAR(20), 
	original_name TEXT NOT NULL, 
	received_at_utc DATETIME NOT NULL, 
	CONSTRAINT pk_photo PRIMARY KEY (sha256)
);
INSERT INTO "photo" VALUES('65892be10983370462badce4d0fa9c9dee0cf6f5173e07f5ea53d763c818b826','.jpg',12,4000,3000,'2026-03-01 08:30:00.000000',120,'exif','IMG_1.jpg','2026-03-02 08:00:00.000000');
CREATE TABLE setting (
	id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	name VARCHAR(80) NOT NULL, 
	value TEXT NOT NULL, 
	set_at_utc DATETIME NOT NULL
);
INSERT INTO "setting" VALUES(1,'house rules','{"days": 28}','2026-03-02 08:00:00.000000');
INSERT INTO "setting" VALUES(2,'house rules','{"days": 35}','2026-03-02 08:00:00.000000');
CREATE INDEX ix_entry_batch_id_kind_at_utc ON entry (batch_id, kind, at_utc);
CREATE INDEX ix_entry_batch_id_at_utc_at_offset_minutes ON entry (batch_id, at_utc, at_offset_minutes);
CREATE INDEX ix_entry_photo_sha256 ON entry (photo_sha256);
CREATE INDEX ix_card_name_id ON card (name, id);
CREATE INDEX ix_setting_name_id ON setting (name, id);
CREATE TRIGGER batch_keeps_on_update BEFORE UPDATE ON batch BEGIN SELECT RAISE(ABORT, 'the journal only grows'); END;
CREATE TRIGGER batch_keeps_on_delete BEFORE DELETE ON batch BEGIN SELECT RAISE(ABORT, 'the journal only grows'); END;
CREATE TRIGGER photo_keeps_on_update BEFORE UPDATE ON photo BEGIN SELECT RAISE(ABORT, 'the journal only grows'); END;
CREATE TRIGGER photo_keeps_on_delete BEFORE DELETE ON photo BEGIN SELECT RAISE(ABORT, 'the journal only grows'); END;
CREATE TRIGGER entry_keeps_on_update BEFORE UPDATE ON entry BEGIN SELECT RAISE(ABORT, 'the journal only grows'); END;
CREATE TRIGGER entry_keeps_on_delete BEFORE DELETE ON entry BEGIN SELECT RAISE(ABORT, 'the journal only grows'); END;
CREATE TRIGGER card_keeps_on_update BEFORE UPDATE ON card BEGIN SELECT RAISE(ABORT, 'the journal only grows'); END;
CREATE TRIGGER card_keeps_on_delete BEFORE DELETE ON card BEGIN SELECT RAISE(ABORT, 'the journal only grows'); END;
CREATE TRIGGER setting_keeps_on_update BEFORE UPDATE ON setting BEGIN SELECT RAISE(ABORT, 'the journal only grows'); END;
CREATE TRIGGER setting_keeps_on_delete BEFORE DELETE ON setting BEGIN SELECT RAISE(ABORT, 'the journal only grows'); END;
DELETE FROM "sqlite_sequence";
INSERT INTO "sqlite_sequence" VALUES('batch',1);
INSERT INTO "sqlite_sequence" VALUES('entry',14);
INSERT INTO "sqlite_sequence" VALUES('card',2);
INSERT INTO "sqlite_sequence" VALUES('setting',2);
COMMIT;
