-- The log. Entries are added, never changed: a correction is a new entry that
-- points at the old one. Whoever holds the file can drop triggers; the chain of
-- hashes shows that.
create table entry (
    seq       integer primary key check (0 < seq), -- order of commit on this device, without a gap
    job       text not null,                       -- the job's number
    at_ms     integer not null,                    -- milliseconds since 1970-01-01T00:00:00Z
    at_day    text not null,                       -- calendar day at the address, 2026-11-25
    key       text not null unique,                -- idempotency key: the same key adds one entry
    body      text not null,                       -- RFC 8785 canonical JSON, holds the hash before
    sha256    text not null check (length(sha256) = 64) -- of body
) strict;
create index entry_by_job on entry (job, seq);
create index entry_by_day on entry (at_day, job);

create trigger entry_is_never_updated before update on entry
begin select raise(abort, 'entries are never changed'); end;
create trigger entry_is_never_deleted before delete on entry
begin select raise(abort, 'entries are never deleted'); end;
-- INSERT OR REPLACE deletes without firing the delete trigger.
create trigger entry_is_never_replaced before insert on entry
when exists (select 1 from entry where seq = new.seq or key = new.key)
begin select raise(abort, 'entries are never replaced'); end;
create trigger entry_follows_the_last before insert on entry
when new.seq <> coalesce((select max(seq) from entry), 0) + 1
begin select raise(abort, 'entries follow one another without a gap'); end;

-- Adopted versions of checklists and profiles: the file itself, to the letter.
create table adopted (
    kind       text not null check (kind in ('checklist', 'profile')),
    id         text not null,
    version    text not null,  -- major.minor.patch
    sha256     text not null check (length(sha256) = 64),
    body       text not null,  -- the file
    adopted_at text not null,  -- RFC 3339 with offset
    adopted_by text not null,
    primary key (kind, id, version)
) strict;
create trigger adopted_is_never_updated before update on adopted
begin select raise(abort, 'an adopted version is never changed'); end;
create trigger adopted_is_never_deleted before delete on adopted
begin select raise(abort, 'an adopted version is never deleted'); end;
create trigger adopted_is_never_replaced before insert on adopted
when exists (select 1 from adopted
             where kind = new.kind and id = new.id and version = new.version)
begin select raise(abort, 'an adopted version is never replaced'); end;

-- Files seen in the watched folders: what may be adopted, and what is wrong.
create table seen (
    path    text primary key,
    kind    text not null,
    id      text,               -- none where the file cannot be read
    version text,
    verdict text not null check (verdict in ('offered', 'known', 'refused', 'broken')),
    why     text not null,      -- for refused and broken: what is wrong and what to do
    seen_at text not null       -- RFC 3339 with offset
) strict;

-- Words to find a job by. Derived from its first entry, in the same transaction.
create virtual table job_words using fts5(
    number, address, owner, phone, company, phone_digits, opened_on,
    tokenize = "unicode61 remove_diacritics 2", prefix = '2 3 4'
);
