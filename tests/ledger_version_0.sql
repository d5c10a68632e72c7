-- A ledger of version 0, before approvals had limit_samples; every name and number in it is invented.
PRAGMA application_id = 1953066612;
PRAGMA user_version = 0;
BEGIN TRANSACTION;
CREATE TABLE approvals (
    id INTEGER PRIMARY KEY CHECK (id > 0), -- number of the row
    uid TEXT NOT NULL UNIQUE CHECK (uid <> ''), -- the row's name in all ledgers, 32 hexadecimal digits
    added_utc TEXT NOT NULL CHECK (datetime(added_utc) IS NOT NULL), -- when, UTC: YYYY-MM-DDThh:mm:ss.sssZ
    palette_digest TEXT NOT NULL, -- SHA-256 of the swatch folder's three input files then
    tint_version TEXT NOT NULL, -- the tint that wrote the row
    corrects INTEGER UNIQUE REFERENCES approvals (id) CHECK (corrects < id), -- the row that this one stands for
    reason TEXT NOT NULL DEFAULT '', -- why it was corrected or withdrawn
    withdrawn INTEGER NOT NULL DEFAULT 0 CHECK (withdrawn IN (0, 1)), -- 1: it no longer holds, and nothing does
    order_id INTEGER REFERENCES orders (id), -- the order
    recipe_id INTEGER REFERENCES recipes (id), -- the recipe that was shown
    reference_id INTEGER REFERENCES reference_swatches (id), -- the retained swatch that was shown
    approved_by TEXT NOT NULL CONSTRAINT "approved_by is not empty" CHECK (typeof(approved_by) = 'text' AND approved_by <> ''), -- who said so
    verdict TEXT NOT NULL DEFAULT 'approved' CONSTRAINT "verdict IN ('approved', 'refused')" CHECK (typeof(verdict) = 'text' AND verdict IN ('approved', 'refused')), -- what was said: approved, refused
    swatch TEXT NOT NULL DEFAULT '' CONSTRAINT "swatch is text" CHECK (typeof(swatch) = 'text'), -- what was shown, in words
    light TEXT NOT NULL DEFAULT '' CONSTRAINT "light is text" CHECK (typeof(light) = 'text'), -- the light that it was judged in
    approved_on TEXT NOT NULL DEFAULT '' CONSTRAINT "approved_on is a day YYYY-MM-DD" CHECK (approved_on = '' OR (approved_on GLOB '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]' AND date(approved_on, '+0 days') IS approved_on)), -- day of the verdict (YYYY-MM-DD)
    expires_on TEXT NOT NULL DEFAULT '' CONSTRAINT "expires_on is a day YYYY-MM-DD" CHECK (expires_on = '' OR (expires_on GLOB '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]' AND date(expires_on, '+0 days') IS expires_on)), -- day from which it must be asked for again (YYYY-MM-DD)
    note TEXT NOT NULL DEFAULT '' CONSTRAINT "note is text" CHECK (typeof(note) = 'text') -- anything else
);
INSERT INTO "approvals" VALUES(1,'cd234fc1f1d84dea9157f17810b6bc9d','2025-03-02T09:00:00.000Z','dddddddddddddddddddddddddddddddddddddddddddddddddddddddddddddddd','0.0.9',NULL,'',0,1,1,1,'the customer','approved','','D65','2025-03-02','2026-03-02','');
CREATE TABLE batches (
    id INTEGER PRIMARY KEY CHECK (id > 0), -- number of the row
    uid TEXT NOT NULL UNIQUE CHECK (uid <> ''), -- the row's name in all ledgers, 32 hexadecimal digits
    added_utc TEXT NOT NULL CHECK (datetime(added_utc) IS NOT NULL), -- when, UTC: YYYY-MM-DDThh:mm:ss.sssZ
    palette_digest TEXT NOT NULL, -- SHA-256 of the swatch folder's three input files then
    tint_version TEXT NOT NULL, -- the tint that wrote the row
    corrects INTEGER UNIQUE REFERENCES batches (id) CHECK (corrects < id), -- the row that this one stands for
    reason TEXT NOT NULL DEFAULT '', -- why it was corrected or withdrawn
    withdrawn INTEGER NOT NULL DEFAULT 0 CHECK (withdrawn IN (0, 1)), -- 1: it no longer holds, and nothing does
    order_id INTEGER REFERENCES orders (id), -- the order that it is for
    recipe_id INTEGER REFERENCES recipes (id), -- the recipe that it follows
    base TEXT NOT NULL CONSTRAINT "base is not empty" CHECK (typeof(base) = 'text' AND base <> ''), -- the base
    batch_g REAL CONSTRAINT "batch_g > 0" CHECK (batch_g IS NULL OR (typeof(batch_g) = 'real' AND batch_g > 0)), -- mix that was planned, waste included, g
    total_grams REAL CONSTRAINT "total_grams > 0" CHECK (total_grams IS NULL OR (typeof(total_grams) = 'real' AND total_grams > 0)), -- sum of all weighings, g
    weighed TEXT NOT NULL DEFAULT '[]' CONSTRAINT "weighed is a JSON list" CHECK (json_valid(weighed) AND json_type(weighed) = 'array'), -- weighings in order, each with what, part and grams
    lots TEXT NOT NULL DEFAULT '{}' CONSTRAINT "lots is a JSON object" CHECK (json_valid(lots) AND json_type(lots) = 'object'), -- pigment or part of the base to the lot that was taken
    temperature_c REAL CONSTRAINT "temperature_c BETWEEN -50 AND 100" CHECK (temperature_c IS NULL OR (typeof(temperature_c) = 'real' AND temperature_c BETWEEN -50 AND 100)), -- of the workshop, degrees Celsius
    note TEXT NOT NULL DEFAULT '' CONSTRAINT "note is text" CHECK (typeof(note) = 'text') -- anything else
);
INSERT INTO "batches" VALUES(1,'4f43e3159a83402792baf0c43caa8819','2025-03-02T09:00:00.000Z','dddddddddddddddddddddddddddddddddddddddddddddddddddddddddddddddd','0.0.9',NULL,'',0,NULL,1,'clear',NULL,110.0,'[{"what":"part A","grams":54.56,"part":"A"},{"what":"white","grams":0.55,"part":"A"}]','{}',21.0,'');
CREATE TABLE ledger_versions (
    version INTEGER PRIMARY KEY, -- of the tables, as in PRAGMA user_version
    since_utc TEXT NOT NULL,     -- when this file got it
    tint_version TEXT NOT NULL,  -- from which tint
    words TEXT NOT NULL          -- what it brought
);
INSERT INTO "ledger_versions" VALUES(0,'2025-02-01T08:00:00.000Z','0.0.9','The record of a workshop for pigmented silicone. Rows are only added; a correction names the row it corrects.');
CREATE TABLE lessons (
    id INTEGER PRIMARY KEY CHECK (id > 0), -- number of the row
    uid TEXT NOT NULL UNIQUE CHECK (uid <> ''), -- the row's name in all ledgers, 32 hexadecimal digits
    added_utc TEXT NOT NULL CHECK (datetime(added_utc) IS NOT NULL), -- when, UTC: YYYY-MM-DDThh:mm:ss.sssZ
    palette_digest TEXT NOT NULL, -- SHA-256 of the swatch folder's three input files then
    tint_version TEXT NOT NULL, -- the tint that wrote the row
    corrects INTEGER UNIQUE REFERENCES lessons (id) CHECK (corrects < id), -- the row that this one stands for
    reason TEXT NOT NULL DEFAULT '', -- why it was corrected or withdrawn
    withdrawn INTEGER NOT NULL DEFAULT 0 CHECK (withdrawn IN (0, 1)), -- 1: it no longer holds, and nothing does
    text TEXT NOT NULL CONSTRAINT "text is not empty" CHECK (typeof(text) = 'text' AND text <> ''), -- what was learnt
    order_id INTEGER REFERENCES orders (id), -- about this order
    recipe_id INTEGER REFERENCES recipes (id), -- about this recipe
    batch_id INTEGER REFERENCES batches (id), -- about this batch
    trial_id INTEGER REFERENCES trials (id), -- about this trial
    reading_id INTEGER REFERENCES readings (id), -- about this reading
    reference_id INTEGER REFERENCES reference_swatches (id), -- about this retained swatch
    lot_id INTEGER REFERENCES lots (id), -- about this lot
    approval_id INTEGER REFERENCES approvals (id), -- about this approval
    material TEXT NOT NULL DEFAULT '' CONSTRAINT "material is text" CHECK (typeof(material) = 'text') -- about this pigment or base
);
INSERT INTO "lessons" VALUES(1,'84eee5ec99f740579c22c3892b33bc0a','2025-03-02T09:00:00.000Z','dddddddddddddddddddddddddddddddddddddddddddddddddddddddddddddddd','0.0.9',NULL,'',0,'Stir the white again after an hour',1,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'white');
CREATE TABLE lots (
    id INTEGER PRIMARY KEY CHECK (id > 0), -- number of the row
    uid TEXT NOT NULL UNIQUE CHECK (uid <> ''), -- the row's name in all ledgers, 32 hexadecimal digits
    added_utc TEXT NOT NULL CHECK (datetime(added_utc) IS NOT NULL), -- when, UTC: YYYY-MM-DDThh:mm:ss.sssZ
    palette_digest TEXT NOT NULL, -- SHA-256 of the swatch folder's three input files then
    tint_version TEXT NOT NULL, -- the tint that wrote the row
    corrects INTEGER UNIQUE REFERENCES lots (id) CHECK (corrects < id), -- the row that this one stands for
    reason TEXT NOT NULL DEFAULT '', -- why it was corrected or withdrawn
    withdrawn INTEGER NOT NULL DEFAULT 0 CHECK (withdrawn IN (0, 1)), -- 1: it no longer holds, and nothing does
    material TEXT NOT NULL CONSTRAINT "material is not empty" CHECK (typeof(material) = 'text' AND material <> ''), -- the pigment or base, as the palette calls it
    lot TEXT NOT NULL CONSTRAINT "lot is not empty" CHECK (typeof(lot) = 'text' AND lot <> ''), -- the lot as its label calls it
    received_on TEXT NOT NULL DEFAULT '' CONSTRAINT "received_on is a day YYYY-MM-DD" CHECK (received_on = '' OR (received_on GLOB '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]' AND date(received_on, '+0 days') IS received_on)), -- day it came (YYYY-MM-DD)
    relative_to_lot TEXT NOT NULL DEFAULT '' CONSTRAINT "relative_to_lot is text" CHECK (typeof(relative_to_lot) = 'text'), -- the lot that it is compared with: that of the swatches
    strength REAL CONSTRAINT "strength > 0" CHECK (strength IS NULL OR (typeof(strength) = 'real' AND strength > 0)), -- per gram, of a base its haze, relative to that lot: 0.8 is less
    strength_error REAL CONSTRAINT "strength_error >= 0" CHECK (strength_error IS NULL OR (typeof(strength_error) = 'real' AND strength_error >= 0)), -- half width of the strength that holds 95 of 100
    hue_left_over_ciede2000 REAL CONSTRAINT "hue_left_over_ciede2000 >= 0" CHECK (hue_left_over_ciede2000 IS NULL OR (typeof(hue_left_over_ciede2000) = 'real' AND hue_left_over_ciede2000 >= 0)), -- what no dose can mend, CIEDE2000
    verdict TEXT NOT NULL DEFAULT 'use' CONSTRAINT "verdict IN ('use', 'rescale', 'reject')" CHECK (typeof(verdict) = 'text' AND verdict IN ('use', 'rescale', 'reject')), -- what was decided: use, rescale, reject
    reading_id INTEGER REFERENCES readings (id), -- the reading that it was judged by
    note TEXT NOT NULL DEFAULT '' CONSTRAINT "note is text" CHECK (typeof(note) = 'text') -- anything else
);
INSERT INTO "lots" VALUES(1,'9697b473995e4c7194779cf5abdaf3c3','2025-03-02T09:00:00.000Z','dddddddddddddddddddddddddddddddddddddddddddddddddddddddddddddddd','0.0.9',NULL,'',0,'white','W-204','','W-203',0.8,0.04,NULL,'rescale',NULL,'');
CREATE TABLE orders (
    id INTEGER PRIMARY KEY CHECK (id > 0), -- number of the row
    uid TEXT NOT NULL UNIQUE CHECK (uid <> ''), -- the row's name in all ledgers, 32 hexadecimal digits
    added_utc TEXT NOT NULL CHECK (datetime(added_utc) IS NOT NULL), -- when, UTC: YYYY-MM-DDThh:mm:ss.sssZ
    palette_digest TEXT NOT NULL, -- SHA-256 of the swatch folder's three input files then
    tint_version TEXT NOT NULL, -- the tint that wrote the row
    corrects INTEGER UNIQUE REFERENCES orders (id) CHECK (corrects < id), -- the row that this one stands for
    reason TEXT NOT NULL DEFAULT '', -- why it was corrected or withdrawn
    withdrawn INTEGER NOT NULL DEFAULT 0 CHECK (withdrawn IN (0, 1)), -- 1: it no longer holds, and nothing does
    name TEXT NOT NULL CONSTRAINT "name is not empty" CHECK (typeof(name) = 'text' AND name <> ''), -- what the order is called
    customer TEXT NOT NULL DEFAULT '' CONSTRAINT "customer is text" CHECK (typeof(customer) = 'text'), -- who asked
    customer_words TEXT NOT NULL DEFAULT '' CONSTRAINT "customer_words is text" CHECK (typeof(customer_words) = 'text'), -- the wish in the customer's own words
    part TEXT NOT NULL DEFAULT '' CONSTRAINT "part is text" CHECK (typeof(part) = 'text'), -- the part to be cast
    target TEXT NOT NULL DEFAULT '{}' CONSTRAINT "target is a JSON object" CHECK (json_valid(target) AND json_type(target) = 'object'), -- the colour and opacity wanted: keys lab, srgb, contrast_ratio_min ...
    note TEXT NOT NULL DEFAULT '' CONSTRAINT "note is text" CHECK (typeof(note) = 'text') -- anything else
);
INSERT INTO "orders" VALUES(1,'d0b679e00edc4740bf7843627f954a1e','2025-03-02T09:00:00.000Z','dddddddddddddddddddddddddddddddddddddddddddddddddddddddddddddddd','0.0.9',NULL,'',0,'celadon lid','','as the glaze, »grün«','','{"lab":[70,-8,6]}','');
CREATE TABLE readings (
    id INTEGER PRIMARY KEY CHECK (id > 0), -- number of the row
    uid TEXT NOT NULL UNIQUE CHECK (uid <> ''), -- the row's name in all ledgers, 32 hexadecimal digits
    added_utc TEXT NOT NULL CHECK (datetime(added_utc) IS NOT NULL), -- when, UTC: YYYY-MM-DDThh:mm:ss.sssZ
    palette_digest TEXT NOT NULL, -- SHA-256 of the swatch folder's three input files then
    tint_version TEXT NOT NULL, -- the tint that wrote the row
    corrects INTEGER UNIQUE REFERENCES readings (id) CHECK (corrects < id), -- the row that this one stands for
    reason TEXT NOT NULL DEFAULT '', -- why it was corrected or withdrawn
    withdrawn INTEGER NOT NULL DEFAULT 0 CHECK (withdrawn IN (0, 1)), -- 1: it no longer holds, and nothing does
    order_id INTEGER REFERENCES orders (id), -- the order whose sample was measured
    trial_id INTEGER REFERENCES trials (id), -- the trial that was measured
    reference_id INTEGER REFERENCES reference_swatches (id), -- the retained swatch that was measured
    name TEXT NOT NULL DEFAULT '' CONSTRAINT "name is text" CHECK (typeof(name) = 'text'), -- as the reading is called in its file
    source TEXT NOT NULL DEFAULT '' CONSTRAINT "source is text" CHECK (typeof(source) = 'text'), -- the file that it came from
    read_on TEXT NOT NULL DEFAULT '' CONSTRAINT "read_on is a day YYYY-MM-DD" CHECK (read_on = '' OR (read_on GLOB '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]' AND date(read_on, '+0 days') IS read_on)), -- day of the reading (YYYY-MM-DD)
    quantity TEXT NOT NULL DEFAULT 'reflectance' CONSTRAINT "quantity IN ('reflectance', 'transmittance')" CHECK (typeof(quantity) = 'text' AND quantity IN ('reflectance', 'transmittance')), -- what was measured: reflectance, transmittance
    backing TEXT NOT NULL DEFAULT '' CONSTRAINT "backing is text" CHECK (typeof(backing) = 'text'), -- what lay behind; none for a free slab
    seat TEXT NOT NULL DEFAULT '' CONSTRAINT "seat IN ('', 'air', 'wet')" CHECK (typeof(seat) = 'text' AND seat IN ('', 'air', 'wet')), -- how it met the backing: air, wet
    geometry TEXT NOT NULL DEFAULT '' CONSTRAINT "geometry is text" CHECK (typeof(geometry) = 'text'), -- of the instrument: di:8, de:8 or 45:0
    light TEXT NOT NULL DEFAULT '' CONSTRAINT "light is text" CHECK (typeof(light) = 'text'), -- CIE light of the Lab
    observer_degrees INTEGER CONSTRAINT "observer_degrees IN (2, 10)" CHECK (observer_degrees IS NULL OR (typeof(observer_degrees) = 'integer' AND observer_degrees IN (2, 10))), -- field of the observer, degrees
    lab_l REAL CONSTRAINT "lab_l is a number" CHECK (lab_l IS NULL OR (typeof(lab_l) = 'real')), -- L*
    lab_a REAL CONSTRAINT "lab_a is a number" CHECK (lab_a IS NULL OR (typeof(lab_a) = 'real')), -- a*
    lab_b REAL CONSTRAINT "lab_b is a number" CHECK (lab_b IS NULL OR (typeof(lab_b) = 'real')), -- b*
    wavelengths_nm TEXT NOT NULL DEFAULT '[]' CONSTRAINT "wavelengths_nm is a JSON list" CHECK (json_valid(wavelengths_nm) AND json_type(wavelengths_nm) = 'array'), -- grid of the spectrum, nm; empty when only Lab is known
    spectrum TEXT NOT NULL DEFAULT '[]' CONSTRAINT "spectrum is a JSON list" CHECK (json_valid(spectrum) AND json_type(spectrum) = 'array'), -- the reading at each wavelength, 0 to 1
    note TEXT NOT NULL DEFAULT '' CONSTRAINT "note is text" CHECK (typeof(note) = 'text') -- anything else
);
INSERT INTO "readings" VALUES(1,'ec16e8d1d3374f8db578b3daf902ceba','2025-03-02T09:00:00.000Z','dddddddddddddddddddddddddddddddddddddddddddddddddddddddddddddddd','0.0.9',NULL,'',0,NULL,NULL,1,'','','2025-03-01','reflectance','white','','di:8','D65',10,70.0,-8.0,6.0,'[]','[]','');
CREATE TABLE recipes (
    id INTEGER PRIMARY KEY CHECK (id > 0), -- number of the row
    uid TEXT NOT NULL UNIQUE CHECK (uid <> ''), -- the row's name in all ledgers, 32 hexadecimal digits
    added_utc TEXT NOT NULL CHECK (datetime(added_utc) IS NOT NULL), -- when, UTC: YYYY-MM-DDThh:mm:ss.sssZ
    palette_digest TEXT NOT NULL, -- SHA-256 of the swatch folder's three input files then
    tint_version TEXT NOT NULL, -- the tint that wrote the row
    corrects INTEGER UNIQUE REFERENCES recipes (id) CHECK (corrects < id), -- the row that this one stands for
    reason TEXT NOT NULL DEFAULT '', -- why it was corrected or withdrawn
    withdrawn INTEGER NOT NULL DEFAULT 0 CHECK (withdrawn IN (0, 1)), -- 1: it no longer holds, and nothing does
    order_id INTEGER REFERENCES orders (id), -- the order that it answers
    base TEXT NOT NULL CONSTRAINT "base is not empty" CHECK (typeof(base) = 'text' AND base <> ''), -- the base
    loadings_percent TEXT NOT NULL DEFAULT '{}' CONSTRAINT "loadings_percent is a JSON object" CHECK (json_valid(loadings_percent) AND json_type(loadings_percent) = 'object'), -- pigment to percent by mass of the finished mix
    lots TEXT NOT NULL DEFAULT '{}' CONSTRAINT "lots is a JSON object" CHECK (json_valid(lots) AND json_type(lots) = 'object'), -- pigment to the lot that the palette knew when this was solved
    thickness_mm REAL CONSTRAINT "thickness_mm > 0" CHECK (thickness_mm IS NULL OR (typeof(thickness_mm) = 'real' AND thickness_mm > 0)), -- wall of the part, mm
    backing TEXT NOT NULL DEFAULT '' CONSTRAINT "backing is text" CHECK (typeof(backing) = 'text'), -- what it is predicted over
    seat TEXT NOT NULL DEFAULT '' CONSTRAINT "seat IN ('', 'air', 'wet')" CHECK (typeof(seat) = 'text' AND seat IN ('', 'air', 'wet')), -- how it meets the backing: air, wet
    light TEXT NOT NULL DEFAULT '' CONSTRAINT "light is text" CHECK (typeof(light) = 'text'), -- CIE light of the Lab
    observer_degrees INTEGER CONSTRAINT "observer_degrees IN (2, 10)" CHECK (observer_degrees IS NULL OR (typeof(observer_degrees) = 'integer' AND observer_degrees IN (2, 10))), -- field of the observer, degrees
    geometry TEXT NOT NULL DEFAULT '' CONSTRAINT "geometry is text" CHECK (typeof(geometry) = 'text'), -- as read in: di:8, de:8 or 45:0
    optics TEXT NOT NULL DEFAULT '' CONSTRAINT "optics is text" CHECK (typeof(optics) = 'text'), -- the layer model that predicted it
    lab_l REAL CONSTRAINT "lab_l is a number" CHECK (lab_l IS NULL OR (typeof(lab_l) = 'real')), -- L* predicted
    lab_a REAL CONSTRAINT "lab_a is a number" CHECK (lab_a IS NULL OR (typeof(lab_a) = 'real')), -- a* predicted
    lab_b REAL CONSTRAINT "lab_b is a number" CHECK (lab_b IS NULL OR (typeof(lab_b) = 'real')), -- b* predicted
    expected_error_ciede2000 REAL CONSTRAINT "expected_error_ciede2000 >= 0" CHECK (expected_error_ciede2000 IS NULL OR (typeof(expected_error_ciede2000) = 'real' AND expected_error_ciede2000 >= 0)), -- 95 of 100 castings read within it, CIEDE2000
    to_target_ciede2000 REAL CONSTRAINT "to_target_ciede2000 >= 0" CHECK (to_target_ciede2000 IS NULL OR (typeof(to_target_ciede2000) = 'real' AND to_target_ciede2000 >= 0)), -- from the target, CIEDE2000
    contrast_ratio REAL CONSTRAINT "contrast_ratio >= 0" CHECK (contrast_ratio IS NULL OR (typeof(contrast_ratio) = 'real' AND contrast_ratio >= 0)), -- predicted: Y over black / Y over white
    contrast_ratio_error REAL CONSTRAINT "contrast_ratio_error >= 0" CHECK (contrast_ratio_error IS NULL OR (typeof(contrast_ratio_error) = 'real' AND contrast_ratio_error >= 0)), -- half width that holds 95 of 100
    reached INTEGER CONSTRAINT "reached IN (0, 1)" CHECK (reached IS NULL OR (typeof(reached) = 'integer' AND reached IN (0, 1))), -- whether the target is reached
    more TEXT NOT NULL DEFAULT '{}' CONSTRAINT "more is a JSON object" CHECK (json_valid(more) AND json_type(more) = 'object'), -- all else that was told of the recipe when it was solved
    note TEXT NOT NULL DEFAULT '' CONSTRAINT "note is text" CHECK (typeof(note) = 'text') -- anything else
);
INSERT INTO "recipes" VALUES(1,'08a1fbd6f425460eb77db79371859cb3','2025-03-02T09:00:00.000Z','dddddddddddddddddddddddddddddddddddddddddddddddddddddddddddddddd','0.0.9',NULL,'',0,1,'clear','{"white":0.5,"yellow":0.3}','{"white":"W-203","yellow":"Y-117"}',3.0,'white','air','D65',10,'','',82.0,5.0,80.0,NULL,NULL,NULL,NULL,1,'{}','');
CREATE TABLE reference_swatches (
    id INTEGER PRIMARY KEY CHECK (id > 0), -- number of the row
    uid TEXT NOT NULL UNIQUE CHECK (uid <> ''), -- the row's name in all ledgers, 32 hexadecimal digits
    added_utc TEXT NOT NULL CHECK (datetime(added_utc) IS NOT NULL), -- when, UTC: YYYY-MM-DDThh:mm:ss.sssZ
    palette_digest TEXT NOT NULL, -- SHA-256 of the swatch folder's three input files then
    tint_version TEXT NOT NULL, -- the tint that wrote the row
    corrects INTEGER UNIQUE REFERENCES reference_swatches (id) CHECK (corrects < id), -- the row that this one stands for
    reason TEXT NOT NULL DEFAULT '', -- why it was corrected or withdrawn
    withdrawn INTEGER NOT NULL DEFAULT 0 CHECK (withdrawn IN (0, 1)), -- 1: it no longer holds, and nothing does
    name TEXT NOT NULL CONSTRAINT "name is not empty" CHECK (typeof(name) = 'text' AND name <> ''), -- what is written on the swatch
    recipe_id INTEGER REFERENCES recipes (id), -- the recipe that it shows
    batch_id INTEGER REFERENCES batches (id), -- the batch that it was cast from
    trial_id INTEGER REFERENCES trials (id), -- the trial that it is
    kept_at TEXT NOT NULL DEFAULT '' CONSTRAINT "kept_at is text" CHECK (typeof(kept_at) = 'text'), -- where it is kept
    thickness_mm REAL CONSTRAINT "thickness_mm > 0" CHECK (thickness_mm IS NULL OR (typeof(thickness_mm) = 'real' AND thickness_mm > 0)), -- as measured, mm
    made_on TEXT NOT NULL DEFAULT '' CONSTRAINT "made_on is a day YYYY-MM-DD" CHECK (made_on = '' OR (made_on GLOB '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]' AND date(made_on, '+0 days') IS made_on)), -- day it was cast (YYYY-MM-DD)
    expires_on TEXT NOT NULL DEFAULT '' CONSTRAINT "expires_on is a day YYYY-MM-DD" CHECK (expires_on = '' OR (expires_on GLOB '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]' AND date(expires_on, '+0 days') IS expires_on)), -- day from which it is no longer trusted (YYYY-MM-DD)
    note TEXT NOT NULL DEFAULT '' CONSTRAINT "note is text" CHECK (typeof(note) = 'text') -- anything else
);
INSERT INTO "reference_swatches" VALUES(1,'ff0ac1f838454761a456a0ee167336f2','2025-03-02T09:00:00.000Z','dddddddddddddddddddddddddddddddddddddddddddddddddddddddddddddddd','0.0.9',NULL,'',0,'R-1',NULL,NULL,1,'',NULL,'2025-03-01','2026-03-01','');
CREATE TABLE trials (
    id INTEGER PRIMARY KEY CHECK (id > 0), -- number of the row
    uid TEXT NOT NULL UNIQUE CHECK (uid <> ''), -- the row's name in all ledgers, 32 hexadecimal digits
    added_utc TEXT NOT NULL CHECK (datetime(added_utc) IS NOT NULL), -- when, UTC: YYYY-MM-DDThh:mm:ss.sssZ
    palette_digest TEXT NOT NULL, -- SHA-256 of the swatch folder's three input files then
    tint_version TEXT NOT NULL, -- the tint that wrote the row
    corrects INTEGER UNIQUE REFERENCES trials (id) CHECK (corrects < id), -- the row that this one stands for
    reason TEXT NOT NULL DEFAULT '', -- why it was corrected or withdrawn
    withdrawn INTEGER NOT NULL DEFAULT 0 CHECK (withdrawn IN (0, 1)), -- 1: it no longer holds, and nothing does
    recipe_id INTEGER REFERENCES recipes (id), -- the recipe that was tried
    batch_id INTEGER REFERENCES batches (id), -- the batch that it was cast from
    weighed TEXT NOT NULL DEFAULT '[]' CONSTRAINT "weighed is a JSON list" CHECK (json_valid(weighed) AND json_type(weighed) = 'array'), -- what was really weighed, each with what, part and grams
    thickness_mm REAL CONSTRAINT "thickness_mm > 0" CHECK (thickness_mm IS NULL OR (typeof(thickness_mm) = 'real' AND thickness_mm > 0)), -- as measured, mm
    cure_days REAL CONSTRAINT "cure_days >= 0" CHECK (cure_days IS NULL OR (typeof(cure_days) = 'real' AND cure_days >= 0)), -- between pouring and reading, days
    mould TEXT NOT NULL DEFAULT '' CONSTRAINT "mould is text" CHECK (typeof(mould) = 'text'), -- the mould that it was cast in
    note TEXT NOT NULL DEFAULT '' CONSTRAINT "note is text" CHECK (typeof(note) = 'text') -- anything else
);
INSERT INTO "trials" VALUES(1,'9d591508fc1247ff9061a5391ab94656','2025-03-02T09:00:00.000Z','dddddddddddddddddddddddddddddddddddddddddddddddddddddddddddddddd','0.0.9',NULL,'',0,1,1,'[]',3.1,2.0,'lid 2','');
CREATE TRIGGER ledger_versions_never_changed BEFORE UPDATE ON ledger_versions BEGIN SELECT RAISE(ABORT, 'ledger_versions: rows are never changed; add one that corrects it'); END;
CREATE TRIGGER ledger_versions_never_deleted BEFORE DELETE ON ledger_versions BEGIN SELECT RAISE(ABORT, 'ledger_versions: rows are never changed; add one that corrects it'); END;
CREATE TRIGGER ledger_versions_never_replaced BEFORE INSERT ON ledger_versions
    WHEN EXISTS (SELECT 1 FROM ledger_versions WHERE version = NEW.version) BEGIN SELECT RAISE(ABORT, 'ledger_versions: rows are never changed; add one that corrects it'); END;
CREATE VIEW current_orders AS SELECT * FROM orders WHERE withdrawn = 0
    AND id NOT IN (SELECT corrects FROM orders WHERE corrects IS NOT NULL);
CREATE TRIGGER orders_never_changed BEFORE UPDATE ON orders BEGIN SELECT RAISE(ABORT, 'orders: rows are never changed; add one that corrects it'); END;
CREATE TRIGGER orders_never_deleted BEFORE DELETE ON orders BEGIN SELECT RAISE(ABORT, 'orders: rows are never changed; add one that corrects it'); END;
CREATE TRIGGER orders_never_replaced BEFORE INSERT ON orders
    WHEN EXISTS (SELECT 1 FROM orders WHERE id = NEW.id OR uid = NEW.uid OR corrects = NEW.corrects) BEGIN SELECT RAISE(ABORT, 'orders: rows are never changed; add one that corrects it'); END;
CREATE VIEW current_recipes AS SELECT * FROM recipes WHERE withdrawn = 0
    AND id NOT IN (SELECT corrects FROM recipes WHERE corrects IS NOT NULL);
CREATE TRIGGER recipes_never_changed BEFORE UPDATE ON recipes BEGIN SELECT RAISE(ABORT, 'recipes: rows are never changed; add one that corrects it'); END;
CREATE TRIGGER recipes_never_deleted BEFORE DELETE ON recipes BEGIN SELECT RAISE(ABORT, 'recipes: rows are never changed; add one that corrects it'); END;
CREATE TRIGGER recipes_never_replaced BEFORE INSERT ON recipes
    WHEN EXISTS (SELECT 1 FROM recipes WHERE id = NEW.id OR uid = NEW.uid OR corrects = NEW.corrects) BEGIN SELECT RAISE(ABORT, 'recipes: rows are never changed; add one that corrects it'); END;
CREATE VIEW current_batches AS SELECT * FROM batches WHERE withdrawn = 0
    AND id NOT IN (SELECT corrects FROM batches WHERE corrects IS NOT NULL);
CREATE TRIGGER batches_never_changed BEFORE UPDATE ON batches BEGIN SELECT RAISE(ABORT, 'batches: rows are never changed; add one that corrects it'); END;
CREATE TRIGGER batches_never_deleted BEFORE DELETE ON batches BEGIN SELECT RAISE(ABORT, 'batches: rows are never changed; add one that corrects it'); END;
CREATE TRIGGER batches_never_replaced BEFORE INSERT ON batches
    WHEN EXISTS (SELECT 1 FROM batches WHERE id = NEW.id OR uid = NEW.uid OR corrects = NEW.corrects) BEGIN SELECT RAISE(ABORT, 'batches: rows are never changed; add one that corrects it'); END;
CREATE VIEW current_trials AS SELECT * FROM trials WHERE withdrawn = 0
    AND id NOT IN (SELECT corrects FROM trials WHERE corrects IS NOT NULL);
CREATE TRIGGER trials_never_changed BEFORE UPDATE ON trials BEGIN SELECT RAISE(ABORT, 'trials: rows are never changed; add one that corrects it'); END;
CREATE TRIGGER trials_never_deleted BEFORE DELETE ON trials BEGIN SELECT RAISE(ABORT, 'trials: rows are never changed; add one that corrects it'); END;
CREATE TRIGGER trials_never_replaced BEFORE INSERT ON trials
    WHEN EXISTS (SELECT 1 FROM trials WHERE id = NEW.id OR uid = NEW.uid OR corrects = NEW.corrects) BEGIN SELECT RAISE(ABORT, 'trials: rows are never changed; add one that corrects it'); END;
CREATE VIEW current_reference_swatches AS SELECT * FROM reference_swatches WHERE withdrawn = 0
    AND id NOT IN (SELECT corrects FROM reference_swatches WHERE corrects IS NOT NULL);
CREATE TRIGGER reference_swatches_never_changed BEFORE UPDATE ON reference_swatches BEGIN SELECT RAISE(ABORT, 'reference_swatches: rows are never changed; add one that corrects it'); END;
CREATE TRIGGER reference_swatches_never_deleted BEFORE DELETE ON reference_swatches BEGIN SELECT RAISE(ABORT, 'reference_swatches: rows are never changed; add one that corrects it'); END;
CREATE TRIGGER reference_swatches_never_replaced BEFORE INSERT ON reference_swatches
    WHEN EXISTS (SELECT 1 FROM reference_swatches WHERE id = NEW.id OR uid = NEW.uid OR corrects = NEW.corrects) BEGIN SELECT RAISE(ABORT, 'reference_swatches: rows are never changed; add one that corrects it'); END;
CREATE VIEW current_readings AS SELECT * FROM readings WHERE withdrawn = 0
    AND id NOT IN (SELECT corrects FROM readings WHERE corrects IS NOT NULL);
CREATE TRIGGER readings_never_changed BEFORE UPDATE ON readings BEGIN SELECT RAISE(ABORT, 'readings: rows are never changed; add one that corrects it'); END;
CREATE TRIGGER readings_never_deleted BEFORE DELETE ON readings BEGIN SELECT RAISE(ABORT, 'readings: rows are never changed; add one that corrects it'); END;
CREATE TRIGGER readings_never_replaced BEFORE INSERT ON readings
    WHEN EXISTS (SELECT 1 FROM readings WHERE id = NEW.id OR uid = NEW.uid OR corrects = NEW.corrects) BEGIN SELECT RAISE(ABORT, 'readings: rows are never changed; add one that corrects it'); END;
CREATE VIEW current_lots AS SELECT * FROM lots WHERE withdrawn = 0
    AND id NOT IN (SELECT corrects FROM lots WHERE corrects IS NOT NULL);
CREATE TRIGGER lots_never_changed BEFORE UPDATE ON lots BEGIN SELECT RAISE(ABORT, 'lots: rows are never changed; add one that corrects it'); END;
CREATE TRIGGER lots_never_deleted BEFORE DELETE ON lots BEGIN SELECT RAISE(ABORT, 'lots: rows are never changed; add one that corrects it'); END;
CREATE TRIGGER lots_never_replaced BEFORE INSERT ON lots
    WHEN EXISTS (SELECT 1 FROM lots WHERE id = NEW.id OR uid = NEW.uid OR corrects = NEW.corrects) BEGIN SELECT RAISE(ABORT, 'lots: rows are never changed; add one that corrects it'); END;
CREATE VIEW current_approvals AS SELECT * FROM approvals WHERE withdrawn = 0
    AND id NOT IN (SELECT corrects FROM approvals WHERE corrects IS NOT NULL);
CREATE TRIGGER approvals_never_changed BEFORE UPDATE ON approvals BEGIN SELECT RAISE(ABORT, 'approvals: rows are never changed; add one that corrects it'); END;
CREATE TRIGGER approvals_never_deleted BEFORE DELETE ON approvals BEGIN SELECT RAISE(ABORT, 'approvals: rows are never changed; add one that corrects it'); END;
CREATE TRIGGER approvals_never_replaced BEFORE INSERT ON approvals
    WHEN EXISTS (SELECT 1 FROM approvals WHERE id = NEW.id OR uid = NEW.uid OR corrects = NEW.corrects) BEGIN SELECT RAISE(ABORT, 'approvals: rows are never changed; add one that corrects it'); END;
CREATE VIEW current_lessons AS SELECT * FROM lessons WHERE withdrawn = 0
    AND id NOT IN (SELECT corrects FROM lessons WHERE corrects IS NOT NULL);
CREATE TRIGGER lessons_never_changed BEFORE UPDATE ON lessons BEGIN SELECT RAISE(ABORT, 'lessons: rows are never changed; add one that corrects it'); END;
CREATE TRIGGER lessons_never_deleted BEFORE DELETE ON lessons BEGIN SELECT RAISE(ABORT, 'lessons: rows are never changed; add one that corrects it'); END;
CREATE TRIGGER lessons_never_replaced BEFORE INSERT ON lessons
    WHEN EXISTS (SELECT 1 FROM lessons WHERE id = NEW.id OR uid = NEW.uid OR corrects = NEW.corrects) BEGIN SELECT RAISE(ABORT, 'lessons: rows are never changed; add one that corrects it'); END;
COMMIT;
