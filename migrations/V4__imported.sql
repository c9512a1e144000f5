-- Records of jobs of other devices: read, never written on. Their entries are
-- of another chain and stay out of the log; each import is the whole bundle as
-- it came, file by file. A newer state of the same job is one more import.
create table import (
    import_id       integer primary key, -- order of import, counted from 1
    first_sha256    text not null check (length(first_sha256) = 64), -- of the entry that opened
                                         -- the job: tells it from any other of that number
    job             text not null,       -- its number
    entries         integer not null check (0 < entries), -- how many there are
    last_seq        integer not null,    -- of the last entry, in its device's log
    last_sha256     text not null check (length(last_sha256) = 64),
    last_at         text not null,       -- of the last entry: RFC 3339 with offset
    manifest_sha256 text not null unique check (length(manifest_sha256) = 64),
    imported_at     text not null,       -- RFC 3339 with offset
    imported_by     text not null
) strict;
create index import_by_first on import (first_sha256, import_id);

create table import_file (
    import_id integer not null references import (import_id),
    path      text not null, -- in the bundle
    sha256    text not null check (length(sha256) = 64),
    body      blob,          -- the file; none where it lies beside the log
    kept      text,          -- where it lies beside the log: a photo, a preview, a clip
    primary key (import_id, path),
    check ((body is null) <> (kept is null))
) strict;

create trigger import_is_never_updated before update on import
begin select raise(abort, 'an import is never changed'); end;
create trigger import_is_never_deleted before delete on import
begin select raise(abort, 'an import is never deleted'); end;
create trigger import_is_never_replaced before insert on import
when exists (select 1 from import where import_id = new.import_id
             or manifest_sha256 = new.manifest_sha256)
begin select raise(abort, 'an import is never replaced'); end;
create trigger import_file_is_never_updated before update on import_file
begin select raise(abort, 'an imported file is never changed'); end;
create trigger import_file_is_never_deleted before delete on import_file
begin select raise(abort, 'an imported file is never deleted'); end;
create trigger import_file_is_never_replaced before insert on import_file
when exists (select 1 from import_file where import_id = new.import_id and path = new.path)
begin select raise(abort, 'an imported file is never replaced'); end;

-- Words to find an imported job by, as `job_words`; the row is the import.
create virtual table import_words using fts5(
    number, address, owner, phone, company, phone_digits, opened_on,
    tokenize = "unicode61 remove_diacritics 2", prefix = '2 3 4'
);
