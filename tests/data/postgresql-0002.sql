-- The same journal as journal-0002.sql, as version 0002 of the tables wrote it on a PostgreSQL server.
CREATE FUNCTION contact_only_blanks() RETURNS trigger
    LANGUAGE plpgsql
    AS $$ BEGIN IF NEW.id IS NOT DISTINCT FROM OLD.id AND NEW.first_id IS NOT DISTINCT FROM OLD.first_id AND NEW.words_hash IS NOT DISTINCT FROM OLD.words_hash AND NEW.author IS NOT DISTINCT FROM OLD.author AND NEW.recorded_at_utc IS NOT DISTINCT FROM OLD.recorded_at_utc AND NEW.name = '' AND NEW.details = '' AND NEW.salt = '' THEN RETURN NEW; END IF; RAISE EXCEPTION 'the journal only grows'; END $$;
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
CREATE TABLE contact (
    id integer NOT NULL,
    first_id integer,
    name text NOT NULL,
    details text NOT NULL,
    salt character varying(64) NOT NULL,
    words_hash character varying(64) NOT NULL,
    author character varying(80) NOT NULL,
    recorded_at_utc timestamp without time zone NOT NULL
);
CREATE SEQUENCE contact_id_seq
    AS integer
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1;
ALTER SEQUENCE contact_id_seq OWNED BY contact.id;
CREATE TABLE entry (
    id integer NOT NULL,
    batch_id integer,
    kind character varying(40) NOT NULL,
    at_utc timestamp without time zone NOT NULL,
    at_offset_minutes integer NOT NULL,
    author character varying(80) NOT NULL,
    recorded_at_utc timestamp without time zone NOT NULL,
    record text NOT NULL,
    supersedes integer,
    photo_sha256 character varying(64),
    act character varying(20),
    edition character varying(80),
    contact_id integer,
    press_key character varying(80),
    press_part integer,
    pressed_at_utc timestamp without time zone,
    pressed_at_offset_minutes integer
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
CREATE TABLE seal (
    id integer NOT NULL,
    table_name character varying(20) NOT NULL,
    row_key character varying(64) NOT NULL,
    row_hash character varying(64) NOT NULL,
    chain character varying(64) NOT NULL
);
CREATE SEQUENCE seal_id_seq
    AS integer
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1;
ALTER SEQUENCE seal_id_seq OWNED BY seal.id;
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
ALTER TABLE ONLY contact ALTER COLUMN id SET DEFAULT nextval('contact_id_seq'::regclass);
ALTER TABLE ONLY entry ALTER COLUMN id SET DEFAULT nextval('entry_id_seq'::regclass);
ALTER TABLE ONLY seal ALTER COLUMN id SET DEFAULT nextval('seal_id_seq'::regclass);
ALTER TABLE ONLY setting ALTER COLUMN id SET DEFAULT nextval('setting_id_seq'::regclass);
INSERT INTO alembic_version VALUES ('0002');
INSERT INTO batch VALUES (1, 'Мыло-1', 'Овсяное <b>oat</b> 🧼', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:00:00');
INSERT INTO card VALUES (1, 'window', '', 'size = 1', '2026-03-02 08:00:00');
INSERT INTO card VALUES (2, 'window', 'A1', 'size = 2', '2026-03-02 08:00:00');
INSERT INTO contact VALUES (1, NULL, 'Cleo (invented)', 'the market', '00000000000000000000000000000001', '145462b897100b2ab53ee36d83c76ccc0844936170bad1b7088d3c798d4f883f', 'Ana', '2026-03-09 08:01:00');
INSERT INTO contact VALUES (2, 1, 'Cleo B. (invented)', 'the market,
Saturdays', '00000000000000000000000000000002', '1070589d8295b7d275b85f95364aafcb86e3ae84a150dd9fced1768b719cb8d6', 'Ben', '2026-03-09 08:02:00');
INSERT INTO contact VALUES (3, NULL, '', '', '', 'c0c0001cfab9db0c2e0a1895a37fafae86629b55d75bd0d957be65865ebb1a06', 'Ana', '2026-03-09 08:03:00');
INSERT INTO entry VALUES (1, 1, 'recipe', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:00:00', '{"oils":[{"key":"olive","grams":700.0,"lot":"L1","certificate_sv":188.0,"certificate_sv_half_width":1.5},{"key":"coconut","grams":300.0,"lot":"","certificate_sv":null,"certificate_sv_half_width":1.0}],"alkalis":[{"kind":"NaOH","grams":140.0,"purity_low_pct":97.0,"purity_high_pct":99.0,"lot":"N7"}],"liquids":[{"name":"water","grams":300.0,"water_fraction":1.0,"fat_fraction":0.0,"lot":""},{"name":"goat milk","grams":50.0,"water_fraction":0.87,"fat_fraction":0.04,"lot":""}],"additives":[{"name":"lavender oil","kind":"fragrance","grams":30.0,"portion":"top","lot":"F2"}]}', NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL);
INSERT INTO entry VALUES (2, 1, 'portion', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:00:00', '{"name":"base","order":0,"intended_lab":[82.0,1.5,14.0],"intended_source":"cured earlier batch","tolerance":2.5,"control":false}', NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL);
INSERT INTO entry VALUES (3, 1, 'portion', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:00:00', '{"name":"top","order":1,"intended_lab":null,"intended_source":null,"tolerance":3.0,"control":true}', NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL);
INSERT INTO entry VALUES (4, 1, 'event', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:00:00', '{"kind":"poured","portion":"","note":"note\nwith \"quotes\"","temperature_c":38.5,"bars":null}', NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL);
INSERT INTO entry VALUES (5, 1, 'event', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:00:00', '{"kind":"cut","portion":"","note":"","temperature_c":null,"bars":12}', NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL);
INSERT INTO entry VALUES (6, 1, 'colour', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:00:00', '{"portion":"base","lab":[80.1,2.25,15.5],"covariance":[[1.0,0.1,0.0],[0.1,0.5,0.0],[0.0,0.0,0.75]],"grade":"measured","reasons":["a reason"],"pixels":12345,"spread":[0.5,0.25,0.75],"card":"window","area":"area 1","corners":[[0.0,0.0],[10.5,0.0],[10.5,10.5],[0.0,10.5]],"model":"affine","software":"0.1.0"}', NULL, '65892be10983370462badce4d0fa9c9dee0cf6f5173e07f5ea53d763c818b826', NULL, NULL, NULL, NULL, NULL, NULL, NULL);
INSERT INTO entry VALUES (7, 1, 'photo', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:00:00', '{"caption":"cut face","why_no_colour":"the white patch is burnt out"}', NULL, '65892be10983370462badce4d0fa9c9dee0cf6f5173e07f5ea53d763c818b826', NULL, NULL, NULL, NULL, NULL, NULL, NULL);
INSERT INTO entry VALUES (8, 1, 'weighing', '2026-03-02 08:30:00', 120, 'Ana', '2026-03-02 08:00:00', '{"subject":"bar 1","grams":1015.0,"resolution_g":1.0,"tare_g":0.0,"bars":1,"confirmed":false}', NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL);
INSERT INTO entry VALUES (9, 1, 'weighing', '2026-03-02 08:30:00', 120, 'Ben', '2026-03-02 08:00:00', '{"subject":"bar 1","grams":101.5,"resolution_g":0.5,"tare_g":2.0,"bars":3,"confirmed":true}', 8, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL);
INSERT INTO entry VALUES (10, 1, 'alkali test', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:00:00', '{"method":"titration","ph":null,"half_width":null,"strength_pct":null,"temperature_c":null,"soap_g":5.0,"acid_ml":[0.5,0.55],"acid_mol_l":0.1,"blank_ml":0.05,"bar_weight_g":100.0}', NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL);
INSERT INTO entry VALUES (11, 1, 'surface', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:00:00', '{"look":"ash","count":3,"area_pct":1.5,"note":"edges"}', NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL);
INSERT INTO entry VALUES (12, 1, 'withdrawn', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:00:00', '{"why":"another batch"}', 11, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL);
INSERT INTO entry VALUES (13, 1, 'reading', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:00:00', '{"kind":"room humidity","value":55.0}', NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL);
INSERT INTO entry VALUES (14, 1, 'decision', '2026-03-01 08:30:00', 120, 'Ana', '2026-03-02 08:00:00', '{"act":"hold","signed_by":"Ana","statement":"held","rules_version":"1","evidence":"{}"}', NULL, NULL, 'hold', '1', NULL, NULL, NULL, NULL, NULL);
INSERT INTO entry VALUES (15, NULL, 'contact erased', '2026-03-09 08:00:00', 0, 'Ana', '2026-03-09 08:04:00', '{"contact":3,"why":"he asked for it"}', NULL, NULL, NULL, NULL, 3, NULL, NULL, NULL, NULL);
INSERT INTO entry VALUES (16, NULL, 'tag id', '2026-03-09 08:00:00', 0, 'Ana', '2026-03-09 08:05:00', '{"written":"ABCDEF"}', NULL, NULL, NULL, NULL, NULL, 'tag id', 0, '2026-03-09 08:00:00', 0);
INSERT INTO entry VALUES (17, NULL, 'photo answers', '2026-03-09 08:00:00', 0, 'Ana', '2026-03-09 08:06:00', '{"of_batch":"","taken_at":"","portions":null,"areas":null,"colour":true,"confirmed":[],"aside":"a finger","after":0}', NULL, '65892be10983370462badce4d0fa9c9dee0cf6f5173e07f5ea53d763c818b826', NULL, NULL, NULL, NULL, NULL, NULL, NULL);
INSERT INTO entry VALUES (18, NULL, 'strip key', '2026-03-09 08:00:00', 0, 'Ana', '2026-03-09 08:07:00', '{"name":"blue","lot":"L-1","card":"window","steps":[{"ph":7.0,"lab":[60.0,1.0,2.0],"covariance":[[1.0,0.0,0.0],[0.0,1.0,0.0],[0.0,0.0,1.0]]}]}', NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL);
INSERT INTO photo VALUES ('65892be10983370462badce4d0fa9c9dee0cf6f5173e07f5ea53d763c818b826', '.jpg', 12, 4000, 3000, '2026-03-01 08:30:00', 120, 'exif', 'IMG_1.jpg', '2026-03-02 08:00:00');
INSERT INTO seal VALUES (1, 'batch', '1', '496064b40dffee40ff334926f3768fd682c0a28699cbf610758391ea168b9ddd', 'c81afde239b135a6d58d315d3e9d6bcffcc11ae2c181f3f2f91ba457f7a1a1c5');
INSERT INTO seal VALUES (2, 'photo', '65892be10983370462badce4d0fa9c9dee0cf6f5173e07f5ea53d763c818b826', '574a4c7ae9d044263648748c4cc8efd8caa1bb09985046c90176ea29a7d836d7', '38cb76f5aa29fa449dfbf010d99eb2c5b3b861dd71a6adb4e48ebce6a069a3c7');
INSERT INTO seal VALUES (3, 'entry', '1', '5cb149b436b359cef9b3a4a76a5f4ea0cc57386878d7c0b357276d30ffef6eb6', '119859eb7a62750301953d269f261358c742e568ad7809633a7df15bcfdb332a');
INSERT INTO seal VALUES (4, 'entry', '2', 'fd2ea606c40e5bb3243b41433596964f5f2d2c9965ea15a00f0b64b8e7e9407f', '597f52103ddf2e112d0808c2fd83239e29b60eb1032915e668fd8a50998df338');
INSERT INTO seal VALUES (5, 'entry', '3', 'b9d574e4ff05e9d3dbbd0e1433716d726c42fbb41569965d52e477d39c3cc733', '899343c6cd48b949b7820cbe10720fb0ce49d6292f231b3574e26f94c6139e93');
INSERT INTO seal VALUES (6, 'entry', '4', '9bd27212603f566cb8e12372cdfd8cb977eabb95c5fbc08164b2d20618466fb2', '610b2d5981e03577538aff53a5982e424cc288eb9f13f9146dfa6659dc3f185e');
INSERT INTO seal VALUES (7, 'entry', '5', '925cff942a1dad0144eef196215943a34076fdcbb86b099c44ced489aa5e0786', '93029b6b07048e69ab04c65e450da7c14558c985ac318eb91f77f531d5764d2c');
INSERT INTO seal VALUES (8, 'entry', '6', 'e784f74e6ad2995e11308bce9e1c8a77f2d1fa25244affa41dc7a21fa049a644', '8e0dddf756d0b66ea1895e1b7b08990d2f0a478084a23c00f6686fadfc757bf2');
INSERT INTO seal VALUES (9, 'entry', '7', 'e5194a5d92a70b5d30691662e3e300162ef217e1c1d10f297a7e9be77d9fd1a1', '3aecb0f56e0765e3f215bb79d588ef83a3b31e2a488aa639f6191b71fc77a7f7');
INSERT INTO seal VALUES (10, 'entry', '8', 'd251726eeb87a21dfbae45d269097180cfd5984d0f6593d3078098607c68a979', 'c92a34da4e54dc52e91ddccb4fb72c932f51ff300f2ddf7ee72ba2e55ea2d686');
INSERT INTO seal VALUES (11, 'entry', '9', '882174514f08a830a0667f232c23319d82c1b17e54404c978dba201e9cfe1439', 'ff6dc4c278a2e9c0dea25ec30b015a41e0d8fae7858a99d8ebada32aaa6d958f');
INSERT INTO seal VALUES (12, 'entry', '10', '4045991a298840e34d5d257f99eb6bdf119279bb2f9c5151691a292b4288e661', '1ec78ec193883d18f5f9de0040406022b90bc8fc28996b34b0413abfbbbeb961');
INSERT INTO seal VALUES (13, 'entry', '11', '87a87091c37de7e6a1a6d75e69d72d0520e9f82bd6ebc94cb622f714cf7d0938', '713e756624219fcd6aed19c6b71c46cc58264e18b0d82ef3a08413779865c0d8');
INSERT INTO seal VALUES (14, 'entry', '12', 'e569f8a822eaff16f043e96c1b5b3415ce2503a8513ad00a9794da54965a88bb', 'c759ac5d497b10f35525ec2596467ce373c214d2d655bbcca56230c58c414038');
INSERT INTO seal VALUES (15, 'entry', '13', 'a5349a1b84b867b972db1677c7ec5e9e26c991f41eb50ae30e700b0415ca5e52', '871433b66f8c1a2d443d8d72e247b09833df2e12608daab263f170165ffddb72');
INSERT INTO seal VALUES (16, 'entry', '14', 'fcbfb40172f5d75bbc4abe4ca60d9347d84807253782f8f8b58239d025891606', 'a027db30721e3050b1acf4ad6ec0c4fdbeae5f92e52547176000ac0a5931a807');
INSERT INTO seal VALUES (17, 'card', '1', 'f41e1af89d997e1e8d3a27445756fbd86684da7b204bd80ebc9f378ce6685226', '6f9b2b01dbc61da177e06bf49e44a66295b7e5de42069e8c4397375136f4e551');
INSERT INTO seal VALUES (18, 'card', '2', '51a3b8d28cba1b8887b2d623af62cf42dbb196df60b4e258b8d9566494dc2a2e', 'c63e7041ad4532d33b1cdf1335fde4b85f7dd400332c7bde76cebdfc1ce995b1');
INSERT INTO seal VALUES (19, 'setting', '1', '5b62c5a7d3f1dec8595289250acb234da489229a133c98d5d45a599be49c9a2e', '95dbadf3d8edec3590ccef9e8dd404cddd07cadac8c93110766c4c6fce28b73e');
INSERT INTO seal VALUES (20, 'setting', '2', '654ec726f36a02ec4ce360f6cc39dae2ac5604f7af3cf38f8bc4497cf4a793e5', '4ae1912b9541997916e25a9a0e5bf5180cb82c73af85820f3135dddcf866ac07');
INSERT INTO seal VALUES (21, 'contact', '1', '0dce47afb9d44286d2408a19a5346f2fab343b5a9cb08d9b4a5c6a584bf5da6a', '2d543d06aeab9481de3b3facb87d02df6cd2006e861217cc6e7a54addea5df18');
INSERT INTO seal VALUES (22, 'contact', '2', '5b8608c0937cf4222992cd6f0066618f5d420c445c5e00be4caab285d3d25413', '49d2af602b8454648d5ff244d00cc76bb4ccc4b95fd24e13228842c3dc707cba');
INSERT INTO seal VALUES (23, 'contact', '3', '5b0fc9f0de575c950cb23664f9905d21aa2bb74a22d753dd5e5957391317d5a1', 'fd1417b19677e85fee79710d37170551d96d4bb67db131013ea437aef0a90fb4');
INSERT INTO seal VALUES (24, 'entry', '15', '105a865c3dbda7cb4f954b11e004a05e11827efe26481ed627cfd40a0a22e55f', '9127cbe5d6d2eb8ddd1a8942498dcbeb379c42c596ab7c0306ac78f9b2d26215');
INSERT INTO seal VALUES (25, 'entry', '16', '66aef11382f87cdc6ee781f5a9c31433b381fcdcaa299f994865e96c30e35e22', '03a923a765aa22b815449e6447cbe37afc2110e55dc34ab835cfb331af20547a');
INSERT INTO seal VALUES (26, 'entry', '17', 'a9e8d57954ba17799a26507da2513de3f46991305c1fc35ea4d2200ee1636ecb', '7da4524dda12d0eb91bd3bf625da48613b66104c685ac4cb10c8a28f35fc19a5');
INSERT INTO seal VALUES (27, 'entry', '18', '10933cbb6a9aa23236013dc258fd974f7eaf9828f1e6c300f5301340be6c3c64', 'db505b4b3d34980adad23d7f12e4acf6289a52b513acfb03fb30a00d1e63f996');
INSERT INTO setting VALUES (1, 'house rules', '{"days": 28}', '2026-03-02 08:00:00');
INSERT INTO setting VALUES (2, 'house rules', '{"days": 35}', '2026-03-02 08:00:00');
SELECT pg_catalog.setval('batch_id_seq', 1, true);
SELECT pg_catalog.setval('card_id_seq', 2, true);
SELECT pg_catalog.setval('contact_id_seq', 3, true);
SELECT pg_catalog.setval('entry_id_seq', 18, true);
SELECT pg_catalog.setval('seal_id_seq', 27, true);
SELECT pg_catalog.setval('setting_id_seq', 2, true);
ALTER TABLE ONLY alembic_version
    ADD CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num);
ALTER TABLE ONLY batch
    ADD CONSTRAINT pk_batch PRIMARY KEY (id);
ALTER TABLE ONLY card
    ADD CONSTRAINT pk_card PRIMARY KEY (id);
ALTER TABLE ONLY contact
    ADD CONSTRAINT pk_contact PRIMARY KEY (id);
ALTER TABLE ONLY entry
    ADD CONSTRAINT pk_entry PRIMARY KEY (id);
ALTER TABLE ONLY photo
    ADD CONSTRAINT pk_photo PRIMARY KEY (sha256);
ALTER TABLE ONLY seal
    ADD CONSTRAINT pk_seal PRIMARY KEY (id);
ALTER TABLE ONLY setting
    ADD CONSTRAINT pk_setting PRIMARY KEY (id);
ALTER TABLE ONLY batch
    ADD CONSTRAINT uq_batch_code UNIQUE (code);
ALTER TABLE ONLY entry
    ADD CONSTRAINT uq_entry_press_key_press_part UNIQUE (press_key, press_part);
ALTER TABLE ONLY entry
    ADD CONSTRAINT uq_entry_supersedes UNIQUE (supersedes);
ALTER TABLE ONLY seal
    ADD CONSTRAINT uq_seal_table_name_row_key UNIQUE (table_name, row_key);
CREATE INDEX ix_card_name_id ON card USING btree (name, id);
CREATE INDEX ix_contact_first_id ON contact USING btree (first_id);
CREATE INDEX ix_entry_batch_id_at_utc_at_offset_minutes ON entry USING btree (batch_id, at_utc, at_offset_minutes);
CREATE INDEX ix_entry_batch_id_kind_at_utc ON entry USING btree (batch_id, kind, at_utc);
CREATE INDEX ix_entry_contact_id ON entry USING btree (contact_id);
CREATE INDEX ix_entry_photo_sha256 ON entry USING btree (photo_sha256);
CREATE INDEX ix_setting_name_id ON setting USING btree (name, id);
CREATE TRIGGER batch_keeps BEFORE DELETE OR UPDATE OR TRUNCATE ON batch FOR EACH STATEMENT EXECUTE FUNCTION journal_only_grows();
CREATE TRIGGER card_keeps BEFORE DELETE OR UPDATE OR TRUNCATE ON card FOR EACH STATEMENT EXECUTE FUNCTION journal_only_grows();
CREATE TRIGGER contact_keeps BEFORE DELETE OR TRUNCATE ON contact FOR EACH STATEMENT EXECUTE FUNCTION journal_only_grows();
CREATE TRIGGER contact_keeps_words BEFORE UPDATE ON contact FOR EACH ROW EXECUTE FUNCTION contact_only_blanks();
CREATE TRIGGER entry_keeps BEFORE DELETE OR UPDATE OR TRUNCATE ON entry FOR EACH STATEMENT EXECUTE FUNCTION journal_only_grows();
CREATE TRIGGER photo_keeps BEFORE DELETE OR UPDATE OR TRUNCATE ON photo FOR EACH STATEMENT EXECUTE FUNCTION journal_only_grows();
CREATE TRIGGER seal_keeps BEFORE DELETE OR UPDATE OR TRUNCATE ON seal FOR EACH STATEMENT EXECUTE FUNCTION journal_only_grows();
CREATE TRIGGER setting_keeps BEFORE DELETE OR UPDATE OR TRUNCATE ON setting FOR EACH STATEMENT EXECUTE FUNCTION journal_only_grows();
ALTER TABLE ONLY contact
    ADD CONSTRAINT fk_contact_first_id_contact FOREIGN KEY (first_id) REFERENCES contact(id);
ALTER TABLE ONLY entry
    ADD CONSTRAINT fk_entry_batch_id_batch FOREIGN KEY (batch_id) REFERENCES batch(id);
ALTER TABLE ONLY entry
    ADD CONSTRAINT fk_entry_contact_id_contact FOREIGN KEY (contact_id) REFERENCES contact(id);
ALTER TABLE ONLY entry
    ADD CONSTRAINT fk_entry_photo_sha256_photo FOREIGN KEY (photo_sha256) REFERENCES photo(sha256);
ALTER TABLE ONLY entry
    ADD CONSTRAINT fk_entry_supersedes_entry FOREIGN KEY (supersedes) REFERENCES entry(id);
