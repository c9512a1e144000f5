-- The keys this log was sealed with, in the order they were taken into use. The
-- secret half is never in here: it is the file `device.key` beside the log.
create table device_key (
    number      integer primary key check (0 < number), -- without a gap; the last one seals
    fingerprint text not null unique, -- RFC 7638 thumbprint with SHA-256, base64url
    x           text not null,        -- the public key, base64url
    since_at    text not null,        -- RFC 3339 with offset
    announced   text,                 -- signed JSON; null for the first, which replaces none
    check ((number = 1) = (announced is null))
) strict;
create trigger device_key_is_never_updated before update on device_key
begin select raise(abort, 'a key that sealed something is never changed'); end;
create trigger device_key_is_never_deleted before delete on device_key
begin select raise(abort, 'a key that sealed something is never deleted'); end;
create trigger device_key_is_never_replaced before insert on device_key
when exists (select 1 from device_key
             where number = new.number or fingerprint = new.fingerprint)
begin select raise(abort, 'a key that sealed something is never replaced'); end;
create trigger device_key_follows_the_last before insert on device_key
when new.number <> coalesce((select max(number) from device_key), 0) + 1
begin select raise(abort, 'keys follow one another without a gap'); end;

-- Signed heads of the log. A day whose entries reach further than its last head
-- gets another one; the earlier ones stay.
create table day_head (
    day         text not null,                            -- calendar day, 2026-11-25
    tree_size   integer not null check (0 < tree_size),   -- entries it covers
    root_sha256 text not null check (length(root_sha256) = 64), -- RFC 6962 tree over them
    jws         text not null,                            -- compact, with its payload
    primary key (day, tree_size)
) strict;
create trigger day_head_is_never_updated before update on day_head
begin select raise(abort, 'a head is never changed'); end;
create trigger day_head_is_never_deleted before delete on day_head
begin select raise(abort, 'a head is never deleted'); end;
create trigger day_head_is_never_replaced before insert on day_head
when exists (select 1 from day_head where day = new.day and tree_size = new.tree_size)
begin select raise(abort, 'a head is never replaced'); end;
