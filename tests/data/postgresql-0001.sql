-- A journal as version 0001 of the tables wrote it on a PostgreSQL server, with a row of each kind: the same rows as journal-0001.sql.
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
INSERT INTO card VALUES (1, 'window', '', 'size = 1', '2026-03-02 08:00:00');
INSERT INTO card VALUES (2, 'window', 'A1', 'size = 2', '2026-03-02 08:00:00');
INSERT INTO entry VALUES (1, 1, 'recipe', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:00:00', '{"oils":[{"key":"olive","grams":700.0,"lot":"L1","certificate_sv":188.0,"certificate_sv_half_width":1.5},{"key":"coconut","grams":300.0,"lot":"","certificate_sv":null,"certificate_sv_half_width":1.0}],"alkalis":[{"kind":"NaOH","grams":140.0,"purity_low_pct":97.0,"purity_high_pct":99.0,"lot":"N7"}],"liquids":[{"name":"water","grams":300.0,"water_fraction":1.0,"fat_fraction":0.0,"lot":""},{"name":"goat milk","grams":50.0,"water_fraction":0.87,"fat_fraction":0.04,"lot":""}],"additives":[{"name":"lavender oil","kind":"fragrance","grams":30.0,"portion":"top","lot":"F2"}]}', NULL, NULL);
INSERT INTO entry VALUES (2, 1, 'portion', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:00:00', '{"name":"base","order":0,"intended_lab":[82.0,1.5,14.0],"intended_source":"cured earlier batch","tolerance":2.5,"control":false}', NULL, NULL);
INSERT INTO entry VALUES (3, 1, 'portion', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:00:00', '{"name":"top","order":1,"intended_lab":null,"intended_source":null,"tolerance":3.0,"control":true}', NULL, NULL);
INSERT INTO entry VALUES (4, 1, 'event', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:00:00', '{"kind":"poured","portion":"","note":"note\nwith \"quotes\"","temperature_c":38.5,"bars":null}', NULL, NULL);
INSERT INTO entry VALUES (5, 1, 'event', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:00:00', '{"kind":"cut","portion":"","note":"","temperature_c":null,"bars":12}', NULL, NULL);
INSERT INTO entry VALUES (6, 1, 'colour', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:00:00', '{"portion":"base","lab":[80.1,2.25,15.5],"covariance":[[1.0,0.1,0.0],[0.1,0.5,0.0],[0.0,0.0,0.75]],"grade":"measured","reasons":["a reason"],"pixels":12345,"spread":[0.5,0.25,0.75],"card":"window","area":"area 1","corners":[[0.0,0.0],[10.5,0.0],[10.5,10.5],[0.0,10.5]],"model":"affine","software":"0.1.0"}', NULL, '65892be10983370462badce4d0fa9c9dee0cf6f5173e07f5ea53d763c818b826');
INSERT INTO entry VALUES (7, 1, 'photo', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:00:00', '{"caption":"cut face","why_no_colour":"the white patch is burnt out"}', NULL, '65892be10983370462badce4d0fa9c9dee0cf6f5173e07f5ea53d763c818b826');
INSERT INTO entry VALUES (8, 1, 'weighing', '2026-03-02 08:30:00', 120, 'Ana', '2026-03-02 08:00:00', '{"subject":"bar 1","grams":1015.0,"resolution_g":1.0,"tare_g":0.0,"bars":1,"confirmed":false}', NULL, NULL);
INSERT INTO entry VALUES (9, 1, 'weighing', '2026-03-02 08:30:00', 120, 'Ben', '2026-03-02 08:00:00', '{"subject":"bar 1","grams":101.5,"resolution_g":0.5,"tare_g":2.0,"bars":3,"confirmed":true}', 8, NULL);
INSERT INTO entry VALUES (10, 1, 'alkali test', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:00:00', '{"method":"titration","ph":null,"half_width":null,"strength_pct":null,"temperature_c":null,"soap_g":5.0,"acid_ml":[0.5,0.55],"acid_mol_l":0.1,"blank_ml":0.05,"bar_weight_g":100.0}', NULL, NULL);
INSERT INTO entry VALUES (11, 1, 'surface', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:00:00', '{"look":"ash","count":3,"area_pct":1.5,"note":"edges"}', NULL, NULL);
INSERT INTO entry VALUES (12, 1, 'withdrawn', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:00:00', '{"why":"another batch"}', 11, NULL);
INSERT INTO entry VALUES (13, 1, 'reading', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:00:00', '{"kind":"room humidity","value":55.0}', NULL, NULL);
INSERT INTO entry VALUES (14, 1, 'decision', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:00:00', '{"act":"hold","signed_by":"Ana","statement":"held","rules_version":"1","evidence":"{}"}', NULL, NULL);
INSERT INTO photo VALUES ('65892be10983370462badce4d0fa9c9dee0cf6f5173e07f5ea53d763c818b826', '.jpg', 12, 4000, 3000, '2026-03-01 08:30:00', 120, 'exif', 'IMG_1.jpg', '2026-03-02 08:00:00');
INSERT INTO setting VALUES (1, 'house rules', '{"days": 28}', '2026-03-02 08:00:00');
INSERT INTO setting VALUES (2, 'house rules', '{"days": 35}', '2026-03-02 08:00:00');
SELECT pg_catalog.setval('batch_id_seq', 1, true);
SELECT pg_catalog.setval('card_id_seq', 2, true);
SELECT pg_catalog.setval('entry_id_seq', 14, true);
SELECT pg_catalog.setval('setting_id_seq', 2, true);
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
