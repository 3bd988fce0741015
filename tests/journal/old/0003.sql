BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0003');
CREATE TABLE bedding_layers (
	id TEXT NOT NULL, 
	bin TEXT NOT NULL, 
	position INTEGER NOT NULL, 
	material TEXT NOT NULL, 
	depth_low REAL, 
	depth_high REAL, 
	depth_unit TEXT NOT NULL, 
	depth_kind TEXT NOT NULL, 
	depth_words TEXT NOT NULL, 
	depth_flags TEXT NOT NULL, 
	moisture_low REAL, 
	moisture_high REAL, 
	moisture_unit TEXT NOT NULL, 
	moisture_kind TEXT NOT NULL, 
	moisture_words TEXT NOT NULL, 
	moisture_flags TEXT NOT NULL, 
	words TEXT NOT NULL, 
	CONSTRAINT pk_bedding_layers PRIMARY KEY (id), 
	CONSTRAINT ck_bedding_layers_depth_in_order CHECK (depth_low <= depth_high), 
	CONSTRAINT ck_bedding_layers_moisture_in_order CHECK (moisture_low <= moisture_high), 
	CONSTRAINT fk_bedding_layers_bin FOREIGN KEY(bin) REFERENCES bins (name), 
	CONSTRAINT uq_bedding_layers_bin_position UNIQUE (bin, position)
)
 STRICT

;
INSERT INTO "bedding_layers" VALUES('bedding_layers-0','bin 0',0,'leaves',0.5,0.75,'m','between','5/1','["which year?"]',0.5,0.75,'%','between','5/1','["which year?"]','said 0: ''½'', “☘”
and more');
INSERT INTO "bedding_layers" VALUES('bedding_layers-1','bin 1',0,'leaves',1.5,1.75,'m','between','5/1','["which year?"]',1.5,1.75,'%','between','5/1','["which year?"]','said 1: ''½'', “☘”
and more');
INSERT INTO "bedding_layers" VALUES('bedding_layers-2','bin 2',0,'leaves',2.5,2.75,'m','between','5/1','["which year?"]',2.5,2.75,'%','between','5/1','["which year?"]','said 2: ''½'', “☘”
and more');
INSERT INTO "bedding_layers" VALUES('bedding_layers-3','bin 3',0,'leaves',3.5,3.75,'m','between','5/1','["which year?"]',3.5,3.75,'%','between','5/1','["which year?"]','said 3: ''½'', “☘”
and more');
INSERT INTO "bedding_layers" VALUES('bedding_layers-4','bin 4',0,'leaves',4.5,4.75,'m','between','5/1','["which year?"]',4.5,4.75,'%','between','5/1','["which year?"]','said 4: ''½'', “☘”
and more');
INSERT INTO "bedding_layers" VALUES('bedding_layers-5','bin 5',0,'leaves',5.5,5.75,'m','between','5/1','["which year?"]',5.5,5.75,'%','between','5/1','["which year?"]','said 5: ''½'', “☘”
and more');
INSERT INTO "bedding_layers" VALUES('bedding_layers-6','bin 6',0,'leaves',6.5,6.75,'m','between','5/1','["which year?"]',6.5,6.75,'%','between','5/1','["which year?"]','said 6: ''½'', “☘”
and more');
INSERT INTO "bedding_layers" VALUES('bedding_layers-7','bin 7',0,'leaves',7.5,7.75,'m','between','5/1','["which year?"]',7.5,7.75,'%','between','5/1','["which year?"]','said 7: ''½'', “☘”
and more');
INSERT INTO "bedding_layers" VALUES('bedding_layers-8','bin 8',0,'leaves',8.5,8.75,'m','between','5/1','["which year?"]',8.5,8.75,'%','between','5/1','["which year?"]','said 8: ''½'', “☘”
and more');
INSERT INTO "bedding_layers" VALUES('bedding_layers-9','bin 9',0,'leaves',9.5,9.75,'m','between','5/1','["which year?"]',9.5,9.75,'%','between','5/1','["which year?"]','said 9: ''½'', “☘”
and more');
INSERT INTO "bedding_layers" VALUES('bedding_layers-10','bin 10',0,'leaves',10.5,10.75,'m','between','5/1','["which year?"]',10.5,10.75,'%','between','5/1','["which year?"]','said 10: ''½'', “☘”
and more');
INSERT INTO "bedding_layers" VALUES('bedding_layers-11','bin 11',0,'leaves',11.5,11.75,'m','between','5/1','["which year?"]',11.5,11.75,'%','between','5/1','["which year?"]','said 11: ''½'', “☘”
and more');
CREATE TABLE bin_keepers (
	id TEXT NOT NULL, 
	bin TEXT NOT NULL, 
	keeper TEXT NOT NULL, 
	noted_at TEXT NOT NULL, 
	CONSTRAINT pk_bin_keepers PRIMARY KEY (id), 
	CONSTRAINT fk_bin_keepers_bin FOREIGN KEY(bin) REFERENCES bins (name)
)
 STRICT

;
INSERT INTO "bin_keepers" VALUES('bin_keepers-0','bin 0','keepers 0','2026-01-05T21:30:00+01:00');
INSERT INTO "bin_keepers" VALUES('bin_keepers-1','bin 1','keepers 1','2026-01-05T21:30:00+01:00');
INSERT INTO "bin_keepers" VALUES('bin_keepers-2','bin 2','keepers 2','2026-01-05T21:30:00+01:00');
INSERT INTO "bin_keepers" VALUES('bin_keepers-3','bin 3','keepers 3','2026-01-05T21:30:00+01:00');
INSERT INTO "bin_keepers" VALUES('bin_keepers-4','bin 4','keepers 4','2026-01-05T21:30:00+01:00');
INSERT INTO "bin_keepers" VALUES('bin_keepers-5','bin 5','keepers 5','2026-01-05T21:30:00+01:00');
INSERT INTO "bin_keepers" VALUES('bin_keepers-6','bin 6','keepers 6','2026-01-05T21:30:00+01:00');
INSERT INTO "bin_keepers" VALUES('bin_keepers-7','bin 7','keepers 7','2026-01-05T21:30:00+01:00');
INSERT INTO "bin_keepers" VALUES('bin_keepers-8','bin 8','keepers 8','2026-01-05T21:30:00+01:00');
INSERT INTO "bin_keepers" VALUES('bin_keepers-9','bin 9','keepers 9','2026-01-05T21:30:00+01:00');
INSERT INTO "bin_keepers" VALUES('bin_keepers-10','bin 10','keepers 10','2026-01-05T21:30:00+01:00');
INSERT INTO "bin_keepers" VALUES('bin_keepers-11','bin 11','keepers 11','2026-01-05T21:30:00+01:00');
CREATE TABLE bins (
	id TEXT NOT NULL, 
	name TEXT NOT NULL, 
	started_start TEXT NOT NULL, 
	started_end TEXT NOT NULL, 
	started_kind TEXT NOT NULL, 
	started_words TEXT NOT NULL, 
	started_flags TEXT NOT NULL, 
	timezone TEXT NOT NULL, 
	length_low REAL, 
	length_high REAL, 
	length_unit TEXT NOT NULL, 
	length_kind TEXT NOT NULL, 
	length_words TEXT NOT NULL, 
	length_flags TEXT NOT NULL, 
	width_low REAL, 
	width_high REAL, 
	width_unit TEXT NOT NULL, 
	width_kind TEXT NOT NULL, 
	width_words TEXT NOT NULL, 
	width_flags TEXT NOT NULL, 
	height_low REAL, 
	height_high REAL, 
	height_unit TEXT NOT NULL, 
	height_kind TEXT NOT NULL, 
	height_words TEXT NOT NULL, 
	height_flags TEXT NOT NULL, 
	siting TEXT NOT NULL, 
	base TEXT NOT NULL, 
	wall TEXT NOT NULL, 
	wall_thickness_low REAL, 
	wall_thickness_high REAL, 
	wall_thickness_unit TEXT NOT NULL, 
	wall_thickness_kind TEXT NOT NULL, 
	wall_thickness_words TEXT NOT NULL, 
	wall_thickness_flags TEXT NOT NULL, 
	founders_low REAL, 
	founders_high REAL, 
	founders_unit TEXT NOT NULL, 
	founders_kind TEXT NOT NULL, 
	founders_words TEXT NOT NULL, 
	founders_flags TEXT NOT NULL, 
	species TEXT NOT NULL, 
	words TEXT NOT NULL, 
	noted_at TEXT, 
	CONSTRAINT pk_bins PRIMARY KEY (id), 
	CONSTRAINT ck_bins_length_in_order CHECK (length_low <= length_high), 
	CONSTRAINT ck_bins_width_in_order CHECK (width_low <= width_high), 
	CONSTRAINT ck_bins_height_in_order CHECK (height_low <= height_high), 
	CONSTRAINT ck_bins_wall_thickness_in_order CHECK (wall_thickness_low <= wall_thickness_high), 
	CONSTRAINT ck_bins_founders_in_order CHECK (founders_low <= founders_high), 
	CONSTRAINT uq_bins_name UNIQUE (name)
)
 STRICT

;
INSERT INTO "bins" VALUES('bins-0','bin 0','2026-01-05T08:30:00+01:00','2026-01-05T09:30:00+01:00','between','5/1','["which year?"]','Europe/Paris',0.5,0.75,'m','between','5/1','["which year?"]',0.5,0.75,'m','between','5/1','["which year?"]',0.5,0.75,'m','between','5/1','["which year?"]','unheated shed','feet','wood',0.5,0.75,'m','between','5/1','["which year?"]',0.5,0.75,'1','between','5/1','["which year?"]','Eisenia fetida','said 0: ''½'', “☘”
and more','2026-01-05T21:30:00+01:00');
INSERT INTO "bins" VALUES('bins-1','bin 1','2026-01-06T08:30:00+01:00','2026-01-06T09:30:00+01:00','between','5/1','["which year?"]','Europe/Paris',1.5,1.75,'m','between','5/1','["which year?"]',1.5,1.75,'m','between','5/1','["which year?"]',1.5,1.75,'m','between','5/1','["which year?"]','unheated shed','feet','wood',1.5,1.75,'m','between','5/1','["which year?"]',1.5,1.75,'1','between','5/1','["which year?"]','Eisenia fetida','said 1: ''½'', “☘”
and more','2026-01-05T21:30:00+01:00');
INSERT INTO "bins" VALUES('bins-2','bin 2','2026-01-07T08:30:00+01:00','2026-01-07T09:30:00+01:00','between','5/1','["which year?"]','Europe/Paris',2.5,2.75,'m','between','5/1','["which year?"]',2.5,2.75,'m','between','5/1','["which year?"]',2.5,2.75,'m','between','5/1','["which year?"]','unheated shed','feet','wood',2.5,2.75,'m','between','5/1','["which year?"]',2.5,2.75,'1','between','5/1','["which year?"]','Eisenia fetida','said 2: ''½'', “☘”
and more','2026-01-05T21:30:00+01:00');
INSERT INTO "bins" VALUES('bins-3','bin 3','2026-01-08T08:30:00+01:00','2026-01-08T09:30:00+01:00','between','5/1','["which year?"]','Europe/Paris',3.5,3.75,'m','between','5/1','["which year?"]',3.5,3.75,'m','between','5/1','["which year?"]',3.5,3.75,'m','between','5/1','["which year?"]','unheated shed','feet','wood',3.5,3.75,'m','between','5/1','["which year?"]',3.5,3.75,'1','between','5/1','["which year?"]','Eisenia fetida','said 3: ''½'', “☘”
and more','2026-01-05T21:30:00+01:00');
INSERT INTO "bins" VALUES('bins-4','bin 4','2026-01-09T08:30:00+01:00','2026-01-09T09:30:00+01:00','between','5/1','["which year?"]','Europe/Paris',4.5,4.75,'m','between','5/1','["which year?"]',4.5,4.75,'m','between','5/1','["which year?"]',4.5,4.75,'m','between','5/1','["which year?"]','unheated shed','feet','wood',4.5,4.75,'m','between','5/1','["which year?"]',4.5,4.75,'1','between','5/1','["which year?"]','Eisenia fetida','said 4: ''½'', “☘”
and more','2026-01-05T21:30:00+01:00');
INSERT INTO "bins" VALUES('bins-5','bin 5','2026-01-10T08:30:00+01:00','2026-01-10T09:30:00+01:00','between','5/1','["which year?"]','Europe/Paris',5.5,5.75,'m','between','5/1','["which year?"]',5.5,5.75,'m','between','5/1','["which year?"]',5.5,5.75,'m','between','5/1','["which year?"]','unheated shed','feet','wood',5.5,5.75,'m','between','5/1','["which year?"]',5.5,5.75,'1','between','5/1','["which year?"]','Eisenia fetida','said 5: ''½'', “☘”
and more','2026-01-05T21:30:00+01:00');
INSERT INTO "bins" VALUES('bins-6','bin 6','2026-01-11T08:30:00+01:00','2026-01-11T09:30:00+01:00','between','5/1','["which year?"]','Europe/Paris',6.5,6.75,'m','between','5/1','["which year?"]',6.5,6.75,'m','between','5/1','["which year?"]',6.5,6.75,'m','between','5/1','["which year?"]','unheated shed','feet','wood',6.5,6.75,'m','between','5/1','["which year?"]',6.5,6.75,'1','between','5/1','["which year?"]','Eisenia fetida','said 6: ''½'', “☘”
and more','2026-01-05T21:30:00+01:00');
INSERT INTO "bins" VALUES('bins-7','bin 7','2026-01-12T08:30:00+01:00','2026-01-12T09:30:00+01:00','between','5/1','["which year?"]','Europe/Paris',7.5,7.75,'m','between','5/1','["which year?"]',7.5,7.75,'m','between','5/1','["which year?"]',7.5,7.75,'m','between','5/1','["which year?"]','unheated shed','feet','wood',7.5,7.75,'m','between','5/1','["which year?"]',7.5,7.75,'1','between','5/1','["which year?"]','Eisenia fetida','said 7: ''½'', “☘”
and more','2026-01-05T21:30:00+01:00');
INSERT INTO "bins" VALUES('bins-8','bin 8','2026-01-13T08:30:00+01:00','2026-01-13T09:30:00+01:00','between','5/1','["which year?"]','Europe/Paris',8.5,8.75,'m','between','5/1','["which year?"]',8.5,8.75,'m','between','5/1','["which year?"]',8.5,8.75,'m','between','5/1','["which year?"]','unheated shed','feet','wood',8.5,8.75,'m','between','5/1','["which year?"]',8.5,8.75,'1','between','5/1','["which year?"]','Eisenia fetida','said 8: ''½'', “☘”
and more','2026-01-05T21:30:00+01:00');
INSERT INTO "bins" VALUES('bins-9','bin 9','2026-01-14T08:30:00+01:00','2026-01-14T09:30:00+01:00','between','5/1','["which year?"]','Europe/Paris',9.5,9.75,'m','between','5/1','["which year?"]',9.5,9.75,'m','between','5/1','["which year?"]',9.5,9.75,'m','between','5/1','["which year?"]','unheated shed','feet','wood',9.5,9.75,'m','between','5/1','["which year?"]',9.5,9.75,'1','between','5/1','["which year?"]','Eisenia fetida','said 9: ''½'', “☘”
and more','2026-01-05T21:30:00+01:00');
INSERT INTO "bins" VALUES('bins-10','bin 10','2026-01-15T08:30:00+01:00','2026-01-15T09:30:00+01:00','between','5/1','["which year?"]','Europe/Paris',10.5,10.75,'m','between','5/1','["which year?"]',10.5,10.75,'m','between','5/1','["which year?"]',10.5,10.75,'m','between','5/1','["which year?"]','unheated shed','feet','wood',10.5,10.75,'m','between','5/1','["which year?"]',10.5,10.75,'1','between','5/1','["which year?"]','Eisenia fetida','said 10: ''½'', “☘”
and more','2026-01-05T21:30:00+01:00');
INSERT INTO "bins" VALUES('bins-11','bin 11','2026-01-16T08:30:00+01:00','2026-01-16T09:30:00+01:00','between','5/1','["which year?"]','Europe/Paris',11.5,11.75,'m','between','5/1','["which year?"]',11.5,11.75,'m','between','5/1','["which year?"]',11.5,11.75,'m','between','5/1','["which year?"]','unheated shed','feet','wood',11.5,11.75,'m','between','5/1','["which year?"]',11.5,11.75,'1','between','5/1','["which year?"]','Eisenia fetida','said 11: ''½'', “☘”
and more','2026-01-05T21:30:00+01:00');
CREATE TABLE claims (
	id TEXT NOT NULL, 
	bin TEXT NOT NULL, 
	when_start TEXT NOT NULL, 
	when_end TEXT NOT NULL, 
	when_kind TEXT NOT NULL, 
	when_words TEXT NOT NULL, 
	when_flags TEXT NOT NULL, 
	words TEXT NOT NULL, 
	corrects TEXT, 
	noted_at TEXT, 
	sentence TEXT NOT NULL, 
	CONSTRAINT pk_claims PRIMARY KEY (id), 
	CONSTRAINT fk_claims_bin FOREIGN KEY(bin) REFERENCES bins (name), 
	CONSTRAINT fk_claims_corrects_bin FOREIGN KEY(corrects, bin) REFERENCES claims (id, bin), 
	CONSTRAINT uq_claims_corrects UNIQUE (corrects), 
	CONSTRAINT uq_claims_id_bin UNIQUE (id, bin)
)
 STRICT

;
INSERT INTO "claims" VALUES('claims-0','bin 0','2026-01-05T08:30:00+01:00','2026-01-05T09:30:00+01:00','between','5/1','["which year?"]','said 0: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','Coffee warms a bin.');
INSERT INTO "claims" VALUES('claims-1','bin 1','2026-01-06T08:30:00+01:00','2026-01-06T09:30:00+01:00','between','5/1','["which year?"]','said 1: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','Coffee warms a bin.');
INSERT INTO "claims" VALUES('claims-2','bin 2','2026-01-07T08:30:00+01:00','2026-01-07T09:30:00+01:00','between','5/1','["which year?"]','said 2: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','Coffee warms a bin.');
INSERT INTO "claims" VALUES('claims-3','bin 3','2026-01-08T08:30:00+01:00','2026-01-08T09:30:00+01:00','between','5/1','["which year?"]','said 3: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','Coffee warms a bin.');
INSERT INTO "claims" VALUES('claims-4','bin 4','2026-01-09T08:30:00+01:00','2026-01-09T09:30:00+01:00','between','5/1','["which year?"]','said 4: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','Coffee warms a bin.');
INSERT INTO "claims" VALUES('claims-5','bin 5','2026-01-10T08:30:00+01:00','2026-01-10T09:30:00+01:00','between','5/1','["which year?"]','said 5: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','Coffee warms a bin.');
INSERT INTO "claims" VALUES('claims-6','bin 6','2026-01-11T08:30:00+01:00','2026-01-11T09:30:00+01:00','between','5/1','["which year?"]','said 6: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','Coffee warms a bin.');
INSERT INTO "claims" VALUES('claims-7','bin 7','2026-01-12T08:30:00+01:00','2026-01-12T09:30:00+01:00','between','5/1','["which year?"]','said 7: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','Coffee warms a bin.');
INSERT INTO "claims" VALUES('claims-8','bin 8','2026-01-13T08:30:00+01:00','2026-01-13T09:30:00+01:00','between','5/1','["which year?"]','said 8: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','Coffee warms a bin.');
INSERT INTO "claims" VALUES('claims-9','bin 9','2026-01-14T08:30:00+01:00','2026-01-14T09:30:00+01:00','between','5/1','["which year?"]','said 9: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','Coffee warms a bin.');
INSERT INTO "claims" VALUES('claims-10','bin 10','2026-01-15T08:30:00+01:00','2026-01-15T09:30:00+01:00','between','5/1','["which year?"]','said 10: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','Coffee warms a bin.');
INSERT INTO "claims" VALUES('claims-11','bin 11','2026-01-16T08:30:00+01:00','2026-01-16T09:30:00+01:00','between','5/1','["which year?"]','said 11: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','Coffee warms a bin.');
CREATE TABLE containers (
	id INTEGER NOT NULL, 
	name TEXT NOT NULL, 
	holds_low REAL, 
	holds_high REAL, 
	holds_unit TEXT NOT NULL, 
	holds_kind TEXT NOT NULL, 
	holds_words TEXT NOT NULL, 
	holds_flags TEXT NOT NULL, 
	CONSTRAINT pk_containers PRIMARY KEY (id), 
	CONSTRAINT ck_containers_holds_in_order CHECK (holds_low <= holds_high)
)
 STRICT

;
INSERT INTO "containers" VALUES(0,'containers 0',0.5,0.75,'L','between','5/1','["which year?"]');
INSERT INTO "containers" VALUES(1,'containers 1',1.5,1.75,'L','between','5/1','["which year?"]');
INSERT INTO "containers" VALUES(2,'containers 2',2.5,2.75,'L','between','5/1','["which year?"]');
INSERT INTO "containers" VALUES(3,'containers 3',3.5,3.75,'L','between','5/1','["which year?"]');
INSERT INTO "containers" VALUES(4,'containers 4',4.5,4.75,'L','between','5/1','["which year?"]');
INSERT INTO "containers" VALUES(5,'containers 5',5.5,5.75,'L','between','5/1','["which year?"]');
INSERT INTO "containers" VALUES(6,'containers 6',6.5,6.75,'L','between','5/1','["which year?"]');
INSERT INTO "containers" VALUES(7,'containers 7',7.5,7.75,'L','between','5/1','["which year?"]');
INSERT INTO "containers" VALUES(8,'containers 8',8.5,8.75,'L','between','5/1','["which year?"]');
INSERT INTO "containers" VALUES(9,'containers 9',9.5,9.75,'L','between','5/1','["which year?"]');
INSERT INTO "containers" VALUES(10,'containers 10',10.5,10.75,'L','between','5/1','["which year?"]');
INSERT INTO "containers" VALUES(11,'containers 11',11.5,11.75,'L','between','5/1','["which year?"]');
CREATE TABLE feedings (
	id TEXT NOT NULL, 
	bin TEXT NOT NULL, 
	when_start TEXT NOT NULL, 
	when_end TEXT NOT NULL, 
	when_kind TEXT NOT NULL, 
	when_words TEXT NOT NULL, 
	when_flags TEXT NOT NULL, 
	words TEXT NOT NULL, 
	corrects TEXT, 
	noted_at TEXT, 
	material TEXT NOT NULL, 
	amount_low REAL, 
	amount_high REAL, 
	amount_unit TEXT NOT NULL, 
	amount_kind TEXT NOT NULL, 
	amount_words TEXT NOT NULL, 
	amount_flags TEXT NOT NULL, 
	place TEXT NOT NULL, 
	CONSTRAINT pk_feedings PRIMARY KEY (id), 
	CONSTRAINT ck_feedings_amount_in_order CHECK (amount_low <= amount_high), 
	CONSTRAINT fk_feedings_bin FOREIGN KEY(bin) REFERENCES bins (name), 
	CONSTRAINT fk_feedings_corrects_bin FOREIGN KEY(corrects, bin) REFERENCES feedings (id, bin), 
	CONSTRAINT uq_feedings_corrects UNIQUE (corrects), 
	CONSTRAINT uq_feedings_id_bin UNIQUE (id, bin)
)
 STRICT

;
INSERT INTO "feedings" VALUES('feedings-0','bin 0','2026-01-05T08:30:00+01:00','2026-01-05T09:30:00+01:00','between','5/1','["which year?"]','said 0: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','leaves',0.5,0.75,'degC','between','5/1','["which year?"]','middle');
INSERT INTO "feedings" VALUES('feedings-1','bin 1','2026-01-06T08:30:00+01:00','2026-01-06T09:30:00+01:00','between','5/1','["which year?"]','said 1: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','leaves',1.5,1.75,'degC','between','5/1','["which year?"]','middle');
INSERT INTO "feedings" VALUES('feedings-2','bin 2','2026-01-07T08:30:00+01:00','2026-01-07T09:30:00+01:00','between','5/1','["which year?"]','said 2: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','leaves',2.5,2.75,'degC','between','5/1','["which year?"]','middle');
INSERT INTO "feedings" VALUES('feedings-3','bin 3','2026-01-08T08:30:00+01:00','2026-01-08T09:30:00+01:00','between','5/1','["which year?"]','said 3: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','leaves',3.5,3.75,'degC','between','5/1','["which year?"]','middle');
INSERT INTO "feedings" VALUES('feedings-4','bin 4','2026-01-09T08:30:00+01:00','2026-01-09T09:30:00+01:00','between','5/1','["which year?"]','said 4: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','leaves',4.5,4.75,'degC','between','5/1','["which year?"]','middle');
INSERT INTO "feedings" VALUES('feedings-5','bin 5','2026-01-10T08:30:00+01:00','2026-01-10T09:30:00+01:00','between','5/1','["which year?"]','said 5: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','leaves',5.5,5.75,'degC','between','5/1','["which year?"]','middle');
INSERT INTO "feedings" VALUES('feedings-6','bin 6','2026-01-11T08:30:00+01:00','2026-01-11T09:30:00+01:00','between','5/1','["which year?"]','said 6: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','leaves',6.5,6.75,'degC','between','5/1','["which year?"]','middle');
INSERT INTO "feedings" VALUES('feedings-7','bin 7','2026-01-12T08:30:00+01:00','2026-01-12T09:30:00+01:00','between','5/1','["which year?"]','said 7: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','leaves',7.5,7.75,'degC','between','5/1','["which year?"]','middle');
INSERT INTO "feedings" VALUES('feedings-8','bin 8','2026-01-13T08:30:00+01:00','2026-01-13T09:30:00+01:00','between','5/1','["which year?"]','said 8: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','leaves',8.5,8.75,'degC','between','5/1','["which year?"]','middle');
INSERT INTO "feedings" VALUES('feedings-9','bin 9','2026-01-14T08:30:00+01:00','2026-01-14T09:30:00+01:00','between','5/1','["which year?"]','said 9: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','leaves',9.5,9.75,'degC','between','5/1','["which year?"]','middle');
INSERT INTO "feedings" VALUES('feedings-10','bin 10','2026-01-15T08:30:00+01:00','2026-01-15T09:30:00+01:00','between','5/1','["which year?"]','said 10: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','leaves',10.5,10.75,'degC','between','5/1','["which year?"]','middle');
INSERT INTO "feedings" VALUES('feedings-11','bin 11','2026-01-16T08:30:00+01:00','2026-01-16T09:30:00+01:00','between','5/1','["which year?"]','said 11: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','leaves',11.5,11.75,'degC','between','5/1','["which year?"]','middle');
CREATE TABLE keepers (
	id TEXT NOT NULL, 
	name TEXT NOT NULL, 
	role TEXT NOT NULL, 
	shown_as TEXT NOT NULL, 
	latitude REAL, 
	longitude REAL, 
	place TEXT NOT NULL, 
	photos TEXT NOT NULL, 
	noted_at TEXT NOT NULL, 
	CONSTRAINT pk_keepers PRIMARY KEY (id), 
	CONSTRAINT ck_keepers_whole_place CHECK ((latitude IS NULL) = (longitude IS NULL)), 
	CONSTRAINT ck_keepers_on_earth CHECK (latitude BETWEEN -90 AND 90 AND longitude BETWEEN -180 AND 180)
)
 STRICT

;
INSERT INTO "keepers" VALUES('keepers-0','keepers 0','steward','',0.5,-0.25,'0.1 degree','private','2026-01-05T21:30:00+01:00');
INSERT INTO "keepers" VALUES('keepers-1','keepers 1','steward','',1.5,-1.25,'0.1 degree','private','2026-01-05T21:30:00+01:00');
INSERT INTO "keepers" VALUES('keepers-2','keepers 2','steward','',2.5,-2.25,'0.1 degree','private','2026-01-05T21:30:00+01:00');
INSERT INTO "keepers" VALUES('keepers-3','keepers 3','steward','',3.5,-3.25,'0.1 degree','private','2026-01-05T21:30:00+01:00');
INSERT INTO "keepers" VALUES('keepers-4','keepers 4','steward','',4.5,-4.25,'0.1 degree','private','2026-01-05T21:30:00+01:00');
INSERT INTO "keepers" VALUES('keepers-5','keepers 5','steward','',5.5,-5.25,'0.1 degree','private','2026-01-05T21:30:00+01:00');
INSERT INTO "keepers" VALUES('keepers-6','keepers 6','steward','',6.5,-6.25,'0.1 degree','private','2026-01-05T21:30:00+01:00');
INSERT INTO "keepers" VALUES('keepers-7','keepers 7','steward','',7.5,-7.25,'0.1 degree','private','2026-01-05T21:30:00+01:00');
INSERT INTO "keepers" VALUES('keepers-8','keepers 8','steward','',8.5,-8.25,'0.1 degree','private','2026-01-05T21:30:00+01:00');
INSERT INTO "keepers" VALUES('keepers-9','keepers 9','steward','',9.5,-9.25,'0.1 degree','private','2026-01-05T21:30:00+01:00');
INSERT INTO "keepers" VALUES('keepers-10','keepers 10','steward','',10.5,-10.25,'0.1 degree','private','2026-01-05T21:30:00+01:00');
INSERT INTO "keepers" VALUES('keepers-11','keepers 11','steward','',11.5,-11.25,'0.1 degree','private','2026-01-05T21:30:00+01:00');
CREATE TABLE notes (
	id TEXT NOT NULL, 
	bin TEXT NOT NULL, 
	when_start TEXT NOT NULL, 
	when_end TEXT NOT NULL, 
	when_kind TEXT NOT NULL, 
	when_words TEXT NOT NULL, 
	when_flags TEXT NOT NULL, 
	words TEXT NOT NULL, 
	corrects TEXT, 
	noted_at TEXT, 
	CONSTRAINT pk_notes PRIMARY KEY (id), 
	CONSTRAINT fk_notes_bin FOREIGN KEY(bin) REFERENCES bins (name), 
	CONSTRAINT fk_notes_corrects_bin FOREIGN KEY(corrects, bin) REFERENCES notes (id, bin), 
	CONSTRAINT uq_notes_corrects UNIQUE (corrects), 
	CONSTRAINT uq_notes_id_bin UNIQUE (id, bin)
)
 STRICT

;
INSERT INTO "notes" VALUES('notes-0','bin 0','2026-01-05T08:30:00+01:00','2026-01-05T09:30:00+01:00','between','5/1','["which year?"]','said 0: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00');
INSERT INTO "notes" VALUES('notes-1','bin 1','2026-01-06T08:30:00+01:00','2026-01-06T09:30:00+01:00','between','5/1','["which year?"]','said 1: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00');
INSERT INTO "notes" VALUES('notes-2','bin 2','2026-01-07T08:30:00+01:00','2026-01-07T09:30:00+01:00','between','5/1','["which year?"]','said 2: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00');
INSERT INTO "notes" VALUES('notes-3','bin 3','2026-01-08T08:30:00+01:00','2026-01-08T09:30:00+01:00','between','5/1','["which year?"]','said 3: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00');
INSERT INTO "notes" VALUES('notes-4','bin 4','2026-01-09T08:30:00+01:00','2026-01-09T09:30:00+01:00','between','5/1','["which year?"]','said 4: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00');
INSERT INTO "notes" VALUES('notes-5','bin 5','2026-01-10T08:30:00+01:00','2026-01-10T09:30:00+01:00','between','5/1','["which year?"]','said 5: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00');
INSERT INTO "notes" VALUES('notes-6','bin 6','2026-01-11T08:30:00+01:00','2026-01-11T09:30:00+01:00','between','5/1','["which year?"]','said 6: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00');
INSERT INTO "notes" VALUES('notes-7','bin 7','2026-01-12T08:30:00+01:00','2026-01-12T09:30:00+01:00','between','5/1','["which year?"]','said 7: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00');
INSERT INTO "notes" VALUES('notes-8','bin 8','2026-01-13T08:30:00+01:00','2026-01-13T09:30:00+01:00','between','5/1','["which year?"]','said 8: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00');
INSERT INTO "notes" VALUES('notes-9','bin 9','2026-01-14T08:30:00+01:00','2026-01-14T09:30:00+01:00','between','5/1','["which year?"]','said 9: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00');
INSERT INTO "notes" VALUES('notes-10','bin 10','2026-01-15T08:30:00+01:00','2026-01-15T09:30:00+01:00','between','5/1','["which year?"]','said 10: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00');
INSERT INTO "notes" VALUES('notes-11','bin 11','2026-01-16T08:30:00+01:00','2026-01-16T09:30:00+01:00','between','5/1','["which year?"]','said 11: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00');
CREATE TABLE own_claims (
	id TEXT NOT NULL, 
	text TEXT NOT NULL, 
	noted_at TEXT NOT NULL, 
	CONSTRAINT pk_own_claims PRIMARY KEY (id)
)
 STRICT

;
INSERT INTO "own_claims" VALUES('own_claims-0','plan 0 ☘','2026-01-05T21:30:00+01:00');
INSERT INTO "own_claims" VALUES('own_claims-1','plan 1 ☘','2026-01-05T21:30:00+01:00');
INSERT INTO "own_claims" VALUES('own_claims-2','plan 2 ☘','2026-01-05T21:30:00+01:00');
INSERT INTO "own_claims" VALUES('own_claims-3','plan 3 ☘','2026-01-05T21:30:00+01:00');
INSERT INTO "own_claims" VALUES('own_claims-4','plan 4 ☘','2026-01-05T21:30:00+01:00');
INSERT INTO "own_claims" VALUES('own_claims-5','plan 5 ☘','2026-01-05T21:30:00+01:00');
INSERT INTO "own_claims" VALUES('own_claims-6','plan 6 ☘','2026-01-05T21:30:00+01:00');
INSERT INTO "own_claims" VALUES('own_claims-7','plan 7 ☘','2026-01-05T21:30:00+01:00');
INSERT INTO "own_claims" VALUES('own_claims-8','plan 8 ☘','2026-01-05T21:30:00+01:00');
INSERT INTO "own_claims" VALUES('own_claims-9','plan 9 ☘','2026-01-05T21:30:00+01:00');
INSERT INTO "own_claims" VALUES('own_claims-10','plan 10 ☘','2026-01-05T21:30:00+01:00');
INSERT INTO "own_claims" VALUES('own_claims-11','plan 11 ☘','2026-01-05T21:30:00+01:00');
CREATE TABLE photos (
	id TEXT NOT NULL, 
	bin TEXT NOT NULL, 
	when_start TEXT NOT NULL, 
	when_end TEXT NOT NULL, 
	when_kind TEXT NOT NULL, 
	when_words TEXT NOT NULL, 
	when_flags TEXT NOT NULL, 
	words TEXT NOT NULL, 
	corrects TEXT, 
	noted_at TEXT, 
	file TEXT NOT NULL, 
	sha256 TEXT NOT NULL, 
	CONSTRAINT pk_photos PRIMARY KEY (id), 
	CONSTRAINT fk_photos_bin FOREIGN KEY(bin) REFERENCES bins (name), 
	CONSTRAINT fk_photos_corrects_bin FOREIGN KEY(corrects, bin) REFERENCES photos (id, bin), 
	CONSTRAINT uq_photos_corrects UNIQUE (corrects), 
	CONSTRAINT uq_photos_id_bin UNIQUE (id, bin)
)
 STRICT

;
INSERT INTO "photos" VALUES('photos-0','bin 0','2026-01-05T08:30:00+01:00','2026-01-05T09:30:00+01:00','between','5/1','["which year?"]','said 0: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','0000000000000000000000000000000000000000000000000000000000000000.jpg','0000000000000000000000000000000000000000000000000000000000000000');
INSERT INTO "photos" VALUES('photos-1','bin 1','2026-01-06T08:30:00+01:00','2026-01-06T09:30:00+01:00','between','5/1','["which year?"]','said 1: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','0000000000000000000000000000000000000000000000000000000000000001.jpg','0000000000000000000000000000000000000000000000000000000000000001');
INSERT INTO "photos" VALUES('photos-2','bin 2','2026-01-07T08:30:00+01:00','2026-01-07T09:30:00+01:00','between','5/1','["which year?"]','said 2: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','0000000000000000000000000000000000000000000000000000000000000002.jpg','0000000000000000000000000000000000000000000000000000000000000002');
INSERT INTO "photos" VALUES('photos-3','bin 3','2026-01-08T08:30:00+01:00','2026-01-08T09:30:00+01:00','between','5/1','["which year?"]','said 3: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','0000000000000000000000000000000000000000000000000000000000000003.jpg','0000000000000000000000000000000000000000000000000000000000000003');
INSERT INTO "photos" VALUES('photos-4','bin 4','2026-01-09T08:30:00+01:00','2026-01-09T09:30:00+01:00','between','5/1','["which year?"]','said 4: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','0000000000000000000000000000000000000000000000000000000000000004.jpg','0000000000000000000000000000000000000000000000000000000000000004');
INSERT INTO "photos" VALUES('photos-5','bin 5','2026-01-10T08:30:00+01:00','2026-01-10T09:30:00+01:00','between','5/1','["which year?"]','said 5: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','0000000000000000000000000000000000000000000000000000000000000005.jpg','0000000000000000000000000000000000000000000000000000000000000005');
INSERT INTO "photos" VALUES('photos-6','bin 6','2026-01-11T08:30:00+01:00','2026-01-11T09:30:00+01:00','between','5/1','["which year?"]','said 6: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','0000000000000000000000000000000000000000000000000000000000000006.jpg','0000000000000000000000000000000000000000000000000000000000000006');
INSERT INTO "photos" VALUES('photos-7','bin 7','2026-01-12T08:30:00+01:00','2026-01-12T09:30:00+01:00','between','5/1','["which year?"]','said 7: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','0000000000000000000000000000000000000000000000000000000000000007.jpg','0000000000000000000000000000000000000000000000000000000000000007');
INSERT INTO "photos" VALUES('photos-8','bin 8','2026-01-13T08:30:00+01:00','2026-01-13T09:30:00+01:00','between','5/1','["which year?"]','said 8: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','0000000000000000000000000000000000000000000000000000000000000008.jpg','0000000000000000000000000000000000000000000000000000000000000008');
INSERT INTO "photos" VALUES('photos-9','bin 9','2026-01-14T08:30:00+01:00','2026-01-14T09:30:00+01:00','between','5/1','["which year?"]','said 9: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','0000000000000000000000000000000000000000000000000000000000000009.jpg','0000000000000000000000000000000000000000000000000000000000000009');
INSERT INTO "photos" VALUES('photos-10','bin 10','2026-01-15T08:30:00+01:00','2026-01-15T09:30:00+01:00','between','5/1','["which year?"]','said 10: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','000000000000000000000000000000000000000000000000000000000000000a.jpg','000000000000000000000000000000000000000000000000000000000000000a');
INSERT INTO "photos" VALUES('photos-11','bin 11','2026-01-16T08:30:00+01:00','2026-01-16T09:30:00+01:00','between','5/1','["which year?"]','said 11: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','000000000000000000000000000000000000000000000000000000000000000b.jpg','000000000000000000000000000000000000000000000000000000000000000b');
CREATE TABLE photos_shown (
	id TEXT NOT NULL, 
	photo TEXT NOT NULL, 
	shown TEXT NOT NULL, 
	noted_at TEXT NOT NULL, 
	CONSTRAINT pk_photos_shown PRIMARY KEY (id), 
	CONSTRAINT fk_photos_shown_photo FOREIGN KEY(photo) REFERENCES photos (id)
)
 STRICT

;
INSERT INTO "photos_shown" VALUES('photos_shown-0','photos-0','shared','2026-01-05T21:30:00+01:00');
INSERT INTO "photos_shown" VALUES('photos_shown-1','photos-1','shared','2026-01-05T21:30:00+01:00');
INSERT INTO "photos_shown" VALUES('photos_shown-2','photos-2','shared','2026-01-05T21:30:00+01:00');
INSERT INTO "photos_shown" VALUES('photos_shown-3','photos-3','shared','2026-01-05T21:30:00+01:00');
INSERT INTO "photos_shown" VALUES('photos_shown-4','photos-4','shared','2026-01-05T21:30:00+01:00');
INSERT INTO "photos_shown" VALUES('photos_shown-5','photos-5','shared','2026-01-05T21:30:00+01:00');
INSERT INTO "photos_shown" VALUES('photos_shown-6','photos-6','shared','2026-01-05T21:30:00+01:00');
INSERT INTO "photos_shown" VALUES('photos_shown-7','photos-7','shared','2026-01-05T21:30:00+01:00');
INSERT INTO "photos_shown" VALUES('photos_shown-8','photos-8','shared','2026-01-05T21:30:00+01:00');
INSERT INTO "photos_shown" VALUES('photos_shown-9','photos-9','shared','2026-01-05T21:30:00+01:00');
INSERT INTO "photos_shown" VALUES('photos_shown-10','photos-10','shared','2026-01-05T21:30:00+01:00');
INSERT INTO "photos_shown" VALUES('photos_shown-11','photos-11','shared','2026-01-05T21:30:00+01:00');
CREATE TABLE plan_changes (
	id TEXT NOT NULL, 
	"plan" TEXT NOT NULL, 
	what TEXT NOT NULL, 
	bin TEXT, 
	words TEXT NOT NULL, 
	noted_at TEXT NOT NULL, 
	CONSTRAINT pk_plan_changes PRIMARY KEY (id), 
	CONSTRAINT fk_plan_changes_plan FOREIGN KEY("plan") REFERENCES plans (name)
)
 STRICT

;
INSERT INTO "plan_changes" VALUES('plan_changes-0','plans 0','bin dropped','bin 0','said 0: ''½'', “☘”
and more','2026-01-05T21:30:00+01:00');
INSERT INTO "plan_changes" VALUES('plan_changes-1','plans 1','bin dropped','bin 1','said 1: ''½'', “☘”
and more','2026-01-05T21:30:00+01:00');
INSERT INTO "plan_changes" VALUES('plan_changes-2','plans 2','bin dropped','bin 2','said 2: ''½'', “☘”
and more','2026-01-05T21:30:00+01:00');
INSERT INTO "plan_changes" VALUES('plan_changes-3','plans 3','bin dropped','bin 3','said 3: ''½'', “☘”
and more','2026-01-05T21:30:00+01:00');
INSERT INTO "plan_changes" VALUES('plan_changes-4','plans 4','bin dropped','bin 4','said 4: ''½'', “☘”
and more','2026-01-05T21:30:00+01:00');
INSERT INTO "plan_changes" VALUES('plan_changes-5','plans 5','bin dropped','bin 5','said 5: ''½'', “☘”
and more','2026-01-05T21:30:00+01:00');
INSERT INTO "plan_changes" VALUES('plan_changes-6','plans 6','bin dropped','bin 6','said 6: ''½'', “☘”
and more','2026-01-05T21:30:00+01:00');
INSERT INTO "plan_changes" VALUES('plan_changes-7','plans 7','bin dropped','bin 7','said 7: ''½'', “☘”
and more','2026-01-05T21:30:00+01:00');
INSERT INTO "plan_changes" VALUES('plan_changes-8','plans 8','bin dropped','bin 8','said 8: ''½'', “☘”
and more','2026-01-05T21:30:00+01:00');
INSERT INTO "plan_changes" VALUES('plan_changes-9','plans 9','bin dropped','bin 9','said 9: ''½'', “☘”
and more','2026-01-05T21:30:00+01:00');
INSERT INTO "plan_changes" VALUES('plan_changes-10','plans 10','bin dropped','bin 10','said 10: ''½'', “☘”
and more','2026-01-05T21:30:00+01:00');
INSERT INTO "plan_changes" VALUES('plan_changes-11','plans 11','bin dropped','bin 11','said 11: ''½'', “☘”
and more','2026-01-05T21:30:00+01:00');
CREATE TABLE plans (
	name TEXT NOT NULL, 
	text TEXT NOT NULL, 
	sha256 TEXT NOT NULL, 
	registered_at TEXT NOT NULL, 
	CONSTRAINT pk_plans PRIMARY KEY (name)
)
 STRICT

;
INSERT INTO "plans" VALUES('plans 0','plan 0 ☘','108a809b98fc01d0ead7f0372588597d27568026c77526f2ef2e8d4958c7b0f0','2026-01-05T21:30:00+01:00');
INSERT INTO "plans" VALUES('plans 1','plan 1 ☘','a92a441d6fb9cc3b0dbbb6e6b0b867f0472d7378c5abdba21b7aac6a8330c6ae','2026-01-05T21:30:00+01:00');
INSERT INTO "plans" VALUES('plans 2','plan 2 ☘','6494c654f77cd65ce7bed33eb8df658d6383927b70da5b691fd777285f57956a','2026-01-05T21:30:00+01:00');
INSERT INTO "plans" VALUES('plans 3','plan 3 ☘','1b0269c1e3dc1ad7cd1e94f9e61cba2601f50c3d4f31c17ad357c6eeb9e4a920','2026-01-05T21:30:00+01:00');
INSERT INTO "plans" VALUES('plans 4','plan 4 ☘','fe108347ae0b47bc8296a65cc2957355430f3082f9fd5b52d71cf24d82d9986a','2026-01-05T21:30:00+01:00');
INSERT INTO "plans" VALUES('plans 5','plan 5 ☘','7a5dcd78dc519c28036fb6a5be37000cd665d9bf310bba0662d1196b29fc55c3','2026-01-05T21:30:00+01:00');
INSERT INTO "plans" VALUES('plans 6','plan 6 ☘','3583259d78984b0c4c27cb60b520df8e9b0208e90b89d96eb3d989d55c3cb55b','2026-01-05T21:30:00+01:00');
INSERT INTO "plans" VALUES('plans 7','plan 7 ☘','60a9d248280be3adc7684f8b223a934ddf7dfa760b6d6328f6cbdbec0aebe406','2026-01-05T21:30:00+01:00');
INSERT INTO "plans" VALUES('plans 8','plan 8 ☘','97cd395be15d3869bce0cdc5e4cec3dcc92179f7547ec26d93c6771e0816628b','2026-01-05T21:30:00+01:00');
INSERT INTO "plans" VALUES('plans 9','plan 9 ☘','9e3c59d67489301d42684ac7fde4b396b378e1708ec502334c77e2851387830c','2026-01-05T21:30:00+01:00');
INSERT INTO "plans" VALUES('plans 10','plan 10 ☘','ed86ee38967a6b532502a244e37604ebf35dfc2646e6e5bea70219db9c0d43a5','2026-01-05T21:30:00+01:00');
INSERT INTO "plans" VALUES('plans 11','plan 11 ☘','8a9b42c713672b79e9c438d7e6af1f93f8c2d131e5d6735516087f67b772d8e8','2026-01-05T21:30:00+01:00');
CREATE TABLE readings (
	id TEXT NOT NULL, 
	bin TEXT NOT NULL, 
	when_start TEXT NOT NULL, 
	when_end TEXT NOT NULL, 
	when_kind TEXT NOT NULL, 
	when_words TEXT NOT NULL, 
	when_flags TEXT NOT NULL, 
	words TEXT NOT NULL, 
	corrects TEXT, 
	noted_at TEXT, 
	quantity TEXT NOT NULL, 
	amount_low REAL, 
	amount_high REAL, 
	amount_unit TEXT NOT NULL, 
	amount_kind TEXT NOT NULL, 
	amount_words TEXT NOT NULL, 
	amount_flags TEXT NOT NULL, 
	place TEXT NOT NULL, 
	depth_low REAL, 
	depth_high REAL, 
	depth_unit TEXT, 
	depth_kind TEXT, 
	depth_words TEXT, 
	depth_flags TEXT, 
	instrument TEXT NOT NULL, 
	CONSTRAINT pk_readings PRIMARY KEY (id), 
	CONSTRAINT ck_readings_amount_in_order CHECK (amount_low <= amount_high), 
	CONSTRAINT ck_readings_depth_in_order CHECK (depth_low <= depth_high), 
	CONSTRAINT fk_readings_bin FOREIGN KEY(bin) REFERENCES bins (name), 
	CONSTRAINT fk_readings_corrects_bin FOREIGN KEY(corrects, bin) REFERENCES readings (id, bin), 
	CONSTRAINT uq_readings_corrects UNIQUE (corrects), 
	CONSTRAINT uq_readings_id_bin UNIQUE (id, bin)
)
 STRICT

;
INSERT INTO "readings" VALUES('readings-0','bin 0','2026-01-05T08:30:00+01:00','2026-01-05T09:30:00+01:00','between','5/1','["which year?"]','said 0: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','temperature',0.5,0.75,'degC','between','5/1','["which year?"]','middle',0.5,0.75,'m','between','5/1','["which year?"]','');
INSERT INTO "readings" VALUES('readings-1','bin 1','2026-01-06T08:30:00+01:00','2026-01-06T09:30:00+01:00','between','5/1','["which year?"]','said 1: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','temperature',1.5,1.75,'degC','between','5/1','["which year?"]','middle',1.5,1.75,'m','between','5/1','["which year?"]','');
INSERT INTO "readings" VALUES('readings-2','bin 2','2026-01-07T08:30:00+01:00','2026-01-07T09:30:00+01:00','between','5/1','["which year?"]','said 2: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','temperature',2.5,2.75,'degC','between','5/1','["which year?"]','middle',2.5,2.75,'m','between','5/1','["which year?"]','');
INSERT INTO "readings" VALUES('readings-3','bin 3','2026-01-08T08:30:00+01:00','2026-01-08T09:30:00+01:00','between','5/1','["which year?"]','said 3: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','temperature',3.5,3.75,'degC','between','5/1','["which year?"]','middle',3.5,3.75,'m','between','5/1','["which year?"]','');
INSERT INTO "readings" VALUES('readings-4','bin 4','2026-01-09T08:30:00+01:00','2026-01-09T09:30:00+01:00','between','5/1','["which year?"]','said 4: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','temperature',4.5,4.75,'degC','between','5/1','["which year?"]','middle',4.5,4.75,'m','between','5/1','["which year?"]','');
INSERT INTO "readings" VALUES('readings-5','bin 5','2026-01-10T08:30:00+01:00','2026-01-10T09:30:00+01:00','between','5/1','["which year?"]','said 5: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','temperature',5.5,5.75,'degC','between','5/1','["which year?"]','middle',5.5,5.75,'m','between','5/1','["which year?"]','');
INSERT INTO "readings" VALUES('readings-6','bin 6','2026-01-11T08:30:00+01:00','2026-01-11T09:30:00+01:00','between','5/1','["which year?"]','said 6: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','temperature',6.5,6.75,'degC','between','5/1','["which year?"]','middle',6.5,6.75,'m','between','5/1','["which year?"]','');
INSERT INTO "readings" VALUES('readings-7','bin 7','2026-01-12T08:30:00+01:00','2026-01-12T09:30:00+01:00','between','5/1','["which year?"]','said 7: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','temperature',7.5,7.75,'degC','between','5/1','["which year?"]','middle',7.5,7.75,'m','between','5/1','["which year?"]','');
INSERT INTO "readings" VALUES('readings-8','bin 8','2026-01-13T08:30:00+01:00','2026-01-13T09:30:00+01:00','between','5/1','["which year?"]','said 8: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','temperature',8.5,8.75,'degC','between','5/1','["which year?"]','middle',8.5,8.75,'m','between','5/1','["which year?"]','');
INSERT INTO "readings" VALUES('readings-9','bin 9','2026-01-14T08:30:00+01:00','2026-01-14T09:30:00+01:00','between','5/1','["which year?"]','said 9: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','temperature',9.5,9.75,'degC','between','5/1','["which year?"]','middle',9.5,9.75,'m','between','5/1','["which year?"]','');
INSERT INTO "readings" VALUES('readings-10','bin 10','2026-01-15T08:30:00+01:00','2026-01-15T09:30:00+01:00','between','5/1','["which year?"]','said 10: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','temperature',10.5,10.75,'degC','between','5/1','["which year?"]','middle',10.5,10.75,'m','between','5/1','["which year?"]','');
INSERT INTO "readings" VALUES('readings-11','bin 11','2026-01-16T08:30:00+01:00','2026-01-16T09:30:00+01:00','between','5/1','["which year?"]','said 11: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00','temperature',11.5,11.75,'degC','between','5/1','["which year?"]','middle',11.5,11.75,'m','between','5/1','["which year?"]','');
CREATE TABLE sample_counts (
	id TEXT NOT NULL, 
	bin TEXT NOT NULL, 
	when_start TEXT NOT NULL, 
	when_end TEXT NOT NULL, 
	when_kind TEXT NOT NULL, 
	when_words TEXT NOT NULL, 
	when_flags TEXT NOT NULL, 
	words TEXT NOT NULL, 
	corrects TEXT, 
	noted_at TEXT, 
	volume_low REAL, 
	volume_high REAL, 
	volume_unit TEXT NOT NULL, 
	volume_kind TEXT NOT NULL, 
	volume_words TEXT NOT NULL, 
	volume_flags TEXT NOT NULL, 
	place TEXT NOT NULL, 
	CONSTRAINT pk_sample_counts PRIMARY KEY (id), 
	CONSTRAINT ck_sample_counts_volume_in_order CHECK (volume_low <= volume_high), 
	CONSTRAINT fk_sample_counts_bin FOREIGN KEY(bin) REFERENCES bins (name), 
	CONSTRAINT fk_sample_counts_corrects_bin FOREIGN KEY(corrects, bin) REFERENCES sample_counts (id, bin), 
	CONSTRAINT uq_sample_counts_corrects UNIQUE (corrects), 
	CONSTRAINT uq_sample_counts_id_bin UNIQUE (id, bin)
)
 STRICT

;
INSERT INTO "sample_counts" VALUES('sample_counts-0','bin 0','2026-01-05T08:30:00+01:00','2026-01-05T09:30:00+01:00','between','5/1','["which year?"]','said 0: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00',0.5,0.75,'L','between','5/1','["which year?"]','middle');
INSERT INTO "sample_counts" VALUES('sample_counts-1','bin 1','2026-01-06T08:30:00+01:00','2026-01-06T09:30:00+01:00','between','5/1','["which year?"]','said 1: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00',1.5,1.75,'L','between','5/1','["which year?"]','middle');
INSERT INTO "sample_counts" VALUES('sample_counts-2','bin 2','2026-01-07T08:30:00+01:00','2026-01-07T09:30:00+01:00','between','5/1','["which year?"]','said 2: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00',2.5,2.75,'L','between','5/1','["which year?"]','middle');
INSERT INTO "sample_counts" VALUES('sample_counts-3','bin 3','2026-01-08T08:30:00+01:00','2026-01-08T09:30:00+01:00','between','5/1','["which year?"]','said 3: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00',3.5,3.75,'L','between','5/1','["which year?"]','middle');
INSERT INTO "sample_counts" VALUES('sample_counts-4','bin 4','2026-01-09T08:30:00+01:00','2026-01-09T09:30:00+01:00','between','5/1','["which year?"]','said 4: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00',4.5,4.75,'L','between','5/1','["which year?"]','middle');
INSERT INTO "sample_counts" VALUES('sample_counts-5','bin 5','2026-01-10T08:30:00+01:00','2026-01-10T09:30:00+01:00','between','5/1','["which year?"]','said 5: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00',5.5,5.75,'L','between','5/1','["which year?"]','middle');
INSERT INTO "sample_counts" VALUES('sample_counts-6','bin 6','2026-01-11T08:30:00+01:00','2026-01-11T09:30:00+01:00','between','5/1','["which year?"]','said 6: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00',6.5,6.75,'L','between','5/1','["which year?"]','middle');
INSERT INTO "sample_counts" VALUES('sample_counts-7','bin 7','2026-01-12T08:30:00+01:00','2026-01-12T09:30:00+01:00','between','5/1','["which year?"]','said 7: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00',7.5,7.75,'L','between','5/1','["which year?"]','middle');
INSERT INTO "sample_counts" VALUES('sample_counts-8','bin 8','2026-01-13T08:30:00+01:00','2026-01-13T09:30:00+01:00','between','5/1','["which year?"]','said 8: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00',8.5,8.75,'L','between','5/1','["which year?"]','middle');
INSERT INTO "sample_counts" VALUES('sample_counts-9','bin 9','2026-01-14T08:30:00+01:00','2026-01-14T09:30:00+01:00','between','5/1','["which year?"]','said 9: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00',9.5,9.75,'L','between','5/1','["which year?"]','middle');
INSERT INTO "sample_counts" VALUES('sample_counts-10','bin 10','2026-01-15T08:30:00+01:00','2026-01-15T09:30:00+01:00','between','5/1','["which year?"]','said 10: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00',10.5,10.75,'L','between','5/1','["which year?"]','middle');
INSERT INTO "sample_counts" VALUES('sample_counts-11','bin 11','2026-01-16T08:30:00+01:00','2026-01-16T09:30:00+01:00','between','5/1','["which year?"]','said 11: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00',11.5,11.75,'L','between','5/1','["which year?"]','middle');
CREATE TABLE sample_stages (
	sample TEXT NOT NULL, 
	position INTEGER NOT NULL, 
	stage TEXT NOT NULL, 
	count_low REAL, 
	count_high REAL, 
	count_unit TEXT NOT NULL, 
	count_kind TEXT NOT NULL, 
	count_words TEXT NOT NULL, 
	count_flags TEXT NOT NULL, 
	CONSTRAINT pk_sample_stages PRIMARY KEY (sample, position), 
	CONSTRAINT ck_sample_stages_count_in_order CHECK (count_low <= count_high), 
	CONSTRAINT fk_sample_stages_sample FOREIGN KEY(sample) REFERENCES sample_counts (id)
)
 STRICT

;
INSERT INTO "sample_stages" VALUES('sample_counts-0',0,'adult',0.5,0.75,'1','between','5/1','["which year?"]');
INSERT INTO "sample_stages" VALUES('sample_counts-1',0,'adult',1.5,1.75,'1','between','5/1','["which year?"]');
INSERT INTO "sample_stages" VALUES('sample_counts-2',0,'adult',2.5,2.75,'1','between','5/1','["which year?"]');
INSERT INTO "sample_stages" VALUES('sample_counts-3',0,'adult',3.5,3.75,'1','between','5/1','["which year?"]');
INSERT INTO "sample_stages" VALUES('sample_counts-4',0,'adult',4.5,4.75,'1','between','5/1','["which year?"]');
INSERT INTO "sample_stages" VALUES('sample_counts-5',0,'adult',5.5,5.75,'1','between','5/1','["which year?"]');
INSERT INTO "sample_stages" VALUES('sample_counts-6',0,'adult',6.5,6.75,'1','between','5/1','["which year?"]');
INSERT INTO "sample_stages" VALUES('sample_counts-7',0,'adult',7.5,7.75,'1','between','5/1','["which year?"]');
INSERT INTO "sample_stages" VALUES('sample_counts-8',0,'adult',8.5,8.75,'1','between','5/1','["which year?"]');
INSERT INTO "sample_stages" VALUES('sample_counts-9',0,'adult',9.5,9.75,'1','between','5/1','["which year?"]');
INSERT INTO "sample_stages" VALUES('sample_counts-10',0,'adult',10.5,10.75,'1','between','5/1','["which year?"]');
INSERT INTO "sample_stages" VALUES('sample_counts-11',0,'adult',11.5,11.75,'1','between','5/1','["which year?"]');
CREATE TABLE sightings (
	id TEXT NOT NULL, 
	bin TEXT NOT NULL, 
	when_start TEXT NOT NULL, 
	when_end TEXT NOT NULL, 
	when_kind TEXT NOT NULL, 
	when_words TEXT NOT NULL, 
	when_flags TEXT NOT NULL, 
	words TEXT NOT NULL, 
	corrects TEXT, 
	noted_at TEXT, 
	amount_low REAL, 
	amount_high REAL, 
	amount_unit TEXT NOT NULL, 
	amount_kind TEXT NOT NULL, 
	amount_words TEXT NOT NULL, 
	amount_flags TEXT NOT NULL, 
	stage TEXT NOT NULL, 
	place TEXT NOT NULL, 
	CONSTRAINT pk_sightings PRIMARY KEY (id), 
	CONSTRAINT ck_sightings_amount_in_order CHECK (amount_low <= amount_high), 
	CONSTRAINT fk_sightings_bin FOREIGN KEY(bin) REFERENCES bins (name), 
	CONSTRAINT fk_sightings_corrects_bin FOREIGN KEY(corrects, bin) REFERENCES sightings (id, bin), 
	CONSTRAINT uq_sightings_corrects UNIQUE (corrects), 
	CONSTRAINT uq_sightings_id_bin UNIQUE (id, bin)
)
 STRICT

;
INSERT INTO "sightings" VALUES('sightings-0','bin 0','2026-01-05T08:30:00+01:00','2026-01-05T09:30:00+01:00','between','5/1','["which year?"]','said 0: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00',0.5,0.75,'degC','between','5/1','["which year?"]','adult','middle');
INSERT INTO "sightings" VALUES('sightings-1','bin 1','2026-01-06T08:30:00+01:00','2026-01-06T09:30:00+01:00','between','5/1','["which year?"]','said 1: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00',1.5,1.75,'degC','between','5/1','["which year?"]','adult','middle');
INSERT INTO "sightings" VALUES('sightings-2','bin 2','2026-01-07T08:30:00+01:00','2026-01-07T09:30:00+01:00','between','5/1','["which year?"]','said 2: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00',2.5,2.75,'degC','between','5/1','["which year?"]','adult','middle');
INSERT INTO "sightings" VALUES('sightings-3','bin 3','2026-01-08T08:30:00+01:00','2026-01-08T09:30:00+01:00','between','5/1','["which year?"]','said 3: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00',3.5,3.75,'degC','between','5/1','["which year?"]','adult','middle');
INSERT INTO "sightings" VALUES('sightings-4','bin 4','2026-01-09T08:30:00+01:00','2026-01-09T09:30:00+01:00','between','5/1','["which year?"]','said 4: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00',4.5,4.75,'degC','between','5/1','["which year?"]','adult','middle');
INSERT INTO "sightings" VALUES('sightings-5','bin 5','2026-01-10T08:30:00+01:00','2026-01-10T09:30:00+01:00','between','5/1','["which year?"]','said 5: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00',5.5,5.75,'degC','between','5/1','["which year?"]','adult','middle');
INSERT INTO "sightings" VALUES('sightings-6','bin 6','2026-01-11T08:30:00+01:00','2026-01-11T09:30:00+01:00','between','5/1','["which year?"]','said 6: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00',6.5,6.75,'degC','between','5/1','["which year?"]','adult','middle');
INSERT INTO "sightings" VALUES('sightings-7','bin 7','2026-01-12T08:30:00+01:00','2026-01-12T09:30:00+01:00','between','5/1','["which year?"]','said 7: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00',7.5,7.75,'degC','between','5/1','["which year?"]','adult','middle');
INSERT INTO "sightings" VALUES('sightings-8','bin 8','2026-01-13T08:30:00+01:00','2026-01-13T09:30:00+01:00','between','5/1','["which year?"]','said 8: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00',8.5,8.75,'degC','between','5/1','["which year?"]','adult','middle');
INSERT INTO "sightings" VALUES('sightings-9','bin 9','2026-01-14T08:30:00+01:00','2026-01-14T09:30:00+01:00','between','5/1','["which year?"]','said 9: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00',9.5,9.75,'degC','between','5/1','["which year?"]','adult','middle');
INSERT INTO "sightings" VALUES('sightings-10','bin 10','2026-01-15T08:30:00+01:00','2026-01-15T09:30:00+01:00','between','5/1','["which year?"]','said 10: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00',10.5,10.75,'degC','between','5/1','["which year?"]','adult','middle');
INSERT INTO "sightings" VALUES('sightings-11','bin 11','2026-01-16T08:30:00+01:00','2026-01-16T09:30:00+01:00','between','5/1','["which year?"]','said 11: ''½'', “☘”
and more',NULL,'2026-01-05T21:30:00+01:00',11.5,11.75,'degC','between','5/1','["which year?"]','adult','middle');
CREATE INDEX ix_readings_bin ON readings (bin);
CREATE INDEX ix_feedings_bin ON feedings (bin);
CREATE INDEX ix_sample_counts_bin ON sample_counts (bin);
CREATE INDEX ix_sightings_bin ON sightings (bin);
CREATE INDEX ix_notes_bin ON notes (bin);
CREATE INDEX ix_photos_bin ON photos (bin);
CREATE INDEX ix_claims_bin ON claims (bin);
CREATE TRIGGER bins_refuse_update BEFORE UPDATE ON bins BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER bins_refuse_delete BEFORE DELETE ON bins BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER bedding_layers_refuse_update BEFORE UPDATE ON bedding_layers BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER bedding_layers_refuse_delete BEFORE DELETE ON bedding_layers BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER readings_refuse_update BEFORE UPDATE ON readings BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER readings_refuse_delete BEFORE DELETE ON readings BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER feedings_refuse_update BEFORE UPDATE ON feedings BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER feedings_refuse_delete BEFORE DELETE ON feedings BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER sample_counts_refuse_update BEFORE UPDATE ON sample_counts BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER sample_counts_refuse_delete BEFORE DELETE ON sample_counts BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER sample_stages_refuse_update BEFORE UPDATE ON sample_stages BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER sample_stages_refuse_delete BEFORE DELETE ON sample_stages BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER sightings_refuse_update BEFORE UPDATE ON sightings BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER sightings_refuse_delete BEFORE DELETE ON sightings BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER notes_refuse_update BEFORE UPDATE ON notes BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER notes_refuse_delete BEFORE DELETE ON notes BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER photos_refuse_update BEFORE UPDATE ON photos BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER photos_refuse_delete BEFORE DELETE ON photos BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER claims_refuse_update BEFORE UPDATE ON claims BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER claims_refuse_delete BEFORE DELETE ON claims BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER containers_refuse_update BEFORE UPDATE ON containers BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER containers_refuse_delete BEFORE DELETE ON containers BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE INDEX ix_plan_changes_plan ON plan_changes ("plan");
CREATE TRIGGER plans_refuse_update BEFORE UPDATE ON plans BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER plans_refuse_delete BEFORE DELETE ON plans BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER plan_changes_refuse_update BEFORE UPDATE ON plan_changes BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER plan_changes_refuse_delete BEFORE DELETE ON plan_changes BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER own_claims_refuse_update BEFORE UPDATE ON own_claims BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER own_claims_refuse_delete BEFORE DELETE ON own_claims BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER keepers_refuse_update BEFORE UPDATE ON keepers BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER keepers_refuse_delete BEFORE DELETE ON keepers BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER bin_keepers_refuse_update BEFORE UPDATE ON bin_keepers BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER bin_keepers_refuse_delete BEFORE DELETE ON bin_keepers BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER photos_shown_refuse_update BEFORE UPDATE ON photos_shown BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
CREATE TRIGGER photos_shown_refuse_delete BEFORE DELETE ON photos_shown BEGIN SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END;
COMMIT;
