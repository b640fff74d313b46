-- The same journal as before-0002-sqlite.sql, as version 0001 of the tables wrote it on a PostgreSQL server.
CREATE FUNCTION journal_only_grows() RETURNS trigger
    LANGUAGE plpgsql
    AS $$ BEGIN RAISE EXCEPTION 'the journal only grows'; END $$;
CREATE TABLE alembic_version (
    version_num character varying(32) NOT NULL
);
CREATE TABLE batch (
    id integer NOT NULL,
    code character varying(40) NOT NULL,
    name character varying(120) NOT NULL,
    started_at_utc timestamp without time zone NOT NULL,
    started_at_offset_minutes integer NOT NULL,
    author character varying(80) NOT NULL,
    recorded_at_utc timestamp without time zone NOT NULL
);
CREATE SEQUENCE batch_id_seq
    AS integer
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1;
ALTER SEQUENCE batch_id_seq OWNED BY batch.id;
CREATE TABLE card (
    id integer NOT NULL,
    name character varying(80) NOT NULL,
    copy_id character varying(80) NOT NULL,
    toml text NOT NULL,
    added_at_utc timestamp without time zone NOT NULL
);
CREATE SEQUENCE card_id_seq
    AS integer
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1;
ALTER SEQUENCE card_id_seq OWNED BY card.id;
CREATE TABLE entry (
    id integer NOT NULL,
    batch_id integer NOT NULL,
    kind character varying(40) NOT NULL,
    at_utc timestamp without time zone NOT NULL,
    at_offset_minutes integer NOT NULL,
    author character varying(80) NOT NULL,
    recorded_at_utc timestamp without time zone NOT NULL,
    record text NOT NULL,
    supersedes integer,
    photo_sha256 character varying(64)
);
CREATE SEQUENCE entry_id_seq
    AS integer
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1;
ALTER SEQUENCE entry_id_seq OWNED BY entry.id;
CREATE TABLE photo (
    sha256 character varying(64) NOT NULL,
    suffix character varying(8) NOT NULL,
    size bigint NOT NULL,
    width integer NOT NULL,
    height integer NOT NULL,
    taken_at_utc timestamp without time zone,
    taken_at_offset_minutes integer,
    taken_from character varying(20),
    original_name text NOT NULL,
    received_at_utc timestamp without time zone NOT NULL
);
CREATE TABLE setting (
    id integer NOT NULL,
    name character varying(80) NOT NULL,
    value text NOT NULL,
    set_at_utc timestamp without time zone NOT NULL
);
CREATE SEQUENCE setting_id_seq
    AS integer
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1;
ALTER SEQUENCE setting_id_seq OWNED BY setting.id;
ALTER TABLE ONLY batch ALTER COLUMN id SET DEFAULT nextval('batch_id_seq'::regclass);
ALTER TABLE ONLY card ALTER COLUMN id SET DEFAULT nextval('card_id_seq'::regclass);
ALTER TABLE ONLY entry ALTER COLUMN id SET DEFAULT nextval('entry_id_seq'::regclass);
ALTER TABLE ONLY setting ALTER COLUMN id SET DEFAULT nextval('setting_id_seq'::regclass);
INSERT INTO alembic_version VALUES ('0001');
INSERT INTO batch VALUES (1, 'Мыло-1', 'Овсяное <b>oat</b> 🧼', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:00:00');
INSERT INTO batch VALUES (2, 'B-2', 'Rose', '2026-03-02 08:30:00', 120, 'Ben', '2026-03-02 08:04:00');
INSERT INTO card VALUES (1, 'window-A1', 'A1', 'size = 1', '2026-03-02 08:26:00');
INSERT INTO card VALUES (2, 'window-A1', 'A1', 'size = 2', '2026-03-02 08:27:00');
INSERT INTO card VALUES (3, 'mine', '', 'size = 3', '2026-03-02 08:28:00');
INSERT INTO entry VALUES (1, 1, 'recipe', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:01:00', '{"oils":[{"key":"olive","grams":700.0,"lot":"L1","certificate_sv":188.0,"certificate_sv_half_width":1.5},{"key":"coconut","grams":300.0,"lot":"","certificate_sv":null,"certificate_sv_half_width":1.0}],"alkalis":[{"kind":"NaOH","grams":140.0,"purity_low_pct":97.0,"purity_high_pct":99.0,"lot":"N7"}],"liquids":[{"name":"water","grams":300.0,"water_fraction":1.0,"fat_fraction":0.0,"lot":""},{"name":"goat milk","grams":50.0,"water_fraction":0.87,"fat_fraction":0.04,"lot":""}],"additives":[{"name":"lavender oil","kind":"fragrance","grams":30.0,"portion":"top","lot":"F2"}],"embeds":[],"batter":[]}', NULL, NULL);
INSERT INTO entry VALUES (2, 1, 'portion', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:02:00', '{"name":"base","order":0,"intended_lab":[82.0,1.5,14.0],"intended_source":"cured earlier batch","tolerance":2.5,"control":false,"intended_from":"B-0, base","intended_card":"window-A1","intended_sd":0.4}', NULL, NULL);
INSERT INTO entry VALUES (3, 1, 'portion', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:03:00', '{"name":"top","order":1,"intended_lab":null,"intended_source":null,"tolerance":3.0,"control":true,"intended_from":"","intended_card":"","intended_sd":0.0}', NULL, NULL);
INSERT INTO entry VALUES (4, 2, 'recipe', '2026-03-02 08:30:00', 120, 'Ben', '2026-03-02 08:05:00', '{"oils":[{"key":"olive","grams":700.0,"lot":"L1","certificate_sv":188.0,"certificate_sv_half_width":1.5},{"key":"coconut","grams":300.0,"lot":"","certificate_sv":null,"certificate_sv_half_width":1.0}],"alkalis":[{"kind":"NaOH","grams":140.0,"purity_low_pct":97.0,"purity_high_pct":99.0,"lot":"N7"}],"liquids":[{"name":"water","grams":300.0,"water_fraction":1.0,"fat_fraction":0.0,"lot":""},{"name":"goat milk","grams":50.0,"water_fraction":0.87,"fat_fraction":0.04,"lot":""}],"additives":[],"embeds":[{"batch":"Мыло-1","grams":120.0,"portion":"","water_low_fraction":0.2,"water_high_fraction":0.3}],"batter":[{"portion":"base","grams":400.0}]}', NULL, NULL);
INSERT INTO entry VALUES (5, 1, 'event', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:09:00', '{"kind":"poured","portion":"","note":"note\nwith \"quotes\"","temperature_c":38.5,"bars":null}', NULL, NULL);
INSERT INTO entry VALUES (6, 1, 'event', '2026-03-02 08:30:00', 120, 'Ana', '2026-03-02 08:10:00', '{"kind":"cut","portion":"","note":"","temperature_c":null,"bars":12}', NULL, NULL);
INSERT INTO entry VALUES (7, 1, 'photo', '2026-03-02 08:30:00', 120, 'Ana', '2026-03-02 08:11:00', '{"caption":"cut face","why_no_colour":"","card":"window","patch_errors":[["grey-1",0.5],["grey-2",0.7]]}', NULL, 'cf608f5146bb67ac492f5ba5615d48fa16b891358d219eeaf33b6438eec9e8d3');
INSERT INTO entry VALUES (8, 1, 'colour', '2026-03-02 08:30:00', 120, 'Ana', '2026-03-02 08:12:00', '{"portion":"base","lab":[80.1,2.25,15.5],"covariance":[[1.0,0.1,0.0],[0.1,0.5,0.0],[0.0,0.0,0.75]],"grade":"measured","reasons":["a reason"],"pixels":12345,"spread":[0.5,0.25,0.75],"card":"window","area":"[[0,0],[10,0],[10,10]]","corners":[[0.0,0.0],[10.5,0.0],[10.5,10.5],[0.0,10.5]],"model":"affine","software":"0.1.0"}', NULL, 'cf608f5146bb67ac492f5ba5615d48fa16b891358d219eeaf33b6438eec9e8d3');
INSERT INTO entry VALUES (9, 1, 'weighing', '2026-03-02 08:30:00', 120, 'Ana', '2026-03-02 08:13:00', '{"subject":"bar 1","grams":1015.0,"resolution_g":1.0,"tare_g":0.0,"bars":1,"confirmed":false}', NULL, NULL);
INSERT INTO entry VALUES (10, 1, 'weighing', '2026-03-02 08:30:00', 120, 'Ben', '2026-03-02 08:14:00', '{"subject":"bar 1","grams":101.5,"resolution_g":0.5,"tare_g":2.0,"bars":3,"confirmed":true}', 9, NULL);
INSERT INTO entry VALUES (11, 1, 'alkali test', '2026-03-03 08:30:00', 120, 'Ana', '2026-03-02 08:15:00', '{"method":"titration","ph":null,"half_width":null,"strength_pct":null,"temperature_c":null,"soap_g":5.0,"acid_ml":[0.5,0.55],"acid_mol_l":0.1,"blank_ml":0.05,"bar_weight_g":100.0}', NULL, NULL);
INSERT INTO entry VALUES (12, 1, 'alkali test', '2026-03-03 08:30:00', 120, 'Ana', '2026-03-02 08:16:00', '{"method":"strip","ph":9.5,"half_width":0.5,"strength_pct":1.0,"temperature_c":21.0,"soap_g":null,"acid_ml":[],"acid_mol_l":null,"blank_ml":0.0,"bar_weight_g":null}', NULL, 'ed31366dc8c117b6df7b5d19831bdb0ce4e990dbedfa974ff2455473cd37e581');
INSERT INTO entry VALUES (13, 1, 'surface', '2026-03-03 08:30:00', 120, 'Ana', '2026-03-02 08:17:00', '{"look":"ash","count":3,"area_pct":1.5,"note":"edges"}', NULL, NULL);
INSERT INTO entry VALUES (14, 1, 'withdrawn', '2026-03-03 08:30:00', 120, 'Ben', '2026-03-02 08:18:00', '{"why":"another batch"}', 13, NULL);
INSERT INTO entry VALUES (15, 1, 'surface', '2026-03-04 08:30:00', 120, 'Ana', '2026-03-02 08:19:00', '{"look":"clear","count":null,"area_pct":null,"note":""}', NULL, NULL);
INSERT INTO entry VALUES (16, 1, 'withdrawn', '2026-03-04 08:30:00', 120, 'Ana', '2026-03-02 08:20:00', '{"why":"not seen"}', 15, NULL);
INSERT INTO entry VALUES (17, 1, 'reading', '2026-03-02 08:30:00', 120, 'Ana', '2026-03-02 08:21:00', '{"kind":"room humidity","value":55.0}', NULL, NULL);
INSERT INTO entry VALUES (18, 1, 'renamed', '2026-03-05 08:30:00', 120, 'Ana', '2026-03-02 08:22:00', '{"name":"Oat and honey"}', NULL, NULL);
INSERT INTO entry VALUES (19, 1, 'decision', '2026-03-31 08:30:00', 120, 'Ana', '2026-03-02 08:23:00', '{"act":"release","signed_by":"Ana","statement":"ready as judged","rules_version":"2-b59249ac","evidence":"{\"verdict\": \"ready\", \"said\": \"\\\"act\\\"\"}"}', NULL, NULL);
INSERT INTO entry VALUES (20, 1, 'bars out', '2026-04-01 08:30:00', 120, 'Ana', '2026-03-02 08:24:00', '{"bars":3,"to":"the market","why":"sold","note":""}', NULL, NULL);
INSERT INTO entry VALUES (21, 2, 'decision', '2026-03-10 08:30:00', 120, 'Ben', '2026-03-02 08:25:00', '{"act":"hold","signed_by":"Ben","statement":"spots","rules_version":"1-00000000","evidence":"{}"}', NULL, NULL);
INSERT INTO photo VALUES ('cf608f5146bb67ac492f5ba5615d48fa16b891358d219eeaf33b6438eec9e8d3', '.jpg', 11, 4000, 3000, '2026-03-02 08:30:00', 120, 'exif', 'IMG_1.jpg', '2026-03-02 08:06:00');
INSERT INTO photo VALUES ('08518b71617eb0b46c053f3766069649f664e9a3fbaca168d6a861fbec870082', '.heic', 11, 3000, 4000, NULL, NULL, NULL, 'IMG_2.heic', '2026-03-02 08:07:00');
INSERT INTO photo VALUES ('ed31366dc8c117b6df7b5d19831bdb0ce4e990dbedfa974ff2455473cd37e581', '.png', 11, 300, 400, '2026-03-01 08:30:00', 120, 'file name', '20260301_1030.png', '2026-03-02 08:08:00');
INSERT INTO setting VALUES (1, 'time zone', '"Europe/Lisbon"', '2026-03-02 08:29:00');
INSERT INTO setting VALUES (2, 'place', '"The invented shed"', '2026-03-02 08:30:00');
INSERT INTO setting VALUES (3, 'house rules', '{"check_weekly_days": 7, "colour_days_apart": 5, "free_alkali_pct": 0.05, "loss_pct_week": 1.0, "min_age_days": 35, "ph_usual_to": 10.5, "weighings_days_apart": 7}', '2026-03-02 08:31:00');
INSERT INTO setting VALUES (4, 'house rules', '{"check_weekly_days": 7, "colour_days_apart": 5, "free_alkali_pct": 0.05, "loss_pct_week": 1.0, "min_age_days": 40, "ph_usual_to": 10.5, "weighings_days_apart": 7}', '2026-03-02 08:32:00');
INSERT INTO setting VALUES (5, 'habits', '{"dates": "2026-12-03", "language": "en", "units": "oz and \u00b0F"}', '2026-03-02 08:33:00');
INSERT INTO setting VALUES (6, 'people', '["Ana", "Ben"]', '2026-03-02 08:34:00');
INSERT INTO setting VALUES (7, 'backup folder', '"/media/stick"', '2026-03-02 08:35:00');
INSERT INTO setting VALUES (8, 'calendar stands at', '"2026-05-01T12:00:00+01:00"', '2026-03-02 08:36:00');
INSERT INTO setting VALUES (9, 'tag id', '"ABCDEF"', '2026-03-02 08:37:00');
INSERT INTO setting VALUES (10, 'photo 08518b71617eb0b46c053f3766069649f664e9a3fbaca168d6a861fbec870082', '{"after": 0, "areas": null, "aside": "", "at": null, "batch": "B-2", "by": "Ana", "colour": true, "confirmed": [], "portions": null}', '2026-03-02 08:38:00');
INSERT INTO setting VALUES (11, 'photo 08518b71617eb0b46c053f3766069649f664e9a3fbaca168d6a861fbec870082', '{"after": 3, "areas": {"base": [[0.0, 0.0], [10.0, 0.0], [10.0, 10.0]]}, "aside": "", "at": "2026-03-03T09:00:00+00:00", "batch": "B-2", "by": "Ben", "colour": true, "confirmed": ["colour", "copy"], "portions": ["base"]}', '2026-03-02 08:39:00');
INSERT INTO setting VALUES (12, 'photo ed31366dc8c117b6df7b5d19831bdb0ce4e990dbedfa974ff2455473cd37e581', '{"after": 0, "areas": null, "aside": "a finger", "at": null, "batch": null, "by": "Ana", "colour": true, "confirmed": [], "portions": null}', '2026-03-02 08:40:00');
INSERT INTO setting VALUES (13, 'photo 0000000000000000000000000000000000000000000000000000000000000000', '{"by": "Ana"}', '2026-03-02 08:41:00');
INSERT INTO setting VALUES (14, 'strip keys', '{"blue": {"card": "window", "lot": "L-1", "name": "blue", "steps": [{"covariance": [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], "lab": [60.0, 10.0, 40.0], "ph": 7.0}, {"covariance": [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], "lab": [40.0, -10.0, 20.0], "ph": 10.0}]}}', '2026-03-02 08:42:00');
INSERT INTO setting VALUES (15, 'strip keys', '{"blue": {"card": "window", "lot": "L-1", "name": "blue", "steps": [{"covariance": [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], "lab": [60.0, 10.0, 40.0], "ph": 7.0}, {"covariance": [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], "lab": [40.0, -10.0, 20.0], "ph": 10.0}]}, "green": {"card": "window", "lot": "L-2", "name": "green", "steps": [{"covariance": [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], "lab": [60.0, 10.0, 40.0], "ph": 7.0}, {"covariance": [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], "lab": [40.0, -10.0, 20.0], "ph": 10.0}]}}', '2026-03-02 08:43:00');
INSERT INTO setting VALUES (16, 'strip keys', '{"blue": {"card": "window", "lot": "L-3", "name": "blue", "steps": [{"covariance": [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], "lab": [60.0, 10.0, 40.0], "ph": 7.0}, {"covariance": [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], "lab": [40.0, -10.0, 20.0], "ph": 10.0}]}, "green": {"card": "window", "lot": "L-2", "name": "green", "steps": [{"covariance": [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], "lab": [60.0, 10.0, 40.0], "ph": 7.0}, {"covariance": [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], "lab": [40.0, -10.0, 20.0], "ph": 10.0}]}}', '2026-03-02 08:44:00');
SELECT pg_catalog.setval('batch_id_seq', 2, true);
SELECT pg_catalog.setval('card_id_seq', 3, true);
SELECT pg_catalog.setval('entry_id_seq', 21, true);
SELECT pg_catalog.setval('setting_id_seq', 16, true);
ALTER TABLE ONLY alembic_version
    ADD CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num);
ALTER TABLE ONLY batch
    ADD CONSTRAINT pk_batch PRIMARY KEY (id);
ALTER TABLE ONLY card
    ADD CONSTRAINT pk_card PRIMARY KEY (id);
ALTER TABLE ONLY entry
    ADD CONSTRAINT pk_entry PRIMARY KEY (id);
ALTER TABLE ONLY photo
    ADD CONSTRAINT pk_photo PRIMARY KEY (sha256);
ALTER TABLE ONLY setting
    ADD CONSTRAINT pk_setting PRIMARY KEY (id);
ALTER TABLE ONLY batch
    ADD CONSTRAINT uq_batch_code UNIQUE (code);
ALTER TABLE ONLY entry
    ADD CONSTRAINT uq_entry_supersedes UNIQUE (supersedes);
CREATE INDEX ix_card_name_id ON card USING btree (name, id);
CREATE INDEX ix_entry_batch_id_at_utc_at_offset_minutes ON entry USING btree (batch_id, at_utc, at_offset_minutes);
CREATE INDEX ix_entry_batch_id_kind_at_utc ON entry USING btree (batch_id, kind, at_utc);
CREATE INDEX ix_entry_photo_sha256 ON entry USING btree (photo_sha256);
CREATE INDEX ix_setting_name_id ON setting USING btree (name, id);
CREATE TRIGGER batch_keeps BEFORE DELETE OR UPDATE OR TRUNCATE ON batch FOR EACH STATEMENT EXECUTE FUNCTION journal_only_grows();
CREATE TRIGGER card_keeps BEFORE DELETE OR UPDATE OR TRUNCATE ON card FOR EACH STATEMENT EXECUTE FUNCTION journal_only_grows();
CREATE TRIGGER entry_keeps BEFORE DELETE OR UPDATE OR TRUNCATE ON entry FOR EACH STATEMENT EXECUTE FUNCTION journal_only_grows();
CREATE TRIGGER photo_keeps BEFORE DELETE OR UPDATE OR TRUNCATE ON photo FOR EACH STATEMENT EXECUTE FUNCTION journal_only_grows();
CREATE TRIGGER setting_keeps BEFORE DELETE OR UPDATE OR TRUNCATE ON setting FOR EACH STATEMENT EXECUTE FUNCTION journal_only_grows();
ALTER TABLE ONLY entry
    ADD CONSTRAINT fk_entry_batch_id_batch FOREIGN KEY (batch_id) REFERENCES batch(id);
ALTER TABLE ONLY entry
    ADD CONSTRAINT fk_entry_photo_sha256_photo FOREIGN KEY (photo_sha256) REFERENCES photo(sha256);
ALTER TABLE ONLY entry
    ADD CONSTRAINT fk_entry_supersedes_entry FOREIGN KEY (supersedes) REFERENCES entry(id);
