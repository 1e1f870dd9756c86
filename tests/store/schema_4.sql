BEGIN TRANSACTION;
CREATE TABLE device (
	id VARCHAR NOT NULL, 
	name VARCHAR NOT NULL, 
	role VARCHAR NOT NULL, 
	paired_at DATETIME NOT NULL, 
	ended_at DATETIME, 
	PRIMARY KEY (id)
);
CREATE TABLE event (
	id INTEGER NOT NULL, 
	at DATETIME NOT NULL, 
	revision INTEGER NOT NULL, 
	kind VARCHAR NOT NULL, 
	text VARCHAR NOT NULL, 
	actor VARCHAR NOT NULL, 
	detail JSON NOT NULL, 
	PRIMARY KEY (id)
);
INSERT INTO "event" VALUES(1,'2026-11-25 21:50:42.754696',1,'rig','rig changed','this machine','{}');
INSERT INTO "event" VALUES(2,'2026-11-25 21:50:42.760003',2,'levels','Key to 60 %, Fill to 30 %','this machine','{}');
INSERT INTO "event" VALUES(3,'2026-11-25 21:50:42.766008',3,'keep','kept as First','this machine','{"look": 1}');
INSERT INTO "event" VALUES(4,'2026-11-25 21:50:42.769088',4,'nudge','fill ▼⅔','this machine','{"asked_stops": -0.6666666666666666, "got_stops": -0.6818240399737452}');
INSERT INTO "event" VALUES(5,'2026-11-25 21:50:42.772292',5,'keep','kept as Second','this machine','{"look": 2}');
INSERT INTO "event" VALUES(6,'2026-11-25 21:50:42.778447',6,'good','good frame','this machine','{"setting": {"stops": {"Key": "6637995950543605/9007199254740992", "Fill": "32474992062667889/13510798882111488"}, "lens": {"iso": 400.0, "shutter_s": 0.008, "f_number": 4.0}, "yaw_deg": 0.0, "origin": {"look_id": 2, "name": "Second", "stops": {"Key": "6637995950543605/9007199254740992", "Fill": "32474992062667889/13510798882111488"}}}}');
INSERT INTO "event" VALUES(7,'2026-11-25 21:50:42.780564',7,'nudge','key ▼⅓','this machine','{"asked_stops": -0.3333333333333333, "got_stops": -0.33852460541805734}');
CREATE TABLE live (
	id INTEGER NOT NULL, 
	revision INTEGER NOT NULL, 
	step INTEGER NOT NULL, 
	known BOOLEAN NOT NULL, 
	good JSON, 
	way JSON, 
	dark_from JSON, 
	PRIMARY KEY (id)
);
INSERT INTO "live" VALUES(1,7,3,1,'{"stops": {"Key": "6637995950543605/9007199254740992", "Fill": "32474992062667889/13510798882111488"}, "lens": {"iso": 400.0, "shutter_s": 0.008, "f_number": 4.0}, "yaw_deg": 0.0, "origin": {"look_id": 2, "name": "Second", "stops": {"Key": "6637995950543605/9007199254740992", "Fill": "32474992062667889/13510798882111488"}}}','{"start": {"Key": 1.5745335107955132e-06, "Fill": 6.147365400397279e-07}, "begins": 61454.981156668, "lasts_s": 1.5, "boot": "00000000-0000-0000-0000-000000000001", "waiting": [], "heating_s": 0.0}',NULL);
CREATE TABLE look (
	id INTEGER NOT NULL, 
	name VARCHAR NOT NULL, 
	tags JSON NOT NULL, 
	notes VARCHAR NOT NULL, 
	setting JSON NOT NULL, 
	placements JSON NOT NULL, 
	lux JSON NOT NULL, 
	ratio FLOAT, 
	f_number FLOAT, 
	place INTEGER, 
	kept_at DATETIME NOT NULL, 
	deleted_at DATETIME, 
	PRIMARY KEY (id)
);
INSERT INTO "look" VALUES(1,'First','["usual"]','','{"stops": {"Key": "6637995950543605/9007199254740992", "Fill": "7822597602642299/4503599627370496"}, "lens": {"iso": 400.0, "shutter_s": 0.008, "f_number": 4.0}, "yaw_deg": 0.0, "origin": null}','{"Key": {"azimuth_deg": 45.0, "distance_m": 2.0, "rise_m": 0.6, "focus": 0.5, "scrims": [], "aim": "mark"}, "Fill": {"azimuth_deg": -30.0, "distance_m": 3.0, "rise_m": 0.2, "focus": 0.5, "scrims": [], "aim": "mark"}}','{"cheek right": 3021.160255870859, "cheek left": 637.5185602899134, "forehead": 2842.8734392719643, "hair": 718.0787281841554, "background": 298.4507265958413}',4.73893694090565453791e+00,6.21858917079645934222e+00,1,'2026-11-25 21:50:42.763035',NULL);
INSERT INTO "look" VALUES(2,'Second','[]','','{"stops": {"Key": "6637995950543605/9007199254740992", "Fill": "32474992062667889/13510798882111488"}, "lens": {"iso": 400.0, "shutter_s": 0.008, "f_number": 4.0}, "yaw_deg": 0.0, "origin": null}','{"Key": {"azimuth_deg": 45.0, "distance_m": 2.0, "rise_m": 0.6, "focus": 0.5, "scrims": [], "aim": "mark"}, "Fill": {"azimuth_deg": -30.0, "distance_m": 3.0, "rise_m": 0.2, "focus": 0.5, "scrims": [], "aim": "mark"}}','{"cheek right": 2985.0777492243333, "cheek left": 401.6115269039678, "forehead": 2622.0913020762537, "hair": 713.1813213872634, "background": 224.23453034201498}',7.43274918485623192765e+00,6.18134250709920340938e+00,0,'2026-11-25 21:50:42.771213',NULL);
CREATE TABLE look_pattern (
	look_id INTEGER NOT NULL, 
	read_from VARCHAR NOT NULL, 
	name VARCHAR NOT NULL, 
	side VARCHAR NOT NULL, 
	"between" JSON NOT NULL, 
	words JSON NOT NULL, 
	PRIMARY KEY (look_id)
);
CREATE TABLE rig (
	id INTEGER NOT NULL, 
	document JSON NOT NULL, 
	PRIMARY KEY (id)
);
INSERT INTO "rig" VALUES(1,'{"room": {"name": "Old mill", "mains_volts": 230.0, "continuous_factor": 0.8, "ambient_lux": 0.0, "circuits": [{"name": "A", "breaker_amps": 16.0, "other_amps": 0.0}], "signal_loss": "fades"}, "sitter": {"yaw_deg": 0.0, "white_over_lit_stops": 0.7, "stand_in": "one"}, "points": [{"name": "cheek right", "on": "face", "x": 0.06, "y": -0.04, "z": 0.02, "nx": 0.77, "ny": 0.0, "nz": 0.64, "receptor": "flat"}, {"name": "cheek left", "on": "face", "x": -0.06, "y": -0.04, "z": 0.02, "nx": -0.77, "ny": 0.0, "nz": 0.64, "receptor": "flat"}, {"name": "forehead", "on": "face", "x": 0.0, "y": 0.06, "z": 0.09, "nx": 0.0, "ny": 0.2, "nz": 0.98, "receptor": "flat"}, {"name": "hair", "on": "room", "x": 0.0, "y": 0.14, "z": 0.0, "nx": 0.0, "ny": 1.0, "nz": 0.0, "receptor": "flat"}, {"name": "background", "on": "room", "x": 0.0, "y": 0.0, "z": -1.5, "nx": 0.0, "ny": 0.0, "nz": 1.0, "receptor": "flat"}], "lens": {"iso": 400.0, "shutter_s": 0.008, "f_number": 4.0}, "meter": {"c_flat": 250.0, "c_dome": 320.0}, "heads": [{"name": "Key", "role": "key", "universe": 1, "address": 1, "bits": 8, "circuit": "A", "watts": 200.0, "power_factor": 1.0, "lamp": "led", "cct_kelvin": 5600.0, "curve": "linear", "curve_points": [], "beam": [{"focus": 0.5, "candela": 20000.0, "beam_deg": 25.0, "field_deg": 40.0}], "placement": {"azimuth_deg": 45.0, "distance_m": 2.0, "rise_m": 0.6, "focus": 0.5, "scrims": [], "aim": "mark"}, "lens_diameter_m": 0.2}, {"name": "Fill", "role": "fill", "universe": 1, "address": 2, "bits": 8, "circuit": "A", "watts": 200.0, "power_factor": 1.0, "lamp": "led", "cct_kelvin": 5600.0, "curve": "linear", "curve_points": [], "beam": [{"focus": 0.5, "candela": 20000.0, "beam_deg": 25.0, "field_deg": 40.0}], "placement": {"azimuth_deg": -30.0, "distance_m": 3.0, "rise_m": 0.2, "focus": 0.5, "scrims": [], "aim": "mark"}, "lens_diameter_m": 0.2}], "readings": []}');
CREATE TABLE secret (
	name VARCHAR NOT NULL, 
	value VARCHAR NOT NULL, 
	PRIMARY KEY (name)
);
CREATE TABLE step (
	number INTEGER NOT NULL, 
	setting JSON NOT NULL, 
	text VARCHAR NOT NULL, 
	actor VARCHAR NOT NULL, 
	fade_s FLOAT NOT NULL, 
	PRIMARY KEY (number)
);
INSERT INTO "step" VALUES(0,'{"stops": {"Key": null, "Fill": null}, "lens": {"iso": 400.0, "shutter_s": 0.008, "f_number": 4.0}, "yaw_deg": 0.0, "origin": null}','','',1.0);
INSERT INTO "step" VALUES(1,'{"stops": {"Key": "6637995950543605/9007199254740992", "Fill": "7822597602642299/4503599627370496"}, "lens": {"iso": 400.0, "shutter_s": 0.008, "f_number": 4.0}, "yaw_deg": 0.0, "origin": {"look_id": 1, "name": "First", "stops": {"Key": "6637995950543605/9007199254740992", "Fill": "7822597602642299/4503599627370496"}}}','Key to 60 %, Fill to 30 %','this machine',0.0);
INSERT INTO "step" VALUES(2,'{"stops": {"Key": "6637995950543605/9007199254740992", "Fill": "32474992062667889/13510798882111488"}, "lens": {"iso": 400.0, "shutter_s": 0.008, "f_number": 4.0}, "yaw_deg": 0.0, "origin": {"look_id": 2, "name": "Second", "stops": {"Key": "6637995950543605/9007199254740992", "Fill": "32474992062667889/13510798882111488"}}}','fill ▼⅔','this machine',1.49080111299554118886e+00);
INSERT INTO "step" VALUES(3,'{"stops": {"Key": "28921187106371807/27021597764222976", "Fill": "32474992062667889/13510798882111488"}, "lens": {"iso": 400.0, "shutter_s": 0.008, "f_number": 4.0}, "yaw_deg": 0.0, "origin": {"look_id": 2, "name": "Second", "stops": {"Key": "6637995950543605/9007199254740992", "Fill": "32474992062667889/13510798882111488"}}}','key ▼⅓','this machine',1.48861656300141476094e+00);
CREATE INDEX ix_look_place ON look (place);
CREATE INDEX ix_look_deleted_at ON look (deleted_at);
CREATE INDEX ix_look_name ON look (name);
CREATE INDEX ix_event_at ON event (at);
COMMIT;PRAGMA user_version = 4;
