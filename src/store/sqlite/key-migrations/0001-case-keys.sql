-- One data key a case, wrapped (encrypted) by a key of the clinic. A row stays when its key is destroyed: it says that
-- the case was erased, and keeps a late writer from making a new key for it.
CREATE TABLE case_key (
  case_id    TEXT NOT NULL PRIMARY KEY,
  clinic_key TEXT,    -- id of the clinic's key that wrapped it
  wrapped    BLOB,    -- nonce, sealed key, tag
  erased_at  INTEGER,
  CHECK ((wrapped IS NULL) = (erased_at IS NOT NULL)),
  CHECK ((wrapped IS NULL) = (clinic_key IS NULL))
) STRICT, WITHOUT ROWID;

CREATE INDEX case_key_clinic ON case_key (clinic_key) WHERE clinic_key IS NOT NULL;
